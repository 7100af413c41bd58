//! What a meter's display shows.

use crate::error::Piece;
use crate::notation::value;
use crate::number::{number, sign};
use crate::unit::conversion;
use crate::{Dimension, NotationError};

/// What was read from a display.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Reading {
    /// A number.
    Value(Decoded),
    /// More than the range can show: `OL`, or the lone 1 of a 3½-digit meter.
    OverRange {
        /// Whether the display shows a minus with it.
        below_zero: bool,
    },
}

/// A number from a display.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Decoded {
    /// In the base unit.
    pub value: f64,
    /// Worth of the last digit shown, in the base unit.
    pub resolution: f64,
}

/// Reads what a display shows, for a quantity of dimension `d`.
///
/// Over-range is written `OL`, `O.L`, `0.L`, `0L`, `.OL` or `∞`, with or without minus and unit; for a resistance
/// also `1.`, as meters of 3½ digits show it. A number without unit is taken in the base unit.
///
/// # Errors
/// As [`crate::parse`]; for a resistance also a lone `1`, which may be 1 Ω or the over-range of a 3½-digit meter.
pub fn parse_reading(text: &str, d: Dimension) -> Result<Reading, NotationError> {
    let piece = Piece::whole(text, d.example())?;
    let (skip, below_zero) = sign(piece.text).unwrap_or((0, false));
    let shown = piece.split(skip).1.trim();
    if is_over_range(shown.text, d) {
        return Ok(Reading::OverRange { below_zero });
    }
    if d == Dimension::Resistance && shown.text == "1" {
        return Err(piece.error(
            "a lone 1 may be 1 Ω, or the over-range of a 3½-digit meter",
            "write “1 Ω” for the value or OL for over-range",
        ));
    }
    let n = number(piece, d.example());
    if let Ok(n) = n
        && n.rest.trim().text.is_empty()
    {
        let decimals = i32::try_from(n.decimals).unwrap_or(i32::MAX);
        return Ok(Reading::Value(Decoded { value: n.value, resolution: 10f64.powi(-decimals) }));
    }
    value(piece, d).map(|v| Reading::Value(Decoded { value: v.value, resolution: v.resolution }))
}

fn is_over_range(shown: &str, d: Dimension) -> bool {
    let marks: &[&str] = if d == Dimension::Resistance {
        &["ol", "o.l", "0.l", "0l", ".ol", "∞", "1."]
    } else {
        &["ol", "o.l", "0.l", "0l", ".ol", "∞"]
    };
    marks.iter().any(|mark| {
        let Some((head, unit)) = shown.split_at_checked(mark.len()) else { return false };
        let unit = unit.trim();
        let volume_of_zero = *mark == "0l" && d == Dimension::Volume;
        head.eq_ignore_ascii_case(mark)
            && (unit.is_empty() || conversion(unit, d).is_some())
            && !volume_of_zero
    })
}
