//! Limits of error of instruments, and values that are believed, as the command line states them.

use crate::end::Failure;
use bench::Meter;
use quantity::{Dimension, NotationError, parse};

/// Worth of the last digit in the lowest range of a common multimeter, Ω.
const DIGIT_OHM: f64 = 0.1;

/// Limits of error of the power meter: "1% 1W", "1 % 1 W", "2%", "0.5 W".
pub(crate) fn meter(text: &str) -> Result<Meter, Failure> {
    let (relative, absolute_w) = limits("--meter", "1% 1W", text, Dimension::Power, 1000.0)?;
    Ok(Meter { relative, absolute_w })
}

/// Limits of error of the multimeter in its ohm ranges: "1% 0R3", "0.8% 3 digits" (of a tenth of an ohm).
pub(crate) fn multimeter(text: &str) -> Result<(f64, f64), Failure> {
    let digits = text.split_once('%').map_or(text, |(_, rest)| rest);
    let digits = digits.trim().trim_start_matches('+').trim();
    let number = digits.strip_suffix("digits").or_else(|| digits.strip_suffix("digit"));
    let Some(number) = number.map(str::trim) else {
        return limits("--multimeter", "1% 3 digits", text, Dimension::Resistance, 1000.0);
    };
    let count: f64 = number.parse().map_err(|_| {
        Failure::asked_wrongly(
            &format!("--multimeter: `{number}` is no number of digits"),
            "write for instance --multimeter \"1% 3 digits\"",
        )
    })?;
    let share = text.split_once('%').map_or(String::new(), |(share, _)| format!("{share}%"));
    let (relative, _) = limits("--multimeter", "1% 3 digits", &share, Dimension::Resistance, 1000.0)?;
    Ok((relative, within("--multimeter", count, 0.0, 1000.0, "digits")? * DIGIT_OHM))
}

/// A share of the reading and a value beside it; either may be left out.
pub(crate) fn limits(
    option: &str,
    example: &str,
    text: &str,
    dimension: Dimension,
    most: f64,
) -> Result<(f64, f64), Failure> {
    let (share, rest) = match text.split_once('%') {
        Some((share, rest)) => (Some(format!("{}%", share.trim())), rest.trim()),
        None => (None, text.trim()),
    };
    let rest = rest.trim_start_matches(['+', '±', ',']).trim();
    let (mut relative, mut absolute) = (0.0, 0.0);
    if let Some(share) = share {
        let share = parse(&share, Dimension::Ratio).map_err(|e| unread(option, example, &e))?;
        relative = within(option, share, 0.0, 0.5, "of the reading")?;
    }
    if !rest.is_empty() {
        let value = parse(rest, dimension).map_err(|e| unread(option, example, &e))?;
        absolute = within(option, value, 0.0, most, dimension.base_unit())?;
    }
    Ok((relative, absolute))
}

/// The value, if it is believed.
pub(crate) fn within(option: &str, value: f64, least: f64, most: f64, unit: &str) -> Result<f64, Failure> {
    if (least..=most).contains(&value) {
        return Ok(value);
    }
    Err(Failure::asked_wrongly(
        &format!("{option}: {value} {unit} is out of reach"),
        &format!("give {least} to {most} {unit}"),
    ))
}

/// A value of an option that cannot be read.
pub(crate) fn unread(option: &str, example: &str, error: &NotationError) -> Failure {
    Failure::asked_wrongly(
        &format!("{option}: {error}"),
        &format!("write for instance {option} \"{example}\""),
    )
}

#[cfg(test)]
mod tests {
    use super::{meter, multimeter};

    #[test]
    fn a_meter_is_read_with_and_without_blanks() {
        for text in ["1% 1W", "1 % 1 W", "1%1W", "1% + 1W"] {
            let read = meter(text).unwrap();
            assert!((read.relative - 0.01).abs() < 1e-12 && (read.absolute_w - 1.0).abs() < 1e-12, "{text}");
        }
    }

    #[test]
    fn nonsense_is_refused() {
        for text in ["good", "1% 1V", "90% 1W", "-1% 1W", "1% 1e9 W"] {
            assert!(meter(text).is_err(), "{text}");
        }
        for text in ["good", "1% 1V", "1% many digits", "1% -3 digits", "90% 3 digits", "1% NaN digits"] {
            assert!(multimeter(text).is_err(), "{text}");
        }
    }

    #[test]
    fn digits_are_tenths_of_an_ohm() {
        for text in ["0.8% 3 digits", "0,8 % + 3 digits", "0.8% 0R3"] {
            let (relative, absolute) = multimeter(text).unwrap();
            assert!((relative - 0.008).abs() < 1e-12 && (absolute - 0.3).abs() < 1e-12, "{text}");
        }
    }
}
