//! Belief: how probable each set of faults is, given the evidence.
//!
//! The prior comes from the rates in the machine file (`prior.rs`); what a machine does under a set of faults from the
//! bench, kept in `predictions.rs`; how likely a clue is under it from `weigh.rs`, with the densities of readings in
//! `density.rs`, over what may have shown in `fits.rs`, and the customer's view of a function in `functions.rs`. Clues are
//! independent given the faults. Each lets a small chance of a slip through, so no single mistake rules out the truth.

mod after;
mod density;
mod fits;
mod functions;
mod predictions;
mod prior;
mod weigh;

pub(crate) use density::Fit;
pub(crate) use predictions::Predictions;
pub use prior::Case;
pub(crate) use prior::SOUND_CALLS;
pub(crate) use weigh::{says_yes, works_without};

use crate::align::{Aligner, Ask};
use crate::evidence::{Clue, Evidence};
use crate::hypotheses::{self, HypothesesError, Limits, Prior};
use crate::setup::Setup;
use bench::{Conditions, Hypothesis};
use machine::model::{Machine, PartId};
use rustc_hash::FxHashMap;
use std::cell::RefCell;
use std::collections::BTreeMap;
use std::rc::Rc;

/// Most faults that are tried together for one recording.
const MOST_TOGETHER: usize = 3;

/// A further fault that makes a recording less than this much likelier (in nats) explains nothing more in it.
const MUCH: f64 = 2.0;

/// What faults together may explain one item better than the best of them alone (in nats), where no single fault explains it.
/// Such readings are far oftener those of a machine that is not quite as its file says.
const TOGETHER: f64 = 2.0;

/// The same of a recording, in which several faults may each explain some steps: less than this (in nats) is what a machine
/// costs that is not quite as its file says, and less than a second fault's rarity. Chosen by how made-up cases came out; no source.
const SEVERAL: f64 = 12.0;

/// A single fault that explains all else this much worse than the best could (in nats) is ruled out there.
const RULED_OUT: f64 = 5.0;

/// Everything that is believed about one machine.
pub struct Belief<'m> {
    machine: &'m Machine,
    setup: Setup,
    prior: Prior,
    told: Vec<Told>,
    occasions: Vec<Occasion>,
    world: RefCell<World<'m>>,
}

/// What changes while hypotheses are weighed: caches only.
struct World<'m> {
    predictions: Predictions<'m>,
    aligner: Option<Aligner>,
    /// How likely the trace is where a fault comes and goes within it.
    comes_and_goes: FxHashMap<Hypothesis, f64>,
    /// One for each thing told.
    fits: Vec<FxHashMap<Hypothesis, Fit>>,
}

/// One clue, or the trace.
struct Told {
    /// The clue; none for the trace.
    clue: Option<Clue>,
    /// Parts that were mended before it.
    mended: Vec<PartId>,
}

/// What was told of one occasion, weighed together: all readings and signs of a step, a reading of ohms, the trace. A fault
/// that shows only sometimes shows in all of it or in none.
struct Occasion {
    /// Places of what was told.
    told: Vec<usize>,
    /// Clues of the same step, before the same repairs and in answer to the same check, are of one occasion.
    key: Option<(usize, Vec<PartId>, Option<String>)>,
    /// No set of faults is credited with more than this (a natural logarithm).
    most: f64,
    /// It is a recording that several faults explain far better than the best of them.
    several: bool,
    /// Faults that can make a difference to it; sorted.
    faults: Vec<hypotheses::Fault>,
    /// What each of these gets alone.
    alone: Vec<f64>,
    /// What a set gets that has none of them.
    without: f64,
}

/// A probability for each set of faults.
#[derive(Clone, Debug, PartialEq)]
pub struct Beliefs {
    /// Sets of faults and their probability, likeliest first; with `left_out` they make 1.
    pub cases: Vec<(Case, f64)>,
    /// Most that all sets never made can have together.
    pub left_out: f64,
}

impl Beliefs {
    fn of(mut cases: Vec<(Case, f64)>, left_out: f64) -> Beliefs {
        cases.sort_by(|a, b| b.1.total_cmp(&a.1).then_with(|| a.0.cmp(&b.0)));
        Beliefs { cases, left_out }
    }
}

impl<'m> Belief<'m> {
    /// What the evidence makes of the prior.
    ///
    /// # Errors
    /// Rates that are no shares.
    pub fn new(
        machine: &'m Machine,
        conditions: &Conditions,
        setup: &Setup,
    ) -> Result<Self, HypothesesError> {
        let world = World {
            predictions: Predictions::new(machine, conditions),
            aligner: None,
            comes_and_goes: FxHashMap::default(),
            fits: Vec::new(),
        };
        Ok(Belief {
            machine,
            setup: setup.clone(),
            prior: prior::prior(machine)?,
            told: Vec::new(),
            occasions: Vec::new(),
            world: RefCell::new(world),
        })
    }

    /// Works out what the machine does under each single fault, all of which is going to be asked for.
    pub(crate) fn look_ahead(&mut self) {
        let singles = self.machine.single_faults().map(|fault| Hypothesis::of([fault]));
        self.world.get_mut().predictions.look_ahead(&singles.collect::<Vec<_>>());
    }

    /// The same after one more recording.
    pub fn add_trace(&mut self, aligner: Aligner) {
        self.world.get_mut().aligner = Some(aligner);
        let occasion = self.push(None, Vec::new(), None);
        self.align_ahead();
        self.limit(occasion);
    }

    /// Holds the recording against every single fault, all of which is going to be asked for.
    fn align_ahead(&mut self) {
        let World { predictions, aligner: Some(aligner), .. } = self.world.get_mut() else { return };
        let healthy = predictions.test(&Hypothesis::healthy());
        let (mut tests, mut waters) = (Vec::new(), Vec::new());
        for fault in self.machine.single_faults() {
            let single = Case { faults: Hypothesis::of([fault]), sometimes: Vec::new() };
            for faults in [single.shown(self.machine), single.faults] {
                tests.push(predictions.test(&faults));
                waters.extend(predictions.by_water(&faults).into_iter().flatten());
            }
        }
        let always = tests.iter().chain(&waters).map(|test| Ask::Test(test));
        let sometimes = tests.iter().map(|test| Ask::Either(test, &healthy));
        aligner.look_ahead(&always.chain(sometimes).collect::<Vec<_>>(), predictions.sweep());
    }

    /// The same after all entries that are not weighed yet; earlier ones are not weighed again.
    pub fn add(&mut self, evidence: &Evidence) {
        let known = self.told.iter().filter(|t| t.clue.is_some()).count();
        let mut mended: Vec<PartId> = Vec::new();
        let mut fresh: Vec<usize> = Vec::new();
        for (at, entry) in evidence.entries.iter().enumerate() {
            if let Clue::Mended { part, .. } = entry.clue {
                mended.push(part);
            }
            if at >= known {
                let step = match &entry.clue {
                    Clue::Step(reading) => Some(reading.step),
                    Clue::Sign { step, .. } => Some(*step),
                    _ => None,
                };
                let key = step.map(|step| (step, mended.clone(), entry.answers.clone()));
                fresh.push(self.push(Some(entry.clue.clone()), mended.clone(), key));
            }
        }
        fresh.sort_unstable();
        fresh.dedup();
        for occasion in fresh {
            self.limit(occasion);
        }
    }

    /// The same without what was told from this place on; what is known of the machine stays.
    pub(crate) fn take_back(&mut self, told: usize) {
        self.told.truncate(told);
        self.world.get_mut().fits.truncate(told);
        let is_left = |o: &Occasion| o.told.first().is_some_and(|&t| t < told);
        self.occasions.retain(is_left);
        for at in 0..self.occasions.len() {
            let occasion = &mut self.occasions[at];
            let before = occasion.told.len();
            occasion.told.retain(|&t| t < told);
            if occasion.told.len() < before {
                self.limit(at);
            }
        }
    }

    /// Adds what was told to its occasion; gives the place of that.
    fn push(
        &mut self,
        clue: Option<Clue>,
        mended: Vec<PartId>,
        key: Option<(usize, Vec<PartId>, Option<String>)>,
    ) -> usize {
        self.world.get_mut().fits.push(FxHashMap::default());
        self.told.push(Told { clue, mended });
        let told = self.told.len() - 1;
        let same = self.occasions.iter().position(|o| key.is_some() && o.key == key);
        if let Some(at) = same {
            self.occasions[at].told.push(told);
            return at;
        }
        self.occasions.push(Occasion {
            told: vec![told],
            key,
            most: f64::INFINITY,
            several: false,
            faults: Vec::new(),
            alone: Vec::new(),
            without: 0.0,
        });
        self.occasions.len() - 1
    }

    /// Finds out what single faults make of an occasion, and limits what sets of faults are credited with.
    ///
    /// Credit is limited to what the best single explanation of it all gets, and to [`TOGETHER`] beyond that where several
    /// faults explain different things in it far better, or where a prediction of usual spread would. So no set of many faults
    /// wins by hitting the readings of one or two closer than chance would; see also [`Belief::beyond_alone`].
    fn limit(&mut self, at: usize) {
        self.occasions[at].most = f64::INFINITY;
        let told = self.occasions[at].told.clone();
        let each = |case: &Case| -> Vec<f64> { told.iter().map(|&t| self.fit(t, case).ln).collect() };
        let unexplained = each(&Case::default());
        let sum = |lns: &[f64]| lns.iter().sum::<f64>();
        let mut joint = sum(&unexplained);
        let mut apart = unexplained.clone();
        let mut faults = Vec::new();
        for (part, mode) in self.machine.single_faults() {
            let alone = hypotheses::Hypothesis { faults: vec![hypotheses::Fault { part, mode }] };
            let single = Case::of(self.machine, &alone);
            let lns = each(&single);
            joint = joint.max(sum(&lns));
            if let [one] = told[..]
                && self.told[one].clue.is_none()
            {
                joint = joint.max(self.fit(one, &Case { sometimes: vec![0], ..single.clone() }).ln);
            }
            apart.iter_mut().zip(&lns).for_each(|(best, ln)| *best = best.max(*ln));
            let differs = lns.iter().zip(&unexplained).any(|(a, b)| (a - b).abs() > 1e-9);
            if differs || self.leads_to(&told, &single.shown(self.machine)) {
                let modes = self.machine.parts[part].kind.modes.len();
                faults.extend([mode, mode + modes].map(|mode| hypotheses::Fault { part, mode }));
            }
        }
        let usual = |t: usize| self.told[t].clue.as_ref().map_or(f64::NEG_INFINITY, weigh::usual);
        let apart: f64 = apart.iter().zip(&told).map(|(best, &t)| best.max(usual(t))).sum();
        let explained = apart < joint + TOGETHER;
        let mut most = if explained { joint } else { joint + TOGETHER };
        let mut several = false;
        if let [one] = told[..]
            && self.told[one].clue.is_none()
            && let Some(together) = self.best_together(one, &faults, most + SEVERAL)
        {
            (most, several) = (together, true);
        }
        faults.sort_unstable();
        let occasion = &mut self.occasions[at];
        (occasion.most, occasion.several) = (most, several);
        (occasion.faults, occasion.alone) = (faults.clone(), Vec::new());
        let one = |f: &hypotheses::Fault| {
            let hypothesis = hypotheses::Hypothesis { faults: vec![*f] };
            self.credited(at, &Case::of(self.machine, &hypothesis))
        };
        let alone = faults.iter().map(one).collect();
        let without = self.credited(at, &Case::default());
        let occasion = &mut self.occasions[at];
        (occasion.alone, occasion.without) = (alone, without);
    }

    /// For each of these occasions what several faults may get beyond the best of them alone: nothing as long as one fault (or none)
    /// explains it that all else does not rule out. What stays possible is then bounded closely, however many faults
    /// could meet; and once that fault is ruled out, several may do together what none does alone.
    fn beyond_alone(&self, occasions: &[usize]) -> Vec<f64> {
        let mut missed: BTreeMap<Option<hypotheses::Fault>, Vec<(usize, f64)>> = BTreeMap::new();
        let occasions: Vec<&Occasion> = occasions.iter().map(|&at| &self.occasions[at]).collect();
        for (at, o) in occasions.iter().enumerate() {
            for (fault, ln) in o.faults.iter().zip(&o.alone) {
                missed.entry(Some(*fault)).or_default().push((at, o.most - ln));
            }
        }
        missed.insert(None, Vec::new());
        let untouched: Vec<f64> = occasions.iter().map(|o| o.most - o.without).collect();
        let by_none: f64 = untouched.iter().sum();
        let mut explained = vec![false; occasions.len()];
        for missed in missed.values() {
            let all: f64 = by_none + missed.iter().map(|&(at, miss)| miss - untouched[at]).sum::<f64>();
            let mut each = untouched.clone();
            for &(at, miss) in missed {
                each[at] = miss;
            }
            for (explained, miss) in explained.iter_mut().zip(each) {
                *explained |= miss < MUCH && all - miss < RULED_OUT;
            }
        }
        let free = |o: &Occasion| if o.several { f64::INFINITY } else { TOGETHER };
        explained.iter().zip(occasions).map(|(&one, o)| if one { 0.0 } else { free(o) }).collect()
    }

    /// Natural logarithm of an occasion's likelihood under a set of faults: what it is credited with, and of several that make a
    /// difference to it no more than `beyond` above the likeliest of them alone.
    fn ln_of(&self, at: usize, hypothesis: &hypotheses::Hypothesis, beyond: f64) -> f64 {
        let Occasion { faults, alone, without, .. } = &self.occasions[at];
        let mut there = hypothesis.faults.iter().filter_map(|f| faults.binary_search(f).ok());
        let Some(first) = there.next() else { return *without };
        let Some(second) = there.next() else { return alone[first] };
        let best = there.map(|place| alone[place]).fold(alone[first].max(alone[second]), f64::max);
        self.credited(at, &Case::of(self.machine, hypothesis)).min(best + beyond)
    }

    /// The greatest likelihood of the recording, where several faults may each explain some of its steps: the best single fault,
    /// the best that goes with it, and so on while that makes much of a difference. None where it does not come to be above `worth`;
    /// `matter` are the faults that make a difference to it.
    fn best_together(&self, item: usize, matter: &[hypotheses::Fault], worth: f64) -> Option<f64> {
        let ln = |faults: &Hypothesis| self.fit_showing(item, faults).ln;
        let always = |f: &&hypotheses::Fault| f.mode < self.machine.parts[f.part].kind.modes.len();
        let mut best = (ln(&Hypothesis::healthy()), Hypothesis::healthy());
        for left in (0..MOST_TOGETHER).rev() {
            let (before, base) = best.clone();
            for fault in matter.iter().filter(always) {
                let taken = base.faults().iter().any(|f| f.0 == fault.part);
                let more = Hypothesis::of(base.faults().iter().copied().chain([(fault.part, fault.mode)]));
                if !taken && ln(&more) > best.0 {
                    best = (ln(&more), more);
                }
            }
            // The best are taken first, and what comes next is taken to gain no more than this one did: nothing proves it.
            let gained = best.0 - before;
            if gained < MUCH || best.0 + left as f64 * gained <= worth {
                break;
            }
        }
        (best.0 > worth).then_some(best.0)
    }

    /// Does what these faults leave to later steps reach what was told?
    fn leads_to(&self, told: &[usize], faults: &Hypothesis) -> bool {
        let before = |&t: &usize| match &self.told[t].clue {
            Some(Clue::Step(reading)) => reading.step,
            Some(Clue::Volts(reading)) => reading.step,
            Some(Clue::Sign { step, .. }) => *step,
            Some(Clue::Code(_)) | None => usize::MAX,
            Some(_) => 0,
        };
        let before = told.iter().map(before).max().unwrap_or(0);
        self.with_predictions(|p| p.leaves_other_state(faults, before))
    }

    /// Number of things told: clues, and the trace among them.
    pub(crate) fn items(&self) -> usize {
        self.told.len()
    }

    /// The clue at this place; none for the trace.
    pub(crate) fn clue(&self, item: usize) -> Option<&Clue> {
        self.told[item].clue.as_ref()
    }

    /// The posterior.
    ///
    /// # Errors
    /// As [`hypotheses::posterior`].
    pub fn posterior(&self, limits: &Limits) -> Result<Beliefs, HypothesesError> {
        let mut all: Vec<usize> = (0..self.occasions.len()).collect();
        // What a set would do in ordinary use takes longest to work out, and needs not be where the test rules it out.
        all.sort_by_key(|&at| {
            let clue = self.occasions[at].told.first().and_then(|&t| self.clue(t));
            clue.is_some_and(weigh::about_ordinary_use)
        });
        let beyond = self.beyond_alone(&all);
        let ln = |item: usize, h: &hypotheses::Hypothesis| self.ln_of(all[item], h, beyond[item]);
        let items = self.known_beforehand(&all, &beyond);
        let posterior = hypotheses::posterior(&self.prior, ln, &items, limits)?;
        let bare: f64 = posterior.hypotheses.iter().filter(|(h, _)| h.faults.is_empty()).map(|h| h.1).sum();
        let healthy = bare * self.prior.of_nothing_wrong(&posterior.aside);
        let mut cases: Vec<(Case, f64)> = Vec::new();
        for (hypothesis, p) in &posterior.hypotheses {
            let p = if hypothesis.faults.is_empty() { healthy } else { *p };
            cases.push((Case::of(self.machine, hypothesis), p));
        }
        // Faults that make no difference to the evidence are as likely as they were.
        let odds: f64 = posterior.aside.iter().map(|(_, share)| share / (1.0 - share)).sum();
        for &(fault, share) in &posterior.aside {
            let p = (bare - healthy) * share / (1.0 - share) / odds;
            cases.push((Case::of(self.machine, &hypotheses::Hypothesis { faults: vec![fault] }), p));
        }
        Ok(Beliefs::of(cases, posterior.left_out))
    }

    /// The posterior, gone on to from the one after the first `told` things where that is close enough.
    ///
    /// # Errors
    /// As [`hypotheses::posterior`].
    pub(crate) fn posterior_from(
        &self,
        before: &Beliefs,
        told: usize,
        limits: &Limits,
    ) -> Result<Beliefs, HypothesesError> {
        self.posterior_after(before, told, limits).map_or_else(|| self.posterior(limits), Ok)
    }

    /// What is known of each item before sets of faults are weighed: which faults can make a difference to it, and its
    /// greatest likelihood. (A fault that alone changes neither the clue nor what earlier steps leave is taken to
    /// change it in no company.)
    fn known_beforehand(&self, occasions: &[usize], beyond: &[f64]) -> Vec<hypotheses::Item> {
        let of = |(&at, &beyond): (&usize, &f64)| {
            let o = &self.occasions[at];
            hypotheses::Item::new(o.faults.iter().copied(), o.most).beyond_alone(beyond)
        };
        occasions.iter().zip(beyond).map(of).collect()
    }

    /// What the bench says, for whoever chooses the next check.
    pub(crate) fn with_predictions<T>(&self, ask: impl FnOnce(&mut Predictions<'m>) -> T) -> T {
        ask(&mut self.world.borrow_mut().predictions)
    }

    /// The best alignment of the trace under a case.
    pub(crate) fn aligned(&self, case: &Case) -> Vec<crate::align::Match> {
        let World { predictions, aligner, .. } = &mut *self.world.borrow_mut();
        let Some(aligner) = aligner else { return Vec::new() };
        let steps: Rc<[bench::PredictionId]> = predictions.test(&case.faults);
        aligner.best(&steps, predictions.sweep())
    }

    /// The machine.
    pub(crate) fn machine(&self) -> &'m Machine {
        self.machine
    }

    /// The frame.
    pub(crate) fn setup(&self) -> &Setup {
        &self.setup
    }
}
