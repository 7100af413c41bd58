//! Belief: how probable each set of faults is, given the evidence.
//!
//! The prior comes from the rates in the machine file (`prior.rs`); what a machine does under a set of faults from the
//! bench, kept in `predictions.rs`; how likely a clue is under it from `weigh.rs`, with the densities of readings in
//! `density.rs` and the customer's view of a function in `functions.rs`. Clues are independent given the faults. Each lets
//! a small chance of a slip through, so no single mistake rules out the truth.

mod density;
mod functions;
mod predictions;
mod prior;
mod weigh;

pub(crate) use density::Fit;
pub(crate) use predictions::Predictions;
pub use prior::Case;
pub(crate) use prior::SOUND_CALLS;
pub(crate) use weigh::says_yes;

use crate::align::Aligner;
use crate::evidence::{Clue, Evidence};
use crate::hypotheses::{self, HypothesesError, Limits, Prior};
use crate::setup::Setup;
use bench::{Conditions, Hypothesis};
use machine::model::{Machine, PartId};
use std::cell::RefCell;
use std::collections::HashMap;
use std::rc::Rc;

/// Most faults that are tried together for one recording.
const MOST_TOGETHER: usize = 3;

/// A further fault that makes a recording less than this much likelier (in nats) explains nothing more in it.
const MUCH: f64 = 2.0;

/// What faults together may explain one item better than the best single fault does (in nats). Readings that no single fault
/// explains are far oftener those of a machine that is not quite as its file says.
const TOGETHER: f64 = 3.0;

/// Everything that is believed about one machine.
pub struct Belief<'m> {
    machine: &'m Machine,
    setup: Setup,
    prior: Prior,
    items: Vec<Item>,
    world: RefCell<World<'m>>,
}

/// What changes while hypotheses are weighed: caches only.
struct World<'m> {
    predictions: Predictions<'m>,
    aligner: Option<Aligner>,
    fits: Vec<HashMap<Hypothesis, Fit>>,
}

/// One clue, or the trace.
struct Item {
    /// The clue; none for the trace.
    clue: Option<Clue>,
    /// Parts that were mended before it.
    mended: Vec<PartId>,
    /// No set of faults is credited with more than this (a natural logarithm).
    most: f64,
    /// Faults that can make a difference to it.
    faults: Vec<hypotheses::Fault>,
}

/// A probability for each set of faults.
#[derive(Clone, Debug, PartialEq)]
pub struct Beliefs {
    /// Sets of faults and their probability, likeliest first.
    pub cases: Vec<(Case, f64)>,
    /// Most that all sets never made can have together.
    pub left_out: f64,
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
        let world =
            World { predictions: Predictions::new(machine, conditions), aligner: None, fits: Vec::new() };
        Ok(Belief {
            machine,
            setup: setup.clone(),
            prior: prior::prior(machine)?,
            items: Vec::new(),
            world: RefCell::new(world),
        })
    }

    /// The same after one more recording.
    pub fn add_trace(&mut self, aligner: Aligner) {
        self.world.get_mut().aligner = Some(aligner);
        self.push(None, Vec::new(), f64::NEG_INFINITY);
    }

    /// The same after all entries that are not weighed yet; earlier ones are not weighed again.
    pub fn add(&mut self, evidence: &Evidence) {
        let known = self.items.iter().filter(|i| i.clue.is_some()).count();
        let mut mended: Vec<PartId> = Vec::new();
        for (at, entry) in evidence.entries.iter().enumerate() {
            if let Clue::Mended { part, .. } = entry.clue {
                mended.push(part);
            }
            if at >= known {
                let usual = weigh::usual(&entry.clue);
                self.push(Some(entry.clue.clone()), mended.clone(), usual);
            }
        }
    }

    /// Adds an item, and finds out what single faults make of it.
    ///
    /// Credit is limited: to what the best single explanation of the item gets; or, where a prediction of `usual` spread that
    /// hits it gets more, to that, but not more than [`TOGETHER`] beyond the best single explanation. So no set of many faults wins by hitting the readings of one or two
    /// closer than chance would; and what sets never made can weigh is bounded closely.
    fn push(&mut self, clue: Option<Clue>, mended: Vec<PartId>, usual: f64) {
        self.world.get_mut().fits.push(HashMap::new());
        self.items.push(Item { clue, mended, most: f64::INFINITY, faults: Vec::new() });
        let item = self.items.len() - 1;
        let unexplained = self.fit(item, &Case::default()).ln;
        let mut most = unexplained;
        let mut faults = Vec::new();
        for (part, mode) in self.machine.single_faults() {
            let case = Case { faults: Hypothesis::of([(part, mode)]), sometimes: Vec::new() };
            let ln = self.fit(item, &case).ln;
            most = most.max(ln);
            if (ln - unexplained).abs() > 1e-9 || self.leads_to(item, &case.faults) {
                let modes = self.machine.parts[part].kind.modes.len();
                faults.extend([mode, mode + modes].map(|mode| hypotheses::Fault { part, mode }));
            }
        }
        most = most.max(usual.min(most + TOGETHER));
        if self.items[item].clue.is_none() {
            most = most.max(self.best_together(item));
        }
        for fit in self.world.get_mut().fits[item].values_mut() {
            fit.ln = fit.ln.min(most);
        }
        self.items[item].most = most;
        self.items[item].faults = faults;
    }

    /// The greatest likelihood of an item that speaks of many steps, where several faults may each explain some of them:
    /// the best single fault, the best that goes with it, and so on while that makes much of a difference.
    fn best_together(&self, item: usize) -> f64 {
        let ln = |faults: &Hypothesis| self.fit_showing(item, faults).ln;
        let mut best = (ln(&Hypothesis::healthy()), Hypothesis::healthy());
        for _ in 0..MOST_TOGETHER {
            let (before, base) = best.clone();
            for fault in self.machine.single_faults() {
                let taken = base.faults().iter().any(|f| f.0 == fault.0);
                let more = Hypothesis::of(base.faults().iter().copied().chain([fault]));
                if !taken && ln(&more) > best.0 {
                    best = (ln(&more), more);
                }
            }
            if best.0 < before + MUCH {
                break;
            }
        }
        best.0
    }

    /// Does what these faults leave to later steps reach the item?
    fn leads_to(&self, item: usize, faults: &Hypothesis) -> bool {
        let before = match &self.items[item].clue {
            Some(Clue::Step(reading)) => reading.step,
            Some(Clue::Volts(reading)) => reading.step,
            Some(Clue::Sign { step, .. }) => *step,
            Some(Clue::Code(_)) | None => usize::MAX,
            Some(_) => 0,
        };
        self.with_predictions(|p| p.leaves_other_state(faults, before))
    }

    /// Number of clues, the trace among them.
    pub(crate) fn items(&self) -> usize {
        self.items.len()
    }

    /// The clue at this place; none for the trace.
    pub(crate) fn clue(&self, item: usize) -> Option<&Clue> {
        self.items[item].clue.as_ref()
    }

    /// How well a clue fits a case.
    pub(crate) fn fit(&self, item: usize, case: &Case) -> Fit {
        let shows_always = self.items[item].clue.as_ref().is_some_and(weigh::about_showing);
        if case.sometimes.is_empty() || shows_always {
            return self.fit_showing(item, &case.faults);
        }
        // Over all that may have shown on this occasion.
        let faults = case.faults.faults();
        let (mut sum, mut slipped) = (0.0, 0.0);
        for showing in 0..1_u32 << case.sometimes.len().min(8) {
            let hidden = |place: usize| {
                case.sometimes.iter().position(|s| *s == place).is_some_and(|bit| showing >> bit & 1 == 0)
            };
            let seen = faults.iter().enumerate().filter(|(i, _)| !hidden(*i)).map(|(_, f)| *f);
            let ways = showing.count_ones() as i32;
            let p = prior::SHOWS_SOMETIMES.powi(ways)
                * (1.0 - prior::SHOWS_SOMETIMES).powi(case.sometimes.len() as i32 - ways);
            let fit = self.fit_showing(item, &Hypothesis::of(seen));
            sum += p * fit.ln.exp();
            slipped += p * fit.ln.exp() * fit.slip;
        }
        Fit { ln: sum.ln(), slip: if sum > 0.0 { slipped / sum } else { 1.0 } }
    }

    fn fit_showing(&self, item: usize, faults: &Hypothesis) -> Fit {
        let Item { clue, mended, most, .. } = &self.items[item];
        let left = faults.faults().iter().filter(|f| !mended.contains(&f.0)).copied();
        let faults = if mended.is_empty() { faults.clone() } else { Hypothesis::of(left) };
        let World { predictions, aligner, fits } = &mut *self.world.borrow_mut();
        if let Some(known) = fits[item].get(&faults) {
            return *known;
        }
        let fit = match (clue, aligner) {
            (Some(clue), _) => weigh::weigh(self.machine, &self.setup, predictions, clue, &faults),
            (None, Some(aligner)) => {
                let steps = predictions.test(&faults);
                Fit { ln: aligner.ln_likelihood(&steps, predictions.sweep()), slip: 0.0 }
            }
            (None, None) => Fit { ln: 0.0, slip: 0.0 },
        };
        let fit = Fit { ln: fit.ln.min(*most), ..fit };
        fits[item].insert(faults, fit);
        fit
    }

    /// The posterior.
    ///
    /// # Errors
    /// As [`hypotheses::posterior`].
    pub fn posterior(&self, limits: &Limits) -> Result<Beliefs, HypothesesError> {
        let ln = |item: usize, h: &hypotheses::Hypothesis| self.fit(item, &Case::of(self.machine, h)).ln;
        let posterior = hypotheses::posterior(&self.prior, ln, &self.known_beforehand(), limits)?;
        let healthy = posterior.healthy();
        let mut cases: Vec<(Case, f64)> = Vec::new();
        for (hypothesis, p) in &posterior.hypotheses {
            let p = if hypothesis.faults.is_empty() { healthy } else { *p };
            cases.push((Case::of(self.machine, hypothesis), p));
        }
        // Faults that make no difference to the evidence are as likely as they were.
        let bare: f64 = posterior.hypotheses.iter().filter(|(h, _)| h.faults.is_empty()).map(|h| h.1).sum();
        let odds: f64 = posterior.aside.iter().map(|(_, share)| share / (1.0 - share)).sum();
        for &(fault, share) in &posterior.aside {
            let p = (bare - healthy) * share / (1.0 - share) / odds;
            cases.push((Case::of(self.machine, &hypotheses::Hypothesis { faults: vec![fault] }), p));
        }
        // Someone called: that speaks against the sound machine, and for all others alike.
        let sound = |case: &Case| if case.faults.faults().is_empty() { prior::CALLS_WHEN_SOUND } else { 1.0 };
        let total: f64 = cases.iter().map(|(case, p)| p * sound(case)).sum::<f64>() + posterior.left_out;
        for (case, p) in &mut cases {
            *p *= sound(case) / total;
        }
        cases.sort_by(|a, b| b.1.total_cmp(&a.1).then_with(|| a.0.cmp(&b.0)));
        Ok(Beliefs { cases, left_out: posterior.left_out / total })
    }

    /// What is known of each item before sets of faults are weighed: which faults can make a difference to it, and its
    /// greatest likelihood. (A fault that alone changes neither the clue nor what earlier steps leave is taken to
    /// change it in no company.)
    fn known_beforehand(&self) -> Vec<hypotheses::Item> {
        let of = |item: &Item| hypotheses::Item::new(item.faults.iter().copied(), item.most);
        self.items.iter().map(of).collect()
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
