//! From a recording of the service test to how likely it is under a hypothesis.
//!
//! The recording is cut into stretches of one level. The steps of the test follow one another; each takes a run of the
//! recording, fits it as well as its prediction says, and lasts about as long. Between steps there may be a pause, a step
//! may be skipped or run again, the test left and entered anew, another load may come on the same meter. The
//! likelihood of the recording is the sum over **all** such alignments: a missed press is then a likelier explanation
//! than a dead motor, or not, as the numbers have it. No marks from the operator are needed; where given, they count.
//!
//! Read in this order: `pieces.rs` (the recording, cut), `emission.rs` (how well a piece fits a step), `lengths.rs`,
//! `steps.rs` (what follows what), [`chain`] (the sum), `habits.rs` (every constant).
//! Not here: what a step should read (`bench`), how likely a hypothesis was before ([`crate::hypotheses`]).

pub mod chain;
mod emission;
mod habits;
mod lengths;
mod pieces;
mod shown;
mod steps;

pub use habits::Habits;
pub use pieces::{MOST_PIECES, MOST_STRETCHES, Stretch};
pub use shown::{Match, What};

use crate::evidence::Recording;
use bench::{Conditions, Prediction, PredictionId, Sweep};
use chain::{Chain, Forward, Order, Runs, best};
use emission::{Factors, Profile};
use lengths::{Length, Table};
use machine::model::Machine;
use pieces::Pieces;
use std::collections::HashMap;
use steps::{Frame, Shape, Turn, order};

/// A run that fits worse than this by itself is left out.
const HOPELESS: f64 = 1e-24;

/// Why a recording cannot be aligned.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum AlignError {
    /// The machine file has no service test.
    NoSteps,
    /// The recording has no samples; its name.
    NoSamples(String),
    /// Samples are not in order of time or not numbers; name and place of the first bad one.
    BadSamples(String, usize),
}

impl std::fmt::Display for AlignError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            AlignError::NoSteps => {
                write!(f, "the machine file has no service test: add its steps, or give readings by hand")
            }
            AlignError::NoSamples(name) => {
                write!(
                    f,
                    "{name} holds no samples: record the service test again, or leave the recording out"
                )
            }
            AlignError::BadSamples(name, at) => {
                write!(
                    f,
                    "{name}: sample {} is out of order or no number: export the recording again",
                    at + 1
                )
            }
        }
    }
}

impl std::error::Error for AlignError {}

/// Aligns one recording with the steps of one machine, hypothesis after hypothesis.
///
/// Ids of predictions are remembered, so that all calls must be with ids of one and the same [`Sweep`].
pub struct Aligner {
    habits: Habits,
    frames: Vec<Frame>,
    idle_w: f64,
    pieces: Pieces,
    /// Factors of the operator's marks; empty for no marks.
    doors: Vec<f64>,
    /// Runs of a pause, and of the time before and after the test.
    pause: Runs,
    outside: Runs,
    tables: HashMap<[u64; 4], Table>,
    runs: Vec<Runs>,
    shapes: HashMap<(usize, Shape), usize>,
    known: HashMap<(usize, PredictionId), (usize, Turn)>,
    orders: HashMap<Vec<Turn>, Order>,
    sums: HashMap<Vec<(usize, Turn)>, f64>,
    forward: Forward,
}

impl Aligner {
    /// For a machine and a recording of its service test; `conditions` are those that the predictions are made for.
    pub fn new(
        machine: &Machine,
        recording: &Recording,
        conditions: &Conditions,
    ) -> Result<Aligner, AlignError> {
        Aligner::with(machine, recording, conditions, Habits::default())
    }

    /// With constants of one's own.
    pub fn with(
        machine: &Machine,
        recording: &Recording,
        conditions: &Conditions,
        habits: Habits,
    ) -> Result<Aligner, AlignError> {
        let samples = &recording.samples;
        if machine.test.steps.is_empty() {
            return Err(AlignError::NoSteps);
        }
        if samples.is_empty() {
            return Err(AlignError::NoSamples(recording.name.clone()));
        }
        let bad = |i: &usize| {
            let (time, power) = (samples[*i].time_s, samples[*i].power_w);
            !time.is_finite() || !power.is_finite() || (*i > 0 && time < samples[*i - 1].time_s)
        };
        if let Some(at) = (0..samples.len()).find(bad) {
            return Err(AlignError::BadSamples(recording.name.clone(), at));
        }
        let pieces = Pieces::of(samples, &habits, conditions.meter.u_w(0.0));
        let idle_w = idle_w(machine, conditions);
        let outside = Factors::of(&Profile::outside(idle_w), &pieces, &habits);
        let mut tables = HashMap::new();
        let mut length = |(median_s, steep): (f64, f64)| {
            let length = Length { median_s, steep, hurried: 0.0, loose: steep };
            runs(&pieces, &outside, table(&mut tables, length))
        };
        let (pause, outside) = (length(habits.pause_s), length(habits.outside_s));
        let doors = doors(&recording.marks, machine.test.steps.len(), &pieces, &habits);
        Ok(Aligner {
            habits,
            frames: Frame::all(machine),
            idle_w,
            pieces,
            doors,
            pause,
            outside,
            tables,
            runs: Vec::new(),
            shapes: HashMap::new(),
            known: HashMap::new(),
            orders: HashMap::new(),
            sums: HashMap::new(),
            forward: Forward::default(),
        })
    }

    /// ln P(recording | predictions), one prediction for each step of the service test, up to a constant that is the same
    /// for all hypotheses. Steps beyond the given are taken as skipped.
    pub fn ln_likelihood(&mut self, steps: &[PredictionId], sweep: &Sweep<'_>) -> f64 {
        let seen = self.seen(steps, sweep);
        if let Some(&sum) = self.sums.get(&seen) {
            return sum;
        }
        let Aligner { forward, .. } = self;
        let mut forward = std::mem::take(forward);
        let sum = self.with_chain(&seen, |chain| forward.ln_sum(chain));
        self.forward = forward;
        self.sums.insert(seen, sum);
        sum
    }

    /// No hypothesis has a likelihood above this, whatever it predicts.
    pub fn ln_ceiling(&self) -> f64 {
        0.0
    }

    /// The likeliest alignment under these predictions, in order of time: the steps, what lies between them, and what of
    /// the steps is another load's. See [`Match`].
    pub fn best(&mut self, steps: &[PredictionId], sweep: &Sweep<'_>) -> Vec<Match> {
        let seen = self.seen(steps, sweep);
        let (_, visits) = self.with_chain(&seen, best);
        let profiles: Vec<Profile> = steps
            .iter()
            .zip(&self.frames)
            .map(|(id, frame)| Shape::of(sweep.get(*id), frame).profile(frame))
            .collect();
        shown::matches(&visits, &self.pieces, &profiles, &self.habits)
    }

    /// Each step's shape and turn, made if new.
    fn seen(&mut self, steps: &[PredictionId], sweep: &Sweep<'_>) -> Vec<(usize, Turn)> {
        let count = steps.len().min(self.frames.len());
        let mut seen = Vec::with_capacity(count);
        for (step, &id) in steps.iter().enumerate().take(count) {
            let known = match self.known.get(&(step, id)) {
                Some(&known) => known,
                None => {
                    let made = self.shape(step, sweep.get(id));
                    self.known.insert((step, id), made);
                    made
                }
            };
            seen.push(known);
        }
        seen
    }

    fn shape(&mut self, step: usize, prediction: &Prediction) -> (usize, Turn) {
        let frame = &self.frames[step];
        let shape = Shape::of(prediction, frame);
        let turn = Turn::of(prediction, frame, self.idle_w);
        if let Some(&made) = self.shapes.get(&(step, shape.clone())) {
            return (made, turn);
        }
        let factors = Factors::of(&shape.profile(frame), &self.pieces, &self.habits);
        let table = table(&mut self.tables, shape.length(frame, &self.habits));
        self.runs.push(runs(&self.pieces, &factors, table));
        self.shapes.insert((step, shape), self.runs.len() - 1);
        (self.runs.len() - 1, turn)
    }

    fn with_chain<T>(&mut self, seen: &[(usize, Turn)], work: impl FnOnce(&Chain<'_>) -> T) -> T {
        let turns: Vec<Turn> = seen.iter().map(|s| s.1).collect();
        let habits = self.habits;
        let order = self.orders.entry(turns).or_insert_with_key(|turns| order(turns, &habits));
        let mut all: Vec<&Runs> = seen.iter().map(|s| &self.runs[s.0]).collect();
        all.extend(std::iter::repeat_n(&self.pause, seen.len()));
        all.extend([&self.outside, &self.outside]);
        let pieces = self.pieces.len();
        let doors = &self.doors[..self.doors.len().min(seen.len() * pieces)];
        work(&Chain { pieces, runs: &all, order, doors })
    }
}

/// What the machine draws when nothing is driven, W.
fn idle_w(machine: &Machine, conditions: &Conditions) -> f64 {
    let Some(first) = machine.test.steps.first() else { return 0.0 };
    let nothing = machine::model::Step { drives: Vec::new(), until: None, ..first.clone() };
    let modes = vec![None; machine.parts.len()];
    let mut state = bench::State::start(conditions);
    bench::Bench::new(machine).step(&nothing, &modes, conditions, &mut state).power_w.value
}

fn table(tables: &mut HashMap<[u64; 4], Table>, length: Length) -> &Table {
    let key = [length.median_s, length.steep, length.hurried, length.loose].map(f64::to_bits);
    tables.entry(key).or_insert_with(|| Table::new(length))
}

/// Weights of all runs: factors of the pieces times the probability to end at that boundary, or, at the end of the
/// recording, to go on beyond it.
fn runs(pieces: &Pieces, factors: &Factors, table: &Table) -> Runs {
    let n = pieces.len();
    let around: Vec<(f64, f64)> = (0..=n).map(|i| pieces.around_s(i)).collect();
    Runs::build(n, |from, row| {
        let start_s = pieces.at_s(from);
        let mut fits = factors.start[from];
        // Probability to last up to the last boundary's end.
        let mut beyond = 1.0;
        for to in from + 1..=n {
            let left = if to == n { 0.0 } else { table.beyond(around[to].1 - start_s) };
            row.push(fits * (beyond - left));
            beyond = left;
            let Some(piece) = pieces.pieces.get(to) else { break };
            let had = piece.opens && piece.again.is_some_and(|last| last >= from);
            fits *= if had { factors.again[to] } else { factors.on[to] };
            if fits * beyond < HOPELESS {
                break;
            }
        }
    })
}

/// Factors of the marks on starting a step at a piece.
fn doors(marks: &[(f64, usize)], steps: usize, pieces: &Pieces, habits: &Habits) -> Vec<f64> {
    if marks.is_empty() {
        return Vec::new();
    }
    let n = pieces.len();
    let mut doors = vec![1.0; steps * n];
    for step in 0..steps {
        for at in 0..n {
            let (from, to) = pieces.around_s(at);
            let near = |&(mark_s, of): &(f64, usize)| {
                let off = (from - mark_s).max(mark_s - to).max(0.0);
                if of == step { (-off / habits.mark_s).exp() } else { 0.0 }
            };
            doors[step * n + at] = marks.iter().map(near).fold(habits.unmarked, f64::max);
        }
    }
    doors
}
