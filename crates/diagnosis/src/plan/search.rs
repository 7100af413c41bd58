//! Best-first search over states with a lower and an upper bound at each (AO* on a graph that grows on demand).

use std::rc::Rc;

use rustc_hash::FxHashMap;

use super::bounds::{least, ratio_costs, ratio_rule};
use super::library::{Costs, Library};
use super::lookahead::Lookahead;
use super::state::{Model, Move, State};
use super::{Choice, Effort, Plan};

/// Which of a move's two bounds to go by.
#[derive(Clone, Copy, PartialEq, Eq)]
pub(super) enum By {
    Lower,
    Upper,
}

/// Bounds closer than this, relative, count as equal.
const CLOSED: f64 = 1e-12;
/// Moves of a state that are looked at from the start, and visits until one more is.
const WIDTH: usize = 3;
const VISITS: u32 = 4;

/// A state in the graph.
pub(super) struct Node {
    pub(super) state: State,
    pub(super) is_expanded: bool,
    pub(super) lower: f64,
    pub(super) upper: f64,
    /// What the P/C rule does first.
    by_ratio: Move,
    /// Where the upper bound comes from.
    pub(super) plan: From,
    /// What that plan costs under each suspect, when it was asked for.
    costs: Option<Rc<Costs>>,
    pub(super) edges: Vec<Edge>,
    visits: u32,
    /// How often a move was tried here by [`Graph::try_others`]; the greatest number when all were.
    pub(super) tried: u32,
}

/// Where a node's upper bound comes from.
pub(super) enum From {
    /// The P/C rule.
    Ratio,
    /// A plan found elsewhere.
    Kept(Rc<Costs>),
    /// Its own best move.
    Move(Move),
}

/// A move from a node.
pub(super) struct Edge {
    pub(super) step: Move,
    pub(super) cost: f64,
    /// No plan that starts with the move costs less.
    pub(super) least: f64,
    /// How promising it looks, by a rule of thumb.
    pub(super) promise: f64,
    /// Whether [`Graph::try_others`] took it.
    pub(super) tried: bool,
    /// Where it leads; None as long as nobody looked.
    pub(super) next: Option<Box<[(f64, u32)]>>,
}

impl Node {
    pub(super) fn gap(&self) -> f64 {
        let gap = self.upper - self.lower;
        if gap > CLOSED * self.upper.abs().max(1.0) { gap } else { 0.0 }
    }
}

pub(super) struct Graph<'a> {
    pub(super) model: &'a Model<'a>,
    pub(super) nodes: Vec<Node>,
    index: FxHashMap<u128, u32>,
    pub(super) library: Library,
    /// States looked at, and moves, whether nodes are made of them or not.
    pub(super) looked: usize,
}

/// Plans from the model's start: first good plans (`explore.rs`), then walks down along the least lower and the least
/// upper bound into the widest gap, and carries both back up, until they meet, the gap is small enough, or as many states
/// were looked at as allowed.
pub(super) fn search(model: &Model, effort: &Effort) -> Plan {
    searched(model, model.start(), effort).plan()
}

/// The graph that [`search`] grows, from any state.
pub(super) fn searched<'a>(model: &'a Model<'a>, start: State, effort: &Effort) -> Graph<'a> {
    let mut graph = Graph {
        model,
        nodes: Vec::new(),
        index: FxHashMap::default(),
        library: Library::default(),
        looked: 0,
    };
    let root = graph.node(start);
    graph.follow_myopic_rule(root, effort.states / 5);
    graph.try_others(root, effort.states / 5 * 4);
    while graph.nodes[0].gap() > effort.gap * graph.nodes[0].upper && graph.looked < effort.states {
        graph.trial(root, By::Lower);
        graph.trial(root, By::Upper);
    }
    // With hardly any effort, the moves are shown all the same.
    graph.expand(root);
    graph.back_up(root, By::Lower);
    graph
}

impl Graph<'_> {
    /// The node of a state, made if it is new.
    pub(super) fn node(&mut self, state: State) -> u32 {
        let next = self.nodes.len() as u32;
        let found = *self.index.entry(state.key()).or_insert(next);
        if found == next {
            self.looked += 1;
            let lower = least(self.model, &state);
            let ratio = ratio_rule(self.model, &state);
            let (mut upper, mut plan) = (ratio.cost, From::Ratio);
            if let Some((cost, costs)) = self.library.best(&state) {
                let test = if state.cured > 0.0 { self.model.test_cost } else { 0.0 };
                if test + cost < upper {
                    (upper, plan) = (test + cost, From::Kept(costs));
                }
            }
            let lower = lower.min(upper);
            let (is_expanded, edges) = (false, Vec::new());
            self.nodes.push(Node {
                state,
                is_expanded,
                lower,
                upper,
                by_ratio: ratio.first,
                plan,
                costs: None,
                edges,
                visits: 0,
                tried: 0,
            });
        }
        found
    }

    /// Lists the moves from a node, and looks where the most promising ones lead (at the root, all of them).
    pub(super) fn expand(&mut self, node: u32) {
        let here = &mut self.nodes[node as usize];
        if std::mem::replace(&mut here.is_expanded, true) {
            return;
        }
        let state = here.state.clone();
        let first = here.by_ratio;
        let mut lookahead = Lookahead::new(self.model, &state);
        let mut edges = Vec::new();
        for step in self.model.moves(&state) {
            let edge = lookahead.check(step).or_else(|| {
                let transition = self.model.apply(&state, step)?;
                let after: f64 = transition.next.iter().map(|(p, s)| p * least(self.model, s)).sum();
                let (cost, least) = (transition.cost, transition.cost + after);
                let promise = if step == first { f64::INFINITY } else { 0.0 };
                Some(Edge { step, cost, least, promise, tried: false, next: None })
            });
            edges.extend(edge);
        }
        self.looked += edges.len();
        edges.sort_by(|a, b| b.promise.total_cmp(&a.promise));
        let count = if node == 0 { edges.len() } else { WIDTH.min(edges.len()) };
        for edge in &mut edges[..count] {
            self.follow(&state, edge);
        }
        self.nodes[node as usize].edges = edges;
    }

    /// Looks where a move leads.
    fn follow(&mut self, state: &State, edge: &mut Edge) {
        if edge.next.is_none() {
            let next = self.model.apply(state, edge.step).map_or(Vec::new(), |t| t.next);
            edge.next = Some(next.into_iter().map(|(p, s)| (p, self.node(s))).collect());
        }
    }

    pub(super) fn follow_at(&mut self, node: u32, edge: usize) {
        let mut edges = std::mem::take(&mut self.nodes[node as usize].edges);
        let state = self.nodes[node as usize].state.clone();
        self.follow(&state, &mut edges[edge]);
        self.nodes[node as usize].edges = edges;
    }

    fn edge_bounds(&self, edge: &Edge) -> (f64, f64) {
        let Some(next) = &edge.next else { return (edge.least, f64::INFINITY) };
        next.iter().fold((edge.cost, edge.cost), |(lower, upper), &(p, n)| {
            let next = &self.nodes[n as usize];
            (lower + p * next.lower, upper + p * next.upper)
        })
    }

    /// Carries the bounds of a node's moves to the node, and forgets moves that cannot be the best (at the root they
    /// are kept, to be shown). Returns the move of which the bound is least.
    pub(super) fn back_up(&mut self, node: u32, by: By) -> Option<usize> {
        let mut edges = std::mem::take(&mut self.nodes[node as usize].edges);
        let bounds: Vec<(f64, f64)> = edges.iter().map(|e| self.edge_bounds(e)).collect();
        let lower = bounds.iter().fold(f64::INFINITY, |l, b| l.min(b.0));
        let here = &mut self.nodes[node as usize];
        for (edge, bounds) in edges.iter().zip(&bounds) {
            if bounds.1 < here.upper {
                here.upper = bounds.1;
                (here.plan, here.costs) = (From::Move(edge.step), None);
            }
        }
        if here.is_expanded {
            here.lower = here.lower.max(lower).min(here.upper);
        }
        let limit = here.upper + CLOSED * here.upper.abs();
        let mut kept = bounds.iter().map(|b| node == 0 || b.0 <= limit);
        edges.retain(|_| kept.next().unwrap_or(true));
        let bounds = bounds.iter().filter(|b| node == 0 || b.0 <= limit);
        let of = |b: &(f64, f64)| if by == By::Lower { b.0 } else { b.1 };
        let best = bounds.enumerate().min_by(|a, b| of(a.1).total_cmp(&of(b.1))).map(|(i, _)| i);
        self.nodes[node as usize].edges = edges;
        best
    }

    fn trial(&mut self, root: u32, by: By) {
        let mut path = Vec::new();
        let mut here = root;
        loop {
            self.expand(here);
            path.push((here, self.nodes[here as usize].upper));
            if by == By::Upper {
                self.widen(here);
            }
            let Some(best) = self.back_up(here, by) else { break };
            self.follow_at(here, best);
            let next = self.nodes[here as usize].edges[best].next.iter().flatten();
            let widest =
                next.map(|&(p, n)| (p * self.nodes[n as usize].gap(), n)).max_by(|a, b| a.0.total_cmp(&b.0));
            match widest {
                Some((gap, next)) if gap > 0.0 => here = next,
                _ => break,
            }
        }
        for &(node, before) in path.iter().rev() {
            self.back_up(node, by);
            self.keep_if_better(node, before);
        }
    }

    /// Remembers the plan of a node if it got better than `before`.
    pub(super) fn keep_if_better(&mut self, node: u32, before: f64) {
        if self.nodes[node as usize].upper < before {
            let costs = self.costs(node);
            self.library.keep(&costs);
        }
    }

    /// The more often the search comes by, the more moves are worth a look.
    fn widen(&mut self, node: u32) {
        let here = &mut self.nodes[node as usize];
        here.visits += 1;
        if here.visits.is_multiple_of(VISITS)
            && let Some(next) = here.edges.iter().position(|e| e.next.is_none())
        {
            self.follow_at(node, next);
        }
    }

    /// What the plan behind a node's upper bound costs under each suspect.
    pub(super) fn costs(&mut self, node: u32) -> Rc<Costs> {
        let here = &self.nodes[node as usize];
        if let Some(costs) = &here.costs {
            return Rc::clone(costs);
        }
        let (model, state) = (self.model, &here.state);
        let costs = match &here.plan {
            From::Ratio => ratio_costs(model, state),
            From::Kept(costs) if state.cured > 0.0 => {
                let next = |_| Some(Rc::clone(costs));
                Rc::new(Costs::before(model, state, Move::SystemTest, model.test_cost, next))
            }
            From::Kept(costs) => Rc::clone(costs),
            From::Move(step) => {
                let (step, state) = (*step, state.clone());
                let edge = here.edges.iter().find(|e| e.step == step);
                let (cost, next) =
                    edge.map_or((0.0, Box::default()), |e| (e.cost, e.next.clone().unwrap_or_default()));
                let mut next = next.into_iter();
                let next = |outcome| {
                    let (_, node) =
                        if model.can_show(&state, step, outcome) { next.next()? } else { return None };
                    Some(self.costs(node))
                };
                Rc::new(Costs::before(model, &state, step, cost, next))
            }
        };
        self.nodes[node as usize].costs = Some(Rc::clone(&costs));
        costs
    }

    pub(super) fn plan(&self) -> Plan {
        let root = &self.nodes[0];
        let choice = |edge: &Edge| {
            let (lower, upper) = self.edge_bounds(edge);
            Choice { step: edge.step, lower, upper }
        };
        let mut choices: Vec<Choice> = root.edges.iter().map(choice).collect();
        let moves = self.model.moves(&root.state);
        choices.sort_by_key(|c| moves.iter().position(|m| *m == c.step));
        // Equal but for rounding: the order of the steps decides (the sort is stable).
        let rank = |c: &Choice| (c.upper / root.upper.max(f64::MIN_POSITIVE) * 1e10).round();
        choices.sort_by(|a, b| rank(a).total_cmp(&rank(b)));
        Plan { lower: root.lower, upper: root.upper, choices, states: self.looked }
    }
}
