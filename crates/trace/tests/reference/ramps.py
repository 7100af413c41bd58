"""Cuts into levels and ramps by others' methods, as reference.

    python -m venv v && v/bin/pip install ruptures==1.1.10 && v/bin/python ramps.py > ramps.json

`lines`: ruptures (PyPI), exact PELT with jump 1 and a cost of straight lines (numpy.linalg.lstsq): what a cut is where a
ramp has no surcharge and nothing is capped. `both`: plain dynamic programming over all last segments, lines by
numpy.linalg.lstsq, capped levels by trying the mean of every run of sorted samples. The series come from the integer
generator below.
"""
import json

import numpy as np
import ruptures as rpt
from ruptures.base import BaseCost

MASK = (1 << 64) - 1


def series(seed, n):
    """Levels, ramps and single samples gone wrong; splitmix64 (public domain). Times with steps of 1 s to 4 s."""
    def draw():
        nonlocal seed
        seed = (seed + 0x9E3779B97F4A7C15) & MASK
        z = seed
        z = ((z ^ (z >> 30)) * 0xBF58476D1CE4E5B9) & MASK
        z = ((z ^ (z >> 27)) * 0x94D049BB133111EB) & MASK
        return z ^ (z >> 31)
    at, out, now, level, slope = [], [], 0, 4.0, 0.0
    for _ in range(n):
        if draw() % 25 == 0:
            level = [4.0, 160.0, 300.0, 500.0][draw() % 4]
            slope = [0.0, 0.0, 6.0, -4.0][draw() % 4]
        step = 1 + draw() % 4
        now += step
        level += slope * step
        spike = 900.0 if draw() % 40 == 0 else 0.0
        out.append(round(level + (draw() % 2001 - 1000) / 100.0 + spike, 2))
        at.append(float(now))
    return at, out


def line(x, y):
    a = np.column_stack([np.ones(len(x)), x - x[0]])
    fitted = a @ np.linalg.lstsq(a, y, rcond=None)[0]
    return float(((y - fitted) ** 2).sum())


class Lines(BaseCost):
    model = "lines"
    min_size = 1

    def fit(self, signal):
        self.signal = signal
        return self

    def error(self, start, end):
        return line(self.signal[start:end, 0], self.signal[start:end, 1])


def level(y, cap):
    if cap is None:
        return float(((y - y.mean()) ** 2).sum())
    s = np.sort(y)
    means = [s[i:j].mean() for i in range(len(s)) for j in range(i + 1, len(s) + 1)]
    return min(float(np.minimum((s - m) ** 2, cap * cap).sum()) for m in means)


def strays(y, cap):
    found = np.zeros(len(y), bool)
    if cap is not None:
        for i in range(1, len(y) - 1):
            around = y[i - 1], y[i + 1]
            found[i] = y[i] - max(around) > cap or min(around) - y[i] > cap
    return found


def both(x, y, penalty, surcharge, cap):
    n, aside = len(y), strays(y, cap)
    best = [-penalty] + [np.inf] * n
    for end in range(1, n + 1):
        for start in range(end):
            kept = ~aside[start:end]
            ramp = aside[start:end].sum() * (cap or 0.0) ** 2
            if kept.any():
                ramp += line(x[start:end][kept], y[start:end][kept])
            cost = min(ramp + surcharge, level(y[start:end], cap))
            best[end] = min(best[end], best[start] + penalty + cost)
    return float(best[n])


cases = []
for seed, n, penalty in [(11, 80, 1500.0), (12, 200, 3000.0), (13, 300, 6000.0)]:
    at, y = series(seed, n)
    x, v = np.array(at), np.array(y)
    ends = rpt.Pelt(custom_cost=Lines(), min_size=1, jump=1).fit(np.column_stack([x, v])).predict(pen=penalty)
    starts = [0] + ends[:-1]
    cost = penalty * (len(ends) - 1) + sum(line(x[a:b], v[a:b]) for a, b in zip(starts, ends))
    cases.append({"method": "lines", "seed": seed, "at": at, "series": y, "penalty": penalty, "surcharge": 0.0,
                  "cap": None, "cost": cost})
for seed, n, penalty, surcharge, cap in [(21, 90, 2000.0, 2000.0, None), (22, 90, 2000.0, 1000.0, 30.0),
                                         (23, 70, 900.0, 900.0, 25.0), (24, 70, 4000.0, 500.0, 60.0)]:
    at, y = series(seed, n)
    cost = both(np.array(at), np.array(y), penalty, surcharge, cap)
    cases.append({"method": "both", "seed": seed, "at": at, "series": y, "penalty": penalty, "surcharge": surcharge,
                  "cap": cap, "cost": cost})
print(json.dumps({"ruptures": "1.1.10", "numpy": np.__version__, "cases": cases}))
