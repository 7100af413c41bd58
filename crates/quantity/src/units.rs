//! The units in which people of a country read and type what is measured. All values stay in base units; only what is read and
//! written goes through here.

use crate::format::{format, three_digits};
use crate::unit::conversion;
use crate::{Dimension, NotationError, parse};

/// Unit of temperatures, and of differences of them.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub enum Temperatures {
    /// Degrees Celsius; differences in kelvin.
    #[default]
    Celsius,
    /// Degrees Fahrenheit, for differences too.
    Fahrenheit,
}

/// Unit of volumes of water.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub enum Volumes {
    /// Litres.
    #[default]
    Litres,
    /// US gallons of 3.785 l.
    UsGallons,
    /// Imperial gallons of 4.546 l.
    ImperialGallons,
}

/// Unit of lengths of leads and hoses.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub enum Lengths {
    /// Metres.
    #[default]
    Metres,
    /// Feet of 0.3048 m.
    Feet,
}

/// The units chosen.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Units {
    /// Unit of temperatures.
    pub temperature: Temperatures,
    /// Unit of volumes.
    pub volume: Volumes,
    /// Unit of lengths.
    pub length: Lengths,
}

impl Units {
    /// Symbol of the unit in which values of `d` are read and typed; the base unit where nothing can be chosen.
    pub const fn symbol(self, d: Dimension) -> &'static str {
        match (d, self.temperature, self.volume, self.length) {
            (Dimension::Temperature | Dimension::TemperatureDifference, Temperatures::Fahrenheit, _, _) => {
                "°F"
            }
            (Dimension::Volume, _, Volumes::UsGallons, _) => "US gal",
            (Dimension::Volume, _, Volumes::ImperialGallons, _) => "imp gal",
            (Dimension::Length, _, _, Lengths::Feet) => "ft",
            _ => d.base_unit(),
        }
    }

    /// Writes a value of the base unit in the unit chosen, to three significant digits: `0.132 US gal`. Where the base unit is
    /// chosen, as [`format()`].
    pub fn format(self, value: f64, d: Dimension) -> String {
        let symbol = self.symbol(d);
        if symbol == d.base_unit() || !value.is_finite() {
            return format(value, d);
        }
        format!("{} {symbol}", three_digits(self.number(value, d)))
    }

    /// The number of a value of the base unit in the unit chosen.
    pub fn number(self, value: f64, d: Dimension) -> f64 {
        conversion(self.symbol(d), d).map_or(value, |c| (value - c.offset) / c.factor)
    }

    /// A value of the base unit from its number in the unit chosen.
    pub fn base(self, number: f64, d: Dimension) -> f64 {
        conversion(self.symbol(d), d).map_or(number, |c| number * c.factor + c.offset)
    }

    /// What was typed, with its unit: that of the field behind a bare number, and whose gallon where gallons are chosen. All else
    /// is left as it was typed, to be read or refused by [`parse`].
    pub fn with_unit(self, text: &str, d: Dimension) -> String {
        let text = text.trim();
        if parse(text, d).is_ok() {
            return text.to_owned();
        }
        let symbol = self.symbol(d);
        if text.ends_with(|c: char| c.is_ascii_digit() || c == '.') {
            return format!("{text} {symbol}");
        }
        let number = text.trim_end_matches(|c: char| c.is_ascii_alphabetic());
        match (&text[number.len()..].to_ascii_lowercase()[..], symbol.split_once(' ')) {
            ("gal" | "gallon" | "gallons", Some((_, "gal"))) => format!("{} {symbol}", number.trim_end()),
            ("qt" | "quart" | "quarts", Some((whose, "gal"))) => format!("{} {whose} qt", number.trim_end()),
            _ => text.to_owned(),
        }
    }

    /// Reads what was typed into a field of `d`, in the base unit.
    ///
    /// # Errors
    /// As [`parse`]; a bare number is taken in the unit chosen.
    pub fn parse(self, text: &str, d: Dimension) -> Result<f64, NotationError> {
        parse(&self.with_unit(text, d), d)
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "a test")]
mod tests {
    use super::{Lengths, Temperatures, Units, Volumes};
    use crate::Dimension::{self, Length, Power, Temperature, TemperatureDifference, Time, Volume};

    const US: Units =
        Units { temperature: Temperatures::Fahrenheit, volume: Volumes::UsGallons, length: Lengths::Feet };

    #[test]
    fn values_are_written_in_the_units_chosen() {
        let cases: &[(Units, f64, Dimension, &str)] = &[
            (Units::default(), 0.5, Volume, "0.5 l"),
            (Units::default(), 60.0, Temperature, "60 °C"),
            (US, 60.0, Temperature, "140 °F"),
            (US, 1.0, TemperatureDifference, "1.8 °F"),
            (US, 0.5, Volume, "0.1321 US gal"),
            (US, 1.5, Length, "4.92 ft"),
            (US, 2000.0, Power, "2000 W"),
            (US, 80.0, Time, "80 s"),
            (Units { volume: Volumes::ImperialGallons, ..Units::default() }, 9.0, Volume, "1.98 imp gal"),
        ];
        for &(units, value, d, text) in cases {
            assert_eq!(units.format(value, d), text);
        }
        assert_eq!(US.format(f64::INFINITY, Volume), "∞ l");
    }

    #[test]
    fn a_bare_number_has_the_unit_of_its_field_and_a_unit_that_is_typed_counts() {
        for (units, typed, d, text) in [
            (Units::default(), "0.5", Volume, "0.5 l"),
            (US, "0.5", Volume, "0.5 US gal"),
            (US, "0,5 l", Volume, "0,5 l"),
            (US, "2 gal", Volume, "2 US gal"),
            (US, "2gal", Volume, "2 US gal"),
            (US, "1 qt", Volume, "1 US qt"),
            (US, "1 imp gal", Volume, "1 imp gal"),
            (Units::default(), "2 gal", Volume, "2 gal"),
            (US, "6", Length, "6 ft"),
            (US, "1.5 m", Length, "1.5 m"),
            (US, "140", Temperature, "140 °F"),
            (US, "60 °C", Temperature, "60 °C"),
            (US, "much", Volume, "much"),
        ] {
            assert_eq!(units.with_unit(typed, d), text);
        }
        assert!((US.parse("140", Temperature).unwrap() - 60.0).abs() < 1e-9);
        assert!(Units::default().parse("2 gal", Volume).is_err());
    }

    #[test]
    fn numbers_there_and_back() {
        for d in [Temperature, TemperatureDifference, Volume, Length, Power] {
            for value in [-3.5, 0.0, 0.2, 61.0] {
                assert!((US.base(US.number(value, d), d) - value).abs() < 1e-9);
            }
        }
    }
}
