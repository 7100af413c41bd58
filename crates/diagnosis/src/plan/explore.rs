//! Good plans early: the myopic rule's, and what other moves at its likeliest states make of it.

use std::cmp::Ordering;
use std::collections::BinaryHeap;

use super::bounds::myopic_rule;
use super::search::{By, From, Graph};

/// Likeliest states of the myopic rule's plan of which the rest is kept as a plan.
const REMEMBERED: usize = 24;
/// States less likely than this are not worth another try.
const RARE: f64 = 0.01;
/// A try at a state that is sure to be passed may take this part of all effort; at others, less in proportion.
const TRIES: usize = 8;
/// Longest way into a plan that is searched for states to try.
const DEEPEST: usize = 40;

/// An end of the plan so far, and the probability of getting there.
#[derive(PartialEq)]
struct Branch {
    probability: f64,
    node: u32,
}

impl Eq for Branch {}

impl PartialOrd for Branch {
    fn partial_cmp(&self, other: &Self) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}

impl Ord for Branch {
    fn cmp(&self, other: &Self) -> Ordering {
        self.probability.total_cmp(&other.probability).then(other.node.cmp(&self.node))
    }
}

impl Graph<'_> {
    /// Puts the plan of the myopic rule into the graph, its likeliest branches first, so that what is found is never
    /// worse, as far as the effort covers it.
    pub(super) fn follow_myopic_rule(&mut self, root: u32, most: usize) {
        let mut waiting = BinaryHeap::from([Branch { probability: 1.0, node: root }]);
        let mut followed = Vec::new();
        while let Some(branch) = waiting.pop().filter(|_| self.looked < most) {
            if self.nodes[branch.node as usize].is_expanded {
                continue;
            }
            let rule = myopic_rule(self.model, &self.nodes[branch.node as usize].state);
            self.looked += rule.looked;
            self.expand(branch.node);
            followed.push(branch.node);
            let edges = &self.nodes[branch.node as usize].edges;
            if let Some(edge) = edges.iter().position(|e| e.step == rule.first) {
                self.follow_at(branch.node, edge);
                waiting.extend(self.ends(branch.node, edge, branch.probability));
            }
        }
        // A branch may join one that was followed earlier: go round until nothing changes.
        loop {
            let before = self.nodes[root as usize].upper;
            for &node in followed.iter().rev() {
                self.back_up(node, By::Lower);
            }
            if self.nodes[root as usize].upper >= before {
                break;
            }
        }
        followed.truncate(REMEMBERED);
        for &node in followed.iter().rev() {
            let costs = self.costs(node);
            self.library.keep(&costs);
        }
    }

    /// Where a move leads, with the probability of getting there.
    fn ends(&self, node: u32, edge: usize, probability: f64) -> impl Iterator<Item = Branch> {
        let next = self.nodes[node as usize].edges[edge].next.iter().flatten();
        next.map(move |&(p, node)| Branch { probability: probability * p, node })
    }

    /// Tries other moves at the likeliest states of the best plan so far. A move never looks good until what comes
    /// after it is planned well too, so each is followed far enough to be compared.
    pub(super) fn try_others(&mut self, root: u32, most: usize) {
        let share = most as f64 / TRIES as f64;
        while self.looked < most {
            let Some(way) = self.likeliest_to_try(root) else { return };
            let Some(&Branch { node, probability }) = way.last() else { return };
            self.expand(node);
            let here = &mut self.nodes[node as usize];
            here.tried = here.tried.saturating_add(1);
            let Some(edge) = here.edges.iter().position(|e| !e.tried) else {
                here.tried = u32::MAX;
                continue;
            };
            here.edges[edge].tried = true;
            self.follow_at(node, edge);
            let ends = self.ends(node, edge, 1.0).collect();
            let followed = self.dive(ends, (share * probability) as usize);
            for node in followed.into_iter().rev().chain(way.iter().rev().map(|b| b.node)) {
                let before = self.nodes[node as usize].upper;
                self.back_up(node, By::Upper);
                self.keep_if_better(node, before);
            }
        }
    }

    /// The way to the state of the best plan where a try promises most: likely to be passed, a wide gap, few tries yet.
    fn likeliest_to_try(&self, root: u32) -> Option<Vec<Branch>> {
        // Each entry: probability, node, and the entry it came from.
        let mut seen: Vec<(f64, u32, usize)> = vec![(1.0, root, 0)];
        let mut best: Option<(f64, usize)> = None;
        let mut at = 0;
        while let Some(&(probability, node, _)) = seen.get(at) {
            let here = &self.nodes[node as usize];
            let value = probability * here.gap() / (1.0 + f64::from(here.tried));
            if here.tried < u32::MAX && value > best.map_or(0.0, |b| b.0) {
                best = Some((value, at));
            }
            if let From::Move(step) = &here.plan {
                let next =
                    here.edges.iter().filter(|e| e.step == *step).flat_map(|e| e.next.iter().flatten());
                let likely = next.map(|&(p, node)| (probability * p, node, at)).filter(|n| n.0 >= RARE);
                seen.extend(likely);
            }
            at += 1;
        }
        let (_, mut at) = best?;
        let mut way = Vec::new();
        loop {
            let (probability, node, from) = seen[at];
            way.push(Branch { probability, node });
            if at == 0 || way.len() > DEEPEST {
                break;
            }
            at = from;
        }
        way.reverse();
        Some(way)
    }

    /// Follows the least upper bound from these states on, the likeliest branches first, for so many states. Gives the
    /// nodes passed.
    fn dive(&mut self, mut waiting: BinaryHeap<Branch>, states: usize) -> Vec<u32> {
        let mut followed = Vec::new();
        let most = self.looked + states;
        while let Some(branch) = waiting.pop().filter(|b| self.looked < most && b.probability >= RARE) {
            if self.nodes[branch.node as usize].gap() <= 0.0 {
                continue;
            }
            self.expand(branch.node);
            followed.push(branch.node);
            if let Some(edge) = self.back_up(branch.node, By::Upper) {
                waiting.extend(self.ends(branch.node, edge, branch.probability));
            }
        }
        followed
    }
}
