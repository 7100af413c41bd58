//! Plans found so far, to be used again where the same steps are still open.
//!
//! What a plan costs depends on the suspect that holds, not on how likely it is: a vector with one cost for each suspect.
//! Its expected cost under any belief is the scalar product, an upper bound wherever the plan can be carried out
//! (Sondik 1971 keeps the value of a partially observed process by such vectors). So a good plan found in one branch is
//! the first upper bound of its neighbours.

use std::rc::Rc;

use super::problem::Effect;
use super::state::{Model, Move, State};

/// Costs that stand for "this plan does not end": far above any cost, far below overflow.
const NEVER: f64 = 1e200;
/// Most plans kept.
const MOST: usize = 48;

/// What a plan costs under each suspect, access being what it is or better.
#[derive(Clone, Debug)]
pub(super) struct Costs {
    pub(super) suspects: Box<[f64]>,
    /// Cost when a repair before it was the cure and awaits its test.
    pub(super) cured: f64,
    /// Steps that it may take.
    uses: u128,
    /// What must be open, or more, when it starts.
    open: u64,
    parts: u64,
    /// Whether it comes back with parts.
    returns: bool,
}

impl Costs {
    pub(super) fn give_up(model: &Model, state: &State) -> Self {
        let never = model.give_up.min(NEVER);
        let parts = state.parts;
        let suspects = vec![never; state.belief.len()].into_boxed_slice();
        Self { suspects, cured: model.test_cost, uses: 0, open: 0, parts, returns: false }
    }

    /// Costs of doing `step` in `state`, at `cost`, and then as `next` says after each outcome (by its place in the
    /// check). None stands for an outcome that cannot be.
    pub(super) fn before(
        model: &Model,
        state: &State,
        step: Move,
        cost: f64,
        mut next: impl FnMut(usize) -> Option<Rc<Costs>>,
    ) -> Self {
        let mut costs = Self { open: state.open, parts: state.parts, ..Self::give_up(model, state) };
        let follow = |costs: &mut Self, next: &Costs| {
            costs.uses |= next.uses;
            costs.returns |= next.returns;
        };
        match step {
            Move::GiveUp => costs.open = 0,
            Move::SystemTest | Move::ReturnWith(_) => {
                let is_test = step == Move::SystemTest;
                costs.open = 0;
                costs.returns = !is_test;
                costs.cured = if is_test { cost } else { NEVER };
                let next = next(0);
                for (s, c) in costs.suspects.iter_mut().enumerate() {
                    *c = cost + next.as_ref().map_or(NEVER, |n| n.suspects[s]);
                }
                if let Some(next) = next {
                    follow(&mut costs, &next);
                }
            }
            Move::Step(i) => {
                costs.uses = 1 << i;
                match model.steps[i].effect {
                    Effect::Check { outcomes } => {
                        costs.cured = NEVER;
                        costs.suspects.fill(cost);
                        for (k, row) in outcomes.iter().enumerate() {
                            let next = next(k);
                            for (s, p) in row.iter().enumerate().filter(|(_, p)| **p > 0.0) {
                                costs.suspects[s] += p * next.as_ref().map_or(NEVER, |n| n.suspects[s]);
                            }
                            if let Some(next) = next {
                                follow(&mut costs, &next);
                            }
                        }
                    }
                    Effect::Repair { left } => {
                        let next = next(0);
                        let cured =
                            if model.at_once() { 0.0 } else { next.as_ref().map_or(NEVER, |n| n.cured) };
                        for (s, l) in left.iter().enumerate() {
                            let still = next.as_ref().map_or(NEVER, |n| n.suspects[l.suspect]);
                            let rest = if l.probability > 0.0 { l.probability * still } else { 0.0 };
                            costs.suspects[s] = cost + rest + (1.0 - l.probability) * cured;
                        }
                        costs.cured = cost + cured;
                        if let Some(next) = next {
                            follow(&mut costs, &next);
                        }
                    }
                }
            }
        }
        for c in costs.suspects.iter_mut().chain([&mut costs.cured]) {
            *c = c.min(NEVER);
        }
        costs
    }

    fn fits(&self, state: &State, open: u64) -> bool {
        self.uses & state.done == 0
            && self.open & !open == 0
            && self.parts & !state.parts == 0
            && (!self.returns || state.may_return)
    }

    /// Expected cost; infinite when the plan may not end.
    pub(super) fn expected(&self, belief: &[f64], cured: f64) -> f64 {
        let sum: f64 = belief.iter().zip(&self.suspects).map(|(b, c)| b * c).sum();
        let sum = if cured > 0.0 { sum + cured * self.cured } else { sum };
        if sum < 1e-100 * NEVER { sum } else { f64::INFINITY }
    }
}

/// The plans kept.
#[derive(Default)]
pub(super) struct Library {
    plans: Vec<Kept>,
    clock: u64,
}

struct Kept {
    costs: Rc<Costs>,
    last_use: u64,
}

impl Library {
    /// The cheapest plan for this state, and its expected cost. A state that awaits a test is tested first.
    pub(super) fn best(&mut self, state: &State) -> Option<(f64, Rc<Costs>)> {
        let open = if state.cured > 0.0 { 0 } else { state.open };
        let mut best: Option<(f64, usize)> = None;
        for (i, plan) in self.plans.iter().enumerate().filter(|(_, p)| p.costs.fits(state, open)) {
            let cost = plan.costs.expected(&state.belief, 0.0);
            if cost < best.map_or(f64::INFINITY, |b| b.0) {
                best = Some((cost, i));
            }
        }
        let (cost, i) = best?;
        self.clock += 1;
        self.plans[i].last_use = self.clock;
        Some((cost, Rc::clone(&self.plans[i].costs)))
    }

    /// Keeps a plan, in place of the one that was of no use for longest.
    pub(super) fn keep(&mut self, costs: &Rc<Costs>) {
        self.clock += 1;
        let kept = Kept { costs: Rc::clone(costs), last_use: self.clock };
        if self.plans.iter().any(|p| Rc::ptr_eq(&p.costs, costs)) {
            return;
        }
        if self.plans.len() < MOST {
            self.plans.push(kept);
        } else if let Some(oldest) = self.plans.iter_mut().min_by_key(|p| p.last_use) {
            *oldest = kept;
        }
    }
}
