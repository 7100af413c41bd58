//! Made-up recordings and readings: a machine with chosen faults as it would show itself to a meter and a technician.
//!
//! [`specimen`] draws one machine from the tolerances of its file. [`record`] lets an operator walk it through its
//! service test and gives what the meter at the plug recorded, beside the truth. [`Subject`] answers a learner's checks
//! one by one. [`household`] makes days of ordinary use. All are deterministic by their seed.
//!
//! Watts come from `bench`: the specimen's parameters at the actual supply. What is added here is time (switching
//! one after the other, cold resistances, run-up, the drum's turning to and fro, a guard's patience), the supply
//! (drift, dips, source resistance), the operator, and the meter.
//!
//! **This certifies nothing about the diagnosis.** The simulator and the diagnoser share one physics, so agreement of the two
//! shows that neither stumbles, not that either is right about a real machine. Whatever is shown from here says that it
//! is made up.
//!
//! Read in this order: `setting.rs` (circumstances), `specimen.rs`, `rig.rs` (levels from the bench), `starts.rs` (what
//! happens at switch-on), `fitful.rs` (faults that come and go), `course.rs` (the true course of the power), `stage.rs` (a step played), `meter.rs` (what the
//! meter makes of it), `record.rs`, `pressed.rs` (worked by hand), `household.rs`, `subject.rs`, `hidden.rs` (which fault is to be found).
//! Not here: sound of the drum, files, the score of a practice.

mod course;
mod dice;
mod fitful;
mod hidden;
mod household;
mod meter;
mod pressed;
mod record;
mod rig;
mod setting;
mod specimen;
mod stage;
mod starts;
mod subject;

pub use hidden::{Hidden, hidden};
pub use household::household;
pub use pressed::pressed;
pub use record::{Recording, Stretch, record};
pub use setting::{ForeignLoad, MeterModel, Operator, Setting, SupplyModel};
pub use specimen::{drawn_within, specimen};
pub use subject::{Shown, Subject, SubjectError};
