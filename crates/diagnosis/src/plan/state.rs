//! What is known and done so far, and what each move makes of it.

use std::hash::Hash;

use super::pairs::Pairs;
use super::problem::{Effect, Left, Problem, Proof, Supply};

/// What the technician can do next.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Move {
    /// Do the step with this index.
    Step(usize),
    /// Close everything and run the system test.
    SystemTest,
    /// Leave, and come back once with these parts (bits over [`super::Stock::parts`]).
    ReturnWith(u64),
    /// End the job without a cure.
    GiveUp,
}

/// A point in the job. Two points with equal states have equal futures, however they were reached.
#[derive(Clone, Debug)]
pub(super) struct State {
    /// Probability of each suspect; with `cured` they sum to 1.
    pub(super) belief: Box<[f64]>,
    /// Probability that a repair which awaits its system test was the cure.
    pub(super) cured: f64,
    pub(super) done: u128,
    pub(super) open: u64,
    pub(super) parts: u64,
    pub(super) may_return: bool,
}

/// What a move costs now and leads to; probabilities that are missing to 1 are of the job done.
pub(super) struct Transition {
    pub(super) cost: f64,
    pub(super) next: Vec<(f64, State)>,
}

/// What a step may lead to, access and what is done aside.
struct Outcome {
    probability: f64,
    belief: Box<[f64]>,
    cured: f64,
}

/// One step with its bit sets worked out.
pub(super) struct Ready<'a> {
    pub(super) cost: f64,
    need: u64,
    shut: u64,
    part: u64,
    pub(super) effect: &'a Effect,
}

/// A repair as one suspect sees it.
pub(super) struct Remedy {
    pub(super) step: usize,
    pub(super) left: Left,
}

/// A repair and the suspects that it acts on, in their order.
pub(super) struct Repair {
    pub(super) step: usize,
    pub(super) acts_on: Vec<(usize, Left)>,
}

/// A problem prepared for search.
pub(super) struct Model<'a> {
    pub(super) problem: &'a Problem,
    pub(super) steps: Vec<Ready<'a>>,
    /// For each suspect the repairs that act on it, by cost over success, best first.
    pub(super) remedies: Vec<Vec<Remedy>>,
    pub(super) repairs: Vec<Repair>,
    /// For each suspect the places in `repairs` of those that act on it.
    pub(super) touching: Vec<Vec<usize>>,
    /// For each suspect a number for what cures it: equal where the same repairs act in the same way.
    pub(super) cure: Vec<usize>,
    pub(super) cures: usize,
    pub(super) pairs: Pairs,
    /// Whether each repair leaves a suspect as it was or cures it; false when faults are mended one by one.
    pub(super) all_or_nothing: bool,
    pub(super) test_cost: f64,
    pub(super) give_up: f64,
}

impl<'a> Model<'a> {
    pub(super) fn new(problem: &'a Problem) -> Self {
        let ready = |step: &'a super::Step| Ready {
            cost: step.cost,
            need: problem.with_parents(&step.open),
            shut: problem.with_children(&step.closed),
            part: if problem.stock.is_some() { step.part.map_or(0, |p| 1 << p) } else { 0 },
            effect: &step.effect,
        };
        let mut remedies: Vec<Vec<Remedy>> = problem.suspects.iter().map(|_| Vec::new()).collect();
        let mut touching = vec![Vec::new(); problem.suspects.len()];
        let mut repairs = Vec::new();
        for (step, effect) in problem.steps.iter().map(|s| &s.effect).enumerate() {
            if let Effect::Repair { left } = effect {
                let acts =
                    |&(suspect, left): &(usize, Left)| left.suspect != suspect || left.probability < 1.0;
                let acts_on: Vec<(usize, Left)> = left.iter().copied().enumerate().filter(acts).collect();
                for &(suspect, left) in &acts_on {
                    touching[suspect].push(repairs.len());
                    remedies[suspect].push(Remedy { step, left });
                }
                repairs.push(Repair { step, acts_on });
            }
        }
        let ratio = |r: &Remedy| problem.steps[r.step].cost / (1.0 - r.left.probability);
        for list in &mut remedies {
            list.sort_by(|a, b| ratio(a).total_cmp(&ratio(b)));
        }
        let all_or_nothing = remedies
            .iter()
            .enumerate()
            .all(|(s, list)| list.iter().all(|r| r.left.suspect == s || r.left.probability == 0.0));
        let mut kinds: Vec<Vec<(usize, Left)>> = Vec::new();
        let mut cure = Vec::new();
        for (suspect, list) in remedies.iter().enumerate() {
            // A suspect that stays is the same for all; one that becomes another is not.
            let own = |r: &Remedy| {
                (
                    r.step,
                    Left {
                        suspect: if r.left.suspect == suspect { usize::MAX } else { r.left.suspect },
                        ..r.left
                    },
                )
            };
            let kind: Vec<(usize, Left)> = list.iter().map(own).collect();
            let known = kinds.iter().position(|k| *k == kind);
            cure.push(known.unwrap_or(kinds.len()));
            if known.is_none() {
                kinds.push(kind);
            }
        }
        Self {
            cure,
            cures: kinds.len(),
            pairs: Pairs::new(problem, &remedies),
            problem,
            steps: problem.steps.iter().map(ready).collect(),
            remedies,
            repairs,
            touching,
            all_or_nothing,
            test_cost: if let Proof::SystemTest { cost } = problem.proof { cost } else { 0.0 },
            give_up: problem.give_up.unwrap_or(f64::INFINITY),
        }
    }

    pub(super) fn start(&self) -> State {
        let total: f64 = self.problem.suspects.iter().sum();
        let at_hand = |(i, s): (usize, &Supply)| if *s == Supply::AtHand { 1_u64 << i } else { 0 };
        let stock = self.problem.stock.as_ref();
        State {
            belief: self.problem.suspects.iter().map(|p| p / total).collect(),
            cured: 0.0,
            done: 0,
            open: 0,
            parts: stock.map_or(0, |s| s.parts.iter().enumerate().map(at_hand).sum()),
            may_return: stock.is_some(),
        }
    }

    /// Cost of reaching the access that step `i` needs.
    pub(super) fn access_cost(&self, open: u64, i: usize) -> f64 {
        let mut missing = self.steps[i].need & !open;
        let mut cost = 0.0;
        while missing != 0 {
            cost += self.problem.access[missing.trailing_zeros() as usize].cost;
            missing &= missing - 1;
        }
        cost
    }

    /// Least cost of having the part of step `i`, None when it can no longer be had.
    pub(super) fn part_cost(&self, state: &State, i: usize) -> Option<f64> {
        if self.part_at_hand(state, i) {
            return Some(0.0);
        }
        state.may_return.then(|| self.return_cost(self.steps[i].part & !state.parts))
    }

    pub(super) fn at_once(&self) -> bool {
        self.problem.proof == Proof::AtOnce
    }

    pub(super) fn part_at_hand(&self, state: &State, i: usize) -> bool {
        self.problem.stock.is_none() || self.steps[i].part & !state.parts == 0
    }

    /// What is still open once step `i` has closed what it must.
    pub(super) fn opened(&self, state: &State, i: usize) -> u64 {
        state.open & !self.steps[i].shut
    }

    pub(super) fn needed(&self, i: usize) -> u64 {
        self.steps[i].need
    }

    /// Cost of coming back with these parts.
    pub(super) fn return_cost(&self, parts: u64) -> f64 {
        self.problem.stock.as_ref().map_or(0.0, |s| s.visit) + self.handling(parts)
    }

    fn handling(&self, mut parts: u64) -> f64 {
        let Some(stock) = &self.problem.stock else { return 0.0 };
        let mut sum = 0.0;
        while parts != 0 {
            if let Supply::ToOrder { handling } = stock.parts[parts.trailing_zeros() as usize] {
                sum += handling;
            }
            parts &= parts - 1;
        }
        sum
    }

    /// Moves worth considering; each step still open to doubt shows only in [`Model::apply`].
    pub(super) fn moves(&self, state: &State) -> Vec<Move> {
        let mut moves: Vec<Move> = Vec::new();
        if state.cured > 0.0 {
            moves.push(Move::SystemTest);
        }
        for i in 0..self.steps.len() {
            if state.done >> i & 1 == 0 {
                moves.push(Move::Step(i));
            }
        }
        if state.may_return && state.cured == 0.0 {
            let wanted = self.wanted_parts(state);
            let mut set = wanted;
            while set != 0 {
                moves.push(Move::ReturnWith(set));
                set = (set - 1) & wanted;
            }
        }
        if self.give_up.is_finite() {
            moves.push(Move::GiveUp);
        }
        moves
    }

    /// Parts not at hand that a repair of some remaining suspect would use.
    pub(super) fn wanted_parts(&self, state: &State) -> u64 {
        let mut wanted = 0;
        for (suspect, list) in self.remedies.iter().enumerate() {
            if state.belief[suspect] > 0.0 {
                for remedy in list.iter().filter(|r| state.done >> r.step & 1 == 0) {
                    wanted |= self.steps[remedy.step].part & !state.parts;
                }
            }
        }
        wanted
    }

    /// What `step` costs and leads to; None when it is not possible now or cannot change anything.
    pub(super) fn apply(&self, state: &State, step: Move) -> Option<Transition> {
        match step {
            Move::GiveUp => Some(Transition { cost: self.give_up, next: Vec::new() }),
            Move::SystemTest => {
                let mut next = Vec::new();
                let failed: f64 = state.belief.iter().sum();
                if failed > 0.0 {
                    let belief = state.belief.iter().map(|b| b / failed).collect();
                    next.push((failed, State { belief, cured: 0.0, open: 0, ..*state }));
                }
                Some(Transition { cost: self.test_cost, next })
            }
            Move::ReturnWith(parts) => {
                let next = State { parts: state.parts | parts, may_return: false, open: 0, ..state.clone() };
                Some(Transition { cost: self.return_cost(parts), next: vec![(1.0, next)] })
            }
            Move::Step(i) => self.apply_step(state, i),
        }
    }

    fn apply_step(&self, state: &State, i: usize) -> Option<Transition> {
        let step = &self.steps[i];
        if state.done >> i & 1 == 1 || !self.part_at_hand(state, i) {
            return None;
        }
        let next = match step.effect {
            Effect::Check { .. } if state.cured > 0.0 => return None,
            Effect::Check { outcomes } => Self::check(&state.belief, outcomes)?,
            Effect::Repair { left } => self.repair(state, left)?,
        };
        let cost = step.cost + self.access_cost(self.opened(state, i), i);
        let after = |Outcome { probability, belief, cured }| {
            let open = self.opened(state, i) | step.need;
            (probability, State { belief, cured, done: state.done | 1 << i, open, ..*state })
        };
        Some(Transition { cost, next: next.into_iter().map(after).collect() })
    }

    fn check(belief: &[f64], outcomes: &[Vec<f64>]) -> Option<Vec<Outcome>> {
        let tells = |row: &Vec<f64>| {
            let active = || row.iter().zip(belief).filter(|(_, b)| **b > 0.0).map(|(p, _)| *p);
            active().fold(f64::INFINITY, f64::min) < active().fold(0.0, f64::max)
        };
        if !outcomes.iter().any(tells) {
            return None;
        }
        let mut next = Vec::with_capacity(outcomes.len());
        for row in outcomes {
            let probability: f64 = row.iter().zip(belief).map(|(p, b)| p * b).sum();
            if probability > 0.0 {
                let belief = row.iter().zip(belief).map(|(p, b)| p * b / probability).collect();
                next.push(Outcome { probability, belief, cured: 0.0 });
            }
        }
        Some(next)
    }

    /// Whether `step` can end with this outcome; a step that is no check has one, if the job is not done with it.
    pub(super) fn can_show(&self, state: &State, step: Move, outcome: usize) -> bool {
        let Move::Step(i) = step else { return true };
        let Effect::Check { outcomes } = self.steps[i].effect else { return true };
        outcomes[outcome].iter().zip(&state.belief).map(|(p, b)| p * b).sum::<f64>() > 0.0
    }

    fn repair(&self, state: &State, left: &[Left]) -> Option<Vec<Outcome>> {
        let mut after = vec![0.0; left.len()].into_boxed_slice();
        let (mut cured, mut changes) = (0.0, false);
        for (suspect, (&b, l)) in state.belief.iter().zip(left).enumerate() {
            if b > 0.0 {
                after[l.suspect] += b * l.probability;
                cured += b * (1.0 - l.probability);
                changes |= l.suspect != suspect || l.probability < 1.0;
            }
        }
        if !changes {
            return None;
        }
        if self.problem.proof != Proof::AtOnce {
            return Some(vec![Outcome { probability: 1.0, belief: after, cured: state.cured + cured }]);
        }
        let down: f64 = after.iter().sum();
        if down <= 0.0 {
            return Some(Vec::new());
        }
        after.iter_mut().for_each(|b| *b /= down);
        Some(vec![Outcome { probability: down, belief: after, cured: 0.0 }])
    }
}

impl State {
    /// A 128-bit name of the state. Beliefs are rounded to 2⁻⁴⁴, well above rounding errors and well below what
    /// could move a value by 1e-9.
    pub(super) fn key(&self) -> u128 {
        let mut hash = Mix(0x9E37_79B9_7F4A_7C15, 0xC2B2_AE3D_27D4_EB4F);
        for &b in &self.belief {
            hash.add((b * 17_592_186_044_416.0).round() as u64);
        }
        hash.add((self.cured * 17_592_186_044_416.0).round() as u64);
        hash.add(self.done as u64);
        hash.add((self.done >> 64) as u64);
        hash.add(self.open);
        hash.add(self.parts);
        hash.add(u64::from(self.may_return));
        u128::from(hash.0) << 64 | u128::from(hash.1)
    }
}

/// Two independent multiply-and-shift mixers.
struct Mix(u64, u64);

impl Mix {
    fn add(&mut self, word: u64) {
        self.0 = (self.0 ^ word).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        self.0 ^= self.0 >> 29;
        self.1 = (self.1.rotate_left(23) ^ word).wrapping_mul(0x94D0_49BB_1331_11EB);
        self.1 ^= self.1 >> 32;
    }
}
