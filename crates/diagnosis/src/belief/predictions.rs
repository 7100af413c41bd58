//! What the bench says under a set of faults, kept: the service test, the functions in ordinary use, ohms.

use super::density::Fit;
use super::functions::{Goes, as_steps, goes};
use crate::evidence::OhmsReading;
use bench::{Conditions, Estimate, Hypothesis, Ohmmeter, Ohms, Prediction, PredictionId, Sweep, Voltmeter};
use machine::model::{CodeId, Machine};
use rustc_hash::FxHashMap;
use std::sync::Arc;

/// Predictions of one machine under one set of conditions.
#[derive(Clone)]
pub(crate) struct Predictions<'m> {
    machine: &'m Machine,
    test: Sweep<'m>,
    /// The functions in ordinary use, written as steps; a sweep of its own, so that both can be swept at a time.
    functions: Sweep<'m>,
    healthy: Vec<PredictionId>,
    tests: FxHashMap<Hypothesis, Arc<[PredictionId]>>,
    /// The first steps of tests that nobody asked for in full.
    begun: FxHashMap<Hypothesis, Vec<PredictionId>>,
    watered: FxHashMap<Hypothesis, Option<Waters>>,
    going: FxHashMap<Hypothesis, Arc<Ordinary>>,
    meters: Vec<Ohmmeter<'m>>,
    meters_at: FxHashMap<Probes, usize>,
    /// The one that was read last, and where it is.
    last_meter: Option<(Probes, usize)>,
    conditions: Conditions,
    /// By the names of the points and the step.
    voltmeters: FxHashMap<([String; 2], usize), Voltmeter<'m>>,
}

/// Water and temperature that make no odds to any later step: less than a board can tell.
const SAME_WATER_L: f64 = 0.01;
const SAME_RISE_K: f64 = 0.01;

/// Flows against the file's, by the tap, the hoses' height and the parts' tolerance, of a machine that has little and one
/// that has much of it. Common practice, no source.
const WATERS: [f64; 2] = [0.72, 1.25];

/// Each of these is as likely as that; the rest is as the file has it.
const OTHER_WATER: f64 = 0.25;

/// A step that takes more than this share of its longest time might run out of it.
const NEARLY: f64 = 0.6;

/// Two points and what is unplugged.
type Probes = ([String; 2], Vec<String>);

/// The mean fit over the file's water and the others.
pub(crate) fn over_waters(usual: Fit, others: impl Iterator<Item = Fit>) -> Fit {
    let others: Vec<Fit> = others.collect();
    let rest = 1.0 - OTHER_WATER * others.len() as f64;
    Fit::mixed(std::iter::once((rest, usual)).chain(others.into_iter().map(|fit| (OTHER_WATER, fit))))
}

/// Signs that water moves.
const MOVES_WATER: [&str; 2] = ["water enters", "water drains"];

/// The service test with each of the [`WATERS`].
pub(crate) type Waters = [Arc<[PredictionId]>; WATERS.len()];

/// Ordinary use under a set of faults.
#[derive(Clone, Debug)]
pub(crate) struct Ordinary {
    /// How each function goes.
    pub(crate) goes: Vec<Goes>,
    /// The codes that come up.
    pub(crate) codes: Vec<CodeId>,
}

impl<'m> Predictions<'m> {
    pub(crate) fn new(machine: &'m Machine, conditions: &Conditions) -> Self {
        let test = Sweep::new(machine, conditions);
        let mut functions = test.beside(as_steps(machine));
        let nothing = Hypothesis::healthy();
        let healthy =
            (0..machine.functions.len()).filter_map(|f| functions.predict_apart(&nothing, f)).collect();
        Predictions {
            machine,
            test,
            functions,
            healthy,
            tests: FxHashMap::default(),
            begun: FxHashMap::default(),
            watered: FxHashMap::default(),
            going: FxHashMap::default(),
            meters: Vec::new(),
            meters_at: FxHashMap::default(),
            last_meter: None,
            conditions: *conditions,
            voltmeters: FxHashMap::default(),
        }
    }

    /// Works out the service test and ordinary use under all of these, on two threads: they do not change what is
    /// answered, only how soon.
    pub(crate) fn look_ahead(&mut self, all: &[Hypothesis]) {
        let (test, functions) = (&mut self.test, &mut self.functions);
        let count = self.machine.functions.len();
        std::thread::scope(|scope| {
            let sweep = move || {
                for faults in all {
                    for function in 0..count {
                        functions.predict_apart(faults, function);
                    }
                }
            };
            // Where no thread is to be had, they are worked out when they are asked for.
            let _ = std::thread::Builder::new().spawn_scoped(scope, sweep);
            for faults in all {
                test.predict(faults);
            }
        });
    }

    /// The machine.
    pub(crate) fn machine(&self) -> &'m Machine {
        self.machine
    }

    /// The steps of the service test.
    pub(crate) fn test(&mut self, faults: &Hypothesis) -> Arc<[PredictionId]> {
        if let Some(known) = self.tests.get(faults) {
            return Arc::clone(known);
        }
        let made: Arc<[PredictionId]> = self.test.predict(faults).into();
        self.tests.insert(faults.clone(), Arc::clone(&made));
        made
    }

    /// One step of the service test. Those after it are not worked out for it: most sets of faults are ruled out early.
    pub(crate) fn step(&mut self, faults: &Hypothesis, step: usize) -> &Prediction {
        if let Some(known) = self.tests.get(faults) {
            return self.test.get(known[step]);
        }
        if let Some(known) = self.begun.get(faults)
            && let Some(&id) = known.get(step)
        {
            return self.test.get(id);
        }
        let made = self.test.predict_first(faults, step + 1);
        let id = made[step];
        self.begun.insert(faults.clone(), made);
        self.test.get(id)
    }

    /// The service test with little water and with much of it, where a fault alone makes a step come near to running out of
    /// time, or just run out of it: what the board does then hangs on a tolerance. None where it makes no difference.
    pub(crate) fn by_water(&mut self, faults: &Hypothesis) -> Option<Waters> {
        if faults.faults().len() != 1 {
            return None;
        }
        if let Some(known) = self.watered.get(faults) {
            return known.clone();
        }
        let ids = self.test(faults);
        let near = ids.iter().zip(&self.machine.test.steps).any(|(&id, step)| {
            let p = self.test.get(id);
            let flows = p.signs.iter().any(|s| MOVES_WATER.contains(s));
            let longest = step.at_most_s.unwrap_or(f64::INFINITY);
            step.until.is_some() && flows && (p.timed_out || p.lasts_s > NEARLY * longest)
        });
        let made = near.then(|| WATERS.map(|share| self.test.predict_with_flows(faults, share).into()));
        self.watered.insert(faults.clone(), made.clone());
        made
    }

    /// The sweep that the ids of [`Predictions::test`] belong to.
    pub(crate) fn sweep(&self) -> &Sweep<'m> {
        &self.test
    }

    /// Do these faults leave another state than the healthy machine's to the step at this place, or to one before it?
    pub(crate) fn leaves_other_state(&mut self, faults: &Hypothesis, before: usize) -> bool {
        let (sound, faulty) = (self.test(&Hypothesis::healthy()), self.test(faults));
        sound.iter().zip(faulty.iter()).take(before).any(|(&a, &b)| {
            let (a, b) = (self.test.get(a), self.test.get(b));
            (a.water_l - b.water_l).abs() > SAME_WATER_L
                || (a.rise_k.value - b.rise_k.value).abs() > SAME_RISE_K
                || (a.code, a.ended) != (b.code, b.ended)
                || a.trip != b.trip
                || a.refused != b.refused
        })
    }

    /// Ordinary use.
    pub(crate) fn ordinary(&mut self, faults: &Hypothesis) -> Arc<Ordinary> {
        if let Some(known) = self.going.get(faults) {
            return Arc::clone(known);
        }
        let mut codes: Vec<CodeId> = Vec::new();
        let mut each = Vec::with_capacity(self.healthy.len());
        for (function, &healthy) in self.healthy.iter().enumerate() {
            let Some(now) = self.functions.predict_apart(faults, function) else { continue };
            codes.extend(self.functions.get(now).code);
            each.push(goes(self.functions.get(now), self.functions.get(healthy)));
        }
        codes.sort_unstable();
        codes.dedup();
        let made = Arc::new(Ordinary { goes: each, codes });
        self.going.insert(faults.clone(), Arc::clone(&made));
        made
    }

    /// The codes that come up in ordinary use or in the service test.
    pub(crate) fn codes(&mut self, faults: &Hypothesis) -> Vec<CodeId> {
        let ids = self.test(faults);
        let mut codes: Vec<CodeId> = ids.iter().filter_map(|&id| self.test.get(id).code).collect();
        codes.extend(&self.ordinary(faults).codes);
        codes.sort_unstable();
        codes.dedup();
        codes
    }

    /// What a voltmeter shows between two points in a step; none where the machine has no such points.
    pub(crate) fn volts(
        &mut self,
        names: &[String; 2],
        step: usize,
        faults: &Hypothesis,
    ) -> Option<Estimate> {
        let key = (names.clone(), step);
        if !self.voltmeters.contains_key(&key) {
            let id = &self.machine.test.steps.get(step)?.id;
            let points = (names[0].as_str(), names[1].as_str());
            let meter = Voltmeter::new(self.machine, &self.conditions, points, id).ok()?;
            self.voltmeters.insert(key.clone(), meter);
        }
        Some(self.voltmeters.get_mut(&key)?.read(faults))
    }

    /// What an ohmmeter shows; none where the machine has no such points.
    pub(crate) fn ohms(&mut self, reading: &OhmsReading, faults: &Hypothesis) -> Option<Ohms> {
        self.between(&reading.names, &reading.unplugged, faults)
    }

    /// The same by names.
    pub(crate) fn between(
        &mut self,
        names: &[String; 2],
        unplugged: &[String],
        faults: &Hypothesis,
    ) -> Option<Ohms> {
        let at = match &self.last_meter {
            Some(((last, open), at)) if last == names && open == unplugged => *at,
            _ => self.meter_at(names, unplugged)?,
        };
        Some(self.meters[at].read(faults))
    }

    /// Place of the meter at these points.
    fn meter_at(&mut self, names: &[String; 2], unplugged: &[String]) -> Option<usize> {
        let probes = (names.clone(), unplugged.to_vec());
        let known = self.meters_at.get(&probes).copied();
        let at = if let Some(at) = known {
            at
        } else {
            let points = (names[0].as_str(), names[1].as_str());
            let meter = match self.meters.first() {
                Some(other) => other.moved_to(points, unplugged).ok()?,
                None => Ohmmeter::new(self.machine, points, unplugged).ok()?,
            };
            self.meters.push(meter);
            self.meters_at.insert(probes.clone(), self.meters.len() - 1);
            self.meters.len() - 1
        };
        self.last_meter = Some((probes, at));
        Some(at)
    }
}
