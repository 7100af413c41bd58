//! The machine's own re-test: the steps of its service test that a repair touches, and what they read now.

use crate::advice::Instruction;
use crate::test::Test;
use bench::{Bench, Conditions, Estimate, Hypothesis, Prediction};
use machine::caution::{RUNS, joined};
use machine::diagnostic::nearest;
use machine::model::{Machine, PartId, Step};
use quantity::conformity::Verdict;
use quantity::uncertainty::of_resolution;
use quantity::{Decoded, Dimension, format_pm};

/// Watts that nobody would notice on a meter, and the share of the reading that goes with them.
const NOTICED_W: (f64, f64) = (2.0, 0.02);

/// ζ-score up to which a reading agrees, and from which it does not; between, it is a warning (from memory: ISO 13528,
/// interpretation of scores: 2 and 3). Two thresholds, where the diagnosis has one (2.6, about 1 % false alarms): there a
/// reading is one clue among many; here it is the proof that the fault is gone, and to be unsure costs but one more reading.
const ZETA: (f64, f64) = (2.0, 3.0);

/// A step that the repair touches: some fault of a fitted part would show in it.
#[derive(Clone, Debug, PartialEq)]
pub struct Touched {
    /// Key of the step.
    pub step: String,
    /// What to do, and what could hurt on the way into it and in it.
    pub instruction: Instruction,
    /// What the healthy machine draws, W.
    pub expected_w: Estimate,
    /// Watts tell whether the fault is gone; else what shows is something else, such as water or a code.
    pub watts_tell: bool,
    /// Faults of the fitted parts that would show, each with the watts it would draw.
    pub would_show: Vec<(String, f64)>,
}

/// What was read or seen in a step.
#[derive(Clone, Debug, PartialEq)]
pub struct StepReading {
    /// Key of the step.
    pub step: String,
    /// What was read or seen.
    pub shown: StepShown,
}

/// What was read or seen in a step.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum StepShown {
    /// Watts at the plug.
    Watts(Decoded),
    /// Watched: it did what it should, or not.
    Good(bool),
}

/// A touched step with what came of it.
#[derive(Clone, Debug, PartialEq)]
pub struct Retest {
    /// Key of the step.
    pub step: String,
    /// What to do, and what could hurt.
    pub instruction: Instruction,
    /// What the healthy machine draws, W.
    pub expected_w: Estimate,
    /// Watts tell whether the fault is gone; else watch it.
    pub watts_tell: bool,
    /// Faults of the fitted parts that would show, each with the watts it would draw.
    pub would_show: Vec<(String, f64)>,
    /// How it stands.
    pub state: Retested,
}

/// How the re-test of a step stands.
#[derive(Clone, Debug, PartialEq)]
pub enum Retested {
    /// Done and compared.
    Done {
        /// What was read, W; none where it was watched.
        measured_w: Option<f64>,
        /// Distance in joint standard uncertainties.
        zeta: Option<f64>,
        /// What it comes to.
        verdict: Verdict,
        /// The comparison in words.
        why: String,
    },
    /// Still to do.
    Open,
    /// Not to be run yet: these safety tests must have passed before.
    Blocked(Vec<Test>),
}

/// No such step.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct NoSuchStep {
    /// What is wrong.
    pub message: String,
    /// What to write instead.
    pub remedy: String,
}

/// The key of a step by its name, as typed.
///
/// # Errors
/// Where the service test has none of this name.
pub fn step<'m>(machine: &'m Machine, name: &str) -> Result<&'m str, NoSuchStep> {
    let found = machine.step(name.trim()).map(|s| s.id.as_str());
    found.ok_or_else(|| {
        let ids = || machine.test.steps.iter().map(|s| s.id.as_str());
        NoSuchStep {
            message: format!("the service test has no step `{}`", name.trim()),
            remedy: match nearest(name.trim(), ids()) {
                Some(near) => format!("did you mean {near}?"),
                None => format!("its steps: {}", ids().collect::<Vec<_>>().join(", ")),
            },
        }
    })
}

/// The steps that these fitted parts touch: those whose prediction some fault of a part changes.
pub fn touched(machine: &Machine, parts: &[PartId], conditions: &Conditions) -> Vec<Touched> {
    let mut bench = Bench::new(machine);
    let healthy = bench.predict(&Hypothesis::healthy(), conditions);
    let mut faults: Vec<Hypothesis> = Vec::new();
    for &part in parts {
        let modes = machine.parts.get(part).map_or(0, |p| p.kind.modes.len());
        faults.extend((0..modes).map(|mode| Hypothesis::of([(part, mode)])));
    }
    let with_faults: Vec<(String, Vec<Prediction>)> =
        faults.iter().map(|h| (h.says(machine), bench.predict(h, conditions))).collect();
    let steps = machine.test.steps.iter().zip(&healthy).enumerate();
    steps
        .filter_map(|(at, (step, healthy))| {
            let shown = |(name, all): &(String, Vec<Prediction>)| {
                let faulty = all.get(at)?;
                // What ended the test shows in the step in which it did; the steps after it only stand still.
                if all[..at].iter().any(|before| before.ended || before.trip.is_some()) {
                    return None;
                }
                changed(healthy, faulty).then(|| (name.clone(), faulty.power_w.value))
            };
            let would_show: Vec<(String, f64)> = with_faults.iter().filter_map(shown).collect();
            if would_show.is_empty() {
                return None;
            }
            Some(Touched {
                step: step.id.clone(),
                instruction: instruction(machine, at, step),
                expected_w: healthy.power_w,
                watts_tell: would_show.iter().any(|(_, w)| noticed(healthy.power_w.value, *w)),
                would_show,
            })
        })
        .collect()
}

fn noticed(healthy_w: f64, faulty_w: f64) -> bool {
    (healthy_w - faulty_w).abs() > NOTICED_W.0.max(NOTICED_W.1 * healthy_w)
}

/// Does a fault show in this step?
fn changed(healthy: &Prediction, faulty: &Prediction) -> bool {
    let code = |p: &Prediction| p.code.filter(|_| p.code_shown);
    noticed(healthy.power_w.value, faulty.power_w.value)
        || healthy.trip != faulty.trip
        || healthy.ended != faulty.ended
        || healthy.timed_out != faulty.timed_out
        || healthy.refused != faulty.refused
        || code(healthy) != code(faulty)
        || healthy.one_way != faulty.one_way
        || (healthy.speed_rpm.value - faulty.speed_rpm.value).abs() > 2.0
        || (healthy.lasts_s - faulty.lasts_s).abs() > 2.0
        || (healthy.water_l - faulty.water_l).abs() > 0.3
        || healthy.signs != faulty.signs
}

/// How the step is run, with what could hurt on the way into it and in it.
fn instruction(machine: &Machine, at: usize, step: &Step) -> Instruction {
    Instruction {
        says: format!("Run step {} ({}) and read the watts at the plug.", step.id, step.says),
        caution: joined(&[RUNS, &machine.test.on_the_way(at), &step.caution]),
    }
}

impl Touched {
    /// Compares with what was read; the last reading of a step counts.
    pub(crate) fn held_against(&self, readings: &[StepReading], blocked_by: &[Test]) -> Retest {
        let reading = readings.iter().rev().find(|r| r.step == self.step);
        let state = match reading {
            _ if !blocked_by.is_empty() => Retested::Blocked(blocked_by.to_vec()),
            None => Retested::Open,
            Some(StepReading { shown: StepShown::Watts(read), .. }) => self.compare(*read),
            Some(StepReading { shown: StepShown::Good(good), .. }) => self.watched(*good),
        };
        Retest {
            step: self.step.clone(),
            instruction: self.instruction.clone(),
            expected_w: self.expected_w,
            watts_tell: self.watts_tell,
            would_show: self.would_show.clone(),
            state,
        }
    }

    fn watched(&self, good: bool) -> Retested {
        let (verdict, why) = match (good, self.watts_tell) {
            (false, _) => (Verdict::Fail, "watched: not as it should be"),
            (true, false) => (Verdict::Pass, "watched: as it should be"),
            (true, true) => (Verdict::Unsure, "watched: as it should be; the watts would prove it"),
        };
        Retested::Done { measured_w: None, zeta: None, verdict, why: why.to_owned() }
    }

    fn compare(&self, read: Decoded) -> Retested {
        let expected = self.expected_w;
        let zeta = expected.zeta_w(Estimate { value: read.value, u: of_resolution(read.resolution) });
        let should = format_pm(expected.value, 2.0 * expected.u, Dimension::Power);
        let mut why = format!("{} against {should}", quantity::format(read.value, Dimension::Power));
        let verdict = match zeta.abs() {
            z if z <= ZETA.0 && !self.watts_tell => {
                why.push_str("; the watts do not tell here: watch the step, and answer pass or fail");
                Verdict::Unsure
            }
            z if z <= ZETA.0 => Verdict::Pass,
            z if z < ZETA.1 => Verdict::Unsure,
            _ => Verdict::Fail,
        };
        Retested::Done { measured_w: Some(read.value), zeta: Some(zeta), verdict, why }
    }
}
