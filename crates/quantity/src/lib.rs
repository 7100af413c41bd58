//! Quantities with units, trade notation in and out, and values with uncertainty.
//!
//! A technician writes `26R4`, `4k84 ±5 %`, `1850 W at 230 V`, `9,26 A`, `1m20s` or `OL`; the rest of Wattmend sees
//! plain `f64` in the base unit of a [`Dimension`]. What can be read in two ways is refused with the two clear ways
//! to write it, never guessed.
//!
//! Read in this order: `dimension.rs` (what is measured, in which base unit), `unit.rs` (how units are spelt),
//! `number.rs`, `notation.rs` (one value), `compound.rs` (tolerances, ranges, "… at …"), `reading.rs` (what a display
//! shows), `format.rs` (the way back), `units.rs` (the units of a country). Apart from these stand [`uncertainty`] and [`conformity`].
//!
//! Always true: no text makes anything here panic, and texts over [`LONGEST_TEXT`] bytes are refused unread
//! (`tests/notation_properties.rs`); what [`format()`] writes, [`parse`] reads back.

mod compound;
pub mod conformity;
mod dimension;
mod error;
mod format;
mod notation;
mod number;
mod reading;
mod toleranced;
pub mod uncertainty;
mod unit;
mod units;

pub use compound::{parse_at, parse_range, parse_toleranced};
pub use dimension::Dimension;
pub use error::NotationError;
pub use format::{format, format_code, format_pm};
pub use notation::{parse, parse_any};
pub use reading::{Decoded, Reading, parse_reading};
pub use toleranced::Toleranced;
pub use units::{Lengths, Temperatures, Units, Volumes};

/// The longest text that is read, in bytes. A value is a few words; more is a mistake or an attack.
pub const LONGEST_TEXT: usize = 200;
