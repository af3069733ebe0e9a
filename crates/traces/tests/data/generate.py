"""Makes the check data of this folder: python3 generate.py (numpy 2.4.6, scipy 1.17.1, ruptures 1.1.10).

Every trace comes from one Lehmer generator, so the files do not depend on numpy's random streams.
"""
import json
import math

import numpy as np
import ruptures as rpt
import scipy.integrate

M = 2**31 - 1


class Lehmer:
    def __init__(self, seed):
        self.x = seed

    def u(self):
        self.x = self.x * 16807 % M
        return self.x / M

    def z(self):
        a, b = self.u(), self.u()
        return math.sqrt(-2 * math.log(a)) * math.cos(2 * math.pi * b)


# --- ten step traces in log10 of current, segmented by PELT -------------------------------------------------
rows, cases = ["case,log10_current"], []
for case in range(10):
    g = Lehmer(1000 + 77 * case)
    levels = [(-5.0 + 4.2 * g.u(), 8 + int(60 * g.u())) for _ in range(5 + case % 4)]
    noise = 0.02 + 0.01 * (case % 3)
    y = []
    for level, n in levels:
        y += [round(level + noise * g.z(), 9) for _ in range(n)]
    signal = np.array(y)
    pen = 2 * noise**2 * math.log(len(y))
    min_size = 2 + case % 2
    algo = rpt.Pelt(model="l2", min_size=min_size, jump=1).fit(signal.reshape(-1, 1))
    ends = algo.predict(pen=pen)
    cases.append({"case": case, "penalty": pen, "min_size": min_size, "ends": [int(e) for e in ends],
                  "cost": float(algo.cost.sum_of_costs(ends))})
    rows += [f"{case},{v:.9f}" for v in y]
open("pelt_traces.csv", "w").write("\n".join(rows) + "\n")
json.dump(cases, open("pelt_expected.json", "w"), indent=1)


# --- one trace of each defect: charge, moments, quantiles, histogram -----------------------------------------
def base(seed, n=900, dt=1e-3):
    g = Lehmer(seed)
    t = np.arange(n) * dt
    i = np.array([12e-6 * 10 ** (0.03 * g.z()) if (k % 300) < 240 else 0.02 * 10 ** (0.02 * g.z()) for k in range(n)])
    return t, i, g


def write(name, t, i, unit=1.0, text=None):
    lines = ["time_s,current_" + {1.0: "a", 1e-3: "ma"}[unit]]
    for k, (a, b) in enumerate(zip(t, i)):
        value = text[k] if text and k in text else f"{b / unit:.10g}"
        lines.append(f"{a:.6f},{value}")
    open(f"trace_{name}.csv", "w").write("\n".join(lines) + "\n")


EDGES = [1e-7, 1e-6, 1e-5, 1.2e-5, 1.5e-5, 1e-4, 1e-3, 1e-2, 2e-2, 1e-1, 1.0]
PROBABILITIES = [0.01, 0.05, 0.25, 0.5, 0.75, 0.95, 0.99]
expected = []


def expect(name, defect, nominal=1e-3, gap_factor=3.0):
    data = []
    for line in open(f"trace_{name}.csv").read().splitlines()[1:]:
        a, b = line.split(",")
        try:
            a, b = float(a), float(b)
        except ValueError:
            continue
        if math.isfinite(a) and math.isfinite(b):
            data.append((a, b))
    t, i = np.array(data).T
    if "current_ma" in open(f"trace_{name}.csv").readline():
        i = i * 1e-3
    dt = np.diff(t)
    counts = (dt > 0) & (dt <= gap_factor * nominal)
    charge = float(np.sum((0.5 * (i[1:] + i[:-1]) * dt)[counts]))
    if counts.all():
        assert abs(charge / scipy.integrate.trapezoid(i, t) - 1) < 1e-12
    expected.append({
        "name": name, "defect": defect, "samples": len(i), "charge_c": charge, "covered_s": float(dt[counts].sum()),
        "mean_a": float(np.mean(i)), "rms_a": float(np.sqrt(np.mean(i**2))), "deviation_a": float(np.std(i, ddof=1)),
        "min_a": float(i.min()), "max_a": float(i.max()),
        "quantiles": [[p, float(np.quantile(i, p))] for p in PROBABILITIES],
        "histogram": {"edges": EDGES, "counts": [int(c) for c in np.histogram(i, EDGES)[0]]},
        "gaps": int((dt > gap_factor * nominal).sum()), "backwards": int((dt < 0).sum()), "negative": int((i < 0).sum()),
    })


t, i, g = base(1)
write("clean", t, i)
expect("clean", None)
t, i, g = base(2)
keep = np.r_[0:400, 470:700, 705:900]
write("gap", t[keep], i[keep])
expect("gap", "gap")
t, i, g = base(3)
t = t.copy()
t[500:] -= 0.05
write("backwards", t, i)
expect("backwards", "clock_backwards")
t, i, g = base(4)
write("clipping", t, np.minimum(i, 0.0195))
expect("clipping", "clipping")
t, i, g = base(5)
j = np.array([x - 11.5e-6 if x < 1e-3 else x for x in i])
write("negative", t, j)
expect("negative", "negative")
t, i, g = base(6)
write("quantisation", t, np.round(i / 5e-6) * 5e-6)
expect("quantisation", "quantisation")
t, i, g = base(7)
write("wrong_unit", t, i * 1e6)
expect("wrong_unit", "wrong_unit")
t, i, g = base(8)
t = np.cumsum([1e-3 * (0.7 + 0.6 * g.u()) for _ in t])
write("uneven", t, i)
expect("uneven", "uneven_stamps")
t, i, g = base(9)
write("not_a_number", t, i, text={100: "NaN", 200: "inf", 555: "OVLD", 700: "9.9E37"})
s = open("trace_not_a_number.csv").read().replace("9.9E37", "1e999")
open("trace_not_a_number.csv", "w").write(s)
expect("not_a_number", "not_a_number")
t, i, g = base(10)
i = i.copy()
for k in (240, 540, 840):
    i[k:k + 3] = 1e-8
write("range_switch", t, i)
expect("range_switch", "range_switch")
t, i, g = base(11)
write("milliampere", t, i, unit=1e-3)
expect("milliampere", None)
json.dump(expected, open("defects_expected.json", "w"), indent=1)
