//! What to do next: the plan with the least expected cost until the machine works.
//!
//! A [`Problem`] holds suspects, checks, repairs, access and parts. [`plan`] gives every move open now with bounds on
//! the expected cost of the whole job if it is taken, the best first.
//!
//! Read in this order: `problem.rs` (what is given), `state.rs` (what a move does), `bounds.rs` and `pairs.rs` (what a
//! state costs at least and at most), `lookahead.rs` (checks at a glance), `search.rs` (closing the gap), `explore.rs`
//! (good plans early), `library.rs` (plans used again), `course.rs` (from one point of a job to the next). `components.rs` only turns faulty components into a [`Problem`].
//!
//! Always true: a plan's bounds hold the optimum, whatever the effort; the greedy rules are in the graph from the start.

mod bounds;
mod components;
mod course;
mod explore;
mod library;
mod lookahead;
mod merge;
mod pairs;
mod problem;
mod search;
mod state;

pub use components::{Component, ComponentCheck, Components, MAX_COMPONENTS, Structure};
pub use course::{Course, Point, Taken, Way};
pub use problem::{
    Access, Effect, Left, MAX_ACCESS, MAX_ORDERED, MAX_STEPS, Problem, ProblemError, Proof, Step, Stock,
    Supply,
};
pub use state::Move;

use state::Model;

/// How much work a plan may take.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Effort {
    /// Most states and moves that the search may look at, at 1 to 3 µs each (it may end a few hundred above); a state
    /// that is kept, about one in three, takes some 500 bytes.
    pub states: usize,
    /// The search stops when the bounds are closer than this share of the upper one; 0: only when they meet.
    pub gap: f64,
}

impl Default for Effort {
    /// Some 0.2 s on 40 suspects with 60 checks, 0.3 s on 80: 100 000 states, gap 0.
    fn default() -> Self {
        Self { states: 100_000, gap: 0.0 }
    }
}

/// One move open now, with bounds on the expected cost of the job if it is taken and all goes on as well as possible.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Choice {
    /// The move.
    pub step: Move,
    /// No plan that starts with this move costs less.
    pub lower: f64,
    /// Some plan that starts with this move costs no more.
    pub upper: f64,
}

/// Answer of [`plan`].
#[derive(Clone, Debug, PartialEq)]
pub struct Plan {
    /// No plan costs less.
    pub lower: f64,
    /// The plan that starts with the first choice costs no more.
    pub upper: f64,
    /// All moves open now that are possible and could change anything, by upper bound, best first; equal ones in the
    /// order of the steps.
    pub choices: Vec<Choice>,
    /// States looked at.
    pub states: usize,
}

impl Plan {
    /// How much better another plan might be, in the problem's unit of cost.
    pub fn gap(&self) -> f64 {
        (self.upper - self.lower).max(0.0)
    }
}

/// The best next move: exact where the effort suffices, else with a gap.
///
/// Never worse than the P/C rule from the same start, nor than the myopic rule where a fifth of the effort covers its
/// plan; where it does not, its likeliest branches are covered and the P/C rule ends the others.
///
/// # Errors
/// What [`Problem::check`] refuses, and [`ProblemError::NoEnd`].
pub fn plan(problem: &Problem, effort: &Effort) -> Result<Plan, ProblemError> {
    problem.check()?;
    let merged = merge::merged(problem);
    let plan = search::search(&Model::new(merged.as_ref().unwrap_or(problem)), effort);
    if plan.upper.is_finite() { Ok(plan) } else { Err(ProblemError::NoEnd) }
}

/// A published rule's first move, and the expected cost of following the rule to the end.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct RuleCost {
    /// What the rule does first.
    pub first: Move,
    /// Expected cost of doing as the rule says; infinite when that is not sure to end the job.
    pub cost: f64,
}

/// The P/C rule (Kadane & Simon 1977; Heckerman, Breese & Rommelse 1995): repairs only, by probability of cure over cost.
///
/// # Errors
/// What [`Problem::check`] refuses.
pub fn ratio_rule(problem: &Problem) -> Result<RuleCost, ProblemError> {
    problem.check()?;
    let model = Model::new(problem);
    let rule = bounds::ratio_rule(&model, &model.start());
    Ok(RuleCost { first: rule.first, cost: rule.cost })
}

/// The myopic rule (Heckerman, Breese & Rommelse 1995): the check that pays at once if one does, else the P/C rule.
///
/// # Errors
/// What [`Problem::check`] refuses.
pub fn myopic_rule(problem: &Problem) -> Result<RuleCost, ProblemError> {
    problem.check()?;
    let model = Model::new(problem);
    let start = model.start();
    let cost = bounds::myopic_cost(&model, &start, &mut rustc_hash::FxHashMap::default());
    Ok(RuleCost { first: bounds::myopic_rule(&model, &start).first, cost })
}

/// Expected cost of following the myopic rule; branches less likely than `least` end by the P/C rule, as its own tree may be
/// far too large.
///
/// # Errors
/// What [`Problem::check`] refuses.
pub fn myopic_rule_likely(problem: &Problem, least: f64) -> Result<RuleCost, ProblemError> {
    problem.check()?;
    let model = Model::new(problem);
    let start = model.start();
    let cost = bounds::myopic_cost_likely(&model, &start, 1.0, least);
    Ok(RuleCost { first: bounds::myopic_rule(&model, &start).first, cost })
}
