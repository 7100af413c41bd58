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
pub(crate) use weigh::says_yes;

use crate::align::Aligner;
use crate::evidence::{Clue, Evidence};
use crate::hypotheses::{self, Ceiling, HypothesesError, Limits, Prior};
use crate::setup::Setup;
use bench::{Conditions, Hypothesis};
use machine::model::{Machine, PartId};
use std::cell::RefCell;
use std::collections::HashMap;
use std::rc::Rc;

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
    aligner: Option<Aligner<'m>>,
    fits: Vec<HashMap<Hypothesis, Fit>>,
}

/// One clue, or the trace.
struct Item {
    /// The clue; none for the trace.
    clue: Option<Clue>,
    /// Parts that were mended before it.
    mended: Vec<PartId>,
    ln_most: f64,
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
        let world = World { predictions: Predictions::new(machine, conditions), aligner: None, fits: Vec::new() };
        Ok(Belief {
            machine,
            setup: setup.clone(),
            prior: prior::prior(machine)?,
            items: Vec::new(),
            world: RefCell::new(world),
        })
    }

    /// The same after one more recording.
    pub fn add_trace(&mut self, aligner: Aligner<'m>) {
        let ln_most = aligner.ln_ceiling();
        let world = self.world.get_mut();
        world.aligner = Some(aligner);
        world.fits.push(HashMap::new());
        self.items.push(Item { clue: None, mended: Vec::new(), ln_most });
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
                let ln_most = weigh::most(&self.setup, &entry.clue);
                self.items.push(Item { clue: Some(entry.clue.clone()), mended: mended.clone(), ln_most });
                self.world.get_mut().fits.push(HashMap::new());
            }
        }
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
        let Item { clue, mended, .. } = &self.items[item];
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
        fits[item].insert(faults, fit);
        fit
    }

    /// Logarithm of the likelihood of all evidence.
    pub(crate) fn ln_likelihood(&self, case: &Case) -> f64 {
        (0..self.items.len()).map(|item| self.fit(item, case).ln).sum()
    }

    /// The posterior.
    ///
    /// # Errors
    /// As [`hypotheses::posterior`].
    pub fn posterior(&self, limits: &Limits) -> Result<Beliefs, HypothesesError> {
        let ln = |h: &hypotheses::Hypothesis| self.ln_likelihood(&Case::of(self.machine, h));
        let posterior = hypotheses::posterior(&self.prior, ln, &self.ceilings(), limits)?;
        let case = |(h, p): (hypotheses::Hypothesis, f64)| (Case::of(self.machine, &h), p);
        Ok(Beliefs {
            cases: posterior.hypotheses.into_iter().map(case).collect(),
            left_out: posterior.left_out,
        })
    }

    /// What bounds the likelihood of sets not made: each clue's greatest, or, without a fault that alone makes a
    /// difference to it, what it is in the healthy machine. (Faults none of which changes a reading alone are taken to
    /// change it no more together; this bounds what is left out, and weighs nothing that is made.)
    fn ceilings(&self) -> Vec<Ceiling> {
        let healthy = Case::default();
        let mut all: Vec<Ceiling> = (0..self.items.len())
            .map(|item| {
                let unexplained = self.fit(item, &healthy).ln;
                let mut explained_by = Vec::new();
                for (part, mode) in self.machine.single_faults() {
                    let modes = self.machine.parts[part].kind.modes.len();
                    if self.matters(item, (part, mode), unexplained) {
                        explained_by.push(hypotheses::Fault { part, mode });
                        explained_by.push(hypotheses::Fault { part, mode: mode + modes });
                    }
                }
                Ceiling { explained_by, explained: self.items[item].ln_most, unexplained }
            })
            .collect();
        all.sort_by(|a, b| (b.explained - b.unexplained).total_cmp(&(a.explained - a.unexplained)));
        all
    }

    /// Can a fault make a difference to a clue, alone or through what it leaves to later steps?
    fn matters(&self, item: usize, fault: (PartId, usize), unexplained: f64) -> bool {
        let faults = Hypothesis::of([fault]);
        let until = match &self.items[item].clue {
            Some(Clue::Step(reading)) => reading.step + 1,
            Some(Clue::Sign { step, .. }) => step + 1,
            Some(Clue::Code(_)) | None => usize::MAX,
            Some(_) => 0,
        };
        let changes = |p: &mut Predictions<'_>| {
            let (healthy, faulty) = (p.test(&Hypothesis::healthy()), p.test(&faults));
            healthy.iter().zip(faulty.iter()).take(until).any(|(a, b)| a != b)
        };
        let case = Case { faults: faults.clone(), sometimes: Vec::new() };
        until > 0 && self.with_predictions(changes) || (self.fit(item, &case).ln - unexplained).abs() > 1e-9
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
