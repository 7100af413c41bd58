//! The steps of the service test, one after the other, with the state that each leaves to the next.

use crate::conditions::Conditions;
use crate::drive::drive;
use crate::finish::{finish, nothing};
use crate::hypothesis::Hypothesis;
use crate::moment::{Asked, Moment, Solver, chain};
use crate::prediction::{Prediction, Trip};
use machine::kind::{Medium, Passage};
use machine::model::{CodeId, Drive, InputId, Machine, OutputId, PartId, Step};
use std::sync::Arc;

/// What one step leaves to the next.
#[derive(Clone, Debug, PartialEq)]
pub struct State {
    /// Water in the machine, l.
    pub level_l: f64,
    /// Temperature of water and parts, °C.
    pub temperature_c: f64,
    /// Flows of water against the file's, as a share; the same in all of a test.
    pub flows: f64,
    /// The bolt is home.
    pub locked: bool,
    /// The stored code.
    pub code: Option<CodeId>,
    /// The test is over, and why: a guard ended it, or a protection went off.
    pub over: bool,
    /// The protection that went off.
    pub trip: Option<Trip>,
}

impl State {
    /// At the start of a test.
    pub fn start(conditions: &Conditions) -> State {
        State {
            level_l: conditions.water_l,
            temperature_c: conditions.ambient_c,
            flows: conditions.flows,
            locked: false,
            code: None,
            over: false,
            trip: None,
        }
    }

    /// A temperature after a rise, °C. No part of these machines gets hotter than a cleaning oven.
    pub(crate) fn warmed(temperature_c: f64, rise_k: f64) -> f64 {
        (temperature_c + rise_k).min(300.0)
    }
}

/// All steps of the service test under a hypothesis.
pub fn predict(machine: &Machine, hypothesis: &Hypothesis, conditions: &Conditions) -> Vec<Prediction> {
    Bench::new(machine).predict(hypothesis, conditions)
}

/// Where a step gets its instants from: solved one by one ([`Bench`]), or shared between hypotheses
/// ([`crate::Sweep`]). The hypothesis and the supply are theirs to know.
pub(crate) trait Instants<'m> {
    /// The machine.
    fn machine(&self) -> &'m Machine;
    /// The mode of a part.
    fn mode(&self, part: PartId) -> Option<usize>;
    /// The instant in which the board drives these outputs.
    fn moment(&mut self, drives: &[Drive], state: &State) -> Arc<Moment>;
    /// Ohms at an input ([`Solver::input_ohms`]): in the last moment asked for, or of the dead machine in this state.
    fn input_ohms(&mut self, input: InputId, state: &State, dead: bool) -> f64;
    /// How the chain behind a part passes on what moves through it.
    fn passage(&self, part: PartId, medium: Medium) -> Passage;
    /// Does this output hold the door?
    fn holds_door(&self, output: OutputId) -> bool;
}

/// Predicts many hypotheses of one machine, keeping its work space.
pub struct Bench<'m> {
    solver: Solver<'m>,
}

/// One hypothesis, every instant solved.
struct Alone<'b, 'm> {
    solver: &'b mut Solver<'m>,
    modes: &'b [Option<usize>],
    supply_v: f64,
}

impl<'m> Instants<'m> for Alone<'_, 'm> {
    fn machine(&self) -> &'m Machine {
        self.solver.machine
    }

    fn mode(&self, part: PartId) -> Option<usize> {
        self.modes[part]
    }

    fn moment(&mut self, drives: &[Drive], state: &State) -> Arc<Moment> {
        Arc::new(self.solver.moment(self.modes, drives, state, self.supply_v, Asked::default()))
    }

    fn input_ohms(&mut self, input: InputId, state: &State, dead: bool) -> f64 {
        if dead {
            self.solver.dead(self.modes, state);
        }
        self.solver.input_ohms(input)
    }

    fn passage(&self, part: PartId, medium: Medium) -> Passage {
        chain(self.solver.machine, self.modes, part, medium)
    }

    fn holds_door(&self, output: OutputId) -> bool {
        self.solver.holds_door.contains(&output)
    }
}

impl<'m> Bench<'m> {
    /// For this machine.
    pub fn new(machine: &'m Machine) -> Self {
        Bench { solver: Solver::new(machine) }
    }

    /// All steps under a hypothesis.
    pub fn predict(&mut self, hypothesis: &Hypothesis, conditions: &Conditions) -> Vec<Prediction> {
        let machine = self.solver.machine;
        let modes = hypothesis.modes(machine);
        let mut state = State::start(conditions);
        machine.test.steps.iter().map(|step| self.step(step, &modes, conditions, &mut state)).collect()
    }

    /// One step from a given state, which it moves on.
    pub fn step(
        &mut self,
        step: &Step,
        modes: &[Option<usize>],
        conditions: &Conditions,
        state: &mut State,
    ) -> Prediction {
        let mut alone = Alone { solver: &mut self.solver, modes, supply_v: conditions.supply_v };
        run(&mut alone, step, conditions, state)
    }
}

/// What is driven in the end in a step, and the state that it is driven in; none where a protection is off. The state is
/// moved on to the end of the step.
pub(crate) fn settled(
    solver: &mut Solver<'_>,
    step: &Step,
    modes: &[Option<usize>],
    conditions: &Conditions,
    state: &mut State,
) -> Option<(Vec<Drive>, State)> {
    let before = state.clone();
    let mut alone = Alone { solver, modes, supply_v: conditions.supply_v };
    let _ = run(&mut alone, step, conditions, state);
    if before.trip.is_some() {
        return None;
    }
    let wanted: &[Drive] = if before.over { &[] } else { &step.drives };
    let driven = drive(&mut alone, wanted, &mut before.clone());
    Some((driven.drives, before))
}

/// One step from a given state, which it moves on.
pub(crate) fn run<'m>(
    instants: &mut impl Instants<'m>,
    step: &Step,
    conditions: &Conditions,
    state: &mut State,
) -> Prediction {
    if state.trip.is_some() {
        return nothing(step, state, conditions);
    }
    let wanted: &[Drive] = if state.over { &[] } else { &step.drives };
    let right = drive(instants, wanted, state);
    // A board that has stopped the step does not try the other way.
    let both_ways = !right.stopped && wanted.iter().any(|d| d.both_ways && d.rpm != 0.0);
    let other = both_ways.then(|| {
        let back = |d: &Drive| Drive { rpm: if d.both_ways { -d.rpm } else { d.rpm }, ..*d };
        let left: Vec<Drive> = wanted.iter().map(back).collect();
        drive(instants, &left, state)
    });
    let rest_w = other.is_some().then(|| {
        let still: Vec<Drive> = right.drives.iter().filter(|d| !d.both_ways).cloned().collect();
        instants.moment(&still, state).plug.power_w
    });
    let prediction = finish(instants, step, conditions, state, &right, other.as_ref());
    Prediction { rest_w: rest_w.filter(|_| prediction.trip.is_none()), ..prediction }
}
