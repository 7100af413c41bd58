"""Least-squares cuts by ruptures (PyPI, version in the output), exact PELT with jump 1 and min_size 1.

    python -m venv v && v/bin/pip install ruptures==1.1.10 && v/bin/python ruptures_l2.py > ruptures_l2.json

The series come from the integer generator below, so that nothing but this file is needed to make them again.
"""
import json
import numpy as np
import ruptures as rpt

MASK = (1 << 64) - 1

def series(seed, n):
    """Levels like a washing machine's, with noise; splitmix64 (public domain)."""
    def draw():
        nonlocal seed
        seed = (seed + 0x9E3779B97F4A7C15) & MASK
        z = seed
        z = ((z ^ (z >> 30)) * 0xBF58476D1CE4E5B9) & MASK
        z = ((z ^ (z >> 27)) * 0x94D049BB133111EB) & MASK
        return z ^ (z >> 31)
    out, level = [], 4.0
    for _ in range(n):
        if draw() % 40 == 0:
            level = [4.0, 160.0, 300.0, 1990.0, 2140.0][draw() % 5]
        noise = (draw() % 2001 - 1000) / 100.0
        out.append(round(level + noise, 2))
    return out

cases = []
for seed, n, penalty in [(1, 60, 500.0), (2, 200, 800.0), (3, 400, 1200.0), (4, 800, 300.0), (5, 800, 5000.0), (6, 1500, 1000.0)]:
    y = series(seed, n)
    found = rpt.Pelt(model="l2", min_size=1, jump=1).fit(np.array(y)).predict(pen=penalty)
    cost, start = penalty * (len(found) - 1), 0
    for end in found:
        part = np.array(y[start:end], dtype=np.longdouble)
        cost += float(((part - part.mean()) ** 2).sum())
        start = end
    cases.append({"seed": seed, "penalty": penalty, "series": y, "ends": found, "cost": cost})
print(json.dumps({"ruptures": rpt.version.__version__ if hasattr(rpt, "version") else "1.1.10", "cases": cases}))
