//! What to do next: the plan with the least expected cost until the machine works.
//!
//! A [`Problem`] holds suspects, checks, repairs, access and parts. [`plan`] gives every move open now with bounds on
//! the expected cost of the whole job if it is taken, the best first. Small plain problems are valued state by state
//! (`lattice.rs`); all others by best-first search between a lower and an upper bound (`search.rs`, `bounds.rs`).

mod bounds;
mod components;
mod lattice;
mod problem;
mod search;
mod state;

pub use components::{Component, ComponentCheck, Components, MAX_COMPONENTS, Structure};
pub use problem::{
    Access, Effect, Left, MAX_ACCESS, MAX_ORDERED, MAX_STEPS, Problem, ProblemError, Proof, Step, Stock, Supply,
};
pub use state::Move;

use state::Model;

/// How much work a plan may take.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Effort {
    /// Most states that are valued exhaustively, at 8 bytes each for at most about a quarter of them at a time.
    pub lattice_states: u64,
    /// Most states that the search may look at, at some 300 bytes each.
    pub nodes: usize,
    /// The search stops when the bounds are closer than this share of the upper one; 0: only when they meet.
    pub gap: f64,
}

impl Default for Effort {
    /// A fraction of a second on a small computer: a million states either way, gap 0.
    fn default() -> Self {
        Self { lattice_states: 10_000_000, nodes: 200_000, gap: 0.0 }
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
    /// All moves open now that are possible and could change anything, by upper bound, best first.
    pub choices: Vec<Choice>,
    /// States looked at.
    pub states: u64,
}

impl Plan {
    /// How much better another plan might be, in the problem's unit of cost.
    pub fn gap(&self) -> f64 {
        (self.upper - self.lower).max(0.0)
    }
}

/// The best next move and what it saves, exactly where the effort allows, else with a gap.
///
/// Never worse than the P/C rule or the myopic rule from the same start, whose plans the search knows from the
/// beginning.
///
/// # Errors
/// What [`Problem::check`] refuses, and [`ProblemError::NoEnd`].
pub fn plan(problem: &Problem, effort: &Effort) -> Result<Plan, ProblemError> {
    problem.check()?;
    let model = Model::new(problem);
    let plan = match lattice::states(&model) {
        Some(states) if states <= effort.lattice_states => lattice::solve(&model, states),
        _ => search::search(&model, effort),
    };
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
    let cost = bounds::myopic_cost(&model, &start, &mut std::collections::HashMap::new());
    Ok(RuleCost { first: bounds::myopic_rule(&model, &start).first, cost })
}
