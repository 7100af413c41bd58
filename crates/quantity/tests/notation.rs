//! Trade notation, one table per kind of text. Codes after IEC 60062:2016 (its examples quoted from memory).
#![allow(missing_docs, clippy::unwrap_used, reason = "a test")]

use quantity::Dimension::{self, *};
use quantity::{Reading, parse, parse_any, parse_at, parse_range, parse_reading, parse_toleranced};

fn close(a: f64, b: f64) -> bool {
    (a - b).abs() <= 1e-12 * a.abs().max(b.abs())
}

#[test]
fn values_in_all_spellings() {
    let cases: &[(&str, Dimension, f64)] = &[
        ("26R4", Resistance, 26.4),
        ("4k7", Resistance, 4700.0),
        ("4K7", Resistance, 4700.0),
        ("2M2", Resistance, 2.2e6),
        ("0R5", Resistance, 0.5),
        ("R47", Resistance, 0.47),
        // IEC 60062 examples, from memory.
        ("R10", Resistance, 0.1),
        ("R332", Resistance, 0.332),
        ("5R9", Resistance, 5.9),
        ("590R", Resistance, 590.0),
        ("5K90", Resistance, 5900.0),
        ("59K0", Resistance, 59_000.0),
        ("M590", Resistance, 590_000.0),
        ("5M9", Resistance, 5.9e6),
        ("1G", Resistance, 1e9),
        ("p10", Capacitance, 0.1e-12),
        ("3p32", Capacitance, 3.32e-12),
        ("n332", Capacitance, 332e-12),
        ("33n2", Capacitance, 33.2e-9),
        ("µ332", Capacitance, 332e-9),
        ("40k", Resistance, 40_000.0),
        ("4.7k", Resistance, 4700.0),
        ("4k7Ω", Resistance, 4700.0),
        ("4.7 kΩ", Resistance, 4700.0),
        ("4.7k\u{2126}", Resistance, 4700.0),
        ("1.2 MΩ", Resistance, 1.2e6),
        ("26.4 ohm", Resistance, 26.4),
        ("26,4 ohms", Resistance, 26.4),
        ("2 R", Resistance, 2.0),
        ("10 mΩ", Resistance, 0.01),
        ("10 milliohm", Resistance, 0.01),
        ("100n", Capacitance, 100e-9),
        ("2u2", Capacitance, 2.2e-6),
        ("16 µF", Capacitance, 16e-6),
        ("16 \u{3bc}F", Capacitance, 16e-6),
        ("16uF", Capacitance, 16e-6),
        ("2.2kW", Power, 2200.0),
        ("2 200 W", Power, 2200.0),
        ("2\u{a0}200 W", Power, 2200.0),
        ("2\u{202f}200\u{a0}W", Power, 2200.0),
        ("1,234.5 W", Power, 1234.5),
        ("1.234,5 W", Power, 1234.5),
        ("1,234,567 W", Power, 1_234_567.0),
        ("0,234 W", Power, 0.234),
        ("9,26 A", Current, 9.26),
        ("−9.26 A", Current, -9.26),
        ("1m20s", Time, 80.0),
        ("80 s", Time, 80.0),
        ("1 min 20 s", Time, 80.0),
        ("2 h", Time, 7200.0),
        ("1h30m", Time, 5400.0),
        ("5m", Time, 300.0),
        ("−1m20s", Time, -80.0),
        ("-4k7", Resistance, -4700.0),
        ("-0R5", Resistance, -0.5),
        ("5m", Length, 5.0),
        ("20 ms", Time, 0.02),
        ("1200 rpm", Speed, 1200.0),
        ("1200/min", Speed, 1200.0),
        ("1 200 1/min", Speed, 1200.0),
        ("1200 min⁻¹", Speed, 1200.0),
        ("1200 min-1", Speed, 1200.0),
        ("5 l", Volume, 5.0),
        ("5l", Volume, 5.0),
        ("500 ml", Volume, 0.5),
        ("8 l/min", Flow, 8.0),
        ("0.05 bar", Pressure, 5000.0),
        ("100 mm H2O", Pressure, 980.665),
        ("100mmH2O", Pressure, 980.665),
        ("100 mmH₂O", Pressure, 980.665),
        ("240 mm", Length, 0.24),
        // NIST SP 811 (2008), appendix B, from memory.
        ("32 °F", Temperature, 0.0),
        ("212 °F", Temperature, 100.0),
        ("140\u{2109}", Temperature, 60.0),
        ("-40 degF", Temperature, -40.0),
        ("9 °F", TemperatureDifference, 5.0),
        ("1 US gal", Volume, 3.785_411_784),
        ("2 US gallons", Volume, 7.570_823_568),
        ("1 imp gal", Volume, 4.546_09),
        ("4 imp qt", Volume, 4.546_09),
        ("4 US qt", Volume, 3.785_411_784),
        ("1 ft", Length, 0.3048),
        ("12 in", Length, 0.3048),
        ("1 psi", Pressure, 6_894.757_293_168_361),
        ("100 kPa", Pressure, 100_000.0),
        ("1 inH2O", Pressure, 249.088_91),
        ("1 US gpm", Flow, 3.785_411_784),
        ("7 kg", Mass, 7.0),
        ("60 °C", Temperature, 60.0),
        ("60degC", Temperature, 60.0),
        ("300 K", Temperature, 26.85),
        ("3977 K", TemperatureDifference, 3977.0),
        ("10 %", Ratio, 0.1),
        ("0.98", Ratio, 0.98),
        ("0.9 kWh", Energy, 3.24e6),
        ("1.5 N·m", Torque, 1.5),
        ("1.5 Nm", Torque, 1.5),
        ("0.3 kg·m²", Inertia, 0.3),
        ("450 pulses/l", PulsesPerLitre, 450.0),
        ("12 mH", Inductance, 0.012),
        ("120 var", ReactivePower, 120.0),
        ("2.5 kVA", ApparentPower, 2500.0),
        ("900 J/K", HeatCapacity, 900.0),
    ];
    for &(text, d, want) in cases {
        let got = parse(text, d).unwrap_or_else(|e| panic!("{text}: {e}"));
        assert!(close(got, want), "{text}: {got} is not {want}");
    }
}

/// Text, dimension, offending part, and the whole error as shown.
#[test]
fn refusals_say_what_to_write() {
    let cases = [
        ("2m2", Resistance, "m2", "a small m may be milli or mega here; write 2.2 mΩ, or 2M2 for megohms"),
        ("5m", Resistance, "m", "a small m may be milli or mega here; write 5 mΩ, or 5M for megohms"),
        (
            "5 mohm",
            Resistance,
            "mohm",
            "“mohm” may be milliohms or megohms; write 5 milliohm (or mΩ), or 5 MΩ",
        ),
        ("16m", Capacitance, "m", "“m” may be micro- or millifarads here; write 16 µF or 16 mF"),
        (
            "1,234 W",
            Power,
            "1,234",
            "1,234 may be 1.234 or 1234; write 1.234 for decimals or 1 234 for thousands",
        ),
        ("2 kW", Resistance, "kW", "this is a power, here a resistance is wanted; write e.g. 26R4 or 26.4 Ω"),
        ("230", Voltage, "230", "the unit of this voltage is missing; write e.g. 230 V"),
        ("2.2 KW", Power, "KW", "“KW” is no unit of power; write kW (upper and lower case matter in units)"),
        ("5 furlongs", Length, "furlongs", "“furlongs” is no unit of length; write e.g. 240 mm"),
        ("5 gal", Volume, "gal", "“gal” may be a US or an imperial one; write 5 US gal or 5 imp gal"),
        ("2 gpm", Flow, "gpm", "“gpm” may be a US or an imperial one; write 2 US gal/min or 2 imp gal/min"),
        (
            "1:20",
            Time,
            "1:20",
            "“1:20” may be minutes and seconds or hours and minutes; write e.g. 1m20s or 1 h 20 min",
        ),
        ("1h30", Time, "30", "the unit of this part is missing; write e.g. 1m20s or 80 s"),
        (
            "20s1m",
            Time,
            "20s1m",
            "hours, minutes and seconds are expected in this order, each once; write e.g. 1m20s or 80 s",
        ),
        (
            "4.7k5",
            Resistance,
            "4.7k5",
            "“4.7k5” has two decimal signs, the mark and the k; write e.g. 26R4 or 26.4 Ω",
        ),
        ("hot", Temperature, "hot", "a number is expected here; write e.g. 60 °C"),
        (
            "5. V",
            Voltage,
            ". V",
            "digits are expected after the decimal sign; write e.g. 230 V, without a mark after a whole number",
        ),
        ("  ", Voltage, "  ", "a value is missing here; write e.g. 230 V"),
    ];
    for (text, d, part, want) in cases {
        let error = parse(text, d).expect_err(text);
        assert_eq!((&text[error.span.clone()], error.to_string().as_str()), (part, want), "{text}");
    }
}

#[test]
fn tolerances() {
    let cases = [
        ("230 V ±10 %", Voltage, 230.0, 23.0, 23.0),
        ("4k84 ±5 %", Resistance, 4840.0, 242.0, 242.0),
        ("26R4 +5 %/-10 %", Resistance, 26.4, 2.64, 1.32),
        ("230 V −10 %/+5 %", Voltage, 230.0, 23.0, 11.5),
        ("230 V +5/-10 %", Voltage, 230.0, 23.0, 11.5),
        ("230 V +6 % -10 %", Voltage, 230.0, 23.0, 13.8),
        ("26R4 ±2 R", Resistance, 26.4, 2.0, 2.0),
        ("26R4 +/-2 R", Resistance, 26.4, 2.0, 2.0),
        ("26R4±0R5", Resistance, 26.4, 0.5, 0.5),
        ("2016 ± 35 W", Power, 2016.0, 35.0, 35.0),
        ("60 °C ±5 K", Temperature, 60.0, 5.0, 5.0),
        ("60 ± 5 °C", Temperature, 60.0, 5.0, 5.0),
        ("60 °C +0/-5 K", Temperature, 60.0, 5.0, 0.0),
        ("0.6 ±5 %", Ratio, 0.6, 0.03, 0.03),
        ("0.6 ±0.05", Ratio, 0.6, 0.05, 0.05),
        ("1200 min-1 ±10 %", Speed, 1200.0, 120.0, 120.0),
        ("26R4", Resistance, 26.4, 0.0, 0.0),
        ("-5 V ±1 V", Voltage, -5.0, 1.0, 1.0),
    ];
    for (text, d, nominal, minus, plus) in cases {
        let t = parse_toleranced(text, d).unwrap_or_else(|e| panic!("{text}: {e}"));
        assert!(close(t.nominal, nominal) && close(t.minus, minus) && close(t.plus, plus), "{text}: {t:?}");
    }
}

#[test]
fn tolerances_that_leave_a_question_are_refused() {
    let cases = [
        ("26R4 ±5", Resistance, "5", "5 of what: per cent or Ω?; write 5 % or 5 Ω"),
        ("26R4 +5 %", Resistance, "+5 %", "the tolerance downwards is missing; write e.g. +5 %/-0 %"),
        (
            "60 °C ±5 %",
            Temperature,
            "±5 %",
            "per cent of a temperature depends on the scale; write the tolerance in kelvin, e.g. ±5 K",
        ),
        (
            "60 % ±5 %",
            Ratio,
            "±5 %",
            "this may be per cent of the value or percentage points; write e.g. 0.6 ±5 % for per cent of the value or 0.6 ±0.05 for points",
        ),
        (
            "26R4 ±5 % ±6 %",
            Resistance,
            "±5 % ±6 %",
            "the tolerance is told twice; write e.g. ±5 % or +5 %/-10 %",
        ),
        (
            "26R4 ±5 V",
            Resistance,
            "V",
            "this is a voltage, here a resistance is wanted; write e.g. 26R4 or 26.4 Ω",
        ),
    ];
    for (text, d, part, want) in cases {
        let error = parse_toleranced(text, d).expect_err(text);
        assert_eq!((&text[error.span.clone()], error.to_string().as_str()), (part, want), "{text}");
    }
}

#[test]
fn ranges_and_conditions() {
    assert_eq!(parse_range("800R .. 40k", Resistance), Ok((800.0, 40_000.0)));
    assert_eq!(parse_range("20 .. 45 kHz", Frequency), Ok((20_000.0, 45_000.0)));
    assert_eq!(parse_range("20..45 kHz", Frequency), Ok((20_000.0, 45_000.0)));
    assert_eq!(parse_range("5 to 10 %", Ratio), Ok((0.05, 0.1)));
    let backwards = parse_range("45 .. 20 kHz", Frequency).unwrap_err();
    assert_eq!(backwards.remedy, "write 20 kHz .. 45");
    let unclear = parse_range("8 .. 40k", Resistance).unwrap_err();
    assert_eq!(
        unclear.to_string(),
        "the unit of 8 is missing; write the unit at both values, e.g. 800R .. 40k"
    );
    assert!(parse_range("800R", Resistance).is_err());
    let (power, volts) = parse_at("1850 W ±5 % at 230 V", Power, Voltage).unwrap();
    assert_eq!((power.nominal, power.minus, volts), (1850.0, 92.5, 230.0));
    assert_eq!(parse_at("1850W@230V", Power, Voltage).unwrap().1, 230.0);
    let alone = parse_at("1850 W", Power, Voltage).unwrap_err();
    assert_eq!(
        alone.to_string(),
        "the voltage at which this power holds is missing; write e.g. “2.2 kW at 230 V”"
    );
}

#[test]
fn displays() {
    for text in ["OL", "ol", "O.L", "0.L", "0L", ".OL", "1.", "∞", "OL MΩ", "O.L kΩ"] {
        assert_eq!(parse_reading(text, Resistance), Ok(Reading::OverRange { below_zero: false }), "{text}");
    }
    assert_eq!(parse_reading("-OL", Voltage), Ok(Reading::OverRange { below_zero: true }));
    let cases = [
        ("26.4 Ω", Resistance, 26.4, 0.1),
        ("1.234 kΩ", Resistance, 1234.0, 1.0),
        ("230", Voltage, 230.0, 1.0),
    ];
    for (text, d, value, resolution) in cases {
        let Ok(Reading::Value(v)) = parse_reading(text, d) else { panic!("{text}") };
        assert!(close(v.value, value) && close(v.resolution, resolution), "{text}: {v:?}");
    }
    assert!(parse_reading("1", Resistance).unwrap_err().remedy.contains("OL"));
    assert!(parse_reading("1.", Voltage).is_err());
    assert!(matches!(parse_reading("0l", Volume), Ok(Reading::Value(_))));
}

#[test]
fn the_unit_decides() {
    let cases = [
        ("239V", 239.0, Voltage),
        ("26R4", 26.4, Resistance),
        ("4K7", 4700.0, Resistance),
        ("100n", 100e-9, Capacitance),
        ("1m20s", 80.0, Time),
        ("3977 K", 3977.0, TemperatureDifference),
        ("60 °C", 60.0, Temperature),
        ("5 l", 5.0, Volume),
        ("10 %", 0.1, Ratio),
        ("5 mm", 0.005, Length),
        ("1 m3", 1000.0, Volume),
    ];
    for (text, value, d) in cases {
        let (got, dimension) = parse_any(text).unwrap_or_else(|e| panic!("{text}: {e}"));
        assert!(close(got, value) && dimension == d, "{text}: {got} {dimension}");
    }
    for text in ["5m", "4K", "230", "5 mohm", "5 furlongs", "2m2", "1h30"] {
        assert!(parse_any(text).is_err(), "{text}");
    }
}

#[test]
fn what_is_too_long_is_refused_unread() {
    let long = "9".repeat(201);
    assert!(parse(&long, Voltage).unwrap_err().message.contains("201 bytes"));
}
