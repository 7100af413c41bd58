//! The course of a job: from one point to the next, with a plan at each.
//!
//! [`super::plan`] gives the move at the start alone. Here the same search starts from any point that moves lead to, so that
//! a whole plan can be written down, or what somebody did be held against it.

use super::search::searched;
use super::state::{Model, Move, State};
use super::{Effort, Plan, Problem, ProblemError};

/// A problem, ready to be walked through.
pub struct Course<'p> {
    model: Model<'p>,
    access: usize,
}

/// A point in a job.
#[derive(Clone, Debug)]
pub struct Point(State);

/// What a move costs and leads to.
#[derive(Clone, Debug)]
pub struct Taken {
    /// Cost, access included.
    pub cost: f64,
    /// Access states that are opened for it.
    pub opens: Vec<usize>,
    /// Access states that are closed for it.
    pub closes: Vec<usize>,
    /// Where it may lead. Probabilities that are missing to 1 are of the job done.
    pub ways: Vec<Way>,
}

/// One way on.
#[derive(Clone, Debug)]
pub struct Way {
    /// Place of the outcome in the check; 0 of what is no check.
    pub outcome: usize,
    /// Its probability.
    pub probability: f64,
    /// The point that it leads to.
    pub point: Point,
}

impl Point {
    /// Probability of each suspect here.
    pub fn belief(&self) -> &[f64] {
        &self.0.belief
    }
}

impl<'p> Course<'p> {
    /// Takes the problem.
    ///
    /// # Errors
    /// What [`Problem::check`] refuses.
    pub fn new(problem: &'p Problem) -> Result<Course<'p>, ProblemError> {
        problem.check()?;
        Ok(Course { model: Model::new(problem), access: problem.access.len() })
    }

    /// The start, with these access states open already.
    pub fn start(&self, open: &[usize]) -> Point {
        let open = open.iter().filter(|&&a| a < self.access).fold(0, |all, &a| all | 1 << a);
        Point(State { open, ..self.model.start() })
    }

    /// What to do here. As [`super::plan`], but never refused: a plan that is not sure to end has an infinite bound.
    pub fn plan(&self, here: &Point, effort: &Effort) -> Plan {
        searched(&self.model, here.0.clone(), effort).plan()
    }

    /// As [`Course::plan`], with what the plan behind the upper bound costs under each suspect.
    pub fn plan_by_suspect(&self, here: &Point, effort: &Effort) -> (Plan, Vec<f64>) {
        let mut graph = searched(&self.model, here.0.clone(), effort);
        let costs = graph.costs(0).suspects.to_vec();
        (graph.plan(), costs)
    }

    /// What a move costs and leads to; none when it cannot be done here, or can change nothing.
    pub fn take(&self, here: &Point, step: Move) -> Option<Taken> {
        let transition = self.model.apply(&here.0, step)?;
        let (opens, closes) = match step {
            Move::Step(i) => {
                let stays = self.model.opened(&here.0, i);
                (self.model.needed(i) & !stays, here.0.open & !stays)
            }
            Move::SystemTest | Move::ReturnWith(_) => (0, here.0.open),
            Move::GiveUp => (0, 0),
        };
        let possible = (0..).filter(|&k| self.model.can_show(&here.0, step, k));
        let ways = transition.next.into_iter().zip(possible);
        let of = |((probability, state), outcome)| Way { outcome, probability, point: Point(state) };
        let bits = |set: u64| (0..self.access).filter(|a| set >> a & 1 == 1).collect();
        Some(Taken {
            cost: transition.cost,
            opens: bits(opens),
            closes: bits(closes),
            ways: ways.map(of).collect(),
        })
    }
}
