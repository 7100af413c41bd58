//! Bounds on the expected cost from a state: from below by clairvoyance, from above by published greedy rules.

use super::problem::Effect;
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
}

/// Repairs only, each time the one with the greatest probability of cure over cost, and giving up where that is
/// cheaper than going on: the P/C rule (Kadane & Simon 1977; Heckerman, Breese & Rommelse 1995), with access in the
/// cost, a system test after each repair, and one return visit with all parts still wanted.
pub(super) fn ratio_rule(model: &Model, state: &State) -> Rule {
    let mut taken: Vec<(f64, f64, Move)> = Vec::new();
    let mut now = state.clone();
    loop {
        let next = if now.cured > 0.0 { Some(Move::SystemTest) } else { best_repair(model, &now) };
        let next = next.or_else(|| {
            let wanted = if now.may_return { model.wanted_parts(&now) } else { 0 };
            (wanted != 0).then_some(Move::ReturnWith(wanted))
        });
        let Some((step, transition)) = next.and_then(|m| Some((m, model.apply(&now, m)?))) else { break };
        let mut children = transition.next.into_iter();
        match children.next() {
            Some((probability, child)) => {
                taken.push((transition.cost, probability, step));
                now = child;
            }
            None => {
                taken.push((transition.cost, 0.0, step));
                break;
            }
        }
    }
    let mut rule = Rule { first: Move::GiveUp, cost: model.give_up };
    for &(cost, going_on, step) in taken.iter().rev() {
        let total = cost + if going_on > 0.0 { going_on * rule.cost } else { 0.0 };
        rule = if total <= model.give_up {
            Rule { first: step, cost: total }
        } else {
            Rule { first: Move::GiveUp, cost: model.give_up }
        };
    }
    rule
}

fn best_repair(model: &Model, state: &State) -> Option<Move> {
    let mut best: Option<(f64, f64, usize)> = None;
    for (i, step) in model.steps.iter().enumerate() {
        let Effect::Repair { left } = step.effect else { continue };
        if state.done >> i & 1 == 1 || model.part_cost(state, i) != Some(0.0) {
            continue;
        }
        let (mut cured, mut moved) = (0.0, 0.0);
        for (suspect, (&b, l)) in state.belief.iter().zip(left).enumerate() {
            cured += b * (1.0 - l.probability);
            if l.suspect != suspect {
                moved += b;
            }
        }
        let cost = (step.cost + model.access_cost(state.open, i)).max(f64::MIN_POSITIVE);
        let (cured, moved) = (cured / cost, moved / cost);
        if (cured > 0.0 || moved > 0.0) && best.is_none_or(|(c, m, _)| (cured, moved) > (c, m)) {
            best = Some((cured, moved, i));
        }
    }
    best.map(|(_, _, i)| Move::Step(i))
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
        if transition.cost + after < best.cost - 1e-12 {
            best = Rule { first: Move::Step(i), cost: transition.cost + after };
        }
    }
    best
}

/// Expected cost of doing what the myopic rule says, again and again.
pub(super) fn myopic_cost(model: &Model, state: &State, known: &mut std::collections::HashMap<u128, f64>) -> f64 {
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
