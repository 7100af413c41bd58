//! Many hypotheses of one machine, with everything that can be shared shared.
//!
//! Most faults change few steps: a jammed pump shows while the pump is driven. [`Sweep`] finds out which, exactly,
//! instead of running every step of every hypothesis:
//!
//! - While a step is run, it notes which parts were **heard**: they carry current or do something in some instant of it,
//!   or the board asked for something that they have a part in. A fault that can only take away, on a part that was not
//!   heard, changes nothing, so that the step is that of the smaller hypothesis. Nor does a board that only misreads ohms, where it
//!   measured none, or a contact that was not heard and that nothing joins to the mains.
//! - A step that is run takes its instants from [`crate::shared`], where few are solved.
//! - Temperature changes no step unless some part or the board asks for it, so it is kept apart from the rest of the
//!   state that a step begins with.
//! - A fault that no step shows is none, and one that shows as another of the same part is that one.
//!
//! `tests/sweep.rs` holds this to the long way, hypothesis by hypothesis.

use crate::bits::Bits;
use crate::conditions::Conditions;
use crate::hypothesis::Hypothesis;
use crate::prediction::{Prediction, Trip};
use crate::shared::{Fault, Shared};
use crate::step::{Instants, State, run};
use machine::model::{CodeId, Machine, PartId, Step};
use rustc_hash::FxHashMap;

/// Place of a prediction in its [`Sweep`]; equal places mean the same prediction.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct PredictionId(u32);

/// Predictions of many hypotheses under the same conditions.
#[derive(Clone)]
pub struct Sweep<'m> {
    /// Those of the service test, then those apart.
    steps: Vec<Step>,
    in_test: usize,
    /// Water at the start of each step apart, l.
    apart_from_l: Vec<f64>,
    shared: Shared<'m>,
    conditions: Conditions,
    /// States that steps begin with, temperature aside.
    states: Vec<State>,
    state_ids: FxHashMap<StateKey, u32>,
    /// In pieces of [`PIECE`], so that none is ever moved.
    predictions: Vec<Vec<Prediction>>,
    /// By prediction; apart, since these are looked up far more often.
    outcomes: Vec<Outcome>,
    /// By state and step.
    healthy: FxHashMap<(u32, u32), u32>,
    /// By state and step: outcomes by the fault's place.
    singles: FxHashMap<(u32, u32), Vec<u32>>,
    pairs: FxHashMap<(u32, u32, u32, u32), u32>,
    larger: FxHashMap<(u32, u32, Vec<Fault>), u32>,
    /// Steps that heard the temperature, at others than the first they were run at.
    warmer: FxHashMap<(u32, u32, u64, Vec<Fault>), u32>,
    known_faults: Vec<Fault>,
}

/// What came of one step, beside its prediction.
#[derive(Clone)]
struct Outcome {
    /// Place of the state that it leaves.
    exit: u32,
    rise_k: f64,
    heard: Bits,
    /// Boards that measured ohms in it.
    measuring: Bits,
    /// The temperature that it was run at, °C, and the class in which it would come out the same; none: at that only.
    temperature_c: f64,
    temperature_class: Option<u32>,
}

/// Where a step begins.
#[derive(Clone, Copy)]
struct Entry {
    step: u32,
    state: u32,
    temperature_c: f64,
}

#[derive(Clone, PartialEq, Eq, Hash)]
struct StateKey {
    level: u64,
    flows: u64,
    locked: bool,
    code: Option<CodeId>,
    over: bool,
    trip: Option<Trip>,
}

/// Predictions in a piece of memory.
const PIECE: usize = 256;

/// No outcome yet.
const NONE: u32 = u32::MAX;

impl<'m> Sweep<'m> {
    /// The service test of one machine under one set of conditions.
    pub fn new(machine: &'m Machine, conditions: &Conditions) -> Self {
        Self::with_apart(machine, conditions, Vec::new())
    }

    /// The same, and steps apart from it, such as a function in ordinary use written as a step; each begins with so
    /// many litres of water in the machine.
    pub fn with_apart(machine: &'m Machine, conditions: &Conditions, apart: Vec<(Step, f64)>) -> Self {
        let shared = Shared::new(machine, conditions.supply_v, State::start(conditions));
        Self::with(shared, conditions, apart)
    }

    /// Another sweep of the same machine under the same conditions, with other steps apart, that has predicted nothing yet: to
    /// work beside this one.
    #[must_use]
    pub fn beside(&self, apart: Vec<(Step, f64)>) -> Self {
        Self::with(self.shared.anew(State::start(&self.conditions)), &self.conditions, apart)
    }

    fn with(shared: Shared<'m>, conditions: &Conditions, apart: Vec<(Step, f64)>) -> Self {
        let test = &shared.machine().test.steps;
        let in_test = test.len();
        let (mut steps, mut apart_from_l) = (test.clone(), Vec::new());
        for (step, water_l) in apart {
            steps.push(step);
            apart_from_l.push(water_l);
        }
        Sweep {
            steps,
            in_test,
            apart_from_l,
            shared,
            conditions: *conditions,
            states: Vec::new(),
            state_ids: FxHashMap::default(),
            predictions: Vec::new(),
            outcomes: Vec::new(),
            healthy: FxHashMap::default(),
            singles: FxHashMap::default(),
            pairs: FxHashMap::default(),
            larger: FxHashMap::default(),
            warmer: FxHashMap::default(),
            known_faults: Vec::new(),
        }
    }

    /// The steps of the service test under a hypothesis.
    pub fn predict(&mut self, hypothesis: &Hypothesis) -> Vec<PredictionId> {
        self.predict_with_flows(hypothesis, self.conditions.flows)
    }

    /// The same with this share of the file's flows of water.
    pub fn predict_with_flows(&mut self, hypothesis: &Hypothesis, flows: f64) -> Vec<PredictionId> {
        self.first_steps(hypothesis, flows, self.in_test)
    }

    /// The first so many steps of the service test.
    pub fn predict_first(&mut self, hypothesis: &Hypothesis, steps: usize) -> Vec<PredictionId> {
        self.first_steps(hypothesis, self.conditions.flows, steps.min(self.in_test))
    }

    fn first_steps(&mut self, hypothesis: &Hypothesis, flows: f64, steps: usize) -> Vec<PredictionId> {
        let faults = self.that_show(hypothesis);
        let mut ids = Vec::with_capacity(steps);
        let start = State { flows, ..State::start(&self.conditions) };
        let mut temperature_c = start.temperature_c;
        let mut state = self.intern(start);
        for step in 0..steps {
            let id = self.outcome(Entry { step: step as u32, state, temperature_c }, &faults);
            let outcome = &self.outcomes[id as usize];
            state = outcome.exit;
            temperature_c = State::warmed(temperature_c, outcome.rise_k);
            ids.push(PredictionId(id));
        }
        self.known_faults = faults;
        ids
    }

    /// A step apart, by its place among them; none where there are not so many.
    pub fn predict_apart(&mut self, hypothesis: &Hypothesis, place: usize) -> Option<PredictionId> {
        let level_l = *self.apart_from_l.get(place)?;
        let faults = self.that_show(hypothesis);
        let start = State { level_l, ..State::start(&self.conditions) };
        let temperature_c = start.temperature_c;
        let state = self.intern(start);
        let step = (self.in_test + place) as u32;
        let id = self.outcome(Entry { step, state, temperature_c }, &faults);
        self.known_faults = faults;
        Some(PredictionId(id))
    }

    fn that_show(&mut self, hypothesis: &Hypothesis) -> Vec<Fault> {
        let mut faults = std::mem::take(&mut self.known_faults);
        faults.clear();
        let stands_for = |&(part, mode): &Fault| Some((part, self.shared.reach.stands_for[part][mode]?));
        faults.extend(hypothesis.faults().iter().filter_map(stands_for));
        faults
    }

    /// A prediction.
    pub fn get(&self, id: PredictionId) -> &Prediction {
        &self.predictions[id.0 as usize / PIECE][id.0 as usize % PIECE]
    }

    /// Parts that took part in a step: that carried current or did something in it, or that the board asked.
    pub fn took_part(&self, id: PredictionId) -> impl Iterator<Item = PartId> + '_ {
        self.outcomes[id.0 as usize].heard.iter()
    }

    /// How many steps were really run.
    pub fn steps_run(&self) -> usize {
        self.outcomes.len()
    }

    fn intern(&mut self, state: State) -> u32 {
        let key = StateKey {
            level: state.level_l.to_bits(),
            flows: state.flows.to_bits(),
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

    fn outcome(&mut self, at: Entry, faults: &[Fault]) -> u32 {
        let key = (at.state, at.step);
        match *faults {
            [] => {
                if let Some(&known) = self.healthy.get(&key) {
                    return self.at_temperature(known, at, faults);
                }
                let made = self.run(at, faults);
                self.healthy.insert(key, made);
                made
            }
            [fault] => {
                let place = self.shared.place(fault);
                let known = self.singles.get(&key).map_or(NONE, |all| all[place]);
                if known != NONE {
                    return self.at_temperature(known, at, faults);
                }
                let healthy = self.outcome(at, &[]);
                let made = if self.is_silent(fault, &[], healthy) { healthy } else { self.run(at, faults) };
                let modes = self.shared.mode_count();
                self.singles.entry(key).or_insert_with(|| vec![NONE; modes])[place] = made;
                made
            }
            [a, b] => {
                let with_a = self.outcome(at, &[a]);
                if self.is_silent(b, &[a], with_a) {
                    return with_a;
                }
                let with_b = self.outcome(at, &[b]);
                if self.is_silent(a, &[b], with_b) {
                    return with_b;
                }
                let key = (at.state, at.step, self.shared.place(a) as u32, self.shared.place(b) as u32);
                if let Some(&known) = self.pairs.get(&key) {
                    return self.at_temperature(known, at, faults);
                }
                let made = self.run(at, faults);
                self.pairs.insert(key, made);
                made
            }
            _ => self.larger_outcome(at, faults),
        }
    }

    fn larger_outcome(&mut self, at: Entry, faults: &[Fault]) -> u32 {
        for left_out in 0..faults.len() {
            let mut rest = faults.to_vec();
            let fault = rest.remove(left_out);
            let smaller = self.outcome(at, &rest);
            if self.is_silent(fault, &rest, smaller) {
                return smaller;
            }
        }
        let key = (at.state, at.step, faults.to_vec());
        if let Some(&known) = self.larger.get(&key) {
            return self.at_temperature(known, at, faults);
        }
        let made = self.run(at, faults);
        self.larger.insert(key, made);
        made
    }

    /// The outcome that was found at one temperature, at another.
    fn at_temperature(&mut self, known: u32, at: Entry, faults: &[Fault]) -> u32 {
        if self.holds_at(known, at.temperature_c) {
            return known;
        }
        let key = (at.state, at.step, at.temperature_c.to_bits(), faults.to_vec());
        if let Some(&known) = self.warmer.get(&key) {
            return known;
        }
        let made = self.run(at, faults);
        self.warmer.insert(key, made);
        made
    }

    fn holds_at(&self, outcome: u32, temperature_c: f64) -> bool {
        let outcome = &self.outcomes[outcome as usize];
        outcome.temperature_c == temperature_c
            || outcome.temperature_class.is_some_and(|c| c == self.shared.temperature_class(temperature_c))
    }

    /// Does adding this fault to those that gave that outcome change nothing?
    fn is_silent(&self, (part, mode): Fault, to: &[Fault], outcome: u32) -> bool {
        let Outcome { heard, measuring, .. } = &self.outcomes[outcome as usize];
        let reach = &self.shared.reach;
        if reach.only_misreads[part][mode] {
            return !measuring.has(part);
        }
        !heard.has(part) && (reach.takes_away[part][mode] || self.shared.switches_apart((part, mode), to))
    }

    fn run(&mut self, at: Entry, faults: &[Fault]) -> u32 {
        let mut exit = State { temperature_c: at.temperature_c, ..self.states[at.state as usize].clone() };
        self.shared.begin(faults);
        let step = &self.steps[at.step as usize];
        let prediction = run(&mut self.shared, step, &self.conditions, &mut exit);
        let exit = self.intern(exit);
        let class = self.shared.temperature_class(at.temperature_c);
        self.outcomes.push(Outcome {
            exit,
            rise_k: prediction.rise_k.value,
            heard: self.shared.heard.parts.clone(),
            measuring: self.shared.heard.measuring.clone(),
            temperature_c: at.temperature_c,
            temperature_class: (!self.shared.heard.temperature).then_some(class),
        });
        match self.predictions.last_mut() {
            Some(piece) if piece.len() < PIECE => piece.push(prediction),
            _ => {
                let mut piece = Vec::with_capacity(PIECE);
                piece.push(prediction);
                self.predictions.push(piece);
            }
        }
        self.outcomes.len() as u32 - 1
    }
}
