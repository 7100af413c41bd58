//! Where a running service test is: sample by sample with the forward alignment, and now and then the whole of it again.
//!
//! The forward alignment ([`Live`]) says which step runs; a press or a tap by the technician counts until the trace shows
//! something new. What lies behind, step by step with its verdict, comes from the whole recording ([`Aligner`]), the same
//! way as the finding takes it. The same samples and marks give the same answer, so that it can be made again after a crash.
//! Not here: threads, sockets, pages.

use bench::{Conditions, Estimate, Hypothesis, Prediction, PredictionId, Sweep};
use diagnosis::align::{Aligner, Live, Now, What};
use diagnosis::evidence::{Recording, Supply};
use diagnosis::finding::Verdict;
use diagnosis::{FindError, compare};
use machine::model::Machine;
use std::collections::HashMap;
use std::sync::Arc;
use trace::Sample;

use super::MOST_SAMPLES;
use super::marks::{Tap, Taps, for_alignment, is_edge};
use super::run_down::{Motion, RunDown};

/// Hypotheses that are followed side by side; those that predict the same count once.
const LEADING: usize = 20;
/// The trace says where the test is from this probability on.
const SURE: f64 = 0.6;
/// What the forward alignment tells is about so old, s: three samples and a piece.
const BEHIND_S: f64 = 4.0;
/// What the trace says so long after a tap is what it makes of that moment, s.
const TOLD_S: f64 = 7.0;
/// A step that just began has not settled, s.
const SETTLES_S: f64 = 3.0;
/// A level is read over so long, s; one with a drum that rests between turns over longer.
const READ_S: (f64, f64) = (6.0, 30.0);
/// Predictions are made anew where the supply under load is off by more than this.
const SUPPLY_OFF: f64 = 0.004;

/// Where the test is.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(crate) enum Place {
    /// Not begun.
    #[default]
    Before,
    /// In this step.
    Step(usize),
    /// Between this step and the next.
    Past(usize),
    /// Over.
    Over,
}

/// A step that lies behind, or the one that runs.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Part {
    pub(crate) step: usize,
    /// From and to, s after the trace begins.
    pub(crate) from_s: f64,
    pub(crate) to_s: f64,
    pub(crate) measured: Option<Estimate>,
    pub(crate) verdict: Verdict,
    pub(crate) why: String,
    /// Its beginning was set by hand.
    pub(crate) by_hand: bool,
}

/// What is known of the test now.
#[derive(Clone, Debug, Default, PartialEq)]
pub(crate) struct TestNow {
    /// Newest sample, s after the trace begins.
    pub(crate) at_s: f64,
    pub(crate) place: Place,
    /// When this place began, s.
    pub(crate) since_s: f64,
    /// A tap said so, and the trace shows nothing else.
    pub(crate) by_tap: bool,
    /// Probability of this place by the trace.
    pub(crate) sure: f64,
    /// What the step that runs draws, once it settled, and how that compares.
    pub(crate) figure: Option<(Estimate, Verdict, String)>,
    pub(crate) parts: Vec<Part>,
    pub(crate) run_down: Option<RunDown>,
    /// Supply that the predictions are for, V, and whether a meter or the log gave it.
    pub(crate) supply_v: f64,
    pub(crate) supply_measured: bool,
    /// What each step of a sound machine reads at that.
    pub(crate) expected: Arc<[Prediction]>,
}

/// What a test is followed with, beside its samples.
#[derive(Clone, Debug)]
pub(crate) struct Frame {
    /// Water and meter; the supply only where it was not measured.
    pub(crate) conditions: Conditions,
    /// Supply from the log.
    pub(crate) supply: Option<Supply>,
    /// Sets of faults and the logarithm of their weight.
    pub(crate) leading: Vec<(f64, Hypothesis)>,
}

/// A tap that counts until the trace shows something new.
struct Tapped {
    step: usize,
    at_s: f64,
    /// What the trace said once it could know of the tap.
    seen: Option<Place>,
}

/// Follows one test.
pub(crate) struct Follower<'m> {
    machine: &'m Machine,
    frame: Frame,
    conditions: Conditions,
    sweep: Sweep<'m>,
    leading: Vec<(f64, Vec<PredictionId>)>,
    live: Live,
    samples: Vec<Sample>,
    taps: Taps,
    /// Marks that were taken up while samples were followed.
    taken: usize,
    tapped: Option<Tapped>,
    /// Volts seen first, then those under load.
    first_v: Option<f64>,
    motion: Motion,
    expected: Arc<[Prediction]>,
    now: TestNow,
}

impl<'m> Follower<'m> {
    /// Ready for the first sample.
    ///
    /// # Errors
    /// A machine file without service test.
    pub(crate) fn new(machine: &'m Machine, frame: Frame) -> Result<Follower<'m>, FindError> {
        let conditions = supplied(&frame, None);
        let (sweep, leading, live) = made(machine, &frame, &conditions)?;
        let mut follower = Follower {
            machine,
            frame,
            conditions,
            sweep,
            leading,
            live,
            samples: Vec::new(),
            taps: Taps::default(),
            taken: 0,
            tapped: None,
            first_v: None,
            motion: Motion::default(),
            expected: Arc::default(),
            now: TestNow::default(),
        };
        follower.predict();
        Ok(follower)
    }

    /// What is known now.
    pub(crate) fn now(&self) -> &TestNow {
        &self.now
    }

    /// Takes these marks and edges for those of the test. With other marks it is followed again; edges count where the whole
    /// is gone through, in [`Follower::look_back`].
    pub(crate) fn tapped(&mut self, taps: Taps) {
        let others = taps.marks != self.taps.marks;
        self.taps = taps;
        if others {
            self.again();
            self.settle();
        }
    }

    /// One more sample, time in s after the trace begins; what is out of order is passed over.
    pub(crate) fn push(&mut self, sample: Sample) {
        let last_s = self.samples.last().map_or(f64::NEG_INFINITY, |s| s.time_s);
        if sample.time_s < last_s || self.samples.len() >= MOST_SAMPLES {
            return;
        }
        if self.first_v.is_none()
            && let Some(volts) = sample.voltage_v.filter(|v| *v > 50.0)
        {
            self.first_v = Some(volts);
            self.samples.push(sample);
            self.again();
            self.settle();
            return;
        }
        self.samples.push(sample);
        self.step(sample);
        self.settle();
    }

    fn step(&mut self, sample: Sample) {
        self.live.push(sample);
        while let Some(mark) = self.taps.marks.get(self.taken).filter(|m| m.time_s <= sample.time_s).copied()
        {
            self.taken += 1;
            let (Tap::Begins(step) | Tap::Still(step)) = mark.tap;
            self.tapped = Some(Tapped { step, at_s: mark.time_s, seen: None });
            self.moved(mark.time_s, Place::Step(step), true);
        }
        self.place(sample.time_s);
        let running = match self.now.place {
            Place::Step(k) => Some(k),
            _ => None,
        };
        self.motion.saw(self.machine, &self.expected, running, sample.time_s, sample.power_w);
    }

    fn place(&mut self, at_s: f64) {
        self.now.at_s = at_s;
        let Some((says, probability)) = said(self.live.now(), self.now.place) else { return };
        self.now.sure = probability;
        if let Some(tapped) = &mut self.tapped {
            if at_s < tapped.at_s + TOLD_S {
                return;
            }
            let seen = *tapped.seen.get_or_insert(says);
            let onwards = match says {
                Place::Step(k) => k > tapped.step,
                Place::Past(_) => false,
                Place::Before | Place::Over => true,
            };
            if says != Place::Step(tapped.step) && (says == seen || !onwards || probability < SURE) {
                return;
            }
            self.tapped = None;
            self.now.by_tap = false;
        }
        if probability >= SURE && says != self.now.place {
            self.moved((at_s - BEHIND_S).max(self.now.since_s), says, false);
        }
    }

    fn moved(&mut self, at_s: f64, to: Place, by_tap: bool) {
        self.now.by_tap = by_tap;
        if self.now.place != to {
            self.now.place = to;
            self.now.since_s = at_s;
        }
    }

    /// The figure and the run-down, from what was seen last.
    fn settle(&mut self) {
        self.now.figure = self.figure();
        let place = self.now.place;
        self.now.run_down = self.motion.run_down(self.machine, place, self.now.at_s);
    }

    /// What the step that runs draws, against what it should.
    fn figure(&self) -> Option<(Estimate, Verdict, String)> {
        let Place::Step(step) = self.now.place else { return None };
        let (expected, of) = (self.expected.get(step)?, self.machine.test.steps.get(step)?);
        let settled_s = self.now.since_s + SETTLES_S.max(of.ramp_s);
        let both_ways = expected.rest_w.is_some();
        let over_s = if both_ways { READ_S.1 } else { READ_S.0 };
        let from_s = settled_s.max(self.now.at_s - over_s);
        let from = self.samples.partition_point(|s| s.time_s < from_s);
        let mut watts: Vec<f64> = self.samples[from..].iter().map(|s| s.power_w).collect();
        if both_ways {
            let (low, high) =
                watts.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), w| (l.min(*w), h.max(*w)));
            watts.retain(|w| *w >= f64::midpoint(low, high));
        }
        if watts.len() < 2 {
            return None;
        }
        let n = watts.len() as f64;
        let mean = watts.iter().sum::<f64>() / n;
        let spread = (watts.iter().map(|w| (w - mean).powi(2)).sum::<f64>() / (n - 1.0)).sqrt();
        let measured = Estimate { value: mean, u: spread.max(0.5) };
        let (verdict, why) = compare(expected.power_w, measured, idle_w(&self.expected));
        Some((measured, verdict, why))
    }

    /// Everything behind, from the whole recording; takes some milliseconds.
    pub(crate) fn look_back(&mut self) {
        self.supply();
        if self.samples.len() < 3 {
            return;
        }
        let recording = Recording {
            name: "live".to_owned(),
            samples: self.samples.clone(),
            marks: for_alignment(&self.taps.marks, self.now.at_s),
            edges: self.taps.edges.clone(),
        };
        let Ok(mut aligner) = Aligner::new(self.machine, &recording, &self.conditions) else { return };
        let likeliest = self
            .leading
            .iter()
            .map(|(ln, ids)| (ln + aligner.ln_likelihood(ids, &self.sweep), ids))
            .max_by(|a, b| a.0.total_cmp(&b.0));
        let Some((_, ids)) = likeliest else { return };
        let idle_w = idle_w(&self.expected);
        let edges = &self.taps.edges;
        self.now.parts = aligner
            .best(ids, &self.sweep)
            .into_iter()
            .filter_map(|m| {
                let What::Step(step) = m.what else { return None };
                let (verdict, why) = match m.power_w {
                    Some(measured) => compare(self.expected[step].power_w, measured, idle_w),
                    None => (Verdict::NotDone, "nothing measured".to_owned()),
                };
                let by_hand = is_edge(edges, m.start_s, step);
                Some(Part {
                    step,
                    from_s: m.start_s,
                    to_s: m.end_s,
                    measured: m.power_w,
                    verdict,
                    why,
                    by_hand,
                })
            })
            .collect();
        if let (Place::Step(step), Some(last)) = (self.now.place, self.now.parts.last())
            && last.step == step
            && !self.now.by_tap
        {
            self.now.since_s = last.from_s;
        }
        self.settle();
    }

    /// Takes the supply under load from the samples, and predicts anew where that makes a difference.
    fn supply(&mut self) {
        if self.frame.supply.is_some() {
            return;
        }
        let most_w = self.samples.iter().map(|s| s.power_w).fold(0.0, f64::max);
        let volts: Vec<f64> =
            self.samples.iter().filter(|s| s.power_w >= 0.5 * most_w).filter_map(|s| s.voltage_v).collect();
        if volts.is_empty() {
            return;
        }
        let mean = volts.iter().sum::<f64>() / volts.len() as f64;
        if (mean / self.conditions.supply_v - 1.0).abs() > SUPPLY_OFF {
            self.first_v = Some(mean);
            self.again();
        }
    }

    /// Predicts for the supply as it is known now, and follows all samples again.
    fn again(&mut self) {
        let conditions = supplied(&self.frame, self.first_v);
        let Ok((sweep, leading, live)) = made(self.machine, &self.frame, &conditions) else { return };
        (self.sweep, self.leading, self.live, self.conditions) = (sweep, leading, live, conditions);
        self.predict();
        let parts = std::mem::take(&mut self.now.parts);
        let expected = std::mem::take(&mut self.now.expected);
        self.now = TestNow { parts, expected, ..TestNow::default() };
        self.now.supply_v = self.conditions.supply_v;
        self.now.supply_measured = self.frame.supply.is_some() || self.first_v.is_some();
        (self.taken, self.tapped, self.motion) = (0, None, Motion::default());
        let samples = std::mem::take(&mut self.samples);
        for &sample in &samples {
            self.step(sample);
        }
        self.samples = samples;
    }

    fn predict(&mut self) {
        let ids = self.sweep.predict(&Hypothesis::healthy());
        self.expected = ids.iter().map(|&id| self.sweep.get(id).clone()).collect();
        self.now.expected.clone_from(&self.expected);
        self.now.supply_v = self.conditions.supply_v;
        self.now.supply_measured = self.frame.supply.is_some() || self.first_v.is_some();
    }
}

/// What a sound machine draws in the step that draws least, W.
pub(super) fn idle_w(expected: &[Prediction]) -> f64 {
    expected.iter().map(|p| p.power_w.value).fold(f64::INFINITY, f64::min)
}

/// The likeliest place by the trace alone, with its probability. In no step, and which way cannot be told, is after whatever ran
/// last, as a pause is: so it is with a machine that went off in mid-test. A test that had not begun, or was over, stays so, no
/// surer than the trace is of that.
fn said(now: &Now, was: Place) -> Option<(Place, f64)> {
    let no_step = now.before + now.pause + now.after;
    let likeliest = now.steps.iter().copied().enumerate().max_by(|a, b| a.1.total_cmp(&b.1));
    if let Some((step, p)) = likeliest.filter(|(_, p)| *p > no_step) {
        return Some((Place::Step(step), p));
    }
    let place = match was {
        _ if now.before >= SURE => Place::Before,
        _ if now.after >= SURE => Place::Over,
        Place::Step(k) | Place::Past(k) => Place::Past(k),
        Place::Before | Place::Over => was,
    };
    let p = match place {
        Place::Before => now.before,
        Place::Over => now.after,
        Place::Step(_) | Place::Past(_) => no_step,
    };
    (no_step > 0.0).then_some((place, p))
}

/// The conditions at the supply that the log says, or else the meter.
fn supplied(frame: &Frame, logged_v: Option<f64>) -> Conditions {
    let mut conditions = match (frame.supply, logged_v) {
        (Some(supply), _) => Conditions { supply_u_v: supply.u_v, ..Conditions::at(supply.volts) },
        (None, Some(volts)) => Conditions::at(volts),
        (None, None) => frame.conditions,
    };
    conditions.water_l = frame.conditions.water_l;
    conditions.meter = frame.conditions.meter;
    conditions
}

type Made<'m> = (Sweep<'m>, Vec<(f64, Vec<PredictionId>)>, Live);

/// Predictions of the leading hypotheses, those alike together.
fn made<'m>(machine: &'m Machine, frame: &Frame, conditions: &Conditions) -> Result<Made<'m>, FindError> {
    let mut sweep = Sweep::new(machine, conditions);
    let mut weights: HashMap<Vec<PredictionId>, f64> = HashMap::new();
    for (ln, hypothesis) in &frame.leading {
        *weights.entry(sweep.predict(hypothesis)).or_insert(0.0) += ln.exp();
    }
    // The sound machine is always among them.
    weights.entry(sweep.predict(&Hypothesis::healthy())).or_insert(1e-6);
    let mut leading: Vec<(f64, Vec<PredictionId>)> =
        weights.into_iter().map(|(ids, w)| (w.ln(), ids)).collect();
    leading.sort_by(|a, b| b.0.total_cmp(&a.0).then_with(|| a.1.cmp(&b.1)));
    leading.truncate(LEADING);
    let live = Live::new(machine, conditions, &leading, &sweep)?;
    Ok((sweep, leading, live))
}

#[cfg(test)]
mod tests {
    use super::{Follower, Frame, Place, said};
    use bench::Conditions;
    use diagnosis::align::Now;
    use trace::Sample;

    /// A test is ended by itself where it is surely over: to be in no step is not enough.
    #[test]
    fn in_no_step_is_not_surely_over() {
        let now = |steps: [f64; 2], before, pause, after| Now {
            steps: steps.to_vec(),
            before,
            pause,
            after,
            ..Now::default()
        };
        let off = now([0.0, 0.01], 0.3, 0.2, 0.49);
        assert_eq!(said(&off, Place::Over), Some((Place::Over, 0.49)));
        assert_eq!(said(&off, Place::Before), Some((Place::Before, 0.3)));
        assert_eq!(said(&off, Place::Step(1)).map(|s| s.0), Some(Place::Past(1)));
        assert_eq!(said(&now([0.0, 0.1], 0.0, 0.1, 0.8), Place::Step(1)), Some((Place::Over, 0.8)));
        assert_eq!(said(&now([0.1, 0.6], 0.1, 0.1, 0.1), Place::Over), Some((Place::Step(1), 0.6)));
        assert_eq!(said(&now([0.0, 0.0], 0.0, 0.0, 0.0), Place::Before), None);
    }

    /// Left and right, then half speed, and there somebody pulls the plug.
    #[test]
    fn a_machine_that_goes_off_in_mid_test_is_in_no_step() {
        let file = include_str!("../../../../machines/aldermere-tern-81.toml");
        let machine = machine::read::read(file, None).machine.unwrap();
        let frame = Frame {
            conditions: Conditions::at(230.0),
            supply: None,
            leading: vec![(0.0, bench::Hypothesis::healthy())],
        };
        let mut follower = Follower::new(&machine, frame).unwrap();
        let mut at_s = 0.0;
        let mut show = |follower: &mut Follower<'_>, watts: f64, seconds: usize| {
            for _ in 0..seconds {
                follower.push(Sample::new(at_s, watts));
                at_s += 1.0;
            }
        };
        for (watts, seconds) in [(1.0, 20), (5.0, 22), (11.0, 8), (25.0, 52), (80.0, 3), (127.0, 25)] {
            show(&mut follower, watts, seconds);
        }
        let half_spin = machine.test.steps.iter().position(|s| s.id == "half-spin").unwrap();
        assert_eq!(follower.now().place, Place::Step(half_spin));
        show(&mut follower, 1.0, 60);
        assert_eq!(follower.now().place, Place::Past(half_spin), "{:?}", follower.now());
        assert_eq!(follower.now().figure, None);
    }
}
