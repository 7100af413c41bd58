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
        let was = self.driven.filter(|_| self.driven_now).map(|d| d.0);
        self.driven_now = false;
        let idle = idle_w(expected);
        let drives = |k: usize, w: f64| {
            let adds = (expected[k].power_w.value - idle).max(0.0);
            w > idle + (DRIVEN.0 * adds).max(DRIVEN.1)
        };
        let spins = |k: usize| machine.test.steps[k].then.as_ref().is_some_and(|t| t.run_down_s > 0.0);
        // A drum that was driven is driven on until the watts fall, whatever step is thought to run: a press may not have
        // taken. Only where that step draws as much by itself do the watts say nothing of the drum; then the count begins.
        let told = |k: &usize| running.is_none_or(|r| !drives(*k, expected[r].power_w.value));
        let spinning = running.filter(|k| spins(*k));
        if let Some(step) = spinning.or(was.filter(told)).filter(|k| drives(*k, watts)) {
            self.driven = Some((step, at_s));
            self.driven_now = true;
        } else if silent
            && let Some(step) = was.or(spinning.filter(|k| self.driven.is_some_and(|d| d.0 == *k)))
        {
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
            let says = if gone_on {
                "The motor still drives the drum, whatever was pressed. Keep clear of drum and water."
            } else {
                "The motor drives the drum. Wait with the next press if you can."
            };
            (Phase::Driven, says.to_owned())
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

#[cfg(test)]
mod tests {
    use super::{Motion, Phase};
    use crate::live::follow::Place;
    use bench::{Conditions, Hypothesis, Prediction};
    use machine::model::Machine;

    struct Seen {
        machine: Machine,
        expected: Vec<Prediction>,
        motion: Motion,
        at_s: f64,
    }

    impl Seen {
        fn tern() -> Seen {
            let text = include_str!("../../../../machines/aldermere-tern-81.toml");
            let machine = machine::read::read(text, None).machine.unwrap();
            let expected = bench::predict(&machine, &Hypothesis::healthy(), &Conditions::at(230.0));
            Seen { machine, expected, motion: Motion::default(), at_s: 0.0 }
        }

        fn step(&self, id: &str) -> usize {
            self.machine.test.steps.iter().position(|s| s.id == id).unwrap()
        }

        fn watts(&self, step: usize) -> f64 {
            self.expected[step].power_w.value
        }

        /// So many seconds of these watts, while this step is thought to run; and what the guard says then.
        fn saw(&mut self, seconds: u32, place: Place, watts: f64) -> Option<Phase> {
            let running = if let Place::Step(k) = place { Some(k) } else { None };
            for _ in 0..seconds {
                self.at_s += 1.0;
                self.motion.saw(&self.machine, &self.expected, running, self.at_s, watts);
            }
            self.motion.run_down(&self.machine, place, self.at_s).map(|r| r.phase)
        }
    }

    #[test]
    fn a_drum_whose_press_did_not_take_is_driven_until_the_watts_fall() {
        let mut seen = Seen::tern();
        let spin = seen.step("half-spin");
        let (spins, idle) = (seen.watts(spin), super::idle_w(&seen.expected));
        // Into a step that draws little, a pause, or nothing that is known: the watts are those of the motor.
        for place in [Place::Step(spin + 1), Place::Past(spin), Place::Before, Place::Over] {
            assert_eq!(seen.saw(20, Place::Step(spin), spins), Some(Phase::Driven));
            assert_eq!(seen.saw(120, place, spins), Some(Phase::Driven), "{place:?}");
            let says = seen.motion.run_down(&seen.machine, Place::Step(spin + 1), seen.at_s).unwrap();
            assert!(says.says.contains("still drives") && says.caution.contains("opens a valve"), "{says:?}");
            assert_eq!(seen.saw(1, Place::Step(spin + 1), idle), Some(Phase::Counting));
            assert_eq!(seen.saw(33, Place::Step(spin + 1), idle), Some(Phase::Counting));
            assert_eq!(seen.saw(2, Place::Step(spin + 1), idle), None);
        }
    }

    #[test]
    fn where_the_next_step_draws_as_much_the_count_begins() {
        let mut seen = Seen::tern();
        let (spin, warm) = (seen.step("half-spin"), seen.step("warm"));
        seen.saw(20, Place::Step(spin), seen.watts(spin));
        assert_eq!(seen.saw(1, Place::Step(warm), seen.watts(warm)), Some(Phase::Counting));
        assert_eq!(seen.saw(40, Place::Step(warm), seen.watts(warm)), None);
    }

    #[test]
    fn where_nobody_saw_the_drum_stop_it_is_counted_from_when_the_meter_is_heard_again() {
        let mut seen = Seen::tern();
        let spin = seen.step("half-spin");
        for place in [Place::Step(spin), Place::Past(spin)] {
            seen.saw(20, Place::Step(spin), seen.watts(spin));
            seen.at_s += 30.0;
            let idle = super::idle_w(&seen.expected);
            assert_eq!(seen.saw(33, place, idle), Some(Phase::Counting), "{place:?}");
        }
    }
}
