//! Many hypotheses of one machine, with everything that can be shared shared.
//!
//! Most faults change few steps: a jammed pump shows while the pump is driven. [`Sweep`] finds out which, exactly,
//! instead of running every step of every hypothesis:
//!
//! - While a step is run, it notes which parts are **loud**: they carry current or do something in some instant of it,
//!   or the board asked for something that they have a part in.
//! - A fault that can only **take away** (it opens or changes a path, and does nothing of its own) on a part that is not
//!   loud changes nothing: a path without current may be opened, and the solution, being unique, stays.
//! - So a step of a hypothesis is the step of a smaller one if the fault left out is such a fault. Results are kept by
//!   step, entry state and what is left of the hypothesis.
//!
//! `tests/sweep.rs` holds this to the long way, hypothesis by hypothesis.

use crate::conditions::Conditions;
use crate::hypothesis::Hypothesis;
use crate::prediction::{Prediction, Trip};
use crate::step::{Bench, State};
use machine::kind::{Branch, Effect, Flows, Medium, Path, Role, Situation};
use machine::model::{CodeId, Machine, PartId, Senses, Step, node};
use std::collections::HashMap;

/// Place of a prediction in its [`Sweep`]; equal places mean the same prediction.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct PredictionId(u32);

/// Predictions of many hypotheses under the same conditions.
pub struct Sweep<'m> {
    machine: &'m Machine,
    steps: Vec<Step>,
    bench: Bench<'m>,
    conditions: Conditions,
    takes_away: Vec<Vec<bool>>,
    states: Vec<State>,
    state_ids: HashMap<StateKey, u32>,
    outcomes: Vec<Outcome>,
    /// By state, step: healthy, and singles by place.
    healthy: HashMap<(u32, u32), u32>,
    singles: HashMap<(u32, u32), Vec<u32>>,
    /// Place of a part's first mode among all modes.
    first_mode: Vec<usize>,
    modes: usize,
    larger: HashMap<(u32, u32, Hypothesis), u32>,
    mode_buffer: Vec<Option<usize>>,
}

/// What came of one step.
struct Outcome {
    prediction: Prediction,
    exit: u32,
    loud: Vec<bool>,
}

#[derive(PartialEq, Eq, Hash)]
struct StateKey {
    level: u64,
    temperature: u64,
    locked: bool,
    code: Option<CodeId>,
    over: bool,
    trip: Option<Trip>,
}

/// No outcome yet.
const NONE: u32 = u32::MAX;

impl<'m> Sweep<'m> {
    /// The service test of one machine under one set of conditions.
    pub fn new(machine: &'m Machine, conditions: &Conditions) -> Self {
        Self::over(machine, machine.test.steps.clone(), conditions)
    }

    /// Steps of one's own, one after the other, such as a function in ordinary use written as a step.
    pub fn over(machine: &'m Machine, steps: Vec<Step>, conditions: &Conditions) -> Self {
        let mut first_mode = Vec::with_capacity(machine.parts.len());
        let mut modes = 0;
        for part in &machine.parts {
            first_mode.push(modes);
            modes += part.kind.modes.len();
        }
        Sweep {
            machine,
            steps,
            bench: Bench::new(machine),
            conditions: *conditions,
            takes_away: takes_away(machine),
            states: Vec::new(),
            state_ids: HashMap::new(),
            outcomes: Vec::new(),
            healthy: HashMap::new(),
            singles: HashMap::new(),
            first_mode,
            modes,
            larger: HashMap::new(),
            mode_buffer: vec![None; machine.parts.len()],
        }
    }

    /// The steps of the service test under a hypothesis.
    pub fn predict(&mut self, hypothesis: &Hypothesis) -> Vec<PredictionId> {
        let mut ids = Vec::with_capacity(self.steps.len());
        let mut state = self.intern(State::start(&self.conditions));
        for step in 0..self.steps.len() {
            let outcome = self.outcome(step as u32, state, hypothesis.faults());
            state = self.outcomes[outcome as usize].exit;
            ids.push(PredictionId(outcome));
        }
        ids
    }

    /// A prediction.
    pub fn get(&self, id: PredictionId) -> &Prediction {
        &self.outcomes[id.0 as usize].prediction
    }

    /// How many steps were really run.
    pub fn steps_run(&self) -> usize {
        self.outcomes.len()
    }

    fn intern(&mut self, state: State) -> u32 {
        let key = StateKey {
            level: state.level_l.to_bits(),
            temperature: state.temperature_c.to_bits(),
            locked: state.locked,
            code: state.code,
            over: state.over,
            trip: state.trip.clone(),
        };
        if let Some(&id) = self.state_ids.get(&key) {
            return id;
        }
        let id = self.states.len() as u32;
        self.states.push(state);
        self.state_ids.insert(key, id);
        id
    }

    fn outcome(&mut self, step: u32, state: u32, faults: &[(PartId, usize)]) -> u32 {
        match faults {
            [] => {
                if let Some(&known) = self.healthy.get(&(state, step)) {
                    return known;
                }
                let made = self.run(step, state, faults);
                self.healthy.insert((state, step), made);
                made
            }
            &[fault] => {
                let place = self.first_mode[fault.0] + fault.1;
                if let Some(known) = self.singles.get(&(state, step))
                    && known[place] != NONE
                {
                    return known[place];
                }
                let healthy = self.outcome(step, state, &[]);
                let made =
                    if self.is_silent(fault, healthy) { healthy } else { self.run(step, state, faults) };
                let modes = self.modes;
                self.singles.entry((state, step)).or_insert_with(|| vec![NONE; modes])[place] = made;
                made
            }
            _ => self.larger_outcome(step, state, faults),
        }
    }

    fn larger_outcome(&mut self, step: u32, state: u32, faults: &[(PartId, usize)]) -> u32 {
        let mut rest = Vec::with_capacity(faults.len() - 1);
        for (left_out, &fault) in faults.iter().enumerate() {
            rest.clear();
            rest.extend(faults.iter().enumerate().filter(|(i, _)| *i != left_out).map(|(_, f)| *f));
            let smaller = self.outcome(step, state, &rest);
            if self.is_silent(fault, smaller) {
                return smaller;
            }
        }
        let key = (state, step, Hypothesis::of(faults.iter().copied()));
        if let Some(&known) = self.larger.get(&key) {
            return known;
        }
        let made = self.run(step, state, faults);
        self.larger.insert(key, made);
        made
    }

    /// Does adding this fault to what gave that outcome change nothing?
    fn is_silent(&self, (part, mode): (PartId, usize), outcome: u32) -> bool {
        self.takes_away[part][mode] && !self.outcomes[outcome as usize].loud[part]
    }

    fn run(&mut self, step: u32, state: u32, faults: &[(PartId, usize)]) -> u32 {
        self.mode_buffer.fill(None);
        for &(part, mode) in faults {
            self.mode_buffer[part] = Some(mode);
        }
        let mut exit = self.states[state as usize].clone();
        let modes = std::mem::take(&mut self.mode_buffer);
        let prediction =
            self.bench.step(&self.steps[step as usize], &modes, &self.conditions, &mut exit);
        self.mode_buffer = modes;
        let loud = self.loud();
        let exit = self.intern(exit);
        let id = self.outcomes.len() as u32;
        self.outcomes.push(Outcome { prediction, exit, loud });
        id
    }

    /// The parts that the last step depended on.
    fn loud(&self) -> Vec<bool> {
        let heard = self.bench.heard();
        let mut loud = heard.active.clone();
        for (input, asked) in heard.asked.iter().enumerate() {
            if *asked {
                for &part in &heard.behind_input[input] {
                    loud[part] = true;
                }
            }
        }
        for (output, asked) in heard.phases_of.iter().enumerate() {
            if *asked {
                for &part in &heard.behind_output[output] {
                    loud[part] = true;
                }
            }
        }
        for (id, part) in self.machine.parts.iter().enumerate() {
            if loud[id] {
                for &p in &part.through {
                    loud[p] = true;
                }
            }
        }
        loud
    }
}

/// What a step depended on, noted while it runs.
pub(crate) struct Heard {
    /// Parts that carried current or did something.
    pub(crate) active: Vec<bool>,
    /// Inputs that a condition asked for.
    pub(crate) asked: Vec<bool>,
    /// Outputs whose phases were followed to the motor.
    pub(crate) phases_of: Vec<bool>,
    /// Parts that an input's value can depend on.
    behind_input: Vec<Vec<PartId>>,
    /// Parts between an inverter and its motor.
    behind_output: Vec<Vec<PartId>>,
}

impl Heard {
    pub(crate) fn new(machine: &Machine) -> Heard {
        let paths = edges(machine);
        let off_neutral = without_neutral(machine, &paths);
        let terminals = |part: PartId| machine.parts[part].terminals.iter().flatten().copied();
        let behind_input = machine
            .inputs
            .iter()
            .map(|input| match &input.senses {
                // A point that loses its way to line reads nought; one that loses its way to neutral read nought before.
                Senses::Volts { node: at, .. } => between(machine, &off_neutral, &[*at, node::LINE]),
                Senses::Ohms(a, b) | Senses::Contact(a, b) => between(machine, &paths, &[*a, *b]),
                Senses::Part { part, pins } => {
                    let ends: Vec<usize> = pins.iter().copied().chain(terminals(*part)).collect();
                    let mut parts = between(machine, &paths, &ends);
                    parts.extend(std::iter::once(*part).chain(machine.parts[*part].watches));
                    parts
                }
            })
            .collect();
        let behind_output = machine
            .outputs
            .iter()
            .map(|output| match output.motor {
                Some(motor) => {
                    let ends: Vec<usize> = terminals(output.part).chain(terminals(motor)).collect();
                    let mut parts = between(machine, &paths, &ends);
                    parts.push(motor);
                    parts
                }
                None => Vec::new(),
            })
            .collect();
        Heard {
            active: vec![false; machine.parts.len()],
            asked: vec![false; machine.inputs.len()],
            phases_of: vec![false; machine.outputs.len()],
            behind_input,
            behind_output,
        }
    }

    pub(crate) fn clear(&mut self) {
        self.active.fill(false);
        self.asked.fill(false);
        self.phases_of.fill(false);
    }
}

/// A path that some part, in some circumstances, puts between two nodes; joints belong to no part.
type Edge = (usize, usize, Option<PartId>);

/// All paths of the healthy machine.
fn edges(machine: &Machine) -> Vec<Edge> {
    let mut edges: Vec<Edge> = machine.joints.iter().map(|j| (j.inner, j.outer, None)).collect();
    let mut branches = Vec::new();
    for (id, part) in machine.parts.iter().enumerate() {
        branches.clear();
        for situation in samples(machine) {
            part.kind.behaviour.electrics(&part.params, None, &situation, &mut branches);
        }
        for branch in branches.iter().filter(|b| b.dc != Path::Open || b.ac != Path::Open) {
            if let (Some(a), Some(b)) = (circuit::end_of(part, branch.from), circuit::end_of(part, branch.to))
                && !edges.contains(&(a, b, Some(id)))
            {
                edges.push((a, b, Some(id)));
            }
        }
    }
    edges
}

/// Ohms up to which a path that is always there counts as joining: wires, a filter's choke.
const JOINS_UP_TO_OHM: f64 = 5.0;

/// The paths that do not touch what is joined to neutral in every situation.
fn without_neutral(machine: &Machine, edges: &[Edge]) -> Vec<Edge> {
    let mut neutral = vec![false; machine.nodes.len()];
    neutral[node::NEUTRAL] = true;
    let joined: Vec<Edge> = edges.iter().filter(|e| always_joins(machine, e)).copied().collect();
    while let Some(&(a, b, _)) = joined.iter().find(|e| neutral[e.0] != neutral[e.1]) {
        (neutral[a], neutral[b]) = (true, true);
    }
    edges.iter().filter(|e| !neutral[e.0] && !neutral[e.1]).copied().collect()
}

fn always_joins(machine: &Machine, &(a, b, part): &Edge) -> bool {
    let Some(part) = part.map(|p| &machine.parts[p]) else { return true };
    let mut branches = Vec::new();
    samples(machine).all(|situation| {
        branches.clear();
        part.kind.behaviour.electrics(&part.params, None, &situation, &mut branches);
        branches.iter().any(|branch| {
            let ends = (circuit::end_of(part, branch.from), circuit::end_of(part, branch.to));
            let low = match branch.ac {
                Path::Closed => true,
                Path::Ohms { r, x } => r.hypot(x) <= JOINS_UP_TO_OHM,
                Path::Open => false,
            };
            ends == (Some(a), Some(b)) && low
        })
    })
}

/// Parts with a path that can lie between some of these nodes: what is left of the edges in reach when blind ends,
/// which lead to none of them, are cut back.
fn between(machine: &Machine, edges: &[Edge], ends: &[usize]) -> Vec<PartId> {
    let mut left: Vec<Edge> = edges.to_vec();
    loop {
        let mut degree = vec![0_usize; machine.nodes.len()];
        for &(a, b, _) in &left {
            degree[a] += 1;
            degree[b] += 1;
        }
        let before = left.len();
        left.retain(|&(a, b, _)| [a, b].iter().all(|n| degree[*n] > 1 || ends.contains(n)));
        if left.len() == before {
            break;
        }
    }
    let mut reached = vec![false; machine.nodes.len()];
    for &end in ends {
        reached[end] = true;
    }
    while let Some(&(a, b, _)) = left.iter().find(|e| reached[e.0] != reached[e.1]) {
        (reached[a], reached[b]) = (true, true);
    }
    let mut parts: Vec<PartId> = left.iter().filter(|e| reached[e.0]).filter_map(|e| e.2).collect();
    parts.sort_unstable();
    parts.dedup();
    parts
}

/// Circumstances that between them bring out all that a part can do.
fn samples(machine: &Machine) -> impl Iterator<Item = Situation> {
    let (rated_v, hz) = (machine.plate.supply_v, machine.plate.supply_hz);
    (0..64).map(move |n| Situation {
        rated_v,
        hz,
        driven: n & 1 != 0,
        wanted_rpm: if n & 1 != 0 { 50.0 } else { 0.0 },
        moving: n & 2 != 0,
        locked: n & 4 != 0,
        level_l: [0.0, 2.5, 6.0, 30.0][(n >> 3) & 3],
        temperature_c: if n & 32 != 0 { 60.0 } else { 20.0 },
        speed_rpm: 0.0,
        demand_w: 0.0,
        drag: 1.0,
    })
}

/// Per part and mode: does the fault only take away?
fn takes_away(machine: &Machine) -> Vec<Vec<bool>> {
    let contact_behind = |part: PartId| {
        machine.parts.iter().any(|q| {
            q.through.contains(&part)
                && q.kind.terminals.iter().any(|t| t.role == Role::Power)
                && closes_by_level(machine, q)
        })
    };
    machine
        .parts
        .iter()
        .enumerate()
        .map(|(id, part)| {
            let contact = contact_behind(id);
            part.kind
                .modes
                .iter()
                .map(|mode| {
                    let pressure =
                        part.kind.behaviour.passage(&part.params, Some(mode.name), Medium::Pressure);
                    let healthy = part.kind.behaviour.passage(&part.params, None, Medium::Pressure);
                    !(contact && pressure != healthy)
                        && samples(machine).all(|s| only_less(part, mode.name, &s))
                })
                .collect()
        })
        .collect()
}

/// Does a part's contact depend on the water level?
fn closes_by_level(machine: &Machine, part: &machine::model::Part) -> bool {
    let at = |level_l: f64| {
        let mut branches = Vec::new();
        for situation in samples(machine).take(1) {
            let situation = Situation { level_l, ..situation };
            part.kind.behaviour.electrics(&part.params, None, &situation, &mut branches);
        }
        branches
    };
    at(0.0) != at(30.0)
}

fn only_less(part: &machine::model::Part, mode: &str, situation: &Situation) -> bool {
    let (mut healthy, mut faulty) = (Vec::new(), Vec::new());
    let behaviour = part.kind.behaviour;
    behaviour.electrics(&part.params, None, situation, &mut healthy);
    behaviour.electrics(&part.params, Some(mode), situation, &mut faulty);
    let less = |(h, f): (&Branch, &Branch)| {
        h.from == f.from && h.to == f.to && (h.ac == f.ac || (h.ac != Path::Open && f.ac != Path::Closed))
    };
    let silent = Flows {
        volts: vec![0.0; faulty.len()],
        amps: vec![(0.0, 0.0); faulty.len()],
        watts: vec![0.0; faulty.len()],
        phases: 0,
    };
    healthy.len() == faulty.len()
        && healthy.iter().zip(&faulty).all(less)
        && behaviour.effect(&part.params, Some(mode), situation, &silent) == Effect::default()
}
