//! Electrical safety after a repair: which tests apply, in which order, against which limits, and what a reading means.
//!
//! [`plan()`] takes a [`Subject`] (class, lead, heating) and a standard and gives the tests that apply, each with its
//! [`Instruction`] and [`Limit`]; [`judge()`] holds [`Reading`]s against them and gives a [`Report`] with its conclusion.
//! [`retest`] says which steps of the machine's own service test a repair touches, and compares what they read with what
//! the healthy machine draws.
//!
//! Read in this order: `test.rs`, `subject.rs`, `limits.toml` (every limit, with its source) and `limits.rs`, `plan.rs`,
//! `reading.rs`, `tester.rs`, `judge.rs`, `report.rs`; `facts.rs` reads what people type
//! of appliance and tester, `import.rs` only makes readings out of a tester's file.
//! Not here: asking for readings and printing (`wattmend`), keeping them (`records`).
//!
//! Always true: nothing here reads a clock, a file or a random source; a test that energises or applies a high voltage
//! carries its caution in the same value; a test is blocked until those that protect it have passed, and the machine's own
//! test until all but the functional test have; nothing is fit to hand back until every test that applies has passed.

mod advice;
pub mod facts;
pub mod import;
mod judge;
mod limits;
mod plan;
mod reading;
mod report;
pub mod retest;
mod subject;
mod test;
mod tester;

pub use advice::{DEFER, Instruction, Meaning};
pub use judge::judge;
pub use limits::{Keep, Limit, Standard, StandardError, limit, standard, standards};
pub use plan::{Planned, Skipped, TestPlan, WhyNot, plan};
pub use reading::{NotAReading, Reading, Shown, Typed, parse_reading, parse_typed};
pub use report::{Conclusion, Item, Judged, Next, Report, State};
pub use subject::{Sort, Subject, SubjectError};
pub use test::Test;
pub use tester::{Accuracy, Calibrated, Calibration, Tester};
