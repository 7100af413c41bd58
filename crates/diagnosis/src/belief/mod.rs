//! Belief: how probable each set of faults is, given the evidence.
//!
//! The prior comes from the rates in the machine file (`prior.rs`); what was told, by occasion, stands in `account.rs`; what a
//! machine does under a set of faults comes from the bench, kept in `predictions.rs`; how likely a clue is under it from
//! `weigh.rs`, with the densities of readings in `density.rs`, over what may have shown in `fits.rs`, and the customer's view of a
//! function in `functions.rs`. All that is kept lies in `worlds.rs`, twice, so that two threads can weigh. Clues are independent
//! given the faults. Each lets a small chance of a slip through, so no single mistake rules out the truth.

mod account;
mod after;
mod density;
mod fits;
mod functions;
mod predictions;
mod prior;
mod weigh;
mod worlds;

pub(crate) use density::Fit;
pub(crate) use predictions::Predictions;
pub use prior::Case;
pub(crate) use prior::SOUND_CALLS;
pub(crate) use weigh::{says_yes, works_without};

use crate::align::{Aligner, Ask};
use crate::evidence::{Clue, Evidence};
use crate::hypotheses::{self, HypothesesError, Limits};
use crate::setup::Setup;
use account::{Account, MUCH, Occasion, SEVERAL, TOGETHER, Told};
use bench::{Conditions, Hypothesis};
use machine::model::{Machine, PartId};
use std::cell::RefCell;
use std::sync::Arc;
use worlds::{World, Worlds, last_in_prior, last_of_several};

/// Most faults that are tried together for one recording.
const MOST_TOGETHER: usize = 3;

/// So many likelihoods are asked for at a time, so that two threads can share them.
const AT_ONCE: usize = 4096;

/// Everything that is believed about one machine.
pub struct Belief<'m> {
    account: Account<'m>,
    worlds: RefCell<Worlds<'m>>,
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
        let account = Account {
            machine,
            setup: setup.clone(),
            prior: prior::prior(machine)?,
            told: Vec::new(),
            occasions: Vec::new(),
        };
        let worlds = Worlds::new(Predictions::new(machine, conditions));
        Ok(Belief { account, worlds: RefCell::new(worlds) })
    }

    /// Works out what the machine does under each single fault, all of which is going to be asked for.
    pub(crate) fn look_ahead(&mut self) {
        let singles = self.account.machine.single_faults().map(|fault| Hypothesis::of([fault]));
        self.worlds.get_mut().first.predictions.look_ahead(&singles.collect::<Vec<_>>());
    }

    /// The same after one more recording.
    pub fn add_trace(&mut self, aligner: Aligner) {
        self.worlds.get_mut().record(aligner);
        let occasion = self.push(None, Vec::new(), None);
        self.align_ahead();
        self.limit(occasion);
    }

    /// Holds the recording against every single fault, all of which is going to be asked for.
    fn align_ahead(&mut self) {
        let World { predictions, aligner: Some(aligner), .. } = &mut self.worlds.get_mut().first else {
            return;
        };
        let healthy = predictions.test(&Hypothesis::healthy());
        let (mut tests, mut waters) = (Vec::new(), Vec::new());
        for fault in self.account.machine.single_faults() {
            let single = Case { faults: Hypothesis::of([fault]), sometimes: Vec::new() };
            for faults in [single.shown(self.account.machine), single.faults] {
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
        let known = self.account.told.iter().filter(|t| t.clue.is_some()).count();
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
        self.account.told.truncate(told);
        self.worlds.get_mut().take_back(told);
        let is_left = |o: &Occasion| o.told.first().is_some_and(|&t| t < told);
        self.account.occasions.retain(is_left);
        for at in 0..self.account.occasions.len() {
            let occasion = &mut self.account.occasions[at];
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
        self.worlds.get_mut().push();
        self.account.told.push(Told { clue, mended });
        let told = self.account.told.len() - 1;
        let same = self.account.occasions.iter().position(|o| key.is_some() && o.key == key);
        if let Some(at) = same {
            self.account.occasions[at].told.push(told);
            return at;
        }
        self.account.occasions.push(Occasion {
            told: vec![told],
            key,
            most: f64::INFINITY,
            several: false,
            faults: Vec::new(),
            alone: Vec::new(),
            without: 0.0,
        });
        self.account.occasions.len() - 1
    }

    /// Finds out what single faults make of an occasion, and limits what sets of faults are credited with.
    ///
    /// Credit is limited to what the best single explanation of it all gets, and to [`TOGETHER`] beyond that where several
    /// faults explain different things in it far better, or where a prediction of usual spread would. So no set of many faults
    /// wins by hitting the readings of one or two closer than chance would; see also [`Belief::beyond_alone`].
    fn limit(&mut self, at: usize) {
        self.account.occasions[at].most = f64::INFINITY;
        let told = self.account.occasions[at].told.clone();
        let each = |case: &Case| -> Vec<f64> { told.iter().map(|&t| self.fit(t, case).ln).collect() };
        let unexplained = each(&Case::default());
        let sum = |lns: &[f64]| lns.iter().sum::<f64>();
        let mut joint = sum(&unexplained);
        let mut apart = unexplained.clone();
        let mut faults = Vec::new();
        for (part, mode) in self.account.machine.single_faults() {
            let alone = hypotheses::Hypothesis { faults: vec![hypotheses::Fault { part, mode }] };
            let single = Case::of(self.account.machine, &alone);
            let lns = each(&single);
            joint = joint.max(sum(&lns));
            if let [one] = told[..]
                && self.account.told[one].clue.is_none()
            {
                joint = joint.max(self.fit(one, &Case { sometimes: vec![0], ..single.clone() }).ln);
            }
            apart.iter_mut().zip(&lns).for_each(|(best, ln)| *best = best.max(*ln));
            let differs = lns.iter().zip(&unexplained).any(|(a, b)| (a - b).abs() > 1e-9);
            if differs || self.leads_to(&told, &single.shown(self.account.machine)) {
                let modes = self.account.machine.parts[part].kind.modes.len();
                faults.extend([mode, mode + modes].map(|mode| hypotheses::Fault { part, mode }));
            }
        }
        let usual = |t: usize| self.account.told[t].clue.as_ref().map_or(f64::NEG_INFINITY, weigh::usual);
        let apart: f64 = apart.iter().zip(&told).map(|(best, &t)| best.max(usual(t))).sum();
        let explained = apart < joint + TOGETHER;
        let mut most = if explained { joint } else { joint + TOGETHER };
        let mut several = false;
        if let [one] = told[..]
            && self.account.told[one].clue.is_none()
            && let Some(together) = self.best_together(one, &faults, most + SEVERAL)
        {
            (most, several) = (together, true);
        }
        faults.sort_unstable();
        let occasion = &mut self.account.occasions[at];
        (occasion.most, occasion.several) = (most, several);
        (occasion.faults, occasion.alone) = (faults.clone(), Vec::new());
        let one = |f: &hypotheses::Fault| {
            let hypothesis = hypotheses::Hypothesis { faults: vec![*f] };
            self.credited(at, &Case::of(self.account.machine, &hypothesis))
        };
        let alone = faults.iter().map(one).collect();
        let without = self.credited(at, &Case::default());
        let occasion = &mut self.account.occasions[at];
        (occasion.alone, occasion.without) = (alone, without);
    }

    /// The greatest likelihood of the recording, where several faults may each explain some of its steps: the best single fault,
    /// the best that goes with it, and so on while that makes much of a difference. None where it does not come to be above `worth`;
    /// `matter` are the faults that make a difference to it.
    fn best_together(&mut self, item: usize, matter: &[hypotheses::Fault], worth: f64) -> Option<f64> {
        let Belief { account, worlds } = self;
        let ln = |world: &mut World<'m>, faults: &Hypothesis| account.fit_showing(world, item, faults).ln;
        let worlds = worlds.get_mut();
        let always = |f: &&hypotheses::Fault| f.mode < account.machine.parts[f.part].kind.modes.len();
        let nothing = Hypothesis::healthy();
        let mut best = (ln(worlds.of(None), &nothing), nothing);
        for left in (0..MOST_TOGETHER).rev() {
            let (before, base) = best.clone();
            let taken = |part: PartId| base.faults().iter().any(|f| f.0 == part);
            let more = |f: &hypotheses::Fault| {
                Hypothesis::of(base.faults().iter().copied().chain([(f.part, f.mode)]))
            };
            let more: Vec<Hypothesis> =
                matter.iter().filter(always).filter(|f| !taken(f.part)).map(more).collect();
            let lns = worlds.each(&more, last_of_several, ln);
            for (ln, more) in lns.into_iter().zip(more) {
                if ln > best.0 {
                    best = (ln, more);
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
        let before = |&t: &usize| match &self.account.told[t].clue {
            Some(Clue::Step(reading)) => reading.step,
            Some(Clue::Volts(reading)) => reading.step,
            Some(Clue::Sign { step, .. }) => *step,
            Some(Clue::Code(_)) | None => usize::MAX,
            Some(_) => 0,
        };
        let before = told.iter().map(before).max().unwrap_or(0);
        self.with_predictions(|p| p.leaves_other_state(faults, before))
    }

    /// How well one thing told fits a case.
    pub(crate) fn fit(&self, item: usize, case: &Case) -> Fit {
        self.account.fit(self.worlds.borrow_mut().of(last_of_several(&case.faults)), item, case)
    }

    fn credited(&self, at: usize, case: &Case) -> f64 {
        self.account.credited(&mut self.worlds.borrow_mut().first, at, case)
    }

    fn ln_of(&self, at: usize, hypothesis: &hypotheses::Hypothesis, beyond: f64) -> f64 {
        let Account { told, occasions, .. } = &self.account;
        // Ohms take no sweep, and one meter is enough.
        let by_meter = |&t: &usize| matches!(told[t].clue, Some(Clue::Ohms(_)));
        let apart = if occasions[at].told.iter().all(by_meter) { None } else { last_in_prior(hypothesis) };
        self.account.ln_of(self.worlds.borrow_mut().of(apart), at, hypothesis, beyond)
    }

    /// Number of things told: clues, and the trace among them.
    pub(crate) fn items(&self) -> usize {
        self.account.told.len()
    }

    /// The clue at this place; none for the trace.
    pub(crate) fn clue(&self, item: usize) -> Option<&Clue> {
        self.account.clue(item)
    }

    /// The posterior.
    ///
    /// # Errors
    /// As [`hypotheses::posterior`].
    pub fn posterior(&self, limits: &Limits) -> Result<Beliefs, HypothesesError> {
        let mut all: Vec<usize> = (0..self.account.occasions.len()).collect();
        // What a set would do in ordinary use takes longest to work out, and needs not be where the test rules it out.
        all.sort_by_key(|&at| {
            let clue = self.account.occasions[at].told.first().and_then(|&t| self.clue(t));
            clue.is_some_and(weigh::about_ordinary_use)
        });
        let beyond = self.account.beyond_alone(&all);
        let account = &self.account;
        let ln = |world: &mut World<'m>, (item, h): &hypotheses::Question| {
            account.ln_of(world, all[*item], h, beyond[*item])
        };
        let lns = |questions: &[hypotheses::Question]| {
            self.worlds.borrow_mut().each(questions, |(_, h)| last_in_prior(h), ln)
        };
        let items = self.account.known_beforehand(&all, &beyond);
        let posterior = hypotheses::posterior_at_once(&self.account.prior, lns, &items, limits, AT_ONCE)?;
        let bare: f64 = posterior.hypotheses.iter().filter(|(h, _)| h.faults.is_empty()).map(|h| h.1).sum();
        let healthy = bare * self.account.prior.of_nothing_wrong(&posterior.aside);
        let mut cases: Vec<(Case, f64)> = Vec::new();
        for (hypothesis, p) in &posterior.hypotheses {
            let p = if hypothesis.faults.is_empty() { healthy } else { *p };
            cases.push((Case::of(self.account.machine, hypothesis), p));
        }
        // Faults that make no difference to the evidence are as likely as they were.
        let odds: f64 = posterior.aside.iter().map(|(_, share)| share / (1.0 - share)).sum();
        for &(fault, share) in &posterior.aside {
            let p = (bare - healthy) * share / (1.0 - share) / odds;
            cases.push((Case::of(self.account.machine, &hypotheses::Hypothesis { faults: vec![fault] }), p));
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

    /// What the bench says, for whoever chooses the next check.
    pub(crate) fn with_predictions<T>(&self, ask: impl FnOnce(&mut Predictions<'m>) -> T) -> T {
        ask(&mut self.worlds.borrow_mut().first.predictions)
    }

    /// The best alignment of the trace under a case.
    pub(crate) fn aligned(&self, case: &Case) -> Vec<crate::align::Match> {
        let World { predictions, aligner, .. } = &mut self.worlds.borrow_mut().first;
        let Some(aligner) = aligner else { return Vec::new() };
        let steps: Arc<[bench::PredictionId]> = predictions.test(&case.faults);
        aligner.best(&steps, predictions.sweep())
    }

    /// The machine.
    pub(crate) fn machine(&self) -> &'m Machine {
        self.account.machine
    }

    /// The frame.
    pub(crate) fn setup(&self) -> &Setup {
        &self.account.setup
    }
}
