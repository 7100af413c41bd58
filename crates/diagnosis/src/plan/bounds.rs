//! Bounds on the expected cost from a state: from below by clairvoyance, from above by published greedy rules.

use std::rc::Rc;

use rustc_hash::FxHashMap;

use super::library::Costs;
use super::problem::{Effect, Proof};
use super::state::{Model, Move, State};

/// Least expected cost if the suspect were told for free: no plan can do better than knowing.
///
/// For one suspect that repairs cure or leave alone, the best is a prefix of the repairs in order of cost over success,
/// then giving up (Kadane & Simon 1977); the cheapest access and part of any of them is paid at least once, and every
/// cure passes at least one system test. Where repairs take faults away one by one, it is the cheapest way down to a
/// machine that works, access left out.
pub(super) fn clairvoyant(model: &Model, state: &State) -> f64 {
    let mut sum = state.cured * model.test_cost;
    if model.all_or_nothing {
        for (suspect, &b) in state.belief.iter().enumerate() {
            if b > 0.0 {
                sum += b * known(model, state, suspect);
            }
        }
        return sum;
    }
    let mut least: Vec<f64> = Vec::with_capacity(state.belief.len());
    for (suspect, &b) in state.belief.iter().enumerate() {
        let cost = known_by_parts(model, state, suspect, &least);
        least.push(cost);
        if b > 0.0 {
            sum += b * cost;
        }
    }
    sum
}

/// What giving up would cost beyond clairvoyance, under each suspect; empty where repairs take faults away one by one.
pub(super) fn spare(model: &Model, state: &State) -> Vec<f64> {
    if !model.all_or_nothing {
        return Vec::new();
    }
    let one = |(s, b): (usize, &f64)| if *b > 0.0 { model.give_up - known(model, state, s) } else { 0.0 };
    state.belief.iter().enumerate().map(one).collect()
}

/// The lower bound of a state: clairvoyance, and what it costs at least to tell the suspects apart.
pub(super) fn least(model: &Model, state: &State) -> f64 {
    if !model.all_or_nothing {
        return clairvoyant(model, state);
    }
    let mut spare = vec![0.0; state.belief.len()];
    let mut sum = state.cured * model.test_cost;
    for (suspect, &b) in state.belief.iter().enumerate() {
        if b > 0.0 {
            let known = known(model, state, suspect);
            sum += b * known;
            spare[suspect] = model.give_up - known;
        }
    }
    sum + model.pairs.excess(model, &state.belief, &spare)
}

/// Cost of curing one known suspect, all-or-nothing repairs.
fn known(model: &Model, state: &State, suspect: usize) -> f64 {
    let (mut still, mut spent, mut entry, mut best) = (1.0, 0.0, f64::INFINITY, f64::INFINITY);
    for remedy in &model.remedies[suspect] {
        if state.done >> remedy.step & 1 == 1 {
            continue;
        }
        let Some(part) = model.part_cost(state, remedy.step) else { continue };
        entry = f64::min(entry, part + model.access_cost(state.open, remedy.step));
        if still > 0.0 {
            spent += still * model.steps[remedy.step].cost;
            still *= remedy.left.probability;
            let rest = if still > 0.0 { still * model.give_up } else { 0.0 };
            best = f64::min(best, spent + (1.0 - still) * model.test_cost + rest);
        } else if entry == 0.0 {
            break;
        }
    }
    f64::min(model.give_up, entry + best)
}

/// Cost of curing one known suspect, `least` holding those with fewer faults. A repair that may fail is priced as if
/// it could be repeated at will: cost over success.
fn known_by_parts(model: &Model, state: &State, suspect: usize, least: &[f64]) -> f64 {
    let mut best = model.give_up;
    for remedy in &model.remedies[suspect] {
        if state.done >> remedy.step & 1 == 1 || model.part_cost(state, remedy.step).is_none() {
            continue;
        }
        let (cost, left) = (model.steps[remedy.step].cost, remedy.left);
        let total = if left.suspect == suspect {
            cost / (1.0 - left.probability) + model.test_cost
        } else {
            let rest = if left.probability > 0.0 { left.probability * least[left.suspect] } else { 0.0 };
            cost + (1.0 - left.probability) * model.test_cost + rest
        };
        best = best.min(total);
    }
    best
}

/// What a rule does next, and the expected cost of following it to the end.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Rule {
    pub(super) first: Move,
    pub(super) cost: f64,
    /// States looked at to know.
    pub(super) looked: usize,
}

/// Repairs only, each time the one with the greatest probability of cure over cost, and giving up where that is
/// cheaper than going on: the P/C rule (Kadane & Simon 1977; Heckerman, Breese & Rommelse 1995), with access in the
/// cost, a system test after each repair, and one return visit with all parts still wanted.
pub(super) fn ratio_rule(model: &Model, state: &State) -> Rule {
    let mut walk = Walk::new(model, state);
    let taken = walk.walk_out();
    // Costs are weighted with the probability of being there; going on from mass zero costs nothing.
    let give_up = |mass: f64| if mass > 0.0 { mass * model.give_up } else { 0.0 };
    let mut rule = Rule { first: Move::GiveUp, cost: give_up(walk.mass), looked: 1 };
    for &(mass, cost, step) in taken.iter().rev() {
        let (through, instead) = (mass * cost + rule.cost, give_up(mass));
        rule = if through <= instead {
            Rule { first: step, cost: through, looked: 1 }
        } else {
            Rule { first: Move::GiveUp, cost: instead, looked: 1 }
        };
    }
    rule
}

/// What the P/C rule's plan costs under each suspect.
pub(super) fn ratio_costs(model: &Model, state: &State) -> Rc<Costs> {
    let mut walk = Walk::new(model, state);
    let taken = walk.walk_out();
    let give_up = || Rc::new(Costs::give_up(model, state));
    let mut costs = give_up();
    let mut after = if walk.mass > 0.0 { walk.mass * model.give_up } else { 0.0 };
    for (mass, cost, step) in taken.into_iter().rev() {
        let (through, instead) = (mass * cost + after, mass * model.give_up);
        after = through.min(instead);
        costs = if through <= instead {
            Rc::new(Costs::before(model, state, step, cost, |_| Some(Rc::clone(&costs))))
        } else {
            give_up()
        };
    }
    costs
}

/// A walk along the P/C rule, with weights that are not normalised: the state's belief is joint with being there.
struct Walk<'a> {
    model: &'a Model<'a>,
    now: State,
    mass: f64,
    /// For each of the model's repairs what it is worth now; worked out again only where something changed.
    offers: Vec<Offer>,
    /// The access for which they were priced.
    priced_for: u64,
}

/// What a repair would do now.
#[derive(Clone, Copy)]
struct Offer {
    /// Mass cured, and mass moved to fewer faults; none where the repair cannot be made.
    mass: Option<(f64, f64)>,
    cost: f64,
    /// Both masses over the cost.
    worth: (f64, f64),
}

impl Offer {
    fn of(mass: Option<(f64, f64)>, cost: f64) -> Offer {
        let priced = cost.max(f64::MIN_POSITIVE);
        let worth = mass.map_or((0.0, 0.0), |(cured, moved)| (cured / priced, moved / priced));
        Offer { mass, cost, worth }
    }
}

impl<'a> Walk<'a> {
    fn new(model: &'a Model<'a>, state: &State) -> Self {
        let mut walk =
            Self { model, now: state.clone(), mass: 1.0, offers: Vec::new(), priced_for: state.open };
        walk.offers = (0..model.repairs.len()).map(|k| walk.offer(k)).collect();
        walk
    }

    fn offer(&self, k: usize) -> Offer {
        let repair = &self.model.repairs[k];
        let i = repair.step;
        if self.now.done >> i & 1 == 1 || !self.model.part_at_hand(&self.now, i) {
            return Offer::of(None, 0.0);
        }
        let (mut cured, mut moved) = (0.0, 0.0);
        for &(suspect, left) in &repair.acts_on {
            let b = self.now.belief[suspect];
            cured += b * (1.0 - left.probability);
            moved += if left.suspect == suspect { 0.0 } else { b };
        }
        Offer::of(Some((cured, moved)), self.cost(i))
    }

    fn cost(&self, i: usize) -> f64 {
        self.model.steps[i].cost + self.model.access_cost(self.model.opened(&self.now, i), i)
    }

    /// All moves, each with the probability of being there and its cost.
    fn walk_out(&mut self) -> Vec<(f64, f64, Move)> {
        let mut taken = Vec::new();
        while self.mass > 0.0 {
            let before = self.mass;
            let Some((step, cost)) = self.advance() else { break };
            taken.push((before, cost, step));
        }
        taken
    }

    /// Does what the rule says; gives the move and its cost, or None at the end of all repairs.
    fn advance(&mut self) -> Option<(Move, f64)> {
        if self.now.cured > 0.0 {
            (self.now.cured, self.now.open) = (0.0, 0);
            self.mass = self.now.belief.iter().sum();
            return Some((Move::SystemTest, self.model.test_cost));
        }
        if self.now.open != self.priced_for {
            self.price_all();
        }
        if let Some((k, cost)) = self.best_offer() {
            self.repair(k);
            return Some((Move::Step(self.model.repairs[k].step), cost));
        }
        let wanted = if self.now.may_return { self.model.wanted_parts(&self.now) } else { 0 };
        if wanted == 0 {
            return None;
        }
        self.now.parts |= wanted;
        (self.now.may_return, self.now.open) = (false, 0);
        self.priced_for = self.now.open;
        self.offers = (0..self.offers.len()).map(|k| self.offer(k)).collect();
        Some((Move::ReturnWith(wanted), self.model.return_cost(wanted)))
    }

    fn best_offer(&self) -> Option<(usize, f64)> {
        let mut best: Option<(usize, Offer)> = None;
        for (k, offer) in self.offers.iter().enumerate() {
            let better = |b: &Offer| offer.worth > b.worth;
            if (offer.worth.0 > 0.0 || offer.worth.1 > 0.0) && best.as_ref().is_none_or(|(_, b)| better(b)) {
                best = Some((k, *offer));
            }
        }
        best.map(|(k, offer)| (k, offer.cost))
    }

    fn repair(&mut self, k: usize) {
        let repair = &self.model.repairs[k];
        // Suspects with fewer faults stand first, so that what moves down is not moved twice.
        for &(suspect, left) in &repair.acts_on {
            let b = std::mem::take(&mut self.now.belief[suspect]);
            self.now.belief[left.suspect] += b * left.probability;
            self.now.cured += b * (1.0 - left.probability);
        }
        self.now.done |= 1 << repair.step;
        if self.model.problem.proof == Proof::AtOnce {
            self.now.cured = 0.0;
            self.mass = self.now.belief.iter().sum();
        }
        let open = self.model.opened(&self.now, repair.step) | self.model.needed(repair.step);
        // A repair touches the offers of those that act on the same suspects, before or after the move.
        self.now.open = self.priced_for;
        for &(suspect, left) in &repair.acts_on {
            let others = self.model.touching[suspect].iter().chain(&self.model.touching[left.suspect]);
            for &touched in others {
                self.offers[touched] = self.offer(touched);
            }
        }
        self.now.open = open;
    }

    /// Other panels are open: the costs change, and nothing else.
    fn price_all(&mut self) {
        self.priced_for = self.now.open;
        for k in 0..self.offers.len() {
            if let mass @ Some(_) = self.offers[k].mass {
                self.offers[k] = Offer::of(mass, self.cost(self.model.repairs[k].step));
            }
        }
    }
}

/// One step of the myopic rule (Heckerman, Breese & Rommelse 1995): the check with the least
/// `cost + Σ P(outcome) · P/C cost after it`, if that beats the P/C rule at once; else what the P/C rule does.
pub(super) fn myopic_rule(model: &Model, state: &State) -> Rule {
    let mut best = ratio_rule(model, state);
    for (i, step) in model.steps.iter().enumerate() {
        if !matches!(step.effect, Effect::Check { .. }) {
            continue;
        }
        let Some(transition) = model.apply(state, Move::Step(i)) else { continue };
        let after: f64 = transition.next.iter().map(|(p, next)| p * ratio_rule(model, next).cost).sum();
        best.looked += transition.next.len();
        if transition.cost + after < best.cost - 1e-12 {
            best = Rule { first: Move::Step(i), cost: transition.cost + after, looked: best.looked };
        }
    }
    best
}

/// Expected cost of doing what the myopic rule says, again and again.
pub(super) fn myopic_cost(model: &Model, state: &State, known: &mut FxHashMap<u128, f64>) -> f64 {
    let key = state.key();
    if let Some(&cost) = known.get(&key) {
        return cost;
    }
    let Some(transition) = model.apply(state, myopic_rule(model, state).first) else { return model.give_up };
    let mut cost = transition.cost;
    for (probability, next) in &transition.next {
        cost += probability * myopic_cost(model, next, known);
    }
    known.insert(key, cost);
    cost
}

/// The same where branches less likely than `least` end by the P/C rule; `probability` is that of getting to this state.
pub(super) fn myopic_cost_likely(model: &Model, state: &State, probability: f64, least: f64) -> f64 {
    if probability < least {
        return ratio_rule(model, state).cost;
    }
    let Some(transition) = model.apply(state, myopic_rule(model, state).first) else { return model.give_up };
    let after = |(p, next): &(f64, State)| p * myopic_cost_likely(model, next, probability * p, least);
    transition.cost + transition.next.iter().map(after).sum::<f64>()
}
