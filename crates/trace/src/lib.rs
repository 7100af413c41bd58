//! Recordings of what an appliance draws: read from any meter's file, cut into states, loads and measures.
//!
//! A [`Trace`] is a list of [`Sample`]s, each with its own time; gaps stay gaps. [`read`] makes samples out of what a
//! meter's program exports and says in a [`read::Summary`] what it found and did; [`cut`] finds levels and ramps, [`loads`]
//! the heater intervals, spins and reversals, [`measures`] energy, duty and differences between cycles, all on plain
//! slices of seconds and watts. [`analysis`] puts these together sample by sample for recordings of any length, with the
//! trouble of the supply and what can't be told apart; [`live`] says what is on while a machine still runs.
//! [`waveform`] works on recordings fast enough to show the mains cycle itself.
//!
//! Read in this order: `sample.rs`, `pace.rs`, `read/` (dialect, columns, times, rows), `cut/`, `loads/`, `measures.rs`,
//! `analysis/`, `live/`; apart from these stands `waveform/` (power quantities, cycles).
//!
//! Always true: no bytes make a reader panic, hang or take memory without bound, and nothing is dropped from a
//! recording without a word in its summary (`tests/read_properties.rs`).

pub mod analysis;
pub mod cut;
pub mod live;
pub mod loads;
pub mod measures;
pub mod pace;
pub mod read;
pub mod sample;
pub mod waveform;

pub use sample::{Sample, Trace};
