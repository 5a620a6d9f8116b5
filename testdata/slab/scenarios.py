"""The general-purpose solver of generate.py on scenarios that a test gives.

    python3 scenarios.py < cases.json

Each case is an object with the keys of generate.py's cases, the weather as lists
by hour from midnight three days before. Said are, as JSON, the hours from placing
to initial and final set, and the coldest temperature of the slab until until_h.
"""
import json
import multiprocessing
import sys

import numpy as np

from generate import Case, grown


def solved(c):
    for k in ("air", "rh", "wind", "cloud", "sw"):
        v = c[k]
        c[k] = lambda i, v=v: v[i]
    c["covers"] = [tuple(x) for x in c["covers"] or []]
    f = Case(c, np.linspace(0, c["thick"], 13), grown(18, 1.55 ** .5, 1.2))
    f.initial, f.final = f.initial * c["set_factor"], f.final * c["set_factor"]
    age0 = lambda y: 1.5 * y[f.iA[0]] - .5 * y[f.iA[1]]
    r = f.run("Radau", 1e-5, 1e-5, jac_sparsity=f.band(),
              events=[lambda t, y: age0(y) - f.initial, lambda t, y: age0(y) - f.final])
    until = max(1, min(f.hours, int(c["until_h"])))
    return dict(initial=f.sets[0], final=f.sets[1], coldest=float(r[:until, :3].min()))


if __name__ == "__main__":
    with multiprocessing.Pool(2) as pool:
        json.dump(pool.map(solved, json.load(sys.stdin), chunksize=1), sys.stdout)
