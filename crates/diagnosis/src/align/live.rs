//! The alignment while the test runs: sample by sample, under a few leading hypotheses.
//!
//! The same factors, lengths and order as in [`super::Aligner`]; what differs is that a level is taken up as soon as three
//! samples tell of it, and that runs too unlikely to matter are dropped. So the figures come close to those of the
//! whole recording and are not the same.

use super::chain::Order;
use super::emission::{Factor, Profile, Scale};
use super::habits::Habits;
use super::lengths::{Length, Table};
use super::pieces::Stretch;
use super::steps::{Frame, Shape, States, Turn, order};
use super::{AlignError, idle_w};
use bench::{Conditions, PredictionId, Sweep};
use machine::model::Machine;
use trace::Sample;

/// Length of a piece, s.
const PIECE_S: f64 = 2.0;
/// Samples off the level that do not settle are taken for a slope after so many.
const UNSETTLED: usize = 8;
/// Runs below this share of the weightiest are dropped.
const DROPPED: f64 = 1e-9;
/// Levels that a run can come back to, and for how long, s.
const AGAIN_S: f64 = 90.0;

/// Where the test is now.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Now {
    /// Probability of each step to be running.
    pub steps: Vec<f64>,
    /// Probability that the test has not begun, or is being entered anew.
    pub before: f64,
    /// Probability of a pause between steps.
    pub pause: f64,
    /// Probability that the test is over.
    pub after: f64,
    /// Posterior of the leading hypotheses among themselves, in the order given.
    pub hypotheses: Vec<f64>,
}

/// Follows a test as its samples come.
pub struct Live {
    habits: Habits,
    states: States,
    meter_w: f64,
    profiles: Vec<Profile>,
    scales: Vec<Scale>,
    factors: Vec<Factor>,
    tables: Vec<Table>,
    leading: Vec<Lead>,
    level: Option<Open>,
    waiting: Vec<Sample>,
    past: Vec<Stretch>,
    last_s: f64,
    now: Now,
}

/// The stretch that goes on.
struct Open {
    stretch: Stretch,
    /// End of its last piece.
    done_s: f64,
    /// When a level like it was there last.
    again_s: Option<f64>,
}

/// One leading hypothesis.
struct Lead {
    order: Order,
    /// Profile and table of each state.
    of: Vec<(usize, usize)>,
    /// Runs that go on, of each state.
    runs: Vec<Vec<Run>>,
    ln: f64,
}

#[derive(Clone, Copy)]
struct Run {
    start_s: f64,
    weight: f64,
}

impl Live {
    /// For a machine and its leading hypotheses: the logarithm of each one's weight so far, and its predictions.
    pub fn new(
        machine: &Machine,
        conditions: &Conditions,
        leading: &[(f64, Vec<PredictionId>)],
        sweep: &Sweep<'_>,
    ) -> Result<Live, AlignError> {
        if machine.test.steps.is_empty() || leading.is_empty() {
            return Err(AlignError::NoSteps);
        }
        let habits = Habits::default();
        let frames = Frame::all(machine);
        let states = States { steps: frames.len() };
        let idle_w = idle_w(machine, conditions);
        let loose = |(median_s, steep)| {
            Table::new(Length { median_s, steep, hurried: 0.0, loose: steep, quick: 0.0 })
        };
        let mut live = Live {
            habits,
            states,
            meter_w: conditions.meter.u_w(0.0),
            profiles: vec![Profile::pause(idle_w), Profile::outside(idle_w)],
            scales: Vec::new(),
            factors: Vec::new(),
            tables: vec![loose(habits.pause_s), loose(habits.outside_s)],
            leading: Vec::new(),
            level: None,
            waiting: Vec::new(),
            past: Vec::new(),
            last_s: f64::NEG_INFINITY,
            now: Now::default(),
        };
        let mut shapes: Vec<(usize, Shape, usize, usize)> = Vec::new();
        for (ln, ids) in leading {
            let mut of = Vec::new();
            let mut turns = Vec::new();
            for (step, (&id, frame)) in ids.iter().zip(&frames).enumerate() {
                let prediction = sweep.get(id);
                let shape = Shape::of(prediction, frame);
                turns.push(Turn::of(prediction, frame, idle_w));
                let known = shapes.iter().find(|s| s.0 == step && s.1 == shape).map(|s| (s.2, s.3));
                of.push(known.unwrap_or_else(|| {
                    live.profiles.push(shape.profile(frame));
                    live.tables.push(Table::new(shape.length(frame, &habits)));
                    let made = (live.profiles.len() - 1, live.tables.len() - 1);
                    shapes.push((step, shape, made.0, made.1));
                    made
                }));
            }
            let mut around = (0, 1);
            if turns.iter().all(|turn| turn.dead) {
                let stands_by_w = ids.first().map_or(0.0, |id| sweep.get(*id).power_w.value.max(0.0));
                around = (live.profiles.len(), live.profiles.len() + 1);
                live.profiles.extend(Profile::around_dead((stands_by_w, stands_by_w)));
            }
            of.extend(std::iter::repeat_n((around.0, 0), of.len()));
            of.extend([(around.1, 1); 3]);
            let runs = vec![Vec::new(); of.len()];
            live.leading.push(Lead { order: order(&turns, &habits), of, runs, ln: *ln });
        }
        live.scales = vec![Scale::default(); live.profiles.len()];
        Ok(live)
    }

    /// One more sample; what is not in order of time or no number is passed over.
    pub fn push(&mut self, sample: Sample) -> &Now {
        if !sample.time_s.is_finite() || !sample.power_w.is_finite() || sample.time_s < self.last_s {
            return &self.now;
        }
        self.last_s = sample.time_s;
        let near = |a: f64, b: f64, within: f64| (a - b).abs() <= 3.0 * within;
        match &self.level {
            Some(open) if near(sample.power_w, open.stretch.power_w, open.stretch.repeats_w) => {
                self.waiting.clear();
            }
            _ => {
                self.waiting.push(sample);
                let settled = match self.waiting.as_slice() {
                    [.., a, b] => near(a.power_w, b.power_w, self.repeats_w(b.power_w)),
                    _ => false,
                };
                if (settled && self.waiting.len() >= 3) || self.waiting.len() >= UNSETTLED {
                    self.take_up(settled);
                }
            }
        }
        if self.waiting.is_empty() && self.level.as_ref().is_some_and(|o| sample.time_s - o.done_s >= PIECE_S)
        {
            self.piece(sample.time_s);
        }
        &self.now
    }

    /// What was found last.
    pub fn now(&self) -> &Now {
        &self.now
    }

    fn repeats_w(&self, power_w: f64) -> f64 {
        let (share, least) = self.habits.repeats_within;
        (share * power_w.abs()).max(least).max(self.meter_w)
    }

    /// A new stretch begins with the samples that wait.
    fn take_up(&mut self, settled: bool) {
        let start_s = self.waiting[0].time_s;
        let last = self.waiting[self.waiting.len() - 1];
        let mean = self.waiting.iter().map(|s| s.power_w).sum::<f64>() / self.waiting.len() as f64;
        let range = self.waiting.iter().map(|s| (s.power_w - mean).abs()).fold(0.0, f64::max);
        self.waiting.clear();
        if self.level.as_ref().is_some_and(|open| start_s > open.done_s) {
            self.piece(start_s);
        }
        if let Some(open) = self.level.take() {
            self.past.push(Stretch { end_s: start_s, ..open.stretch });
        }
        self.past.retain(|s| start_s - s.end_s <= AGAIN_S);
        let power_w = if settled { last.power_w } else { mean };
        let repeats_w = self.repeats_w(power_w).max(if settled { 0.0 } else { 0.5 * range });
        let stretch = Stretch {
            start_s,
            end_s: last.time_s,
            power_w,
            repeats_w,
            slope: !settled,
            hole: false,
            again: None,
        };
        let alike = |s: &&Stretch| settled && !s.slope && s.repeats(&stretch);
        let again_s = self.past.iter().rev().find(alike).map(|s| s.end_s);
        self.level = Some(Open { stretch, done_s: start_s, again_s });
        for (scale, profile) in self.scales.iter_mut().zip(&self.profiles) {
            scale.open(profile, &stretch, &self.habits);
        }
    }

    /// The stretch went on up to here: moves every hypothesis on by that piece.
    fn piece(&mut self, to_s: f64) {
        let Some(open) = &mut self.level else { return };
        let from_s = open.done_s;
        open.done_s = to_s;
        let (since, until) = (from_s - open.stretch.start_s, to_s - open.stretch.start_s);
        let again_s = open.again_s.filter(|_| since <= 0.0);
        self.factors.clear();
        self.factors.extend(self.scales.iter_mut().map(|scale| scale.piece(since, until)));
        let first = self.leading[0].runs.iter().all(Vec::is_empty);
        for lead in &mut self.leading {
            lead.enter(from_s, first, &self.tables);
            lead.take(from_s, again_s, &self.factors);
        }
        self.sum_up(to_s);
    }

    fn sum_up(&mut self, at_s: f64) {
        let states = self.states;
        let top = self.leading.iter().map(|l| l.ln).fold(f64::NEG_INFINITY, f64::max);
        let mut now = Now { steps: vec![0.0; states.steps], ..Now::default() };
        let mut all = 0.0;
        for lead in &self.leading {
            let mut mass = 0.0;
            for (state, runs) in lead.runs.iter().enumerate() {
                let table = &self.tables[lead.of[state].1];
                let sum: f64 = runs.iter().map(|r| r.weight * table.beyond(at_s - r.start_s)).sum();
                let sum = sum * (lead.ln - top).exp();
                mass += sum;
                match state {
                    s if s < states.steps => now.steps[s] += sum,
                    s if s == states.before() || s == states.again() => now.before += sum,
                    s if s == states.after() => now.after += sum,
                    _ => now.pause += sum,
                }
            }
            now.hypotheses.push(mass);
            all += mass;
        }
        if all > 0.0 {
            let shares = now.steps.iter_mut().chain(&mut now.hypotheses);
            shares.chain([&mut now.before, &mut now.pause, &mut now.after]).for_each(|p| *p /= all);
            self.now = now;
        }
    }
}

impl Lead {
    /// Lets runs end at this boundary and others start.
    fn enter(&mut self, at_s: f64, first: bool, tables: &[Table]) {
        let mut starts = vec![0.0; self.runs.len()];
        if first {
            starts.clone_from(&self.order.begin);
        }
        for (state, runs) in self.runs.iter().enumerate() {
            let table = &tables[self.of[state].1];
            // Those that end about here: within a piece's length.
            let ended: f64 = runs
                .iter()
                .map(|r| {
                    let seconds = at_s - r.start_s;
                    r.weight * (table.beyond(seconds - PIECE_S) - table.beyond(seconds))
                })
                .sum();
            if ended > 0.0 {
                for &(to, probability) in &self.order.next[state] {
                    starts[to] += ended * probability;
                }
            }
        }
        for (runs, weight) in self.runs.iter_mut().zip(starts) {
            runs.retain(|r| r.weight > 0.0);
            if weight > 0.0 {
                runs.push(Run { start_s: at_s, weight });
            }
        }
    }

    /// Weighs a piece that starts here, and drops what is too light.
    fn take(&mut self, from_s: f64, again_s: Option<f64>, factors: &[Factor]) {
        let mut top: f64 = 0.0;
        for (runs, &(profile, _)) in self.runs.iter_mut().zip(&self.of) {
            let factor = factors[profile];
            for run in runs {
                run.weight *= if run.start_s == from_s {
                    factor.start
                } else if again_s.is_some_and(|had| had > run.start_s) {
                    factor.again
                } else {
                    factor.on
                };
                top = top.max(run.weight);
            }
        }
        if top > 0.0 {
            self.ln += top.ln();
            for runs in &mut self.runs {
                runs.retain_mut(|r| {
                    r.weight /= top;
                    r.weight > DROPPED
                });
            }
        }
    }
}
