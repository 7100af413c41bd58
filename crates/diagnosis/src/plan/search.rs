//! Best-first search over states with a lower and an upper bound at each (AO* on a graph that grows on demand).

use std::cmp::Ordering;
use std::collections::{BinaryHeap, HashMap};
use std::hash::{BuildHasherDefault, Hasher};

use super::bounds::{clairvoyant, ratio_rule};
use super::problem::Effect;
use super::state::{Model, Move, State};
use super::{Choice, Effort, Plan};

/// Which of a move's two bounds to go by.
type By = fn(&(f64, f64)) -> f64;

/// Bounds closer than this, relative, count as equal.
const CLOSED: f64 = 1e-12;

/// A state in the graph.
struct Node {
    /// Held until the node is expanded.
    state: Option<State>,
    lower: f64,
    upper: f64,
    /// Expected cost by the P/C rule, the first upper bound.
    ratio: f64,
    edges: Vec<Edge>,
}

/// A move from a node.
struct Edge {
    step: Move,
    cost: f64,
    next: Box<[(f64, u32)]>,
}

impl Node {
    fn gap(&self) -> f64 {
        let gap = self.upper - self.lower;
        if gap > CLOSED * self.upper.abs().max(1.0) { gap } else { 0.0 }
    }
}

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

/// Keys are mixed already.
#[derive(Default)]
struct AsIs(u64);

impl Hasher for AsIs {
    fn finish(&self) -> u64 {
        self.0
    }
    fn write(&mut self, bytes: &[u8]) {
        for &b in bytes {
            self.0 = self.0.rotate_left(8) ^ u64::from(b);
        }
    }
    fn write_u128(&mut self, key: u128) {
        self.0 = (key >> 64) as u64 ^ key as u64;
    }
}

struct Graph<'a> {
    model: &'a Model<'a>,
    nodes: Vec<Node>,
    index: HashMap<u128, u32, BuildHasherDefault<AsIs>>,
}

/// Plans from the model's start: walks down along the least lower bound into the widest gap, and carries both bounds
/// back up, until they meet, the gap is small enough, or there are as many nodes as allowed.
pub(super) fn search(model: &Model, effort: &Effort) -> Plan {
    let mut graph = Graph { model, nodes: Vec::new(), index: HashMap::default() };
    let root = graph.node(model.start());
    graph.follow_myopic_rule(root, effort.states / 2);
    while graph.nodes[0].gap() > effort.gap * graph.nodes[0].upper && graph.nodes.len() < effort.states {
        graph.trial(root, |b| b.0);
        graph.trial(root, |b| b.1);
    }
    graph.plan()
}

impl Graph<'_> {
    /// The node of a state, made if it is new.
    fn node(&mut self, state: State) -> u32 {
        let next = self.nodes.len() as u32;
        let found = *self.index.entry(state.key()).or_insert(next);
        if found == next {
            let lower = clairvoyant(self.model, &state);
            let upper = ratio_rule(self.model, &state).cost;
            self.nodes.push(Node {
                state: Some(state),
                lower: lower.min(upper),
                upper,
                ratio: upper,
                edges: Vec::new(),
            });
        }
        found
    }

    fn expand(&mut self, node: u32) {
        let Some(state) = self.nodes[node as usize].state.take() else { return };
        let mut edges = Vec::new();
        for step in self.model.moves(&state) {
            let Some(transition) = self.model.apply(&state, step) else { continue };
            let next = transition.next.into_iter().map(|(p, s)| (p, self.node(s))).collect();
            edges.push(Edge { step, cost: transition.cost, next });
        }
        self.nodes[node as usize].edges = edges;
    }

    fn edge_bounds(&self, edge: &Edge) -> (f64, f64) {
        edge.next.iter().fold((edge.cost, edge.cost), |(lower, upper), &(p, n)| {
            let next = &self.nodes[n as usize];
            (lower + p * next.lower, upper + p * next.upper)
        })
    }

    /// Carries the bounds of a node's moves to the node, and forgets moves that cannot be the best (at the root they
    /// are kept, to be shown). Returns the move for which `by` of its bounds is least.
    fn back_up(&mut self, node: u32, by: By) -> Option<usize> {
        let mut edges = std::mem::take(&mut self.nodes[node as usize].edges);
        let bounds: Vec<(f64, f64)> = edges.iter().map(|e| self.edge_bounds(e)).collect();
        let lower = bounds.iter().fold(f64::INFINITY, |l, b| l.min(b.0));
        let here = &mut self.nodes[node as usize];
        here.upper = bounds.iter().fold(here.upper, |u, b| u.min(b.1));
        here.lower = here.lower.max(lower).min(here.upper);
        let limit = here.upper + CLOSED * here.upper.abs();
        let mut kept = bounds.iter().map(|b| node == 0 || b.0 <= limit);
        edges.retain(|_| kept.next().unwrap_or(true));
        let bounds = bounds.iter().filter(|b| node == 0 || b.0 <= limit);
        let best = bounds.enumerate().min_by(|a, b| by(a.1).total_cmp(&by(b.1))).map(|(i, _)| i);
        self.nodes[node as usize].edges = edges;
        best
    }

    fn trial(&mut self, root: u32, by: By) {
        let mut path = Vec::new();
        let mut here = root;
        loop {
            self.expand(here);
            path.push(here);
            let Some(best) = self.back_up(here, by) else { break };
            let next = self.nodes[here as usize].edges[best].next.iter();
            let widest =
                next.map(|&(p, n)| (p * self.nodes[n as usize].gap(), n)).max_by(|a, b| a.0.total_cmp(&b.0));
            match widest {
                Some((gap, next)) if gap > 0.0 => here = next,
                _ => break,
            }
        }
        for &node in path.iter().rev() {
            self.back_up(node, by);
        }
    }

    /// Puts the plan of the myopic rule into the graph, its likeliest branches first, so that what is found is never
    /// worse; half of the effort at most goes there.
    fn follow_myopic_rule(&mut self, root: u32, most: usize) {
        let mut waiting = BinaryHeap::from([Branch { probability: 1.0, node: root }]);
        let mut followed = Vec::new();
        while let Some(branch) = waiting.pop().filter(|_| self.nodes.len() < most) {
            let Some(first) =
                self.nodes[branch.node as usize].state.as_ref().map(|s| ratio_rule(self.model, s).first)
            else {
                continue;
            };
            self.expand(branch.node);
            followed.push(branch.node);
            if let Some(edge) = self.myopic_choice(branch.node, first) {
                let child = |&(p, node): &(f64, u32)| Branch { probability: branch.probability * p, node };
                waiting.extend(edge.next.iter().map(child));
            }
        }
        // A branch may join one that was followed earlier: go round until nothing changes.
        loop {
            let before = self.nodes[root as usize].upper;
            for &node in followed.iter().rev() {
                self.back_up(node, |b| b.0);
            }
            if self.nodes[root as usize].upper >= before {
                return;
            }
        }
    }

    /// The check with the least cost by the P/C rule after it, if that beats the P/C rule at once.
    fn myopic_choice(&self, node: u32, ratio_first: Move) -> Option<&Edge> {
        let here = &self.nodes[node as usize];
        let is_check = |e: &Edge| matches!(e.step, Move::Step(i) if matches!(self.model.steps[i].effect, Effect::Check { .. }));
        let cost =
            |e: &Edge| e.cost + e.next.iter().map(|&(p, n)| p * self.nodes[n as usize].ratio).sum::<f64>();
        let checks = here.edges.iter().filter(|e| is_check(e)).map(|e| (cost(e), e));
        let best = checks.min_by(|a, b| a.0.total_cmp(&b.0)).filter(|(cost, _)| *cost < here.ratio - 1e-12);
        best.map(|(_, edge)| edge).or_else(|| here.edges.iter().find(|e| e.step == ratio_first))
    }

    fn plan(&self) -> Plan {
        let root = &self.nodes[0];
        let choice = |edge: &Edge| {
            let (lower, upper) = self.edge_bounds(edge);
            Choice { step: edge.step, lower, upper }
        };
        let mut choices: Vec<Choice> = root.edges.iter().map(choice).collect();
        // Equal but for rounding: the order of the steps decides (the sort is stable).
        let rank = |c: &Choice| (c.upper / root.upper.max(f64::MIN_POSITIVE) * 1e10).round();
        choices.sort_by(|a, b| rank(a).total_cmp(&rank(b)));
        Plan { lower: root.lower, upper: root.upper, choices, states: self.nodes.len() }
    }
}
