//! The run-down guard: after a step that spins, how long the drum may still turn, and what the next step would do meanwhile.
//! It counts and says so; it cannot see the drum and holds no machine back.

use super::follow::{Place, idle_w};
use bench::Prediction;
use machine::model::Machine;

/// A step is driven while it draws more than the standing machine by this share of what it should add, and so many W.
const DRIVEN: (f64, f64) = (0.15, 3.0);
/// "Look whether it stands" is said for so long after the time is over, s.
const LOOK_S: f64 = 30.0;
/// Samples this far apart say nothing about the time between, s.
const SILENT_S: f64 = 3.0;

/// What is to be said; caution and instruction in one.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct RunDown {
    pub(crate) phase: Phase,
    /// In one sentence: wait, or look.
    pub(crate) says: String,
    /// What can happen on the way into the next step, in the machine file's words.
    pub(crate) caution: String,
    /// What comes next.
    pub(crate) next: String,
    /// When the count ends, s after the trace begins; none while the drum is driven.
    pub(crate) until_s: Option<f64>,
    /// The spinning step.
    pub(crate) step: usize,
}

/// How far it is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Phase {
    /// The motor drives the drum.
    Driven,
    /// It runs down.
    Counting,
    /// The time is over.
    Look,
}

/// When a spinning step was driven last.
#[derive(Clone, Debug, Default)]
pub(crate) struct Motion {
    /// The step and the time, s.
    driven: Option<(usize, f64)>,
    driven_now: bool,
    last_s: f64,
}

impl Motion {
    /// Takes note of a sample, and of the step that runs.
    pub(crate) fn saw(
        &mut self,
        machine: &Machine,
        expected: &[Prediction],
        running: Option<usize>,
        at_s: f64,
        watts: f64,
    ) {
        let silent = at_s - self.last_s > SILENT_S;
        self.last_s = at_s;
        self.driven_now = false;
        // A drum that was driven is driven on until the watts fall, whatever step is thought to run.
        let spins = |k: usize| machine.test.steps[k].then.as_ref().is_some_and(|t| t.run_down_s > 0.0);
        let Some(step) = running.filter(|k| spins(*k)) else { return };
        let idle = idle_w(expected);
        let adds = (expected[step].power_w.value - idle).max(0.0);
        if watts > idle + (DRIVEN.0 * adds).max(DRIVEN.1) {
            self.driven = Some((step, at_s));
            self.driven_now = true;
        } else if silent && self.driven.is_some_and(|d| d.0 == step) {
            // Nobody saw when it stopped: counted from now.
            self.driven = Some((step, at_s));
        }
    }

    /// What is to be said at this place and time.
    pub(crate) fn run_down(&self, machine: &Machine, place: Place, at_s: f64) -> Option<RunDown> {
        let (step, driven_s) = self.driven?;
        let then = machine.test.steps.get(step)?.then.as_ref()?;
        let until_s = driven_s + then.run_down_s;
        let next = machine.test.steps.get(step + 1).map_or(String::new(), |s| s.says.clone());
        let gone_on = !matches!(place, Place::Step(k) | Place::Past(k) if k == step);
        let left_s = until_s - at_s;
        let (phase, says) = if self.driven_now {
            (Phase::Driven, "The motor drives the drum. Wait with the next press if you can.".to_owned())
        } else if left_s > 0.0 {
            let begun = if gone_on { " The next step has begun: keep clear of drum and water." } else { "" };
            (Phase::Counting, format!("The drum may still turn.{begun}"))
        } else if left_s > -LOOK_S && !gone_on {
            (
                Phase::Look,
                format!("The time is over. Look whether {}, then go on. This page cannot see it.", then.wait),
            )
        } else {
            return None;
        };
        Some(RunDown {
            phase,
            says,
            caution: then.caution.clone(),
            next,
            until_s: (phase == Phase::Counting).then_some(until_s),
            step,
        })
    }
}
