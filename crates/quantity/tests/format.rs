//! Values as they are written, and codes after IEC 60062:2016 (its examples quoted from memory).
#![allow(missing_docs, clippy::unwrap_used, reason = "a test")]

use quantity::Dimension::*;
use quantity::{format, format_code, format_pm};

#[test]
fn values_as_a_technician_reads_them() {
    let cases = [
        (26.4, Resistance, "26.4 Ω"),
        (26.0293, Resistance, "26 Ω"),
        (4700.0, Resistance, "4.7 kΩ"),
        (1842.0, Resistance, "1.842 kΩ"),
        (999.96, Resistance, "1 kΩ"),
        (0.26, Resistance, "0.26 Ω"),
        (0.05, Resistance, "50 mΩ"),
        (2.2e6, Resistance, "2.2 MΩ"),
        (0.0, Resistance, "0 Ω"),
        (f64::INFINITY, Resistance, "∞ Ω"),
        (2016.0, Power, "2016 W"),
        (2200.0, Power, "2200 W"),
        (12_345.0, Power, "12.35 kW"),
        (0.45, Power, "0.45 W"),
        (239.3, Voltage, "239 V"),
        (9.2636, Current, "9.26 A"),
        (0.035, Current, "35 mA"),
        (-9.26, Current, "−9.26 A"),
        (80.0, Time, "80 s"),
        (125.0, Time, "2 min 5 s"),
        (119.7, Time, "2 min"),
        (7500.0, Time, "2 h 5 min"),
        (0.02, Time, "20 ms"),
        (5.0, Volume, "5 l"),
        (0.05, Volume, "50 ml"),
        (0.24, Length, "240 mm"),
        (16e-6, Capacitance, "16 µF"),
        (100e-9, Capacitance, "100 nF"),
        (1200.0, Speed, "1200 rpm"),
        (0.1, Ratio, "10 %"),
        (3.24e6, Energy, "900 Wh"),
        (980.665, Pressure, "981 Pa"),
        (5e4, Pressure, "50 kPa"),
    ];
    for (value, d, want) in cases {
        assert_eq!(format(value, d), want, "{value}");
    }
}

/// JCGM 100:2008, 7.2.6: two significant digits of the uncertainty at most, the value to the same place.
#[test]
fn values_with_uncertainty() {
    let cases = [
        (2016.3, 35.2, Power, "2016 ± 35 W"),
        (2016.3, 344.0, Power, "2020 ± 340 W"),
        (26.0293, 0.2125, Resistance, "26.03 ± 0.21 Ω"),
        (4840.0, 242.0, Resistance, "4.84 ± 0.24 kΩ"),
        (60.0, 0.5, Temperature, "60.0 ± 0.5 °C"),
        (60.0, 0.996, Temperature, "60.0 ± 1.0 °C"),
        (-0.2, 0.5, Current, "−200 ± 500 mA"),
        (2452.4, 402.0, Voltage, "2500 ± 400 V"),
        (0.0, 0.5, Current, "0.0 ± 0.5 A"),
        (80.0, 0.0, Time, "80 s"),
        // 7.2.2 NOTE: the GUM's own mass standard, 100.021 47 g with u = 0.35 mg.
        (0.100_021_47, 0.000_000_35, Mass, "100.02147 ± 0.00035 g"),
    ];
    for (value, u, d, want) in cases {
        assert_eq!(format_pm(value, u, d), want, "{value} ± {u}");
    }
}

#[test]
fn resistance_codes() {
    let cases = [
        (26.4, "26R4"),
        (4700.0, "4k7"),
        (2.2e6, "2M2"),
        (0.5, "0R5"),
        (0.47, "0R47"),
        (100.0, "100R"),
        (10_000.0, "10k"),
        (999.9, "1k"),
        (5900.0, "5k9"),
        (0.0, "0R"),
        (f64::INFINITY, "∞ Ω"),
    ];
    for (value, want) in cases {
        assert_eq!(format_code(value), want, "{value}");
    }
}
