//! What a voltmeter shows between two points of the live machine while a step of its test runs.

use crate::between::{EndError, find_node};
use crate::conditions::Conditions;
use crate::hypothesis::Hypothesis;
use crate::moment::{Asked, Solver};
use crate::prediction::Estimate;
use crate::step::{State, settled};
use machine::diagnostic::nearest;
use machine::model::{Machine, NodeId, Step};
use rustc_hash::FxHashMap;

/// What stray fields and the meter add to any reading, V. Common practice, no source.
const STRAY_U_V: f64 = 0.5;

/// A voltmeter with its probes set, for any number of hypotheses; RMS volts of alternating current.
///
/// It reads what is there once the board has done what it will in the step: where a guard stopped something, what is
/// left. Of a step that turns both ways it reads the turn to the right.
#[derive(Clone)]
pub struct Voltmeter<'m> {
    solver: Solver<'m>,
    conditions: Conditions,
    points: (NodeId, NodeId),
    /// The steps up to and with the one that is measured in.
    steps: &'m [Step],
    known: FxHashMap<Hypothesis, Estimate>,
}

impl<'m> Voltmeter<'m> {
    /// Between two points as [`find_node`] takes them, in the step with this key.
    ///
    /// # Errors
    /// A point or a step that the machine does not have.
    pub fn new(
        machine: &'m Machine,
        conditions: &Conditions,
        (a, b): (&str, &str),
        step: &str,
    ) -> Result<Self, EndError> {
        let points = (find_node(machine, a)?, find_node(machine, b)?);
        let steps = &machine.test.steps;
        let at = steps.iter().position(|s| s.id == step).ok_or_else(|| EndError {
            message: format!("the service test has no step `{step}`"),
            remedy: match nearest(step, steps.iter().map(|s| s.id.as_str())) {
                Some(near) => format!("did you mean {near}?"),
                None => {
                    format!("steps: {}", steps.iter().map(|s| s.id.as_str()).collect::<Vec<_>>().join(", "))
                }
            },
        })?;
        Ok(Voltmeter {
            solver: Solver::new(machine),
            conditions: *conditions,
            points,
            steps: &steps[..=at],
            known: FxHashMap::default(),
        })
    }

    /// What it shows under a hypothesis.
    pub fn read(&mut self, hypothesis: &Hypothesis) -> Estimate {
        if let Some(&known) = self.known.get(hypothesis) {
            return known;
        }
        let last = self.by_step(hypothesis).pop().unwrap_or_default();
        self.known.insert(hypothesis.clone(), last);
        last
    }

    /// What it shows in each step up to this one.
    fn by_step(&mut self, hypothesis: &Hypothesis) -> Vec<Estimate> {
        let modes = hypothesis.modes(self.solver.machine);
        let mut state = State::start(&self.conditions);
        let supply_v = self.conditions.supply_v;
        let mut shown = Vec::with_capacity(self.steps.len());
        for step in self.steps {
            let drives = settled(&mut self.solver, step, &modes, &self.conditions, &mut state);
            let Some((drives, before)) = drives else {
                shown.push(Estimate { value: 0.0, u: STRAY_U_V });
                continue;
            };
            let moment = self.solver.moment(&modes, &drives, &before, supply_v, Asked::default());
            let live = moment.trip.is_none();
            let (a, b) = self.points;
            let value = match self.solver.wiring.solve(supply_v) {
                Ok(solved) if live => solved.volts_between(a, b),
                _ => 0.0,
            };
            let u = (value * self.conditions.supply_u_v / supply_v.max(1.0)).hypot(STRAY_U_V);
            shown.push(Estimate { value, u });
        }
        shown
    }
}

/// Volts between two points in a step, under one hypothesis.
///
/// # Errors
/// As [`Voltmeter::new`].
pub fn volts_between(
    machine: &Machine,
    conditions: &Conditions,
    hypothesis: &Hypothesis,
    points: (&str, &str),
    step: &str,
) -> Result<Estimate, EndError> {
    Ok(Voltmeter::new(machine, conditions, points, step)?.read(hypothesis))
}

/// Volts between two points in every step of the healthy machine's test.
///
/// # Errors
/// A point that the machine does not have.
pub fn volts_by_step(
    machine: &Machine,
    conditions: &Conditions,
    points: (&str, &str),
) -> Result<Vec<Estimate>, EndError> {
    match machine.test.steps.last() {
        Some(last) => {
            Ok(Voltmeter::new(machine, conditions, points, &last.id)?.by_step(&Hypothesis::healthy()))
        }
        None => Ok(Vec::new()),
    }
}
