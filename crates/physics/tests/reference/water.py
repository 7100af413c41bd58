#!/usr/bin/env python3
"""Properties of liquid water at 101 325 Pa from IAPWS-95, and the polynomials that src/water/properties.rs uses.

The package iapws (GPL-3.0) is needed to make these files again, and for nothing else.

Run:  pip install iapws==1.5.5 numpy scipy && python3 water.py
Writes, beside itself:
  water.csv         temperature, density, heat capacity, enthalpy, one row per degree from 0 to 100 degC
  water_fit.json    the fitted coefficients (ascending powers of t/100 degC) and their largest residuals

The normal boiling point is 99.974 degC, so the row at 100 degC is the saturated liquid.
Enthalpy is the integral of heat capacity in the fit as it is in nature: one set of coefficients serves both.
"""

import csv
import json
import pathlib

import numpy
from iapws import IAPWS95

HERE = pathlib.Path(__file__).parent
PRESSURE_MPA = 0.101325


def check_library():
    """IAPWS R6-95(2018), Table 7: 300 K, 996.556 kg/m3 (value remembered; the library reproduces it)."""
    state = IAPWS95(T=300, rho=996.556)
    assert abs(state.P - 0.0992418352) < 1e-9, state.P
    assert abs(state.w - 1501.51914) < 1e-4, state.w


def row(celsius):
    if celsius == 100:
        state = IAPWS95(T=celsius + 273.15, x=0)
    else:
        state = IAPWS95(T=celsius + 273.15, P=PRESSURE_MPA)
    return celsius, state.rho, state.cp * 1000, state.h * 1000


def main():
    check_library()
    rows = numpy.array([row(celsius) for celsius in range(101)])
    x = rows[:, 0] / 100
    density = numpy.polynomial.Polynomial.fit(x, rows[:, 1], 6, domain=[-1, 1], window=[-1, 1]).coef
    heat_capacity = numpy.polynomial.Polynomial.fit(x, rows[:, 2], 7, domain=[-1, 1], window=[-1, 1]).coef
    integral = numpy.polynomial.polynomial.polyint(heat_capacity) * 100
    at_zero = float(numpy.mean(rows[:, 3] - numpy.polynomial.polynomial.polyval(x, integral)))
    value = numpy.polynomial.polynomial.polyval
    saturated = IAPWS95(P=PRESSURE_MPA, x=0)
    vapour = IAPWS95(P=PRESSURE_MPA, x=1)
    fit = {
        "density_kg_per_m3": [round(c, 6) for c in density],
        "heat_capacity_j_per_kg_kelvin": [round(c, 4) for c in heat_capacity],
        "enthalpy_at_zero_j_per_kg": round(at_zero, 2),
        "boiling_point_celsius": round(saturated.T - 273.15, 4),
        "latent_heat_j_per_kg": round((vapour.h - saturated.h) * 1000, 0),
    }
    rounded = numpy.polynomial.polynomial.polyint(fit["heat_capacity_j_per_kg_kelvin"]) * 100
    fit["largest_residual"] = {
        "density_kg_per_m3": float(abs(value(x, fit["density_kg_per_m3"]) - rows[:, 1]).max()),
        "heat_capacity_j_per_kg_kelvin": float(abs(value(x, fit["heat_capacity_j_per_kg_kelvin"]) - rows[:, 2]).max()),
        "enthalpy_j_per_kg": float(abs(value(x, rounded) + at_zero - rows[:, 3]).max()),
    }
    with open(HERE / "water.csv", "w", newline="") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(["temperature_celsius", "density_kg_per_m3", "heat_capacity_j_per_kg_kelvin", "enthalpy_j_per_kg"])
        for celsius, rho, cp, h in rows:
            writer.writerow([f"{celsius:.0f}", f"{rho:.4f}", f"{cp:.2f}", f"{h:.1f}"])
    (HERE / "water_fit.json").write_text(json.dumps(fit, indent=2) + "\n")
    print(json.dumps(fit, indent=2))


if __name__ == "__main__":
    main()
