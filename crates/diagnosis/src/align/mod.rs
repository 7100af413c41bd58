//! From a recording of the service test to how likely it is under a hypothesis.
//!
//! The recording is cut into stretches of one level. The steps of the test follow one another; each takes a run of the
//! recording, fits it as well as its prediction says, and lasts about as long. Between steps there may be a pause, a step
//! may be skipped or run again, the test left and entered anew, another load may come on the same meter. The
//! likelihood of the recording is the sum over **all** such alignments: a missed press is then a likelier explanation
//! than a dead motor, or not, as the numbers have it. No marks from the operator are needed; where given, they count.
//!
//! Read in this order: `pieces.rs` (the recording, cut), `emission.rs` (how well a piece fits a step), `lengths.rs`,
//! `steps.rs` (what follows what), `around.rs` (the time in no step), [`chain`] (the sum), `habits.rs` (every constant); `live.rs` does the same sample by sample,
//! `ahead.rs` many hypotheses on two threads.
//! Not here: what a step should read (`bench`), how likely a hypothesis was before ([`crate::hypotheses`]).

mod ahead;
mod around;
mod ceiling;
pub mod chain;
mod emission;
mod habits;
mod lengths;
mod live;
mod marks;
mod pieces;
mod shown;
mod steps;
mod views;

pub use ahead::Ask;
pub use habits::Habits;
pub use live::{Live, Now};
pub use pieces::{MOST_PIECES, MOST_STRETCHES, Stretch};
pub use shown::{Match, What};

use crate::evidence::Recording;
use around::{Around, Arounds};
use bench::{Bench, Conditions, PredictionId, State, Sweep};
use chain::{Chain, Forward, Order, Runs, best};
use emission::{Factors, Profile};
use lengths::{Length, Table};
use machine::model::Machine;
use marks::Begins;
use pieces::Pieces;
use rustc_hash::FxHashMap;
use std::sync::{Arc, OnceLock};
use steps::{Frame, Odds, Shape, Turn, order};
use views::Beside;

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

/// A view of the recording: as it is, or without another load.
#[derive(Clone)]
struct View {
    ln_weight: f64,
    pieces: Pieces,
    beside: Option<Beside>,
    around: Arounds,
    /// Runs of the steps' shapes; shared by an aligner and its likenesses.
    runs: Vec<Arc<Runs>>,
    /// The means of the runs of two shapes.
    means: FxHashMap<(usize, usize), Arc<Runs>>,
}

/// What a step looks like: the place of its shape's runs in a view, and what it means for what follows.
type Look = (usize, Turn);

/// Aligns one recording with the steps of one machine, hypothesis after hypothesis.
///
/// Ids of predictions are remembered, so that all calls must be with ids of one and the same [`Sweep`].
#[derive(Clone)]
pub struct Aligner {
    habits: Habits,
    frames: Vec<Frame>,
    idle_w: f64,
    views: Vec<View>,
    begins: Begins,
    tables: FxHashMap<[u64; 5], Table>,
    shapes: FxHashMap<(usize, Shape), usize>,
    known: FxHashMap<(usize, PredictionId), Look>,
    sums: FxHashMap<Vec<Look>, f64>,
    sums_of_either: FxHashMap<(Vec<Look>, Vec<Look>), f64>,
    forward: Forward,
    ceiling: OnceLock<f64>,
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
        let edges: Vec<f64> = recording.edges.iter().map(|edge| edge.0).collect();
        let pieces = Pieces::of(samples, &edges, &habits, conditions.meter.u_w(0.0));
        let idle_w = idle_w(machine, conditions);
        let begins = Begins::of(recording, machine.test.steps.len(), &pieces, &habits);
        let loads = views::beside(&pieces.stretches, &own_w(machine, conditions), &habits);
        let plain = 1.0 - loads.iter().map(|l| l.1).sum::<f64>();
        let mut all = vec![(pieces.clone(), None, plain)];
        all.extend(loads.iter().map(|(load, weight)| (views::without(&pieces, load), Some(*load), *weight)));
        let views = all
            .into_iter()
            .map(|(pieces, beside, weight)| {
                let around = Arounds::new(&pieces, &begins, idle_w, &habits);
                View {
                    ln_weight: weight.ln(),
                    pieces,
                    beside,
                    around,
                    runs: Vec::new(),
                    means: FxHashMap::default(),
                }
            })
            .collect();
        Ok(Aligner {
            habits,
            frames: Frame::all(machine),
            idle_w,
            views,
            begins,
            tables: FxHashMap::default(),
            shapes: FxHashMap::default(),
            known: FxHashMap::default(),
            sums: FxHashMap::default(),
            sums_of_either: FxHashMap::default(),
            forward: Forward::default(),
            ceiling: OnceLock::new(),
        })
    }

    /// ln P(recording | predictions), one prediction for each step of the service test, up to a constant that is the same
    /// for all hypotheses. Steps beyond the given are taken as skipped.
    pub fn ln_likelihood(&mut self, steps: &[PredictionId], sweep: &Sweep<'_>) -> f64 {
        let looks = self.looks(steps, sweep);
        if let Some(&sum) = self.sums.get(&looks) {
            return sum;
        }
        let mut forward = std::mem::take(&mut self.forward);
        let sum = self.sum(&looks, &mut forward);
        self.forward = forward;
        self.sums.insert(looks, sum);
        sum
    }

    fn sum(&self, looks: &[Look], forward: &mut Forward) -> f64 {
        let of = |view: &View| view.ln_weight + self.with_chain(view, looks, |chain| forward.ln_sum(chain));
        ln_sum(&self.views.iter().map(of).collect::<Vec<_>>())
    }

    /// The same where each step is the one or the other at even odds, whatever the others are: of a fault that comes and goes
    /// within the test. What a step with it leaves to one without is not followed.
    pub fn ln_likelihood_of_either(
        &mut self,
        with: &[PredictionId],
        without: &[PredictionId],
        sweep: &Sweep<'_>,
    ) -> f64 {
        let looks = self.looks_of_either(with, without, sweep);
        if looks.0 == looks.1 {
            return self.ln_likelihood(without, sweep);
        }
        if let Some(&sum) = self.sums_of_either.get(&looks) {
            return sum;
        }
        let mut forward = std::mem::take(&mut self.forward);
        let sum = self.sum_of_either(&looks.0, &looks.1, &mut forward);
        self.forward = forward;
        self.sums_of_either.insert(looks, sum);
        sum
    }

    /// The looks of both, with the means of their runs made.
    fn looks_of_either(
        &mut self,
        with: &[PredictionId],
        without: &[PredictionId],
        sweep: &Sweep<'_>,
    ) -> (Vec<Look>, Vec<Look>) {
        let (with, without) = (self.looks(with, sweep), self.looks(without, sweep));
        for View { runs, means, .. } in &mut self.views {
            let pairs = with.iter().zip(&without).map(|(a, b)| (a.0, b.0));
            for (a, b) in pairs.filter(|(a, b)| a != b) {
                means.entry((a, b)).or_insert_with(|| Arc::new(Runs::mean(&runs[a], &runs[b])));
            }
        }
        (with, without)
    }

    fn sum_of_either(&self, with: &[Look], without: &[Look], forward: &mut Forward) -> f64 {
        let both = || with.iter().zip(without);
        let odds = both().map(|(a, b)| Odds::of(a.1, &self.habits).mean(Odds::of(b.1, &self.habits)));
        let order = steps::order_of(&odds.collect::<Vec<_>>(), &self.habits);
        let of = |view: &View| {
            let steps = both().map(|(a, b)| view.means.get(&(a.0, b.0)).unwrap_or(&view.runs[a.0]).as_ref());
            let around = view.around.alive();
            view.ln_weight + self.chain(view, steps, around, &order, |chain| forward.ln_sum(chain))
        };
        ln_sum(&self.views.iter().map(of).collect::<Vec<_>>())
    }

    /// No hypothesis has a likelihood above this, whatever it predicts; see `ceiling.rs`. Made when first asked for.
    pub fn ln_ceiling(&self) -> f64 {
        *self.ceiling.get_or_init(|| {
            let of = |view: &View| {
                let (pieces, doors, around) = (&view.pieces, &self.begins.doors, view.around.most());
                view.ln_weight + ceiling::ln_ceiling(&self.frames, pieces, doors, around, &self.habits)
            };
            ln_sum(&self.views.iter().map(of).collect::<Vec<_>>()) + ROUNDING
        })
    }

    /// No hypothesis has a likelihood above this whose every step looks like that step under one of the hypotheses asked for
    /// so far, whichever: what several faults together mostly come to. Far closer than [`Aligner::ln_ceiling`], and no bound
    /// for a step that looks like nothing seen. −∞ before any was asked for.
    pub fn ln_ceiling_of_seen(&mut self) -> f64 {
        let count = self.frames.len();
        let mut odds: Vec<Option<Odds>> = vec![None; count];
        let mut places: Vec<Vec<usize>> = vec![Vec::new(); count];
        for (&(step, _), &(made, turn)) in &self.known {
            let one = Odds::of(turn, &self.habits);
            odds[step] = Some(odds[step].map_or(one, |so_far| so_far.or(one)));
            places[step].push(made);
        }
        let Some(odds) = odds.into_iter().collect::<Option<Vec<Odds>>>() else { return f64::NEG_INFINITY };
        for made in &mut places {
            made.sort_unstable();
            made.dedup();
        }
        let order = steps::order_of(&odds, &self.habits);
        let mut forward = std::mem::take(&mut self.forward);
        let of = |view: &View| {
            let best = |made: &Vec<usize>| {
                Runs::greatest(&made.iter().map(|&m| view.runs[m].as_ref()).collect::<Vec<_>>())
            };
            let steps: Vec<Runs> = places.iter().map(best).collect();
            let around = view.around.most();
            view.ln_weight + self.chain(view, steps.iter(), around, &order, |chain| forward.ln_sum(chain))
        };
        let most = ln_sum(&self.views.iter().map(of).collect::<Vec<_>>()) + ROUNDING;
        self.forward = forward;
        most
    }

    /// The likeliest alignment under these predictions, in order of time: the steps, what lies between them, and what of
    /// the steps is another load's. See [`Match`].
    pub fn best(&mut self, steps: &[PredictionId], sweep: &Sweep<'_>) -> Vec<Match> {
        let looks = self.looks(steps, sweep);
        let profiles: Vec<Profile> = steps
            .iter()
            .zip(&self.frames)
            .map(|(id, frame)| Shape::of(sweep.get(*id), frame).profile(frame))
            .collect();
        let ways: Vec<_> = self.views.iter().map(|view| self.with_chain(view, &looks, best)).collect();
        let weight = |k: &usize| self.views[*k].ln_weight + ways[*k].0;
        let best = (0..ways.len()).max_by(|a, b| weight(a).total_cmp(&weight(b))).unwrap_or(0);
        let view = &self.views[best];
        shown::matches(&ways[best].1, &view.pieces, view.beside, &profiles, &self.habits)
    }

    /// What each step looks like, made if new.
    fn looks(&mut self, steps: &[PredictionId], sweep: &Sweep<'_>) -> Vec<Look> {
        self.make_shapes(&[steps], sweep);
        let steps = steps.iter().enumerate().take(self.frames.len());
        steps.filter_map(|(step, &id)| self.known.get(&(step, id)).copied()).collect()
    }

    fn with_chain<T>(&self, view: &View, looks: &[Look], work: impl FnOnce(&Chain<'_>) -> T) -> T {
        let turns: Vec<Turn> = looks.iter().map(|look| look.1).collect();
        let steps = looks.iter().map(|look| view.runs[look.0].as_ref());
        self.chain(view, steps, view.around.of(looks), &order(&turns, &self.habits), work)
    }

    fn chain<'r, T>(
        &'r self,
        view: &'r View,
        steps: impl Iterator<Item = &'r Runs>,
        around: &'r Around,
        order: &Order,
        work: impl FnOnce(&Chain<'_>) -> T,
    ) -> T {
        let mut all: Vec<&Runs> = steps.collect();
        let (count, pieces) = (all.len(), view.pieces.len());
        all.extend(std::iter::repeat_n(&around.pause, count));
        all.extend([&around.outside; 3]);
        let doors = &self.begins.doors[..self.begins.doors.len().min(count * pieces)];
        work(&Chain { pieces, runs: &all, order, doors })
    }
}

/// A hair for the rounding of the sums that are held against a ceiling.
const ROUNDING: f64 = 1e-9;

/// ln Σ exp.
fn ln_sum(all: &[f64]) -> f64 {
    let top = all.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    if top == f64::NEG_INFINITY {
        return top;
    }
    top + all.iter().map(|x| (x - top).exp()).sum::<f64>().ln()
}

/// What the sound machine's steps draw, W.
fn own_w(machine: &Machine, conditions: &Conditions) -> Vec<f64> {
    bench::predict(machine, &bench::Hypothesis::healthy(), conditions)
        .iter()
        .map(|p| p.power_w.value)
        .collect()
}

/// What the machine draws when nothing is driven, W.
fn idle_w(machine: &Machine, conditions: &Conditions) -> f64 {
    let Some(first) = machine.test.steps.first() else { return 0.0 };
    let nothing = machine::model::Step { drives: Vec::new(), until: None, ..first.clone() };
    let modes = vec![None; machine.parts.len()];
    let mut state = State::start(conditions);
    Bench::new(machine).step(&nothing, &modes, conditions, &mut state).power_w.value
}

fn table(tables: &mut FxHashMap<[u64; 5], Table>, length: Length) -> &Table {
    tables.entry(length.key()).or_insert_with(|| Table::new(length))
}

/// Weights of the runs of a step that looks like this.
fn shape_runs(
    view: &View,
    shape: &Shape,
    frame: &Frame,
    table: &Table,
    marked: &[f64],
    habits: &Habits,
) -> Runs {
    let factors = Factors::of(&shape.profile(frame), &view.pieces, habits);
    runs(&view.pieces, &factors, table, marked)
}

/// Weights of all runs: factors of the pieces times the probability to end at that boundary, or, at the end of the
/// recording, to go on beyond it.
fn runs(pieces: &Pieces, factors: &Factors, table: &Table, marked: &[f64]) -> Runs {
    let n = pieces.len();
    let around: Vec<(f64, f64)> = (0..=n).map(|i| pieces.around_s(i)).collect();
    Runs::build(n, |from, row| {
        let start_s = pieces.at_s(from);
        let mut fits = factors.start[from];
        // Probability to last up to the last boundary's end.
        let mut beyond = 1.0;
        for (to, around) in around.iter().enumerate().skip(from + 1) {
            let left = if to == n { 0.0 } else { table.beyond(around.1 - start_s) };
            row.push(fits * (beyond - left));
            beyond = left;
            let Some(piece) = pieces.pieces.get(to) else { break };
            let had = piece.opens && piece.again.is_some_and(|last| last >= from);
            fits *= if had { factors.again[to] } else { factors.on[to] };
            fits *= marked.get(to).copied().unwrap_or(1.0);
            if fits * beyond < HOPELESS {
                break;
            }
        }
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn stretches(levels: &[(f64, f64)], halves: bool) -> Vec<Stretch> {
        let mut at = 0.0;
        let mut all = Vec::new();
        for &(power_w, seconds) in levels {
            let parts = if halves { 2 } else { 1 };
            for _ in 0..parts {
                let end_s = at + seconds / f64::from(parts);
                let repeats_w = 1.0_f64.max(0.02 * power_w);
                all.push(Stretch {
                    start_s: at,
                    end_s,
                    power_w,
                    repeats_w,
                    slope: false,
                    hole: false,
                    again: None,
                });
                at = end_s;
            }
        }
        all
    }

    /// A level cut in two where nothing changes is the same level twice, and the second time costs nothing; what is left is
    /// that the mixture of roles starts its clock anew and that boundaries lie elsewhere.
    #[test]
    fn a_stretch_in_two_halves_weighs_the_same() {
        let habits = Habits::default();
        let levels = [(4.6, 24.0), (26.0, 40.0), (9.0, 16.0), (1800.0, 48.0), (4.6, 20.0)];
        let powers = [26.0, 9.0, 1800.0];
        let ln = |halves: bool| {
            let pieces = Pieces::from_stretches(stretches(&levels, halves));
            let made = |value: f64, u: f64, median_s: f64| {
                let profile = Profile {
                    levels: vec![bench::Estimate { value, u }],
                    rest: None,
                    ramp_s: 0.0,
                    tried_w: None,
                    floor_w: f64::NEG_INFINITY,
                    outside: false,
                    dead: None,
                };
                let length = Length { median_s, steep: 5.0, hurried: 0.1, loose: 2.2, quick: 0.0 };
                runs(&pieces, &Factors::of(&profile, &pieces, &habits), &Table::new(length), &[])
            };
            let steps: Vec<Runs> = powers.iter().map(|&p| made(p, 0.03 * p, 30.0)).collect();
            let idle = made(4.6, 0.5, 30.0);
            let turns = vec![Turn { ended: false, dead: false, brief: false, reached: false }; powers.len()];
            let mut all: Vec<&Runs> = steps.iter().collect();
            all.extend([&idle; 6]);
            let order = order(&turns, &habits);
            Forward::default().ln_sum(&Chain { pieces: pieces.len(), runs: &all, order: &order, doors: &[] })
        };
        let (whole, halves) = (ln(false), ln(true));
        assert!((whole - halves).abs() < 0.3, "{whole} {halves}");
    }
}
