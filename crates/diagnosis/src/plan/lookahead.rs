//! A first look at the checks of a state, without working out where they lead.

use super::bounds::{clairvoyant, spare};
use super::problem::Effect;
use super::search::Edge;
use super::state::{Model, Move, State};

/// What all checks from one state share.
pub(super) struct Lookahead<'a> {
    model: &'a Model<'a>,
    state: &'a State,
    /// Clairvoyance from here with these panels open.
    known: Vec<(u64, f64)>,
    /// Probability of each cure, and cures of several suspects that one repair mends.
    cures: Vec<f64>,
    /// What giving up would cost beyond clairvoyance.
    spare: Vec<f64>,
    /// Room for one outcome's weights, by cure and by suspect.
    joint: Vec<f64>,
    weights: Vec<f64>,
}

impl<'a> Lookahead<'a> {
    pub(super) fn new(model: &'a Model<'a>, state: &'a State) -> Self {
        let mut cures = vec![0.0; model.cures];
        for (&cure, b) in model.cure.iter().zip(&state.belief) {
            cures[cure] += b;
        }
        let (joint, weights) = (vec![0.0; cures.len()], vec![0.0; state.belief.len()]);
        Self { model, state, known: Vec::new(), cures, spare: spare(model, state), joint, weights }
    }

    /// The move, if it is a check that can tell something here.
    pub(super) fn check(&mut self, step: Move) -> Option<Edge> {
        let Move::Step(i) = step else { return None };
        let Effect::Check { outcomes } = self.model.steps[i].effect else { return None };
        if self.state.cured > 0.0 || !self.model.part_at_hand(self.state, i) {
            return None;
        }
        let before = self.model.opened(self.state, i);
        let cost = self.model.steps[i].cost + self.model.access_cost(before, i);
        let (gain, excess) = self.gain(outcomes)?;
        let least = cost + excess + self.clairvoyant(before | self.model.needed(i));
        // Told apart per cost; free checks first.
        Some(Edge { step, cost, least, promise: gain / cost.max(1e-9), tried: false, next: None })
    }

    /// A check leaves every belief where it is on average, and the clairvoyant's cost is linear in it.
    fn clairvoyant(&mut self, open: u64) -> f64 {
        if let Some(known) = self.known.iter().find(|k| k.0 == open) {
            return known.1;
        }
        let cost = clairvoyant(self.model, &State { open, ..self.state.clone() });
        self.known.push((open, cost));
        cost
    }

    /// By how much the check raises, on average, the chance that two suspects drawn at random need the same cure (the
    /// Gini gain of decision trees, Breiman et al. 1984); None when it cannot tell any two suspects apart.
    /// Also what it costs at least, after the check, to tell the suspects apart.
    fn gain(&mut self, outcomes: &[Vec<f64>]) -> Option<(f64, f64)> {
        let belief = &self.state.belief;
        let mut tells = false;
        let mut after = 0.0;
        let mut excess = 0.0;
        let (joint, weights) = (&mut self.joint, &mut self.weights);
        for row in outcomes {
            joint.fill(0.0);
            let (mut least, mut most, mut sum) = (f64::INFINITY, 0.0_f64, 0.0);
            for (((&p, &b), &cure), w) in row.iter().zip(belief).zip(&self.model.cure).zip(weights.iter_mut())
            {
                *w = p * b;
                if b > 0.0 {
                    (least, most) = (least.min(p), most.max(p));
                    joint[cure] += p * b;
                    sum += p * b;
                }
            }
            tells |= least < most;
            if sum > 0.0 {
                after += joint.iter().map(|j| j * j).sum::<f64>() / sum;
                if !self.spare.is_empty() {
                    excess += self.model.pairs.excess(self.model, weights, &self.spare);
                }
            }
        }
        let before: f64 = self.cures.iter().map(|c| c * c).sum();
        tells.then_some(((after - before).max(0.0), excess))
    }
}
