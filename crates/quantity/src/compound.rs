//! Values with tolerances, ranges, and values at a condition.

use crate::error::Piece;
use crate::notation::{conversion_or_bare, value, wrong_unit};
use crate::number::{Number, number, sign};
use crate::unit::conversion;
use crate::{Dimension, NotationError, Toleranced};

/// Reads a value with or without tolerance: `230 V ±10 %`, `26R4 +5 %/-10 %`, `26R4 ±2 R`, `2016 ± 35 W`.
///
/// A percentage is one of the nominal value. A value without tolerance has none, that is `minus` and `plus` are 0.
///
/// # Errors
/// As [`crate::parse`]; if a deviation has no unit, or only one side is given.
pub fn parse_toleranced(text: &str, d: Dimension) -> Result<Toleranced, NotationError> {
    toleranced(Piece::whole(text, d.example())?, d)
}

/// Reads a range from the lower to the upper value: `800R .. 40k`, `20 .. 45 kHz`.
///
/// A unit at the upper value alone holds for both.
///
/// # Errors
/// As [`crate::parse`]; if there are not two values, or the lower is above the upper.
pub fn parse_range(text: &str, d: Dimension) -> Result<(f64, f64), NotationError> {
    let example = format!("“from .. to” with the unit, such as {}", range_example(d));
    let piece = Piece::whole(text, &example)?;
    let Some((low, high)) = split_range(piece) else {
        return Err(piece.error("a range of two values is wanted here", format!("write {example}")));
    };
    for side in [low, high] {
        if side.text.is_empty() {
            return Err(piece.error("one end of the range is missing", format!("write {example}")));
        }
    }
    let upper = value(high, d)?.value;
    let lower = match bare_number(low, d) {
        Some(n) => in_unit_of(high, &n, d)?,
        None => value(low, d)?.value,
    };
    if lower > upper {
        return Err(piece.error(
            "the range runs backwards: its first value is the larger",
            format!("write {} .. {}", high.text, low.text),
        ));
    }
    Ok((lower, upper))
}

/// Reads a value that holds at a condition: `1850 W at 230 V`, also with `@`.
///
/// # Errors
/// As [`parse_toleranced`] for the value and [`crate::parse`] for the condition; if the condition is missing.
pub fn parse_at(text: &str, d: Dimension, at: Dimension) -> Result<(Toleranced, f64), NotationError> {
    let example = format!("“{} at {}”", first_example(d), first_example(at));
    let piece = Piece::whole(text, &example)?;
    let Some((left, right)) = split_at_word(piece, &[" at ", "@"]) else {
        return Err(piece.error(
            format!("the {} at which this {} holds is missing", at.name(), d.name()),
            format!("write e.g. {example}"),
        ));
    };
    if left.text.is_empty() || right.text.is_empty() {
        return Err(piece.error("two values are wanted here", format!("write e.g. {example}")));
    }
    Ok((toleranced(left, d)?, value(right, at)?.value))
}

fn first_example(d: Dimension) -> &'static str {
    d.example().split(" or ").next().unwrap_or_default()
}

fn range_example(d: Dimension) -> String {
    match d {
        Dimension::Resistance => "800R .. 40k".to_owned(),
        Dimension::Ratio => "10 .. 20 %".to_owned(),
        _ => format!("10 .. 20 {}", d.base_unit()),
    }
}

/// Splits at the first of `words` found, without it and the white space around it.
fn split_at_word<'a>(piece: Piece<'a>, words: &[&str]) -> Option<(Piece<'a>, Piece<'a>)> {
    let (at, length) = words.iter().find_map(|w| Some((piece.text.find(w)?, w.len())))?;
    let (left, right) = piece.split(at);
    Some((left.trim(), right.split(length).1.trim()))
}

fn split_range(piece: Piece<'_>) -> Option<(Piece<'_>, Piece<'_>)> {
    split_at_word(piece, &["...", "..", "…", " to "])
}

/// The number, if the piece is a number and nothing else.
fn bare_number(piece: Piece<'_>, d: Dimension) -> Option<Number<'_>> {
    number(piece, d.example()).ok().filter(|n| n.rest.trim().text.is_empty())
}

/// The value of `n` in the unit that stands behind the number in `other`.
fn in_unit_of(other: Piece<'_>, n: &Number<'_>, d: Dimension) -> Result<f64, NotationError> {
    let unit = number(other, d.example()).ok().map(|o| o.rest.trim());
    let Some(conversion) = unit.and_then(|u| conversion_or_bare(u, d)) else {
        // `8 .. 40k`: nothing says whether the 8 is one of the same k.
        return Err(n.piece.error(
            format!("the unit of {} is missing", n.piece.text),
            format!("write the unit at both values, e.g. {}", range_example(d)),
        ));
    };
    Ok(n.value * conversion.factor + conversion.offset)
}

fn toleranced(piece: Piece<'_>, d: Dimension) -> Result<Toleranced, NotationError> {
    let Some(at) = tolerance_start(piece.text) else {
        return value(piece, d).map(|v| Toleranced::exact(v.value));
    };
    let (nominal_piece, tolerance) = piece.split(at);
    let nominal_piece = nominal_piece.trim();
    let sides = sides(tolerance, d)?;
    let (nominal, bare) = nominal(nominal_piece, &sides, d)?;
    let deviation = |side: &Side<'_>| deviation(side, &sides, nominal, bare, d);
    let (mut minus, mut plus) = (0.0, 0.0);
    for side in &sides.list {
        let size = deviation(side)?;
        match side.direction {
            Direction::Both => (minus, plus) = (size, size),
            Direction::Down => minus = size,
            Direction::Up => plus = size,
        }
    }
    Ok(Toleranced { nominal, minus, plus })
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Direction {
    Both,
    Up,
    Down,
}

/// One deviation: its direction and the text of its number and unit.
struct Side<'a> {
    direction: Direction,
    piece: Piece<'a>,
}

struct Sides<'a> {
    list: Vec<Side<'a>>,
    all: Piece<'a>,
}

impl<'a> Sides<'a> {
    /// The unit behind the last deviation, which holds for an earlier one without.
    fn last_unit(&self) -> Option<Piece<'a>> {
        let last = self.list.last()?;
        number(last.piece, "5 %").ok().map(|n| n.rest.trim()).filter(|u| !u.text.is_empty())
    }
}

/// Where the tolerance begins: at the first `±` or sign behind the start that is not the exponent of `min-1`.
fn tolerance_start(text: &str) -> Option<usize> {
    let first = sign(text).map_or(0, |(length, _)| length);
    text[first..].char_indices().map(|(i, _)| i + first).find(|&i| {
        let rest = &text[i..];
        i > 0 && (rest.starts_with('±') || sign(rest).is_some() && !text[..i].ends_with("min"))
    })
}

/// Splits `±5 %` or `+5 %/-10 %` into its deviations and sees that both directions are told once.
fn sides<'a>(tolerance: Piece<'a>, d: Dimension) -> Result<Sides<'a>, NotationError> {
    let all = tolerance.trim();
    let remedy = "write e.g. ±5 % or +5 %/-10 %";
    let mut list: Vec<Side<'a>> = Vec::new();
    let mut rest = all;
    while !rest.text.is_empty() {
        let both = ["±", "+/-", "+/−", "+-"].iter().find_map(|p| rest.after(p));
        let (direction, body) = match (both, sign(rest.text)) {
            (Some(body), _) => (Direction::Both, body),
            (None, Some((n, minus))) => {
                (if minus { Direction::Down } else { Direction::Up }, rest.split(n).1)
            }
            (None, None) => return Err(rest.error("a tolerance is expected here", remedy)),
        };
        let end = tolerance_start(body.text).unwrap_or(body.text.len());
        let (piece, next) = body.split(end);
        let trimmed = piece.text.trim_end().trim_end_matches(['/', ',']).len();
        list.push(Side { direction, piece: piece.split(trimmed).0.trim() });
        rest = next.trim();
    }
    let told: Vec<Direction> = list.iter().map(|s| s.direction).collect();
    match told[..] {
        [Direction::Both] | [Direction::Up, Direction::Down] | [Direction::Down, Direction::Up] => {
            Ok(Sides { list, all })
        }
        [Direction::Up] => {
            Err(all.error("the tolerance downwards is missing", format!("write e.g. {}/-0 %", all.text)))
        }
        [Direction::Down] => Err(all.error(
            "the tolerance upwards is missing",
            format!("write e.g. {}/+0 %, or “from .. to” if a range of {} is meant", all.text, d.name()),
        )),
        _ => Err(all.error("the tolerance is told twice", remedy)),
    }
}

/// The nominal value, and whether it stands without a unit of its own.
fn nominal(piece: Piece<'_>, sides: &Sides<'_>, d: Dimension) -> Result<(f64, bool), NotationError> {
    let Some(n) = bare_number(piece, d) else { return Ok((value(piece, d)?.value, false)) };
    // `2016 ± 35 W`: the unit of the tolerance is that of the value too, unless it is a percentage.
    let shared = sides.last_unit().filter(|_| d != Dimension::Ratio).and_then(|u| conversion(u.text, d));
    match shared {
        Some(c) => Ok((n.value * c.factor + c.offset, true)),
        None => Ok((value(piece, d)?.value, true)),
    }
}

/// Size of one deviation in the base unit.
fn deviation(
    side: &Side<'_>,
    sides: &Sides<'_>,
    nominal: f64,
    bare: bool,
    d: Dimension,
) -> Result<f64, NotationError> {
    let n = number(side.piece, "5 %").map_err(|_| {
        side.piece.error("a number is expected in the tolerance", "write e.g. ±5 % or +5 %/-10 %")
    })?;
    if sign(side.piece.text).is_some() {
        return Err(side.piece.error("a tolerance has one sign", "write e.g. ±5 % or +5 %/-10 %"));
    }
    let own = n.rest.trim();
    let unit = if own.text.is_empty() { sides.last_unit().unwrap_or(own) } else { own };
    let size = if let Some(share) = conversion(unit.text, Dimension::Ratio) {
        relative(n.value * share.factor, nominal, bare, d, sides.all)?
    } else if unit.text.is_empty() && d != Dimension::Ratio {
        if n.value != 0.0 {
            return Err(side.piece.error(
                format!("{} of what: per cent or {}?", side.piece.text, d.of_deviation().base_unit()),
                format!("write {0} % or {0} {1}", side.piece.text, d.of_deviation().base_unit()),
            ));
        }
        0.0
    } else if own.text.is_empty() {
        let Some(c) = conversion_or_bare(unit, d.of_deviation()) else {
            return Err(wrong_unit(&n, unit, d.of_deviation(), side.piece));
        };
        n.value * c.factor
    } else {
        value(side.piece, d.of_deviation())?.value
    };
    Ok(size.abs())
}

/// A deviation told as a share of the nominal value, where that makes sense.
fn relative(
    share: f64,
    nominal: f64,
    bare: bool,
    d: Dimension,
    all: Piece<'_>,
) -> Result<f64, NotationError> {
    match d {
        Dimension::Temperature => Err(all.error(
            "per cent of a temperature depends on the scale",
            "write the tolerance in kelvin, e.g. ±5 K",
        )),
        Dimension::Ratio if !bare => Err(all.error(
            "this may be per cent of the value or percentage points",
            "write e.g. 0.6 ±5 % for per cent of the value or 0.6 ±0.05 for points",
        )),
        _ => Ok((nominal * share).abs()),
    }
}
