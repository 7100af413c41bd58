//! Printed tables, and properties of water from a reference library: values that our formulas did not produce.
#![allow(missing_docs, clippy::unwrap_used, reason = "a test")]

use physics::sensors::ntc::{NtcTable, ntc_3977_resistance_ohm};
use physics::sensors::platinum::{platinum_resistance_ohm, platinum_temperature_celsius};
use physics::water::properties::{density_kg_per_m3, enthalpy_j_per_kg, heat_capacity_j_per_kg_kelvin};

/// IEC 60751 reference table of the Pt100, −200 °C to 850 °C in steps of 10 °C, printed to 0.01 Ω.
/// Two public copies compared: they differ by 0.01 Ω at −170 °C and 330 °C, where one is a slip; nowhere else.
/// The end, from 660 °C, stands in one of them only.
#[rustfmt::skip]
const PT100_OHM: [f64; 106] = [
    18.52, 22.83, 27.10, 31.34, 35.54, 39.72, 43.88, 48.00, 52.11, 56.19,
    60.26, 64.30, 68.33, 72.33, 76.33, 80.31, 84.27, 88.22, 92.16, 96.09,
    100.00, 103.90, 107.79, 111.67, 115.54, 119.40, 123.24, 127.08, 130.90, 134.71,
    138.51, 142.29, 146.07, 149.83, 153.58, 157.33, 161.05, 164.77, 168.48, 172.17,
    175.86, 179.53, 183.19, 186.84, 190.47, 194.10, 197.71, 201.31, 204.90, 208.48,
    212.05, 215.61, 219.15, 222.68, 226.21, 229.72, 233.21, 236.70, 240.18, 243.64,
    247.09, 250.53, 253.96, 257.38, 260.78, 264.18, 267.56, 270.93, 274.29, 277.64,
    280.98, 284.30, 287.62, 290.92, 294.21, 297.49, 300.75, 304.01, 307.25, 310.49,
    313.71, 316.92, 320.12, 323.30, 326.48, 329.64, 332.79, 335.93, 339.06, 342.18,
    345.28, 348.38, 351.46, 354.53, 357.59, 360.64, 363.67, 366.70, 369.71, 372.71,
    375.70, 378.68, 381.65, 384.60, 387.55, 390.48,
];

/// Half of the last printed digit, and room for the rounding of that half itself.
const HALF_A_HUNDREDTH: f64 = 0.005 + 1e-9;

#[test]
fn platinum_agrees_with_the_printed_table() {
    for (row, printed_ohm) in PT100_OHM.into_iter().enumerate() {
        let t = -200.0 + 10.0 * row as f64;
        let ohm = platinum_resistance_ohm(100.0, t).unwrap();
        assert!((ohm - printed_ohm).abs() <= HALF_A_HUNDREDTH, "{t} °C: {ohm} Ω, table {printed_ohm} Ω");
    }
}

#[test]
fn platinum_temperature_agrees_with_the_printed_table() {
    // The flattest part of the curve, at 850 °C, has 0.29 Ω a degree: half a hundredth ohm is 0.0175 °C there.
    for (row, printed_ohm) in PT100_OHM.into_iter().enumerate().skip(1).take(104) {
        let t = -200.0 + 10.0 * row as f64;
        let found = platinum_temperature_celsius(100.0, printed_ohm).unwrap();
        assert!((found - t).abs() <= 0.0175, "{printed_ohm} Ω: {found} °C, table {t} °C");
    }
}

/// Printed table of the NTCLE100E3 data sheet, R25 = 10 kΩ, B25/85 = 3977 K, 0 °C to 100 °C in steps of 5 °C, in whole
/// ohms: after a public copy, whose 15 872 Ω at 15 °C is a slip for 15 698 Ω (the value of the sheet, from memory).
#[rustfmt::skip]
const NTC_10K_OHM: [f64; 21] = [
    32554.0, 25339.0, 19872.0, 15698.0, 12488.0, 10000.0, 8059.0, 6535.0, 5330.0, 4372.0, 3605.0,
    2989.0, 2490.0, 2084.0, 1753.0, 1481.0, 1256.0, 1070.0, 915.0, 786.0, 677.0,
];

#[test]
fn the_3977_curve_agrees_with_the_printed_table() {
    for (row, printed_ohm) in NTC_10K_OHM.into_iter().enumerate() {
        let t = 5.0 * row as f64;
        let ohm = ntc_3977_resistance_ohm(10_000.0, t).unwrap();
        // The copy cuts the digits off rather than rounding them, so up to one ohm is lost.
        assert!((ohm - printed_ohm).abs() <= 1.0, "{t} °C: {ohm} Ω, table {printed_ohm} Ω");
    }
}

/// A technician types every fourth row of a printed table; the rows between must come out within 0.1 K.
#[test]
fn a_sparse_table_interpolates_the_rows_left_out() {
    let row = |index: usize| (5.0 * index as f64, NTC_10K_OHM[index]);
    let table = NtcTable::new((0..=20).step_by(4).map(row).collect()).unwrap();
    for index in 0..=20 {
        let (t, printed_ohm) = row(index);
        let found = table.temperature_celsius(printed_ohm).unwrap();
        assert!((found - t).abs() <= 0.1, "{printed_ohm} Ω: {found} °C, table {t} °C");
    }
}

/// `water.csv` holds IAPWS-95 at 101 325 Pa from the package iapws 1.5.5; `water.py` made it.
#[test]
fn water_agrees_with_iapws_95_at_every_degree() {
    let mut rows = 0;
    for line in include_str!("reference/water.csv").lines().skip(1) {
        let [t, density, heat_capacity, enthalpy] = columns(line);
        let apart = [
            (density_kg_per_m3(t).unwrap() - density, 0.003, "kg/m³"),
            (heat_capacity_j_per_kg_kelvin(t).unwrap() - heat_capacity, 0.055, "J/(kg K)"),
            (enthalpy_j_per_kg(t).unwrap() - enthalpy, 0.13, "J/kg"),
        ];
        for (difference, bound, unit) in apart {
            assert!(difference.abs() <= bound, "{t} °C: {difference} {unit} apart");
        }
        rows += 1;
    }
    assert_eq!(rows, 101);
}

fn columns(line: &str) -> [f64; 4] {
    let numbers: Vec<f64> = line.split(',').map(|cell| cell.parse().unwrap()).collect();
    numbers.try_into().unwrap()
}
