//! Values written as a technician reads them.

use crate::Dimension;
use crate::Dimension as D;

/// A unit of display: from which magnitude on it is used (in the base unit), how many base units one of it is, and
/// its symbol.
#[derive(Debug, Clone, Copy)]
struct Scale(f64, f64, &'static str);

/// The scales of a dimension, smallest first; the first is used for all that is smaller.
fn scales(d: Dimension) -> &'static [Scale] {
    match d {
        D::Voltage => &[Scale(0.0, 1e-3, "mV"), Scale(1.0, 1.0, "V"), Scale(1e4, 1e3, "kV")],
        D::Current => &[Scale(0.0, 1e-6, "µA"), Scale(1e-3, 1e-3, "mA"), Scale(1.0, 1.0, "A")],
        D::Resistance => &[
            Scale(0.0, 1e-3, "mΩ"),
            Scale(0.1, 1.0, "Ω"),
            Scale(1e3, 1e3, "kΩ"),
            Scale(1e6, 1e6, "MΩ"),
            Scale(1e9, 1e9, "GΩ"),
        ],
        D::Power => &[Scale(0.0, 1e-3, "mW"), Scale(0.1, 1.0, "W"), Scale(1e4, 1e3, "kW")],
        D::ApparentPower => &[Scale(0.0, 1.0, "VA"), Scale(1e4, 1e3, "kVA")],
        D::ReactivePower => &[Scale(0.0, 1.0, "var"), Scale(1e4, 1e3, "kvar")],
        D::Frequency => &[Scale(0.0, 1.0, "Hz"), Scale(1e3, 1e3, "kHz"), Scale(1e6, 1e6, "MHz")],
        D::Time => &[Scale(0.0, 1e-3, "ms"), Scale(1.0, 1.0, "s")],
        D::Volume => &[Scale(0.0, 1e-3, "ml"), Scale(0.1, 1.0, "l")],
        D::Flow => &[Scale(0.0, 1.0, "l/min")],
        D::Length => &[Scale(0.0, 1e-3, "mm"), Scale(1.0, 1.0, "m")],
        D::Mass => &[Scale(0.0, 1e-3, "g"), Scale(1.0, 1.0, "kg")],
        D::Temperature => &[Scale(0.0, 1.0, "°C")],
        D::TemperatureDifference => &[Scale(0.0, 1.0, "K")],
        D::Capacitance => &[
            Scale(0.0, 1e-12, "pF"),
            Scale(1e-9, 1e-9, "nF"),
            Scale(1e-6, 1e-6, "µF"),
            Scale(1e-2, 1e-3, "mF"),
        ],
        D::Inductance => &[Scale(0.0, 1e-6, "µH"), Scale(1e-3, 1e-3, "mH"), Scale(1.0, 1.0, "H")],
        D::Speed => &[Scale(0.0, 1.0, "rpm")],
        D::Energy => &[Scale(0.0, 1.0, "J"), Scale(3.6e3, 3.6e3, "Wh"), Scale(3.6e6, 3.6e6, "kWh")],
        D::Pressure => &[Scale(0.0, 1.0, "Pa"), Scale(1e4, 1e3, "kPa"), Scale(1e5, 1e5, "bar")],
        D::Torque => &[Scale(0.0, 1e-3, "mN·m"), Scale(0.1, 1.0, "N·m")],
        D::Inertia => &[Scale(0.0, 1.0, "kg·m²")],
        D::HeatCapacity => &[Scale(0.0, 1.0, "J/K"), Scale(1e4, 1e3, "kJ/K")],
        D::Ratio => &[Scale(0.0, 1e-2, "%")],
        D::PulsesPerLitre => &[Scale(0.0, 1.0, "pulses/l")],
    }
}

/// The scale for a magnitude. Zero stands in the base unit's own scale, not in the smallest.
fn scale_for(value: f64, d: Dimension) -> Scale {
    let all = scales(d);
    let magnitude = if value == 0.0 { base_magnitude(d) } else { value.abs() };
    let fits = |s: &&Scale| magnitude >= s.0 * (1.0 - 1e-12);
    all.iter().rev().find(fits).copied().unwrap_or(all[0])
}

fn base_magnitude(d: Dimension) -> f64 {
    match d {
        D::Capacitance => 1e-6,
        D::Inductance => 1e-3,
        _ => 1.0,
    }
}

/// Writes a value of dimension `d` for reading at the machine: `26.4 Ω`, `4.7 kΩ`, `2016 W`, `9.26 A`, `1 min 20 s`.
///
/// Three significant digits, four where the first is a 1; digits before the point are never rounded away below
/// 10 000, and closing zeros after the point are left out. Watts, volts and their kin keep their unit up to 9999.
pub fn format(value: f64, d: Dimension) -> String {
    if d == D::Time && value.is_finite() && value.abs() >= 119.5 {
        return long_time(value);
    }
    if !value.is_finite() {
        let symbol = if value.is_nan() { "?" } else { "∞" };
        let sign = if value < 0.0 { "−" } else { "" };
        return format!("{sign}{symbol} {}", d.base_unit()).trim_end().to_owned();
    }
    let mut scale = scale_for(value, d);
    let mut text = three_digits(value / scale.1);
    // 999.6 Ω rounds to 1000 Ω, which reads 1 kΩ: round first, then look for the scale.
    if let Ok(rounded) = text.replace('−', "-").parse::<f64>() {
        let better = scale_for(rounded * scale.1, d);
        if rounded != 0.0 && better.2 != scale.2 {
            scale = better;
            text = three_digits(value / scale.1);
        }
    }
    format!("{text} {}", scale.2)
}

/// Minutes and seconds, or hours and minutes from two hours on.
fn long_time(seconds: f64) -> String {
    let sign = if seconds < 0.0 { "−" } else { "" };
    let seconds = seconds.abs();
    let (whole, part, big, small) = if seconds < 7200.0 - 0.5 {
        (seconds.round(), 60.0, "min", "s")
    } else {
        ((seconds / 60.0).round(), 60.0, "h", "min")
    };
    let (major, minor) = ((whole / part).floor(), whole % part);
    if minor == 0.0 { format!("{sign}{major} {big}") } else { format!("{sign}{major} {big} {minor} {small}") }
}

/// Decimals that leave three significant digits of `x`, four if the first is a 1.
fn decimals_for(x: f64) -> usize {
    if x == 0.0 {
        return 0;
    }
    let exponent = x.abs().log10().floor();
    let digits = if x.abs() / 10f64.powf(exponent) < 2.0 { 4.0 } else { 3.0 };
    (digits - 1.0 - exponent).clamp(0.0, 9.0) as usize
}

/// Three significant digits, four where the first is a 1; no closing zeros.
pub(crate) fn three_digits(x: f64) -> String {
    let text = format!("{x:.*}", decimals_for(x));
    with_minus(if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.') } else { &text })
}

/// A true minus in place of the hyphen, and none before a zero.
fn with_minus(text: &str) -> String {
    match text.strip_prefix('-') {
        Some(rest) if rest.bytes().all(|b| matches!(b, b'0' | b'.')) => rest.to_owned(),
        Some(rest) => format!("−{rest}"),
        None => text.to_owned(),
    }
}

/// Writes a value and its uncertainty: `2016 ± 35 W`.
///
/// The uncertainty is given to two significant digits at most and the value to the same decimal place
/// (JCGM 100:2008, 7.2.6): to two where the first is 1, 2 or 3, else to one. Both stand in the same unit. Without a finite uncertainty above 0 the value stands alone.
pub fn format_pm(value: f64, u: f64, d: Dimension) -> String {
    if !(value.is_finite() && u.is_finite() && u > 0.0) {
        return format(value, d);
    }
    let scale = scale_for(value, d);
    let (x, u) = (value / scale.1, u / scale.1);
    // Scientific notation rounds to two digits without the pitfalls of a logarithm near a power of ten.
    let two_digits = format!("{u:.1e}");
    let Some((mantissa, exponent)) = two_digits.split_once('e') else { return format(value, d) };
    let exponent: i32 = exponent.parse().unwrap_or(0);
    let last_place = if mantissa >= "4" { exponent } else { exponent - 1 };
    let decimals = usize::try_from(-last_place).unwrap_or(0).min(12);
    let step = 10f64.powi(last_place.max(0));
    let to_step = |v: f64| if step > 1.0 { (v / step).round() * step } else { v };
    let rounded = |v: f64| with_minus(&format!("{:.decimals$}", to_step(v)));
    format!("{} ± {} {}", rounded(x), rounded(u), scale.2)
}

/// Writes a resistance in the code of IEC 60062 with up to three significant digits: `26R4`, `4k7`, `2M2`, `0R5`.
///
/// Below 1 Ω a zero stands before the letter, which alone is easily overlooked. What has no code (negative or not
/// finite values) is written as by [`format()`].
pub fn format_code(value: f64) -> String {
    if !value.is_finite() || value < 0.0 {
        return format(value, D::Resistance);
    }
    // Rounded first, so that 999.9 Ω becomes 1k and not 1000R.
    let rounded: f64 = format!("{value:.2e}").parse().unwrap_or(value);
    let (factor, letter) = match rounded {
        r if r >= 1e9 => (1e9, 'G'),
        r if r >= 1e6 => (1e6, 'M'),
        r if r >= 1e3 => (1e3, 'k'),
        _ => (1.0, 'R'),
    };
    let x = rounded / factor;
    let exponent = if x > 0.0 { x.log10().floor() } else { 0.0 };
    let decimals = (2.0 - exponent + 1e-9).clamp(0.0, 9.0) as usize;
    let text = format!("{x:.decimals$}");
    let (whole, part) = text.split_once('.').unwrap_or((&text, ""));
    format!("{whole}{letter}{}", part.trim_end_matches('0'))
}
