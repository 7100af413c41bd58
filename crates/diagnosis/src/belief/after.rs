//! The posterior after one more thing was told, from the one before it: every case is weighed by what is new alone, and what
//! was left out is bounded by the most that it can have gained. No set of faults is looked for, so it takes a few
//! milliseconds where a search takes a hundred.

use super::account::Occasion;
use super::{Belief, Beliefs, Case};
use crate::hypotheses::{self, Fault, Limits};
use std::collections::BTreeSet;

/// So many times what a search may leave out is good enough to go on from; beyond it a search is due.
const WIDER: f64 = 10.0;

impl Belief<'_> {
    /// The posterior after all that was told, where `before` is the one after the first `told` things; none where too much may
    /// have been left out then, or where what is new belongs to an occasion of before.
    pub(super) fn posterior_after(&self, before: &Beliefs, told: usize, limits: &Limits) -> Option<Beliefs> {
        let is_new = |o: &Occasion| o.told.iter().all(|&t| t >= told);
        let is_old = |o: &Occasion| o.told.iter().all(|&t| t < told);
        let (old, new): (Vec<usize>, Vec<usize>) =
            (0..self.account.occasions.len()).partition(|&at| is_old(&self.account.occasions[at]));
        if !new.iter().all(|&at| is_new(&self.account.occasions[at])) {
            return None;
        }
        let beyond_then = self.account.beyond_alone(&old);
        let all: Vec<usize> = old.iter().chain(&new).copied().collect();
        let beyond_now = self.account.beyond_alone(&all);
        let changed: Vec<(usize, f64, f64)> = old
            .iter()
            .zip(beyond_then.iter().zip(&beyond_now))
            .filter(|(_, (then, now))| then != now)
            .map(|(&at, (&then, &now))| (at, then, now))
            .collect();
        let gained: f64 = changed.iter().map(|(_, then, now)| (now - then).max(0.0)).sum();
        let most: f64 = new.iter().map(|&at| self.account.occasions[at].most).sum();
        // A case that was listed stands for itself with any faults that made no difference. Where these do now, it goes on
        // without them, and the sets with them are left out.
        let with_others: f64 =
            self.matter_first_in(&new, &old).iter().map(|&f| self.account.prior.odds(f)).sum();

        let mut left = before.left_out * gained.exp();
        let mut cases = Vec::with_capacity(before.cases.len());
        for (case, p) in &before.cases {
            let hypothesis = case.hypothesis(self.account.machine);
            let shifted: f64 = changed
                .iter()
                .map(|&(at, then, now)| self.ln_of(at, &hypothesis, now) - self.ln_of(at, &hypothesis, then))
                .sum();
            let weight = p * shifted.exp();
            let new = new.iter().zip(&beyond_now[old.len()..]);
            let ln: f64 = new.map(|(&at, &beyond)| self.ln_of(at, &hypothesis, beyond)).sum();
            let without = if case.faults.faults().is_empty() { 1.0 } else { (1.0 - with_others).max(0.0) };
            left += weight * (1.0 - without);
            cases.push((case.clone(), weight * without * (ln - most).exp()));
        }
        let total = left + cases.iter().map(|c| c.1).sum::<f64>();
        if !(total > 0.0 && left <= WIDER * limits.left_out * total) {
            return None;
        }
        for case in &mut cases {
            case.1 /= total;
        }
        Some(Beliefs::of(cases, left / total))
    }

    /// Faults that make a difference to one of the first occasions and to none of the others, as far as a search had not kept
    /// them apart anyway.
    fn matter_first_in(&self, new: &[usize], old: &[usize]) -> Vec<Fault> {
        let known: BTreeSet<Fault> =
            old.iter().flat_map(|&at| &self.account.occasions[at].faults).copied().collect();
        let named: BTreeSet<Fault> =
            new.iter().flat_map(|&at| &self.account.occasions[at].faults).copied().collect();
        named.difference(&known).copied().filter(|&f| !self.account.prior.is_bound_up(f)).collect()
    }
}

impl Case {
    /// As a set of the prior; [`Case::of`] the other way.
    fn hypothesis(&self, machine: &machine::model::Machine) -> hypotheses::Hypothesis {
        let fault = |(place, &(part, mode)): (usize, &(machine::model::PartId, usize))| {
            let kind = machine.parts[part].kind;
            let by_mode = self.sometimes.contains(&place) && kind.shows_as(mode).is_none();
            Fault { part, mode: if by_mode { mode + kind.modes.len() } else { mode } }
        };
        hypotheses::Hypothesis { faults: self.faults.faults().iter().enumerate().map(fault).collect() }
    }
}
