//! The nodes, one after the other, likeliest first.

use super::labels::{self, Label};
use super::{Branch, Chart, Does, Extent, Node, Then};
use crate::FindError;
use crate::belief::{Belief, Case};
use crate::check::Power;
use crate::finding::Action;
use crate::next::troubles::Troubles;
use crate::next::{Candidate, Mending};
use crate::plan::{Course, Effort, Move, Plan, Point, Problem};
use std::cmp::Ordering;
use std::collections::BinaryHeap;

/// States that the planner may look at in a node that is always passed; in others, less in proportion to how rarely.
const STATES: f64 = 60_000.0;

/// Least states, so that a rare node is still planned well.
const LEAST_STATES: usize = 1_500;

/// Suspects that are named at a node, and the least probability of one.
const NAMED: (usize, f64) = (3, 0.03);

/// What nodes are made from.
pub(super) struct Grower<'a, 'm> {
    pub(super) belief: &'a Belief<'m>,
    pub(super) troubles: &'a Troubles,
    pub(super) checks: &'a [Candidate],
    pub(super) mends: &'a [Mending],
    pub(super) problem: &'a Problem,
}

/// A way that waits to be followed.
struct Waiting {
    probability: f64,
    depth: usize,
    /// The node and its branch; none at the start.
    from: Option<(usize, usize)>,
    point: Point,
}

impl PartialEq for Waiting {
    fn eq(&self, other: &Self) -> bool {
        self.cmp(other) == Ordering::Equal
    }
}

impl Eq for Waiting {}

impl PartialOrd for Waiting {
    fn partial_cmp(&self, other: &Self) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}

impl Ord for Waiting {
    fn cmp(&self, other: &Self) -> Ordering {
        self.probability.total_cmp(&other.probability).then_with(|| other.from.cmp(&self.from))
    }
}

impl Grower<'_, '_> {
    /// The nodes, answers that lead to the same not yet put together, and nothing summed up.
    pub(super) fn grow(&self, extent: &Extent) -> Result<Chart, FindError> {
        let course = Course::new(self.problem)?;
        let start = course.start(&[]);
        let mut nodes: Vec<Node> = Vec::new();
        let mut planned = (0.0, 0.0);
        let mut waiting =
            BinaryHeap::from([Waiting { probability: 1.0, depth: 0, from: None, point: start.clone() }]);
        while let Some(way) = waiting.pop() {
            let plan = course.plan(&way.point, &effort(way.probability));
            let too_much =
                way.probability < extent.rare || way.depth >= extent.depth || nodes.len() >= extent.nodes;
            if let Some((node, branch)) = way.from {
                let minutes = (plan.upper - self.in_vain()).max(0.0);
                let then = if too_much { Then::Afresh { minutes } } else { Then::Node(nodes.len()) };
                nodes[node].branches[branch].then = then;
                if too_much {
                    continue;
                }
            } else {
                // One repair cures: what every repair is charged for being in vain is taken back once.
                planned = (plan.lower - self.in_vain(), plan.upper - self.in_vain());
            }
            let (node, points) = self.node(&course, &way, &plan);
            let at = nodes.len();
            for (branch, point) in points {
                let probability = way.probability * node.branches[branch].probability;
                waiting.push(Waiting { probability, depth: way.depth + 1, from: Some((at, branch)), point });
            }
            nodes.push(node);
        }
        Ok(self.chart(nodes, planned, &start))
    }

    /// The advised node, and the points that its branches lead to, by branch.
    fn node(&self, course: &Course<'_>, way: &Waiting, plan: &Plan) -> (Node, Vec<(usize, Point)>) {
        let best = plan.choices.iter().find_map(|c| Some((c.step, course.take(&way.point, c.step)?)));
        let Some((Move::Step(step), taken)) = best else {
            return (self.give_up(way, plan.upper), Vec::new());
        };
        let panels = self.belief.machine().panels.len();
        let (does, price) = self.does(step);
        let in_vain = if step < self.checks.len() { 0.0 } else { self.in_vain() };
        let mut branches = Vec::new();
        let mut points = Vec::new();
        for w in taken.ways {
            let label = match self.checks.get(step) {
                Some(candidate) => {
                    labels::label_of(self.belief, self.troubles, candidate, w.outcome, way.point.belief())
                }
                None => Label::Works(false),
            };
            points.push((branches.len(), w.point));
            branches.push(Branch { label, probability: w.probability, then: Then::Done });
        }
        let done = 1.0 - branches.iter().map(|b| b.probability).sum::<f64>();
        if done > 1e-9 {
            branches.insert(0, Branch { label: Label::Works(true), probability: done, then: Then::Done });
            for (branch, _) in &mut points {
                *branch += 1;
            }
        }
        let node = Node {
            probability: way.probability,
            does,
            minutes: taken.cost - price - in_vain,
            price,
            opens: taken.opens.iter().copied().filter(|&p| p < panels).collect(),
            closes: taken.closes.iter().any(|&p| p < panels),
            suspects: self.named(way.point.belief()),
            branches,
        };
        (node, points)
    }

    /// What the problem charges for a repair in vain: no minutes of the node, but of those that follow where it does not cure.
    fn in_vain(&self) -> f64 {
        self.belief.setup().costs.in_vain
    }

    fn does(&self, step: usize) -> (Does, f64) {
        let costs = &self.belief.setup().costs;
        if let Some(Candidate { check, .. }) = self.checks.get(step) {
            let price = if check.power == Power::Live { costs.live } else { 0.0 };
            return (Does::Act(Action::Check(check.clone())), price);
        }
        let mending = &self.mends[step - self.checks.len()];
        let price = match mending {
            Mending::Part { part, fit: true, .. } => costs.parts.get(part).copied().unwrap_or(costs.part),
            Mending::Part { .. } | Mending::Nothing => 0.0,
        };
        (Does::Act(mending.action(self.belief)), price)
    }

    fn give_up(&self, way: &Waiting, cost: f64) -> Node {
        Node {
            probability: way.probability,
            does: Does::GiveUp,
            minutes: 0.0,
            price: cost,
            opens: Vec::new(),
            closes: false,
            suspects: self.named(way.point.belief()),
            branches: vec![Branch { label: Label::Works(false), probability: 1.0, then: Then::Done }],
        }
    }

    /// The leading suspects.
    fn named(&self, belief: &[f64]) -> Vec<(Case, f64)> {
        let mut all = self.sorted(belief);
        all.truncate(NAMED.0);
        all.retain(|s| s.1 >= NAMED.1);
        all
    }

    fn sorted(&self, belief: &[f64]) -> Vec<(Case, f64)> {
        let mut all: Vec<(Case, f64)> = self
            .troubles
            .cases
            .iter()
            .zip(belief)
            .filter(|(_, p)| **p > 0.0)
            .map(|(c, p)| (c.clone(), *p))
            .collect();
        all.sort_by(|a, b| b.1.total_cmp(&a.1));
        all
    }

    fn chart(&self, nodes: Vec<Node>, planned: (f64, f64), start: &Point) -> Chart {
        let suspects = self.sorted(start.belief());
        Chart {
            nodes,
            suspects,
            others: 0.0,
            minutes_to_find: 0.0,
            minutes: 0.0,
            planned,
            cut: 0.0,
            instruments: Vec::new(),
        }
    }
}

fn effort(probability: f64) -> Effort {
    Effort { states: ((STATES * probability) as usize).max(LEAST_STATES), gap: 0.0 }
}
