"""Writes life.json: Weibull remaining life and annuities by scipy, for tests/life.rs to compare with.

python3 -m venv v && v/bin/pip install scipy mpmath && v/bin/python life.py > life.json
Every integral is taken twice, by scipy.integrate.quad and by mpmath at 40 digits; the second is stored.
"""

import json

import mpmath
import numpy
import scipy
from scipy import integrate, special, stats

mpmath.mp.dps = 40
rows = []
for shape in (0.8, 1.0, 1.7, 2.2, 3.5, 6.0):
    for scale in (2.0, 9.0, 14.227244497539568, 30.0):
        life = stats.weibull_min(shape, scale=scale)
        for age in (0.0, 0.5, 4.0, 12.0, 25.0, 60.0):
            z = (age / scale) ** shape
            if z > 400:
                continue
            k, n, a = mpmath.mpf(shape), mpmath.mpf(scale), mpmath.mpf(age)
            left = lambda s: mpmath.exp((a / n) ** k - ((a + s) / n) ** k)
            end = n * ((a / n) ** k + 100) ** (1 / k) - a
            cuts = [0, end / 1000, end / 100, end / 30, end / 10, end / 4, end / 2, end]
            annuity = {}
            for r in (0.0, 0.01, 0.03, 0.1):
                exact = mpmath.quad(lambda s: mpmath.exp(-mpmath.mpf(r) * s) * left(s), cuts)
                by_scipy, _ = integrate.quad(
                    lambda s: numpy.exp(-r * s + z - ((age + s) / scale) ** shape),
                    0,
                    float(end),
                    points=[float(c) for c in cuts[1:-1]],
                    epsabs=1e-12,
                    epsrel=1e-12,
                    limit=500,
                )
                assert abs(by_scipy - float(exact)) < 1e-9 * max(1.0, float(exact)), (shape, scale, age, r)
                annuity[str(r)] = float(exact)
            closed = mpmath.exp((a / n) ** k) * mpmath.gammainc(1 / k, (a / n) ** k) * n / k
            row = {
                "shape": shape,
                "scale": scale,
                "age": age,
                "mean": float(scale * special.gamma(1 + 1 / shape)),
                "survival": float(life.sf(age)),
                "survives_2": float(mpmath.exp((a / n) ** k - ((a + 2) / n) ** k)),
                "mean_residual": float(closed),
                "median_residual": float(n * ((a / n) ** k + mpmath.log(2)) ** (1 / k) - a),
                "annuity": annuity,
            }
            rows.append(row)
print(json.dumps({"made_with": f"scipy {scipy.__version__}, mpmath {mpmath.__version__}", "rows": rows}, indent=1))
