//! What it costs to tell suspects apart, at least: a lower bound on what is paid beyond clairvoyance.
//!
//! Told which pair of suspects holds the fault, a technician still has to find out which of the two it is, or to mend
//! one in vain: a sequential test between two hypotheses (Wald 1945), with checks that may be repeated and no panels in
//! the way. Its least cost is a concave function of the odds between the two, worked out once for each pair. Whatever
//! pairs the suspects are put into, with one suspect's weight split between several if need be, being told the pair is
//! free information, so the sum over the pairs is a lower bound.

use std::cell::OnceCell;

use super::problem::{Effect, Problem};
use super::state::{Model, Remedy};

/// Shares of the first suspect at which a pair's cost is kept; between them it is drawn straight, which is below a
/// concave function.
const GRID: usize = 33;
/// Rounds of the recursion at most. It rises from zero, so that each round is a bound already.
const ROUNDS: usize = 16;
/// Suspects that are put into pairs: the likeliest of a state.
const LIKELIEST: usize = 8;

/// The pairs of one problem.
pub(super) struct Pairs {
    suspects: usize,
    shares: [f64; GRID],
    /// Cheapest repair that acts on each suspect.
    cheapest: Vec<f64>,
    /// For each pair with `i < j`, when it was asked for, its cost at the grid's shares.
    tables: Vec<OnceCell<Option<Box<[f64; GRID]>>>>,
}

/// A check as a pair sees it: its cost, and for each outcome its probability under the one and the other.
type Telling = (f64, Vec<(f64, f64)>);

/// The probability of an outcome, and where on the grid it leads: a place and how far on to the next.
type Leads = (f64, usize, f64);

impl Pairs {
    pub(super) fn new(problem: &Problem, remedies: &[Vec<Remedy>]) -> Self {
        let suspects = remedies.len();
        let mut shares = [0.0; GRID];
        for (i, share) in shares.iter_mut().enumerate() {
            // Even steps of log-odds, from 1:1000 to 1000:1, and certainty at the ends.
            let odds = ((i as f64 - 16.0) * 6.9 / 15.0).exp();
            *share = odds / (1.0 + odds);
        }
        (shares[0], shares[GRID - 1]) = (0.0, 1.0);
        let cheapest = |list: &Vec<Remedy>| {
            list.iter().map(|r| problem.steps[r.step].cost).fold(f64::INFINITY, f64::min)
        };
        let cheapest = remedies.iter().map(cheapest).collect();
        let tables = (0..suspects * suspects).map(|_| OnceCell::new()).collect();
        Self { suspects, shares, cheapest, tables }
    }

    /// Least cost beyond clairvoyance, `weights` not normalised. `spare` is what giving up would cost beyond
    /// clairvoyance under each suspect.
    pub(super) fn excess(&self, model: &Model, weights: &[f64], spare: &[f64]) -> f64 {
        let mut likeliest = [(0.0_f64, 0_usize); LIKELIEST];
        for (i, &w) in weights.iter().enumerate() {
            if w > likeliest[LIKELIEST - 1].0 {
                let place = likeliest.partition_point(|l| l.0 >= w);
                likeliest.copy_within(place..LIKELIEST - 1, place + 1);
                likeliest[place] = (w, i);
            }
        }
        let pair = |a: (f64, usize), b: (f64, usize)| self.pair(model, a, b, spare);
        let neighbours: f64 = likeliest.chunks_exact(2).map(|p| pair(p[0], p[1])).sum();
        let (first, others) = (likeliest[0], &likeliest[1..]);
        let rest: f64 = others.iter().map(|o| o.0).sum();
        if rest <= 0.0 {
            return 0.0;
        }
        let star: f64 = others.iter().map(|&o| pair((first.0 * o.0 / rest, first.1), o)).sum();
        neighbours.max(star)
    }

    fn pair(&self, model: &Model, a: (f64, usize), b: (f64, usize), spare: &[f64]) -> f64 {
        let total = a.0 + b.0;
        if a.0 <= 0.0 || b.0 <= 0.0 || model.cure[a.1] == model.cure[b.1] {
            return 0.0;
        }
        // Where giving up might be better than a repair in vain, the recursion does not hold.
        if spare[a.1] < self.cheapest[b.1] && spare[b.1] < self.cheapest[a.1] {
            return 0.0;
        }
        let (i, j, share) = if a.1 < b.1 { (a.1, b.1, a.0 / total) } else { (b.1, a.1, b.0 / total) };
        let table = self.tables[i * self.suspects + j].get_or_init(|| self.table(model, i, j));
        table.as_ref().map_or(0.0, |t| total * self.between(t, share))
    }

    fn between(&self, table: &[f64; GRID], share: f64) -> f64 {
        let (at, part) = self.place(share);
        table[at] + part * (table[at + 1] - table[at])
    }

    fn place(&self, share: f64) -> (usize, f64) {
        let at = self.shares.partition_point(|s| *s <= share).clamp(1, GRID - 1) - 1;
        (at, ((share - self.shares[at]) / (self.shares[at + 1] - self.shares[at])).clamp(0.0, 1.0))
    }

    /// Cost of telling `i` from `j`; None when one repair acts on both, so that nothing needs to be told.
    fn table(&self, model: &Model, i: usize, j: usize) -> Option<Box<[f64; GRID]>> {
        let common = |r: &Remedy| model.remedies[j].iter().any(|o| o.step == r.step);
        let incurable = self.cheapest[i].is_infinite() || self.cheapest[j].is_infinite();
        if incurable || model.remedies[i].iter().any(common) {
            return None;
        }
        let tells = |effect: &Effect, cost: f64| -> Option<Telling> {
            let Effect::Check { outcomes } = effect else { return None };
            let rows: Vec<(f64, f64)> = outcomes.iter().map(|row| (row[i], row[j])).collect();
            rows.iter().any(|r| r.0 != r.1).then_some((cost, rows))
        };
        let checks: Vec<Telling> = model.steps.iter().filter_map(|s| tells(s.effect, s.cost)).collect();
        // A repair of the one is in vain under the other.
        let in_vain = |share: f64| (share * self.cheapest[j]).min((1.0 - share) * self.cheapest[i]);
        // Each check at each share: what it costs, and where its outcomes lead with which weight.
        let mut moves: Vec<(usize, f64, Vec<Leads>)> = Vec::new();
        for (at, &share) in self.shares.iter().enumerate() {
            for (cost, rows) in checks.iter().filter(|c| c.0 < in_vain(share)) {
                let outcome = |&(a, b): &(f64, f64)| {
                    let (a, b) = (a * share, b * (1.0 - share));
                    let sum = a + b;
                    let (place, part) = if sum > 0.0 { self.place(a / sum) } else { (0, 0.0) };
                    (sum, place, part)
                };
                moves.push((at, *cost, rows.iter().map(outcome).collect()));
            }
        }
        let mut table = Box::new([0.0; GRID]);
        for _ in 0..ROUNDS {
            let mut next = Box::new(self.shares.map(in_vain));
            for (at, cost, outcomes) in &moves {
                let after =
                    |&(p, place, part): &Leads| p * (table[place] + part * (table[place + 1] - table[place]));
                next[*at] = next[*at].min(cost + outcomes.iter().map(after).sum::<f64>());
            }
            let risen = next.iter().zip(table.iter()).map(|(n, t)| n - t).fold(0.0, f64::max);
            table = next;
            if risen < 1e-3 {
                break;
            }
        }
        Some(table)
    }
}
