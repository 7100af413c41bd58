//! The one error of this crate: an argument where its source states nothing.

use std::error::Error;
use std::fmt;

/// An argument lies where the source of the formula states nothing.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct OutOfRange {
    /// What was out of range, as a technician would call it: "temperature of a platinum sensor".
    pub what: &'static str,
    /// The value that was given; may be NaN.
    pub value: f64,
    /// Unit of `value` and of the two ends, empty for a plain number.
    pub unit: &'static str,
    /// Lowest value the source covers; −∞ where it sets none.
    pub lowest: f64,
    /// Highest value the source covers; +∞ where it sets none.
    pub highest: f64,
}

impl fmt::Display for OutOfRange {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Self { what, value, unit, lowest, highest } = self;
        let space = if unit.is_empty() { "" } else { " " };
        write!(f, "{what}: {value}{space}{unit} is not ")?;
        match (lowest.is_finite(), highest.is_finite()) {
            (true, true) => write!(f, "within {lowest} … {highest}{space}{unit}"),
            (true, false) => write!(f, "{lowest}{space}{unit} or more"),
            (false, true) => write!(f, "{highest}{space}{unit} or less"),
            (false, false) => write!(f, "a number"),
        }
    }
}

impl Error for OutOfRange {}

/// `value` itself if it lies within `lowest ..= highest`; NaN never does.
pub(crate) fn within(
    what: &'static str,
    value: f64,
    unit: &'static str,
    lowest: f64,
    highest: f64,
) -> Result<f64, OutOfRange> {
    if (lowest..=highest).contains(&value) {
        Ok(value)
    } else {
        Err(OutOfRange { what, value, unit, lowest, highest })
    }
}

/// `value` itself if it is finite and above zero.
pub(crate) fn positive(what: &'static str, value: f64, unit: &'static str) -> Result<f64, OutOfRange> {
    within(what, value, unit, f64::MIN_POSITIVE, f64::MAX)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_message_names_what_value_and_range() {
        let error = within("temperature of a platinum sensor", 900.0, "°C", -200.0, 850.0).unwrap_err();
        assert_eq!(error.to_string(), "temperature of a platinum sensor: 900 °C is not within -200 … 850 °C");
        let error = within("share", 2.0, "", 0.0, f64::INFINITY.min(1.0)).unwrap_err();
        assert_eq!(error.to_string(), "share: 2 is not within 0 … 1");
    }

    #[test]
    fn nan_is_in_no_range() {
        assert!(within("x", f64::NAN, "", f64::NEG_INFINITY, f64::INFINITY).is_err());
        assert!(positive("x", f64::INFINITY, "").is_err() && positive("x", 0.0, "").is_err());
    }
}
