//! Every state of a small problem, valued once, in an order in which each is ready when it is needed.
//!
//! Where repairs leave a suspect or cure it, their success shows at once and access costs nothing, a state is a set of
//! repairs done and an outcome (or none yet) of each check. Weighted with the probability of being there, its value is
//!
//! ```text
//! V(R, o) = min( give_up · m,  min over repairs r ∉ R of  c_r · m + V(R + r, o),
//!                min over open checks t of  c_t · m + Σ over outcomes k of V(R, o with t = k) ),   m = mass of (R, o)
//! ```
//! with no division and no product but by costs. For one R all outcomes lie in one array, a check being one digit, so
//! both minima run over long stretches of memory. Sets of repairs are done from large to small, and the array of a
//! set is let go when its last subset has used it.

use super::problem::{Effect, Proof};
use super::state::{Model, Move};
use super::{Choice, Plan};

/// One check as a digit: 0 open, k outcome k − 1.
struct Digit<'a> {
    step: usize,
    cost: f64,
    outcomes: &'a [Vec<f64>],
    stride: usize,
}

/// The array's shape, and the problem in it.
struct Lattice<'a> {
    digits: Vec<Digit<'a>>,
    size: usize,
    repairs: Vec<usize>,
    /// For each suspect the probability of each full set of outcomes, in array order.
    likelihood: Vec<Vec<f64>>,
}

/// Number of states if this method applies, None if it does not or the number is beyond 2^60.
pub(super) fn states(model: &Model) -> Option<u64> {
    let problem = model.problem;
    let plain = problem.proof == Proof::AtOnce
        && model.all_or_nothing
        && problem.stock.is_none()
        && problem.steps.iter().all(|s| s.open.is_empty() && s.closed.is_empty());
    if !plain {
        return None;
    }
    let factor = |effect: &Effect| match effect {
        Effect::Check { outcomes } => outcomes.len() as u64 + 1,
        Effect::Repair { .. } => 2,
    };
    problem.steps.iter().try_fold(1_u64, |n, s| n.checked_mul(factor(&s.effect)).filter(|&n| n < 1 << 60))
}

/// Values the whole problem; [`states`] says beforehand how much that is.
pub(super) fn solve(model: &Model, states: u64) -> Plan {
    let lattice = Lattice::new(model);
    let count = lattice.repairs.len();
    let mut values: Vec<Option<Vec<f64>>> = vec![None; 1 << count];
    let mut uses: Vec<u32> = (0..1_u32 << count).map(u32::count_ones).collect();
    let mut free: Vec<Vec<f64>> = Vec::new();
    let mut mass = vec![0.0; lattice.size];
    let mut firsts = vec![f64::INFINITY; count];
    for layer in (0..=count as u32).rev() {
        for set in (0..1_usize << count).filter(|s| s.count_ones() == layer) {
            lattice.fill_mass(model, set, &mut mass);
            let mut value = free.pop().unwrap_or_else(|| vec![0.0; lattice.size]);
            for (v, m) in value.iter_mut().zip(&mass) {
                *v = if *m > 0.0 { m * model.give_up } else { 0.0 };
            }
            for (r, &step) in lattice.repairs.iter().enumerate().filter(|(r, _)| set >> r & 1 == 0) {
                let (cost, larger) = (model.steps[step].cost, set | 1 << r);
                if let Some(after) = &values[larger] {
                    lower_to(&mut value, &mass, cost, after);
                    firsts[r] = cost * mass[0] + after[0];
                }
                uses[larger] -= 1;
                if uses[larger] == 0 {
                    free.extend(values[larger].take());
                }
            }
            lattice.value_checks(&mut value, &mass, 0, 0);
            values[set] = Some(value);
        }
    }
    let value = values[0].take().unwrap_or_default();
    lattice.plan(model, &value, mass[0], &firsts, states)
}

/// `v ← min(v, cost · m + after)`, all along.
fn lower_to(value: &mut [f64], mass: &[f64], cost: f64, after: &[f64]) {
    for ((v, m), a) in value.iter_mut().zip(mass).zip(after) {
        let through = cost * m + a;
        *v = if through < *v { through } else { *v };
    }
}

impl<'a> Lattice<'a> {
    fn new(model: &Model<'a>) -> Self {
        let (mut digits, mut repairs, mut size) = (Vec::new(), Vec::new(), 1);
        for (step, ready) in model.steps.iter().enumerate() {
            match ready.effect {
                Effect::Check { outcomes } => {
                    digits.push(Digit { step, cost: ready.cost, outcomes, stride: size });
                    size *= outcomes.len() + 1;
                }
                Effect::Repair { .. } => repairs.push(step),
            }
        }
        // The slowest digit first: the recursion goes from long stretches to short ones.
        digits.reverse();
        let mut lattice = Self { digits, size, repairs, likelihood: Vec::new() };
        lattice.likelihood = (0..model.problem.suspects.len())
            .map(|suspect| {
                let mut row = Vec::new();
                lattice.likelihoods(suspect, 0, 1.0, &mut row);
                row
            })
            .collect();
        lattice
    }

    fn likelihoods(&self, suspect: usize, level: usize, so_far: f64, row: &mut Vec<f64>) {
        match self.digits.get(level) {
            None => row.push(so_far),
            Some(digit) => {
                for outcome in digit.outcomes {
                    self.likelihoods(suspect, level + 1, so_far * outcome[suspect], row);
                }
            }
        }
    }

    /// Mass of every outcome state after the repairs in `set` have failed.
    fn fill_mass(&self, model: &Model, set: usize, mass: &mut [f64]) {
        let mut full = vec![0.0; self.likelihood.first().map_or(0, Vec::len)];
        for (suspect, &prior) in model.problem.suspects.iter().enumerate() {
            let mut weight = prior;
            for (r, &step) in self.repairs.iter().enumerate().filter(|(r, _)| set >> r & 1 == 1) {
                let _ = r;
                if let Effect::Repair { left } = model.steps[step].effect {
                    weight *= left[suspect].probability;
                }
            }
            if weight > 0.0 {
                full.iter_mut().zip(&self.likelihood[suspect]).for_each(|(f, l)| *f += weight * l);
            }
        }
        self.spread_mass(&mut full.into_iter(), mass, 0, 0);
    }

    /// Writes full outcomes where they belong and sums them where checks are open.
    fn spread_mass(&self, full: &mut impl Iterator<Item = f64>, mass: &mut [f64], level: usize, at: usize) {
        let Some(digit) = self.digits.get(level) else {
            mass[at] = full.next().unwrap_or(0.0);
            return;
        };
        for k in 1..=digit.outcomes.len() {
            self.spread_mass(full, mass, level + 1, at + k * digit.stride);
        }
        let (open, known) = mass[at..at + (digit.outcomes.len() + 1) * digit.stride].split_at_mut(digit.stride);
        open.fill(0.0);
        for part in known.chunks_exact(digit.stride) {
            open.iter_mut().zip(part).for_each(|(o, p)| *o += p);
        }
    }

    /// Lowers values through the checks, outcomes before the state in which the check is still open.
    fn value_checks(&self, value: &mut [f64], mass: &[f64], level: usize, at: usize) {
        let Some(digit) = self.digits.get(level) else { return };
        for k in 1..=digit.outcomes.len() {
            self.value_checks(value, mass, level + 1, at + k * digit.stride);
        }
        let end = at + (digit.outcomes.len() + 1) * digit.stride;
        let (open, known) = value[at..end].split_at_mut(digit.stride);
        let mass_here = &mass[at..at + digit.stride];
        if let [yes, no] = known.chunks_exact(digit.stride).collect::<Vec<_>>()[..] {
            for (((v, m), y), n) in open.iter_mut().zip(mass_here).zip(yes).zip(no) {
                let through = digit.cost * m + (y + n);
                *v = if through < *v { through } else { *v };
            }
        } else {
            for (j, v) in open.iter_mut().enumerate() {
                let after: f64 = known.iter().skip(j).step_by(digit.stride).sum();
                *v = v.min(digit.cost * mass_here[j] + after);
            }
        }
        self.value_checks(value, mass, level + 1, at);
    }

    fn plan(&self, model: &Model, value: &[f64], mass: f64, firsts: &[f64], states: u64) -> Plan {
        let choice = |step, cost: f64| Choice { step, lower: cost / mass, upper: cost / mass };
        let mut choices = Vec::new();
        if model.give_up.is_finite() {
            choices.push(choice(Move::GiveUp, model.give_up * mass));
        }
        choices.extend(self.repairs.iter().zip(firsts).map(|(&step, &cost)| choice(Move::Step(step), cost)));
        for digit in &self.digits {
            let after: f64 = (1..=digit.outcomes.len()).map(|k| value[k * digit.stride]).sum();
            choices.push(choice(Move::Step(digit.step), digit.cost * mass + after));
        }
        choices.sort_by(|a, b| a.upper.total_cmp(&b.upper));
        Plan { lower: value[0] / mass, upper: value[0] / mass, choices, states }
    }
}
