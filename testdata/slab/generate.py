"""A general-purpose solver on the slab problem, as a check from outside.

    python3 generate.py                     writes slab.csv and cases.csv
    python3 generate.py time "summer sun"   what the solvers take, as JSON

The same equations as in the Go package, written down again: conduction in slab
and ground, convection, sun, long-wave exchange with the sky, evaporation from
the bleed water and then, ever more slowly, from the pores, covers, and heat of
hydration. Nothing is shared with the Go
code: no tables, no steps; space is cut into finite volumes (cell-centred, four
times as fine in the slab and nine times in the ground for the csv; the Go
code's own nodes for the timing), time is left to scipy.integrate.solve_ivp.
"""
import json
import math
import multiprocessing
import sys
import time

import numpy as np
import scipy
from scipy.integrate import solve_ivp
from scipy.sparse import diags

HOURS, SHORT = 168, 72  # followed after placing; the first three cases are the long ones
LONG = ("summer sun", "frosty night", "rainy mild")
SIGMA, EMIT, LATENT = 5.670374419e-8, 0.90, 2.45e6
ABSORB = {"": 0.65, "blanket": 0.65, "film": 0.65, "plastic": 0.90}
BLEED, BLEED_ENDS, SCALE = 0.03, 0.4, 0.05  # share of the mixing water; of initial set; kg/m2
GROUND = {"sand": (1.4, 2.0e6), "gravel": (0.8, 1.6e6), "clay": (1.5, 2.6e6), "soil": (1.0, 2.0e6)}
CEMENT = {  # C3S C2S C3A C4AF SO3 CaO MgO Blaine
    "general": (.55, .18, .10, .08, .029, .010, .025, 370),
    "rapid": (.56, .17, .09, .08, .035, .010, .025, 540),
    "slow": (.42, .32, .04, .15, .022, .010, .025, 340),
}


def wave(mean, swing, peak):
    return lambda t: mean + swing * math.cos(2 * math.pi * (t - peak) / 24)


def sun(top, rise, sets):
    def f(t):
        d = (t + .5) % 24
        return max(0.0, top * math.sin(math.pi * (d - rise) / (sets - rise))) if rise < d < sets else 0.0
    return f


# air, humidity, wind at 10 m, cloud, mean shortwave of the hour; hours from
# midnight UTC. placed_min: minutes from the start of the weather.
CASES = {
    "summer sun": dict(
        thick=.075, ground="sand", cement="general", wc=.52, kgm3=320, mix=24., placed_min=7 * 60,
        lat=47., lon=-1., elev=80., windf=.55, covers=[],
        air=wave(24, 7, 15), rh=wave(55, -25, 15), wind=wave(2.5, 1.5, 15), cloud=wave(20, 15, 17), sw=sun(880, 5, 20)),
    "frosty night": dict(
        thick=.10, ground="soil", cement="rapid", wc=.50, kgm3=340, mix=16., placed_min=10 * 60 + 5,
        lat=47., lon=8., elev=600., windf=.5, covers=[("blanket", 6., 40., .35)],
        air=wave(0, 6, 14), rh=wave(75, -15, 14), wind=wave(1.5, 1., 13), cloud=wave(10, 10, 12), sw=sun(380, 8, 16)),
    "rainy mild": dict(
        thick=.075, ground="clay", cement="slow", wc=.60, kgm3=290, mix=13., placed_min=6 * 60 + 20,
        lat=53., lon=-8., elev=20., windf=.8, covers=[("plastic", 3., 30., 0.)],
        air=wave(10, 1.5, 15), rh=wave(95, -4, 15), wind=wave(5.5, 1.2, 12), cloud=wave(94, 5, 3), sw=sun(140, 6, 19)),
    "hot and windy": dict(
        thick=.10, ground="gravel", cement="general", wc=.50, kgm3=330, mix=30., placed_min=9 * 60,
        lat=33., lon=-112., elev=340., windf=.8, covers=[],
        air=wave(36, 5, 15), rh=wave(20, -8, 15), wind=wave(8, 2, 15), cloud=wave(5, 5, 15), sw=sun(950, 5, 19)),
    "hot and still": dict(
        thick=.0889, ground="clay", cement="general", wc=.55, kgm3=310, mix=31., placed_min=6 * 60 + 30,
        lat=30., lon=-95., elev=20., windf=.5, covers=[],
        air=wave(31, 4, 15), rh=wave(70, -20, 15), wind=wave(1.2, .8, 14), cloud=wave(40, 20, 16), sw=sun(800, 6, 19)),
    "cold": dict(
        thick=.1016, ground="soil", cement="general", wc=.50, kgm3=330, mix=14., placed_min=10 * 60,
        lat=50., lon=10., elev=300., windf=.55, covers=[],
        air=wave(4, 3, 14), rh=wave(80, -10, 14), wind=wave(2.5, 1, 13), cloud=wave(80, 10, 12), sw=sun(200, 8, 16)),
    "windy and dry": dict(
        thick=.10, ground="sand", cement="general", wc=.48, kgm3=340, mix=18., placed_min=8 * 60,
        lat=40., lon=-105., elev=1600., windf=.7, covers=[],
        air=wave(17, 7, 15), rh=wave(25, -10, 15), wind=wave(9, 3, 15), cloud=wave(20, 10, 12), sw=sun(850, 6, 19)),
    "clear night": dict(
        thick=.0508, ground="sand", cement="general", wc=.52, kgm3=320, mix=15., placed_min=13 * 60,
        lat=42., lon=-76., elev=250., windf=.4, covers=[],
        air=wave(7, 7, 15), rh=wave(60, -25, 15), wind=wave(1., .8, 14), cloud=wave(2, 2, 12), sw=sun(600, 6, 18)),
    "blanket in frost": dict(
        thick=.0889, ground="soil", cement="general", wc=.52, kgm3=320, mix=18., placed_min=9 * 60,
        lat=45., lon=-75., elev=80., windf=.5, covers=[("blanket", 5., 96., .35)],
        air=wave(-2, 5, 14), rh=wave(70, -10, 14), wind=wave(3, 1, 13), cloud=wave(20, 10, 12), sw=sun(350, 8, 16)),
    "two blankets": dict(
        thick=.0889, ground="soil", cement="general", wc=.52, kgm3=320, mix=18., placed_min=9 * 60,
        lat=45., lon=-75., elev=80., windf=.5, covers=[("blanket", 5., 96., .70)],
        air=wave(-2, 5, 14), rh=wave(70, -10, 14), wind=wave(3, 1, 13), cloud=wave(20, 10, 12), sw=sun(350, 8, 16)),
    "plastic in sun": dict(
        thick=.0762, ground="sand", cement="general", wc=.52, kgm3=320, mix=22., placed_min=7 * 60,
        lat=38., lon=-90., elev=150., windf=.55, covers=[("plastic", 4., 72., 0.)],
        air=wave(23, 6, 15), rh=wave(55, -20, 15), wind=wave(2.5, 1.5, 15), cloud=wave(15, 10, 17), sw=sun(880, 5, 20)),
    "clear film in sun": dict(
        thick=.0762, ground="sand", cement="general", wc=.52, kgm3=320, mix=22., placed_min=7 * 60,
        lat=38., lon=-90., elev=150., windf=.55, covers=[("film", 4., 72., 0.)],
        air=wave(23, 6, 15), rh=wave(55, -20, 15), wind=wave(2.5, 1.5, 15), cloud=wave(15, 10, 17), sw=sun(880, 5, 20)),
    "cold ground": dict(
        thick=.10, ground="clay", cement="rapid", wc=.48, kgm3=350, mix=21., placed_min=48 * 60,
        lat=48., lon=-100., elev=400., windf=.55, covers=[],
        air=lambda t: -1 + 14 * min(1, t / 60), rh=wave(65, -10, 15), wind=wave(3, 1, 14), cloud=wave(50, 20, 12), sw=sun(500, 7, 18)),
    "two inches": dict(
        thick=.0508, ground="gravel", cement="general", wc=.60, kgm3=290, mix=20., placed_min=8 * 60 + 15,
        lat=51., lon=0., elev=30., windf=.6, covers=[],
        air=wave(16, 4, 15), rh=wave(70, -15, 15), wind=wave(4, 1.5, 14), cloud=wave(60, 20, 12), sw=sun(600, 5, 20)),
    "six inches": dict(
        thick=.1524, ground="clay", cement="slow", wc=.50, kgm3=340, mix=19., placed_min=7 * 60 + 40,
        lat=51., lon=0., elev=30., windf=.6, covers=[],
        air=wave(16, 4, 15), rh=wave(70, -15, 15), wind=wave(4, 1.5, 14), cloud=wave(60, 20, 12), sw=sun(600, 5, 20)),
}


def saturation(t):
    return 0.61094 * np.exp(17.625 * t / (t + 243.04))


def film(v):
    return 5.6 + 4.0 * v if v <= 5 else 7.2 * v ** 0.78


class Case:
    def __init__(self, c, edges_slab, edges_ground, node=False):
        self.c = c
        c3s, c2s, c3a, c4af, so3, cao, mgo, blaine = CEMENT[c["cement"]]
        wc = c["wc"]
        self.au = min(1, 1.031 * wc / (0.194 + wc))
        self.tau = 66.78 * c3a ** -.154 * c3s ** -.401 * blaine ** -.804 * so3 ** -.758
        self.beta = 181.4 * c3a ** .146 * c3s ** .227 * blaine ** -.535 * so3 ** .558
        self.hu = 500 * c3s + 260 * c2s + 866 * c3a + 420 * c4af + 624 * so3 + 1186 * cao + 850 * mgo
        self.ea = 22100 * c3a ** .30 * c4af ** .25 * blaine ** .35 / 8.314462618
        age = lambda d: self.tau * (-math.log(d / self.au)) ** (-1 / self.beta)
        self.initial, self.final = age(.15 * wc), age(.26 * wc)
        self.bleed = BLEED * c["kgm3"] * wc * c["thick"]
        self.t0 = c["placed_min"] / 60
        self.hours = HOURS if any(CASES[k] is c for k in LONG) else SHORT
        n = int(self.t0) + self.hours + 26
        k = np.arange(n)
        v = lambda f: np.array([f(i) for i in k], float)
        self.air, rh, wind = v(c["air"]), v(c["rh"]), v(c["wind"]) * c["windf"]
        cloud = np.clip(v(c["cloud"]) / 100, 0, 1)
        self.sw = v(c["sw"])
        self.weather = (self.air, rh, v(c["wind"]), v(c["cloud"]), self.sw)
        self.ea_kpa = rh / 100 * saturation(self.air)
        self.h = np.array([film(w) for w in wind])
        self.dry = 0.315 * (0.253 + 0.060 * wind * 3.6) / 3600 * LATENT
        x = np.log(self.ea_kpa / 0.61094)
        dew = 243.04 * x / (17.625 - x) / 100
        press = 1013.25 * (1 - 2.25577e-5 * c["elev"]) ** 5.25588
        clear = .711 + .56 * dew + .73 * dew ** 2 + .013 * np.cos(2 * np.pi * (k + c["lon"] / 15) / 24) + 1.2e-4 * (press - 1000)
        self.sky = EMIT * SIGMA * (self.air + 273.15) ** 4 * (clear + .784 * (1 - clear) * cloud)
        self.grid(edges_slab, edges_ground, node)

    def grid(self, es, eg, node):
        """Cells between edges (node=False), or nodes at the edges (True)."""
        c = self.c
        kg, cg = GROUND[c["ground"]]
        k1, c1 = 1.5, 2.35e6
        z = np.concatenate([es, es[-1] + eg[1:]])
        ks = np.where(np.arange(len(z) - 1) < len(es) - 1, k1, kg)
        cs = np.where(np.arange(len(z) - 1) < len(es) - 1, c1, cg)
        d = np.diff(z)
        under = es[-1]
        if node:
            self.n, self.ns = len(z), len(es)
            up = np.full(len(d), .5)  # share of a cell's heat at its upper node
            up[self.ns - 1:] = 1 / (1 + math.sqrt(d[-1] / d[-2]))
            self.cap = np.zeros(self.n)
            self.cap[:-1] += d * cs * up
            self.cap[1:] += d * cs * (1 - up)
            self.slabm = np.zeros(self.ns)
            self.slabm[:-1] += d[:self.ns - 1] / 2
            self.slabm[1:] += d[:self.ns - 1] / 2
            self.g, self.gtop, self.pos = ks / d, np.inf, z
        else:
            self.n, self.ns = len(d), len(es) - 1
            self.cap, self.slabm = d * cs, d[:self.ns]
            r = d / ks / 2
            self.g, self.gtop, self.pos = 1 / (r[:-1] + r[1:]), 1 / r[0], (z[:-1] + z[1:]) / 2
        now = int(self.t0)
        a = self.air
        deep, day, six = a.mean(), a[max(0, now - 23):now + 1].mean(), a[max(0, now - 5):now + 1].mean()
        bed = lambda q: deep + (day - deep) * np.exp(-q / .5) + (six - day) * np.exp(-q / .1)
        self.start = np.full(self.n, c["mix"])
        g = self.pos > under + 1e-12
        self.start[g] = bed(self.pos[g] - under)
        if node:  # the node between slab and ground holds the heat of both halves
            i = self.ns - 1
            hs, hg = d[i - 1] * c1 / 2, d[i] * cg * up[i]
            self.start[i] = (hs * c["mix"] + hg * bed(0)) / (hs + hg)
        # Bands of (T, age) pairs in the slab and T alone in the ground.
        # First of all the water drawn from the surface (below 0: standing on it).
        self.iT = 1 + np.concatenate([np.arange(self.ns) * 2, 2 * self.ns + np.arange(self.n - self.ns)])
        self.iA = np.arange(self.ns) * 2 + 2
        self.size = self.n + self.ns + 1

    def surface(self, ts, age, t, drawn):
        """Flux into the surface, with cover or the half cell above."""
        i, mid = self.hour, self.mid
        x = t - i
        at = lambda v: v[i] + x * (v[i + 1] - v[i])
        wet, r, on = min(1, max(0, (self.final - age) / (self.final - self.initial))), 0.0, ""
        wet /= 1 + max(0, drawn) / SCALE
        for kind, a, b, res in self.c["covers"]:
            if a <= mid - self.t0 < b:
                wet, r, on = 0.0, res, kind
        sunny, air, h, sky, ea, dry = ABSORB[on] * self.sw[i], at(self.air), at(self.h), at(self.sky), at(self.ea_kpa), at(self.dry) * wet

        def q(f):
            k = f + 273.15
            e = 0.61094 * math.exp(17.625 * f / (f + 243.04))
            de = e * 17.625 * 243.04 / (f + 243.04) ** 2
            out = e > ea
            return (sunny + h * (air - f) + sky - EMIT * SIGMA * k ** 4 - dry * max(0., e - ea),
                    -h - 4 * EMIT * SIGMA * k ** 3 - (dry * de if out else 0.))
        r += 0 if self.gtop == np.inf else 1 / self.gtop
        rate = lambda f: dry / LATENT * 3600 * max(0, 0.61094 * math.exp(17.625 * f / (f + 243.04)) - ea)
        if r == 0:
            return q(ts)[0], ts, rate(ts)
        f = ts
        for _ in range(50):
            v, s = q(f)
            d = (ts + r * v - f) / (1 - r * s)
            f += d
            if abs(d) < 1e-9:
                break
        return q(f)[0], f, rate(f)

    def rhs(self, t, y):
        T, A = y[self.iT], y[self.iA]
        age0 = A[0] if self.gtop == np.inf else 1.5 * A[0] - .5 * A[1]
        q, _, evaporates = self.surface(T[0], age0, t, y[0])
        flow = self.g * (T[1:] - T[:-1])
        heat = np.zeros(self.n)
        heat[0] = q
        heat[:-1] += flow
        heat[1:] -= flow
        Ts = T[:self.ns]
        f = np.exp(-self.ea * (1 / (Ts + 273.15) - 1 / 294.25)) * np.clip((Ts + 2) / 2, 0, 1)
        x = (self.tau / np.maximum(A, 1e-3)) ** self.beta
        rate = self.au * np.exp(-x) * x * self.beta / np.maximum(A, 1e-3) * f
        heat[:self.ns] += self.slabm * self.hu * 1000 * self.c["kgm3"] * rate / 3600
        out = np.empty(self.size)
        out[self.iT] = heat / self.cap * 3600
        out[self.iA] = f
        x = age0 / self.initial / BLEED_ENDS
        bleeds = self.bleed * 2 * (1 - x) / (self.initial * BLEED_ENDS) if 0 <= x < 1 else 0
        f0 = f[0] if self.gtop == np.inf else 1.5 * f[0] - .5 * f[1]
        out[0] = evaporates - bleeds * f0
        return out

    def band(self):
        """Which state depends on which: none on one five further on."""
        return diags([np.ones(self.size)] * 11, range(-5, 6), shape=(self.size, self.size))

    def breaks(self):
        b = {self.t0, self.t0 + self.hours}
        b |= {float(i) for i in range(int(self.t0) + 1, int(self.t0) + self.hours + 1)}
        for _, a, e, _ in self.c["covers"]:
            b |= {self.t0 + a, self.t0 + e}
        return sorted(b)

    def run(self, method, rtol, atol, events=None, every=1, until=None, **kw):
        """State at every so many hours after placing: surface, middle, underside.

        With until it ends so many hours after placing, once every event has come.

        Begun anew at every hour, where the sun jumps, and where a cover
        changes: without it the solvers were slower at equal accuracy.
        """
        y = np.zeros(self.size)
        y[self.iT] = self.start
        out, b = [], self.breaks()
        self.evals, self.sets = 0, {}
        for a, e in zip(b[:-1], b[1:]):
            self.hour, self.mid = int((a + e) / 2), (a + e) / 2
            marks = [m for m in (self.t0 + i * every for i in range(int(self.hours / every) + 1)) if a < m <= e + 1e-9]
            s = solve_ivp(self.rhs, (a, e), y, method=method, rtol=rtol, atol=atol, t_eval=sorted({min(m, e) for m in marks} | {e}), events=events, **kw)
            for k, found in enumerate(s.t_events or []):
                if len(found) and k not in self.sets:
                    self.sets[k] = found[0] - self.t0
            assert s.success, s.message
            self.evals += s.nfev
            y = s.y[:, -1]
            out += [self.row(s.y[:, list(s.t).index(min(m, e))], m) for m in marks]
            if until is not None and e >= self.t0 + until and len(self.sets) == len(events or []):
                break
        return np.array(out)

    def row(self, y, t):
        T, A = y[self.iT], y[self.iA]
        if self.gtop == np.inf:
            return T[0], T[(self.ns - 1) // 2], T[self.ns - 1], A[0]
        age0 = 1.5 * A[0] - .5 * A[1]
        r1, r2 = 1 / self.gtop, .5 / self.gtop  # face to first centre
        q, f, _ = self.surface(T[0], age0, t, y[0])
        top = T[0] + q / self.gtop
        m = self.ns // 2
        i = self.ns - 1
        ks, kg = 1.5 / (self.slabm[i] / 2), GROUND[self.c["ground"]][0] / ((self.pos[i + 1] - self.pos[i]) - self.slabm[i] / 2)
        foot = (ks * T[i] + kg * T[i + 1]) / (ks + kg)
        return top, (T[m - 1] + T[m]) / 2, foot, age0


def grown(cells, grows, depth):
    w = grows ** np.arange(cells)
    return np.concatenate([[0], np.cumsum(w)]) * depth / w.sum()


def fine(c):
    return Case(c, np.linspace(0, c["thick"], 33), grown(72, 1.55 ** .125, 1.2))


def same(c):
    n = max(8, math.ceil(c["thick"] / .0125 - 1e-9))
    return Case(c, np.linspace(0, c["thick"], n + 1), grown(8, 1.75, 1.2), node=True)


def solved(name):
    """One case's lines of slab.csv and of cases.csv."""
    c = CASES[name]
    f = fine(c)
    age0 = lambda y: 1.5 * y[f.iA[0]] - .5 * y[f.iA[1]]
    r = f.run("Radau", 1e-7, 1e-7, jac_sparsity=f.band(),
              events=[lambda t, y: age0(y) - f.initial, lambda t, y: age0(y) - f.final])
    rows = []
    for i in range(len(f.air)):
        t = ["%.5f" % v for v in r[i - 1]] if 1 <= i <= f.hours else [""] * 4
        rows.append(",".join([name, str(i)] + [repr(round(float(v[i]), 6)) for v in f.weather] + t))
    cover = c["covers"][0] if c["covers"] else ("", 0, 0, 0)
    keys = "thick ground cement wc kgm3 mix placed_min lat lon elev windf".split()
    line = ",".join([name] + [str(c[k]) for k in keys] + [str(v) for v in cover] +
                    ["%.4f" % f.sets[0], "%.4f" % f.sets[1], "%.4f" % r[:48, :3].min()])
    print(line, file=sys.stderr, flush=True)
    return rows, line


def write():
    with multiprocessing.Pool(4) as pool:
        all = pool.map(solved, CASES, chunksize=1)
    with open("slab.csv", "w") as out:
        print("# made by generate.py with scipy %s, solve_ivp Radau, rtol 1e-7; see SOURCES.md" % scipy.__version__, file=out)
        print("case,hour,air_c,humidity_pct,wind_m_s,cloud_pct,shortwave_w_m2,surface_c,middle_c,underside_c,surface_age_h", file=out)
        for rows, _ in all:
            print("\n".join(rows), file=out)
    with open("cases.csv", "w") as out:
        print("# made by generate.py: each case with its set and the coldest hour of two days; see SOURCES.md", file=out)
        print("case,thickness_m,ground,cement,water_cement,cement_kg_m3,mix_c,placed_min,latitude,longitude,elevation_m,"
              "wind_factor,cover,cover_from_h,cover_until_h,cover_m2k_w,initial_set_h,final_set_h,coldest_c", file=out)
        for _, line in all:
            print(line, file=out)


def timing(case, quick):
    """Seconds and largest error of several solvers on the Go code's own nodes.

    In short only one of them. LSODA is told the bands; with the sparsity of the Jacobian BDF was slower.
    """
    s = same(CASES[case])
    ref = s.run("Radau", 1e-8, 1e-8)
    runs = []
    methods = (("LSODA", dict(lband=2, uband=2)), ("BDF", {}), ("Radau", {}))
    for method, kw in methods[:1] if quick else methods:
        for tol in (1e-3,) if quick else (3e-2, 1e-2, 3e-3, 1e-3):
            a = time.process_time()
            r = s.run(method, tol / 10, tol, **kw)
            b = time.process_time()
            runs.append(dict(method=method, tol=tol, seconds=b - a,
                             error_k=float(np.abs(r - ref)[:, :3].max()), evals=s.evals))
    json.dump(dict(reference=ref[:, :3].tolist(), runs=runs), sys.stdout)


if __name__ == "__main__":
    timing(sys.argv[2], "quick" in sys.argv[3:]) if sys.argv[1:2] == ["time"] else write()
