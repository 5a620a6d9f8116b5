"""Solves fixed-chance assignments to optimality with HiGHS, through SciPy.

One instance a line on standard input, as JSON:
  pads        for each pad its form set
  after       pairs [pad, pad it must come after, stripped]
  counts      how many pads each form set holds
  most        for each morning how many pads it takes
  lost        for each morning the chance of losing a pad poured then
  ready       for each morning the first on which its pads are stripped
  lost_days   what a lost pad counts as
For each, one line: {"cost", "seconds", "gap"}.
The cost is the number of mornings until the last pad is poured, plus
lost_days times the pads expected to be lost.
"""
import json
import sys
import time

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import coo_array


def solve(a):
    pads, days = len(a["pads"]), len(a["most"])
    n = pads * days + 1  # x[p, d], then the last morning
    x = lambda p, d: p * days + d
    rows, cols, vals, low, high = [], [], [], [], []

    def row(terms, lo, hi):
        for c, v in terms:
            rows.append(len(low))
            cols.append(c)
            vals.append(v)
        low.append(lo)
        high.append(hi)

    for p in range(pads):
        row([(x(p, d), 1) for d in range(days)], 1, 1)
        row([(x(p, d), d + 1) for d in range(days)] + [(n - 1, -1)], -np.inf, 0)
    for d in range(days):
        row([(x(p, d), 1) for p in range(pads)], 0, a["most"][d])
        for f, count in enumerate(a["counts"]):
            held = [e for e in range(d + 1) if e == d or a["ready"][e] > d]
            row([(x(p, e), 1) for p in range(pads) if a["pads"][p] == f for e in held], 0, count)
    for p, q in a["after"]:
        for d in range(days):
            row([(x(p, d), 1)] + [(x(q, e), -1) for e in range(d) if a["ready"][e] <= d], -np.inf, 0)
    cost = np.zeros(n)
    for p in range(pads):
        for d in range(days):
            cost[x(p, d)] = a["lost_days"] * a["lost"][d]
    cost[n - 1] = 1
    integral = np.ones(n)
    integral[n - 1] = 0
    matrix = coo_array((vals, (rows, cols)), shape=(len(low), n)).tocsr()
    begun = time.perf_counter()
    r = milp(cost, constraints=LinearConstraint(matrix, low, high), integrality=integral,
             bounds=Bounds(np.zeros(n), np.append(np.ones(n - 1), days)), options={"mip_rel_gap": 1e-9, "time_limit": 120})
    return {"cost": None if r.x is None else float(r.fun), "seconds": time.perf_counter() - begun,
            "gap": None if r.x is None else float(r.mip_gap)}


for line in sys.stdin:
    print(json.dumps(solve(json.loads(line))), flush=True)
