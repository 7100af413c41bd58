//! One value with its unit.

use crate::error::Piece;
use crate::number::{Number, number, sign};
use crate::unit::{Conversion, conversion, dimensions_of, normalise, other_case};
use crate::{Dimension, NotationError};

/// A value that was read, and how finely it was written.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Value {
    /// In the base unit.
    pub(crate) value: f64,
    /// Worth of the last digit written, in the base unit.
    pub(crate) resolution: f64,
}

fn in_base(value: f64, decimals: usize, conversion: Conversion) -> Value {
    let decimals = i32::try_from(decimals).unwrap_or(i32::MAX);
    Value {
        value: scaled(value, conversion.factor) + conversion.offset,
        resolution: 10f64.powi(-decimals) * conversion.factor,
    }
}

/// `value * factor`, dividing by the exact inverse where the factor itself is not a binary fraction: 16 µF is then
/// the very `f64` nearest to 16e-6.
fn scaled(value: f64, factor: f64) -> f64 {
    let inverse = (1.0 / factor).round();
    if factor < 1.0 && inverse * factor == 1.0 { value / inverse } else { value * factor }
}

/// Reads a value of dimension `d`, in its base unit.
///
/// # Errors
/// If the text is empty, over [`crate::LONGEST_TEXT`] bytes, no number, of another dimension, without unit (allowed
/// for [`Dimension::Ratio`] only) or could mean two values.
pub fn parse(text: &str, d: Dimension) -> Result<f64, NotationError> {
    value(Piece::whole(text, d.example())?, d).map(|v| v.value)
}

/// Reads a value whose unit decides its dimension.
///
/// Codes after IEC 60062 are read as resistances (`26R4`) or capacitances (`100n`).
///
/// # Errors
/// As [`parse`], and if the unit is unknown or fits two dimensions (`5m`: minutes or metres).
pub fn parse_any(text: &str) -> Result<(f64, Dimension), NotationError> {
    let example = "230 V, 26R4 or 1m20s";
    let piece = Piece::whole(text, example)?;
    // A code has no blank in it: `3977 K` is a number with its unit.
    let in_one = !piece.text.contains(char::is_whitespace);
    for d in [Dimension::Resistance, Dimension::Capacitance] {
        if let Some(found) = code(piece, d).filter(|_| in_one) {
            return kelvin_or_kilo(piece).map_or_else(|| found.map(|v| (v.value, d)), Err);
        }
    }
    let time = time_of_parts(piece);
    if let Some(Ok(v)) = time {
        return Ok((v.value, Dimension::Time));
    }
    let n = number(piece, example)?;
    let unit = n.rest.trim();
    if unit.text.is_empty() {
        return Err(piece.error("the unit is missing", format!("write e.g. {example}")));
    }
    match dimensions_of(unit.text)[..] {
        [d] => value(piece, d).map(|v| (v.value, d)),
        // `1h30` is no unit at all; `1 m3` is one, though it begins like a time of two parts.
        [] => Err(time
            .and_then(Result::err)
            .or_else(|| milliohm(unit, n.piece))
            .unwrap_or_else(|| unknown_unit(unit, None))),
        _ => Err(unit.error(
            format!("“{}” may be minutes or metres", unit.text),
            format!("write “{} min” for a time, or a length in mm or cm", n.piece.text),
        )),
    }
}

/// `4K` alone, where nothing says whether kelvins or kilohms are meant.
fn kelvin_or_kilo(piece: Piece<'_>) -> Option<NotationError> {
    let digits = piece.text.strip_suffix('K')?;
    Some(piece.error(
        format!("“{}” may be {digits} kΩ or {digits} kelvin", piece.text),
        format!("write {digits}k for the resistance or “{digits} K” for the temperature difference"),
    ))
}

/// Reads all of `piece` as a value of dimension `d`.
pub(crate) fn value(piece: Piece<'_>, d: Dimension) -> Result<Value, NotationError> {
    let piece = piece.trim();
    if let Some(found) = code(piece, d) {
        return found;
    }
    if d == Dimension::Time
        && let Some(found) = time_of_parts(piece)
    {
        return found;
    }
    let n = number(piece, d.example())?;
    let unit = n.rest.trim();
    let Some(conversion) = conversion_or_bare(unit, d) else { return Err(wrong_unit(&n, unit, d, piece)) };
    Ok(in_base(n.value, n.decimals, conversion))
}

/// The conversion of a unit of `d`; a ratio may go without.
pub(crate) fn conversion_or_bare(unit: Piece<'_>, d: Dimension) -> Option<Conversion> {
    if unit.text.is_empty() && d == Dimension::Ratio {
        return Some(Conversion { factor: 1.0, offset: 0.0 });
    }
    conversion(unit.text, d)
}

/// Why `unit` does not do for `d`.
pub(crate) fn wrong_unit(n: &Number<'_>, unit: Piece<'_>, d: Dimension, all: Piece<'_>) -> NotationError {
    let example = d.example();
    if unit.text.is_empty() {
        return all
            .error(format!("the unit of this {} is missing", d.name()), format!("write e.g. {example}"));
    }
    if unit.text.starts_with(['.', ',']) {
        return unit.error(
            "digits are expected after the decimal sign",
            format!("write e.g. {example}, without a mark after a whole number"),
        );
    }
    if let Some(error) = ambiguous_milli(unit, n.piece, d).or_else(|| which_gallon(unit, n.piece, d)) {
        return error;
    }
    if unit.text.starts_with(':') && d == Dimension::Time {
        return all.error(
            format!("“{}” may be minutes and seconds or hours and minutes", all.text),
            "write e.g. 1m20s or 1 h 20 min",
        );
    }
    unknown_unit(unit, Some(d))
}

fn unknown_unit(unit: Piece<'_>, wanted: Option<Dimension>) -> NotationError {
    let known = dimensions_of(unit.text);
    let Some(d) = wanted else {
        return unit
            .error(format!("“{}” is no unit known here", unit.text), "write e.g. 230 V, 26R4 or 1m20s");
    };
    if let Some(other) = known.first() {
        return unit.error(
            format!("this is {}, here {} is wanted", other.with_article(), d.with_article()),
            format!("write e.g. {}", d.example()),
        );
    }
    let remedy = match other_case(unit.text, d) {
        Some(spelling) => format!("write {spelling} (upper and lower case matter in units)"),
        None => format!("write e.g. {}", d.example()),
    };
    unit.error(format!("“{}” is no unit of {}", unit.text, d.name()), remedy)
}

/// Gallons, quarts and flows in them, without saying whose.
fn which_gallon(unit: Piece<'_>, number: Piece<'_>, d: Dimension) -> Option<NotationError> {
    let plain = match (d, unit.text.to_ascii_lowercase().as_str()) {
        (Dimension::Volume, "gal" | "gallon" | "gallons") => "gal",
        (Dimension::Volume, "qt" | "quart" | "quarts") => "qt",
        (Dimension::Flow, "gpm" | "gal/min") => "gal/min",
        _ => return None,
    };
    Some(unit.error(
        format!("“{}” may be a US or an imperial one", unit.text),
        format!("write {0} US {plain} or {0} imp {plain}", number.text),
    ))
}

/// Texts in which a small m may stand for milli or, typed in haste, for mega or micro.
fn ambiguous_milli(unit: Piece<'_>, number: Piece<'_>, d: Dimension) -> Option<NotationError> {
    match d {
        Dimension::Resistance => milliohm(unit, number).or_else(|| {
            let decimals = unit.text.strip_prefix('m').filter(|t| t.bytes().all(|b| b.is_ascii_digit()))?;
            let mantissa = mantissa(number.text, decimals);
            Some(unit.error(
                "a small m may be milli or mega here",
                format!("write {mantissa} mΩ, or {}M{decimals} for megohms", number.text),
            ))
        }),
        Dimension::Capacitance if matches!(unit.text, "m" | "M" | "MF" | "mfd" | "MFD") => Some(unit.error(
            format!("“{}” may be micro- or millifarads here", unit.text),
            format!("write {0} µF or {0} mF", number.text),
        )),
        _ => None,
    }
}

fn milliohm(unit: Piece<'_>, number: Piece<'_>) -> Option<NotationError> {
    matches!(unit.text.to_lowercase().as_str(), "mohm" | "mohms" | "mr").then(|| {
        unit.error(
            format!("“{}” may be milliohms or megohms", unit.text),
            format!("write {0} milliohm (or mΩ), or {0} MΩ", number.text),
        )
    })
}

fn mantissa(whole: &str, decimals: &str) -> String {
    if decimals.is_empty() { whole.to_owned() } else { format!("{whole}.{decimals}") }
}

/// Multiplier of a code letter of IEC 60062 for dimension `d`. A small m is not among them, see [`ambiguous_milli`].
fn code_letter(c: char, d: Dimension) -> Option<f64> {
    Some(match (d, c) {
        (Dimension::Resistance, 'R' | 'r') => 1.0,
        (Dimension::Resistance, 'k' | 'K') => 1e3,
        (Dimension::Resistance, 'M') => 1e6,
        (Dimension::Resistance, 'G') => 1e9,
        (Dimension::Capacitance, 'p') => 1e-12,
        (Dimension::Capacitance, 'n') => 1e-9,
        (Dimension::Capacitance, 'u' | '\u{b5}' | '\u{3bc}') => 1e-6,
        _ => return None,
    })
}

/// A text split at its code letter: `26R4` is `26`, `R` and `4`.
struct Code<'a> {
    head: Piece<'a>,
    letter: char,
    factor: f64,
    /// Digits behind the letter, perhaps none.
    decimals: &'a str,
}

/// Splits a text that has the form of a code, with or without the unit behind it. A letter followed by its unit and
/// no digit is a prefix instead (`4 kΩ`), which the table of units reads.
fn split_code(piece: Piece<'_>, d: Dimension) -> Option<Code<'_>> {
    let (at, letter, factor) =
        piece.text.char_indices().find_map(|(i, c)| code_letter(c, d).map(|f| (i, c, f)))?;
    let (head, tail) = piece.split(at);
    let (_, tail) = tail.split(letter.len_utf8());
    let digits = tail.text.bytes().take_while(u8::is_ascii_digit).count();
    let (decimals, unit) = tail.split(digits);
    let unit = normalise(unit.text);
    let is_base_unit = conversion(&unit, d).is_some_and(|c| c.factor == 1.0) && unit != "R";
    let fits = match (digits, unit.is_empty()) {
        (0, true) => true,
        (0, false) => false,
        (_, no_unit) => (no_unit || is_base_unit) && !head.text.ends_with(char::is_whitespace),
    };
    fits.then_some(Code { head, letter, factor, decimals: decimals.text })
}

/// A code in which a letter stands for the decimal sign (IEC 60062): `26R4`, `R47`, `4k7`, `100n`, also `4.7k`,
/// with or without the unit behind it. Nothing if the text is not of this form.
fn code(piece: Piece<'_>, d: Dimension) -> Option<Result<Value, NotationError>> {
    let Code { head, letter, factor, decimals } = split_code(piece, d)?;
    let conversion = Conversion { factor, offset: 0.0 };
    let fraction: f64 = if decimals.is_empty() { 0.0 } else { format!("0.{decimals}").parse().ok()? };
    if head.text.is_empty() {
        return (!decimals.is_empty()).then(|| Ok(in_base(fraction, decimals.len(), conversion)));
    }
    let n = match number(head, d.example()) {
        Ok(n) if n.rest.trim().text.is_empty() => n,
        Ok(_) => return None,
        Err(error) => return Some(Err(error)),
    };
    if decimals.is_empty() {
        return Some(Ok(in_base(n.value, n.decimals, conversion)));
    }
    if n.decimals > 0 {
        return Some(Err(piece.error(
            format!("“{}” has two decimal signs, the mark and the {letter}", piece.text),
            format!("write e.g. {}", d.example()),
        )));
    }
    let magnitude = n.value.abs() + fraction;
    Some(Ok(in_base(if is_negative(head) { -magnitude } else { magnitude }, decimals.len(), conversion)))
}

/// Whether the text begins with a minus, which a value of 0 cannot tell.
fn is_negative(piece: Piece<'_>) -> bool {
    sign(piece.text).is_some_and(|(_, minus)| minus)
}

/// One part of a time such as the `20s` of `1m20s`: its value, the worth of its unit, and what follows.
fn time_part(piece: Piece<'_>) -> Option<(Value, f64, Piece<'_>)> {
    let n = number(piece, "").ok()?;
    let tail = n.rest.trim();
    let letters = tail.text.find(|c: char| !c.is_alphabetic()).unwrap_or(tail.text.len());
    let (unit, rest) = tail.split(letters);
    let conversion = conversion(unit.text, Dimension::Time)?;
    Some((in_base(n.value.abs(), n.decimals, conversion), conversion.factor, rest.trim()))
}

/// A time of several parts, `1m20s` or `1 h 5 min`; nothing if the text does not begin with a number, a unit of time
/// and a digit.
fn time_of_parts(piece: Piece<'_>) -> Option<Result<Value, NotationError>> {
    let example = Dimension::Time.example();
    let (first, mut unit, mut rest) = time_part(piece)?;
    let (mut total, mut resolution) = (first.value, first.resolution);
    if !rest.text.starts_with(|c: char| c.is_ascii_digit()) {
        return None;
    }
    while !rest.text.is_empty() {
        let part = time_part(rest).filter(|_| sign(rest.text).is_none());
        let Some((value, smaller, next)) = part else {
            return Some(
                Err(rest.error("the unit of this part is missing", format!("write e.g. {example}"))),
            );
        };
        if smaller >= unit {
            return Some(Err(piece.error(
                "hours, minutes and seconds are expected in this order, each once",
                format!("write e.g. {example}"),
            )));
        }
        (total, resolution, unit, rest) = (total + value.value, value.resolution, smaller, next);
    }
    Some(Ok(Value { value: if is_negative(piece) { -total } else { total }, resolution }))
}
