//! Levels from the bench: what the plug draws while the same outputs are driven.

use bench::{Bench, Conditions, Prediction, State};
use machine::model::{Drive, GoesOn, Guard, Machine, Moment, Otherwise, OutputId, Step, Test};
use std::collections::HashMap;

/// Share of the supply by which it is varied to see how a level follows it.
const SUPPLY_STEP: f64 = 0.04;

/// Levels kept before the store is emptied: days of use would fill the memory.
const KEPT: usize = 2_000;

/// What the plug draws, and what goes with it, at the supply the rig is set to.
#[derive(Clone, Debug, Default, PartialEq)]
pub(crate) struct Level {
    pub(crate) watts: f64,
    pub(crate) vars: f64,
    /// Power follows the supply's voltage to this exponent: 2 for a resistance, 0 for a regulated load.
    pub(crate) exponent: f64,
    /// Standard deviation of its ripple from moving parts, W.
    pub(crate) stir_w: f64,
    /// Drum speed, rpm.
    pub(crate) rpm: f64,
    /// The door is locked then.
    pub(crate) locked: bool,
    /// A protection goes off.
    pub(crate) trips: bool,
    /// Outputs that a guard keeps off.
    pub(crate) refused: Vec<OutputId>,
}

#[derive(PartialEq, Eq, Hash)]
struct Key {
    drives: Vec<(OutputId, u64)>,
    modes: Vec<Option<usize>>,
    state: (u64, u64, bool),
    watched: bool,
}

/// The machine without the guards that watch while an output is driven: what it does until they act.
pub(crate) fn unwatched(machine: &Machine) -> Machine {
    let mut free = machine.clone();
    free.guards.retain(|g| g.moment == Moment::Before);
    free
}

/// A step that drives these outputs for so long.
pub(crate) fn plain_step(drives: Vec<Drive>, lasts_s: f64) -> Step {
    Step {
        id: String::new(),
        says: String::new(),
        drives,
        see: String::new(),
        hear: String::new(),
        shows_code: false,
        goes_on: GoesOn::ByItself,
        until: None,
        at_most_s: None,
        lasts_s,
        ramp_s: 0.0,
        caution: String::new(),
        then: None,
        at: 0..0,
    }
}

/// A machine on the bench.
pub(crate) struct Rig<'m> {
    pub(crate) machine: &'m Machine,
    watched: Bench<'m>,
    free: Bench<'m>,
    conditions: Conditions,
    known: HashMap<Key, Level>,
}

impl<'m> Rig<'m> {
    /// `free` is the same machine [`unwatched`].
    pub(crate) fn new(machine: &'m Machine, free: &'m Machine, conditions: Conditions) -> Rig<'m> {
        Rig {
            machine,
            watched: Bench::new(machine),
            free: Bench::new(free),
            conditions,
            known: HashMap::new(),
        }
    }

    /// A step, which moves the state on.
    pub(crate) fn run(&mut self, step: &Step, modes: &[Option<usize>], state: &mut State) -> Prediction {
        self.watched.step(step, modes, &self.conditions, state)
    }

    /// What the plug draws with these outputs driven, once the watching guards acted or before they do.
    pub(crate) fn level(
        &mut self,
        drives: &[Drive],
        modes: &[Option<usize>],
        state: &State,
        watched: bool,
    ) -> Level {
        let key = Key {
            drives: drives.iter().map(|d| (d.output, d.rpm.to_bits())).collect(),
            modes: modes.to_vec(),
            state: (state.level_l.to_bits(), state.temperature_c.to_bits(), state.locked),
            watched,
        };
        if let Some(level) = self.known.get(&key) {
            return level.clone();
        }
        let level = self.solve(drives, modes, state, watched);
        if self.known.len() >= KEPT {
            self.known.clear();
        }
        self.known.insert(key, level.clone());
        level
    }

    fn solve(&mut self, drives: &[Drive], modes: &[Option<usize>], state: &State, watched: bool) -> Level {
        let one_way: Vec<Drive> = drives.iter().map(|d| Drive { both_ways: false, ..*d }).collect();
        let step = plain_step(one_way, 0.0);
        let fresh = State { over: false, trip: None, ..state.clone() };
        let bench = if watched { &mut self.watched } else { &mut self.free };
        let mut after = fresh.clone();
        let p = bench.step(&step, modes, &self.conditions, &mut after);
        let lower =
            Conditions { supply_v: self.conditions.supply_v * (1.0 - SUPPLY_STEP), ..self.conditions };
        let less = bench.step(&step, modes, &lower, &mut fresh.clone()).power_w.value;
        let watts = p.power_w.value;
        let exponent = if watts > 0.0 && less > 0.0 {
            ((less / watts).ln() / (1.0 - SUPPLY_STEP).ln()).clamp(0.0, 2.5)
        } else {
            2.0
        };
        Level {
            watts,
            vars: (p.apparent_va * p.apparent_va - watts * watts).max(0.0).sqrt(),
            exponent,
            stir_w: 0.0,
            rpm: p.speed_rpm.value,
            locked: after.locked,
            trips: p.trip.is_some(),
            refused: p.refused,
        }
    }

    /// How long a watching guard of these outputs waits before it acts, s, and the worst that it does.
    pub(crate) fn patience(&self, outputs: &[OutputId]) -> (f64, Otherwise) {
        let watching: Vec<&Guard> = self
            .machine
            .guards
            .iter()
            .filter(|g| g.moment == Moment::While && outputs.contains(&g.output))
            .collect();
        let waits = watching.iter().flat_map(|g| &g.needs).filter_map(|(need, _)| match need.test {
            Test::FollowsWithin(seconds) => Some(seconds),
            _ => None,
        });
        let otherwise =
            watching.iter().map(|g| g.otherwise).max_by_key(|o| *o as u8).unwrap_or(Otherwise::KeepsOff);
        (waits.fold(1.0, f64::max), otherwise)
    }
}
