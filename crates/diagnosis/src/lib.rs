//! Diagnosis: from evidence to the suspects, and to the next check worth its minutes.
//!
//! [`find()`] takes a machine, [`evidence`] and the frame ([`setup`]) and gives a [`finding`]; [`Find`] goes on as evidence comes in.
//! Its parts: [`belief`] (how probable each set of faults is), [`align`] (a recording held against the steps), [`next`] (what could
//! be checked, and what first).
//!
//! Below these lie four engines that know nothing of machines or of each other; each works on plain numbers and indices, so that it
//! can be held against published values and against a slow twin:
//!
//! - [`hypotheses`] – sets of failed parts and the posterior over them with a bound on what was left out.
//! - [`plan`] – what to do next: checks, repairs, panels and parts, at the least expected cost until the machine
//!   works, between a lower and an upper bound.
//! - [`network`] – exact posteriors where faults and checks form a Bayesian network.
//! - [`consistency`] – conflicts, diagnoses and the best probe where components only work or do not.
//!
//! Read in this order: `evidence/mod.rs`, `check.rs`, `finding.rs`, `find.rs`, then what it calls.
//! Not here: what a machine does under a fault (`bench`), what a trace shows (`trace`), prices (`worth`).
//!
//! Always true: nothing here reads a clock, a file or a random source, so the same input gives the same bytes; effort is
//! counted in states and hypotheses, never in seconds; a probability or a cost that is not exact comes with its bound.
//!
//! ```
//! use diagnosis::hypotheses::{Fault, Hypothesis, Item, Limits, Part, Prior, posterior};
//!
//! // Heating element (open, leaking to earth), its relay, and a lamp; the heater step drew no power.
//! let parts = [Part { modes: vec![0.02, 0.01] }, Part { modes: vec![0.01] }, Part { modes: vec![0.05] }];
//! let prior = Prior::new(&parts, vec![])?;
//! let (open, leaking, relay) =
//!     (Fault { part: 0, mode: 0 }, Fault { part: 0, mode: 1 }, Fault { part: 1, mode: 0 });
//! let no_power = Item::new([open, leaking, relay], 0.0);
//! let ln_likelihood = |_item: usize, h: &Hypothesis| {
//!     let dead = h.faults.contains(&open) || h.faults.contains(&relay);
//!     if dead { 0.997_f64.ln() } else { 0.003_f64.ln() }
//! };
//! let answer = posterior(&prior, ln_likelihood, &[no_power], &Limits::default())?;
//! let (first, probability) = &answer.hypotheses[0];
//! assert_eq!(first.faults, [open]);
//! assert!(*probability > 0.3 && answer.left_out < 1e-4);
//! # Ok::<(), diagnosis::hypotheses::HypothesesError>(())
//! ```

pub mod align;
pub mod belief;
pub mod chart;
pub mod check;
pub mod consistency;
pub mod evidence;
pub mod find;
pub mod finding;
pub mod hypotheses;
pub mod network;
pub mod next;
pub mod plan;
pub mod practise;
mod reasons;
pub mod setup;
mod verdicts;

pub use find::{Find, FindError, find};
pub use verdicts::compare;
