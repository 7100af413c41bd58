//! The bench: what a machine does in each step of its service test, healthy or with any faults.
//!
//! [`predict`] takes a machine, a [`Hypothesis`] (which parts have which fault) and [`Conditions`] (supply, water,
//! meter), and runs the service test step by step: the board drives its outputs, guards refuse or stop them, the network
//! is solved, parts heat, turn, fill and drain, and the state they leave goes into the next step. Each step gives one
//! [`Prediction`]: watts, amperes, power factor, speed, litres, rise in temperature, seconds, what is seen and heard,
//! the code shown, with uncertainty from the parts' tolerances, the supply and the meter.
//!
//! Read in this order: `hypothesis.rs`, `conditions.rs`, `prediction.rs`, `moment.rs` (one instant, solved), `sense.rs`
//! (what the board makes of it), `step.rs` with `drive.rs` (what the board
//! drives) and `finish.rs` (what comes of it), `sweep.rs` (many hypotheses at once: steps shared), `shared.rs` (instants
//! shared), `superpose.rs` (faults that do not touch each other), `replay.rs` (a fault that changes no path), `reach.rs` and `classes.rs` (what depends on what),
//! `between.rs` (an ohmmeter), `volts.rs` (a voltmeter), `review.rs` (checks of a file that need all this).
//! Not here: matching a recording to the steps (`diagnosis`), the physics of a part (its kind in `machine`).

mod between;
mod bits;
mod classes;
mod conditions;
mod drive;
mod finish;
mod hypothesis;
mod modes;
mod moment;
mod prediction;
mod reach;
mod replay;
mod review;
mod sense;
mod shared;
mod step;
mod superpose;
mod sweep;
mod volts;

pub use between::{EndError, Ohmmeter, Ohms, ReadingGroup, between, find_node, ohms_between};
pub use conditions::{Conditions, Meter};
pub use hypothesis::{FaultError, Hypothesis};
pub use prediction::{Estimate, Prediction, Trip};
pub use review::{check, review};
pub use step::{Bench, State, predict};
pub use sweep::{PredictionId, Sweep};
pub use volts::{Voltmeter, volts_between, volts_by_step};
