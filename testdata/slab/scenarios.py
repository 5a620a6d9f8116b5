"""The general-purpose solver of generate.py on scenarios that a test gives.

    python3 scenarios.py < cases.json

Each case is an object with the keys of generate.py's cases, the weather as lists
by hour from midnight three days before. Said are, as JSON, the hours from placing
to initial and final set, and the coldest temperature of the slab until until_h in
the middle one of weathers that err: whose air goes wrong by 1.2 K, and by a third of
a kelvin more for each day ahead, for about a day at a time. Of several nights each
has its own coldest, which lies below that of the weather without error.
"""
import json
import math
import multiprocessing
import sys

import numpy as np

from generate import Case, grown


EVERY = 0.25  # hours: in cold air on cold ground the first hour is the coldest
FOLLOWS = 0.75  # of an error of the air reaches the slab (judgement)


def middle(series, lead):
    """Median of the least value of the series with an error that lasts a day."""
    rng = np.random.default_rng(7)
    keep = math.exp(-EVERY / 24)
    e = rng.standard_normal(2001)
    least = np.full(e.size, np.inf)
    for i, row in enumerate(series):
        sd = 1.2 + (lead + i * EVERY) / 72
        grown_in = 1 - math.exp(-i * EVERY / 3)  # what is fresh has the mix's warmth
        least = np.minimum(least, row + FOLLOWS * grown_in * sd * e)
        e = keep * e + math.sqrt(1 - keep * keep) * rng.standard_normal(e.size)
    return float(np.median(least))


def solved(c):
    for k in ("air", "rh", "wind", "cloud", "sw"):
        v = c[k]
        c[k] = lambda i, v=v: v[i]
    c["covers"] = [tuple(x) for x in c["covers"] or []]
    f = Case(c, np.linspace(0, c["thick"], 13), grown(18, 1.55 ** .5, 1.2))
    f.initial, f.final = f.initial * c["set_factor"], f.final * c["set_factor"]
    age0 = lambda y: 1.5 * y[f.iA[0]] - .5 * y[f.iA[1]]
    r = f.run("Radau", 1e-5, 1e-5, jac_sparsity=f.band(),
              every=EVERY, until=c["until_h"],
              events=[lambda t, y: age0(y) - f.initial, lambda t, y: age0(y) - f.final])
    until = max(1, min(len(r), int(c["until_h"] / EVERY)))
    return dict(initial=f.sets[0], final=f.sets[1], coldest=middle(r[:until, :3].min(axis=1), c["lead_h"]))


if __name__ == "__main__":
    with multiprocessing.Pool(2) as pool:
        json.dump(pool.map(solved, json.load(sys.stdin), chunksize=1), sys.stdout)
