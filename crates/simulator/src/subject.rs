//! The hidden machine: it answers checks one by one, as instruments, eyes and ears would.

use crate::dice::{Dice, Purpose};
use crate::fitful::{Guises, guises};
use crate::household::{as_step, before};
use crate::record::conditions;
use crate::setting::Setting;
use bench::{Bench, Conditions, EndError, Hypothesis, Ohms, Prediction, ohms_between, volts_between};
use machine::diagnostic::nearest;
use machine::model::{Function, Machine};
use quantity::{Decoded, Reading};

/// A common multimeter on ohms: 6000 counts, ranges from 600 Ω on, ±(0.9 % + 3 digits), leads of 0.1 to 0.3 Ω. Common
/// practice, no source.
mod ohmmeter {
    pub(super) const COUNTS: f64 = 6_000.0;
    pub(super) const LOWEST_RANGE_OHM: f64 = 600.0;
    pub(super) const HIGHEST_RANGE_OHM: f64 = 60e6;
    pub(super) const RELATIVE: f64 = 0.009;
    pub(super) const DIGITS: f64 = 3.0;
    pub(super) const LEADS_OHM: (f64, f64) = (0.1, 0.3);
}

/// The same on alternating volts: range 600 V, ±(0.8 % + 5 digits). Common practice, no source.
mod voltmeter {
    pub(super) const STEP_V: f64 = 0.1;
    pub(super) const HIGHEST_V: f64 = 600.0;
    pub(super) const RELATIVE: f64 = 0.008;
    pub(super) const DIGITS: f64 = 5.0;
}

/// An insulation tester at 500 V: steps of 10 kΩ up to 200 MΩ, ±(3 % + 2 digits). Common practice, no source.
mod insulation_tester {
    pub(super) const STEP_OHM: f64 = 10e3;
    pub(super) const HIGHEST_OHM: f64 = 200e6;
    pub(super) const RELATIVE: f64 = 0.03;
    pub(super) const DIGITS: f64 = 2.0;
}

/// Chance that a check of the file's own is answered wrong. Common practice, no source.
const OWN_CHECK_SLIP: f64 = 0.03;

/// Signs by which nobody judges an appliance in ordinary use.
const UNHEARD: [&str; 2] = ["clicks", "hums"];

/// A function that takes this much longer than in a healthy machine is complained about. Common practice, no source.
const TOO_SLOW: f64 = 1.25;

/// A drum below this share of its speed is complained about. Common practice, no source.
const SPEED_SHARE: f64 = 0.8;

/// Why a question cannot be answered.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SubjectError {
    /// What is wrong with the question.
    pub message: String,
    /// What to ask instead.
    pub remedy: String,
}

impl std::fmt::Display for SubjectError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{}: {}", self.message, self.remedy)
    }
}

impl std::error::Error for SubjectError {}

impl From<EndError> for SubjectError {
    fn from(e: EndError) -> SubjectError {
        SubjectError { message: e.message, remedy: e.remedy }
    }
}

impl SubjectError {
    fn unknown<'a>(what: &str, name: &str, all: impl Iterator<Item = &'a str> + Clone) -> SubjectError {
        let remedy = match nearest(name, all.clone()) {
            Some(near) => format!("did you mean {near}?"),
            None => format!("there are: {}", all.collect::<Vec<_>>().join(", ")),
        };
        SubjectError { message: format!("this machine has no {what} `{name}`"), remedy }
    }
}

/// What a step shows to the operator.
#[derive(Clone, Debug, PartialEq)]
pub struct Shown {
    /// On the meter at the plug, settled, W.
    pub watts: f64,
    /// On the meter at the plug, A.
    pub amps: f64,
    /// On the meter at the plug, V.
    pub volts: f64,
    /// Drum speed by a tachometer, rpm; 0 where it stands.
    pub speed_rpm: f64,
    /// What is seen and heard.
    pub signs: Vec<&'static str>,
    /// The code on the display, by its name.
    pub code: Option<String>,
    /// Seconds until the step ended by itself or could be pressed on.
    pub lasts_s: f64,
    /// A step that should end by itself ran out of time.
    pub timed_out: bool,
    /// A protection of the house went off.
    pub tripped: bool,
    /// The test is over.
    pub ended: bool,
}

/// A machine with hidden faults. Not for certifying a diagnosis: see the crate's words on that.
pub struct Subject {
    machine: Machine,
    hypothesis: Hypothesis,
    setting: Setting,
    conditions: Conditions,
    dice: Dice,
    seed: u64,
    /// Errors that the instruments keep, as shares of their limits.
    meter_gain: f64,
    ohms_gain: f64,
    leads_ohm: f64,
}

impl Subject {
    /// A machine (best a [`crate::specimen`]) with these faults.
    pub fn new(specimen: Machine, hypothesis: Hypothesis, setting: Setting, seed: u64) -> Subject {
        let mut dice = Dice::new(seed, Purpose::Subject);
        let (meter_gain, ohms_gain) = (dice.between(-1.0, 1.0), dice.between(-1.0, 1.0));
        let leads_ohm = dice.between(ohmmeter::LEADS_OHM.0, ohmmeter::LEADS_OHM.1);
        let conditions = conditions(&setting);
        Subject {
            machine: specimen,
            hypothesis,
            setting,
            conditions,
            dice,
            seed,
            meter_gain,
            ohms_gain,
            leads_ohm,
        }
    }

    /// What is really wrong with it.
    pub fn truth(&self) -> &Hypothesis {
        &self.hypothesis
    }

    /// The faults as they show at this moment.
    fn now(&mut self) -> Hypothesis {
        let guises = self.guises();
        if self.dice.chance(guises.share) { guises.shown } else { guises.hidden }
    }

    /// The same all along: how often a fault shows is the machine's, not the moment's.
    fn guises(&self) -> Guises {
        let mut dice = Dice::new(self.seed, Purpose::Fitful);
        guises(&self.machine, &self.hypothesis, self.setting.intermittent, &mut dice)
    }

    /// What an ohmmeter shows between two points of the dead machine.
    ///
    /// # Errors
    /// If a point or a connector is not there.
    pub fn ohms(&mut self, a: &str, b: &str, unplugged: &[&str]) -> Result<Reading, SubjectError> {
        let true_ohm = self.resistance(a, b, unplugged)?.map(|r| r + self.leads_ohm);
        let mut range = ohmmeter::LOWEST_RANGE_OHM;
        while true_ohm.is_some_and(|r| r >= range) && range < ohmmeter::HIGHEST_RANGE_OHM {
            range *= 10.0;
        }
        let step = range / ohmmeter::COUNTS;
        let error = ohmmeter::RELATIVE * self.ohms_gain;
        Ok(self.displayed(true_ohm, error, ohmmeter::DIGITS, step, ohmmeter::HIGHEST_RANGE_OHM))
    }

    /// What an insulation tester at 500 V shows between two points of the unplugged machine.
    ///
    /// # Errors
    /// If a point or a connector is not there.
    pub fn insulation(&mut self, a: &str, b: &str, unplugged: &[&str]) -> Result<Reading, SubjectError> {
        use insulation_tester::{DIGITS, HIGHEST_OHM, RELATIVE, STEP_OHM};
        let true_ohm = self.resistance(a, b, unplugged)?;
        Ok(self.displayed(true_ohm, RELATIVE * self.ohms_gain, DIGITS, STEP_OHM, HIGHEST_OHM))
    }

    /// What a voltmeter shows between two points while a step of the service test runs.
    ///
    /// # Errors
    /// If a point or a step is not there.
    pub fn volts(&mut self, a: &str, b: &str, step: &str) -> Result<Reading, SubjectError> {
        use voltmeter::{DIGITS, HIGHEST_V, RELATIVE, STEP_V};
        let faults = self.now();
        let volts = volts_between(&self.machine, &self.conditions, &faults, (a, b), step)?;
        Ok(self.displayed(Some(volts.value), RELATIVE * self.ohms_gain, DIGITS, STEP_V, HIGHEST_V))
    }

    fn resistance(&mut self, a: &str, b: &str, unplugged: &[&str]) -> Result<Option<f64>, SubjectError> {
        let names: Vec<String> = unplugged.iter().map(|&n| n.to_owned()).collect();
        let faults = self.now();
        Ok(match ohms_between(&self.machine, &faults, (a, b), &names)? {
            Ohms::Open => None,
            Ohms::Ohms { value, .. } => Some(value),
        })
    }

    fn displayed(&mut self, truth: Option<f64>, gain: f64, digits: f64, step: f64, most: f64) -> Reading {
        let Some(truth) = truth.filter(|r| *r < most) else {
            return Reading::OverRange { below_zero: false };
        };
        let shown = truth * (1.0 + gain) + step * digits * self.dice.between(-1.0, 1.0);
        let value = ((shown / step).round() * step).max(0.0);
        Reading::Value(Decoded { value, resolution: step })
    }

    /// Runs the service test up to and with a step.
    ///
    /// # Errors
    /// If there is no such step.
    pub fn step(&mut self, step: &str) -> Result<Shown, SubjectError> {
        let steps = &self.machine.test.steps;
        let Some(at) = steps.iter().position(|s| s.id == step) else {
            return Err(SubjectError::unknown("step", step, steps.iter().map(|s| s.id.as_str())));
        };
        let faults = self.now();
        let p = self.test(&faults).swap_remove(at);
        let meter = &self.setting.meter;
        let supply = &self.setting.supply;
        let tripped = p.trip.is_some();
        let drift = supply.drift_v * self.dice.normal();
        let volts = supply.volts + drift - supply.source_ohm * p.current_a.value;
        let gain = 1.0 + meter.gain_error * self.meter_gain;
        let offset_w = meter.offset_w * self.dice.between(-1.0, 1.0);
        let quantum = if meter.quantum_w > 0.0 { meter.quantum_w } else { 0.01 };
        let mut signs = p.signs.clone();
        signs.retain(|_| !self.dice.chance(self.setting.operator.misses));
        Ok(Shown {
            watts: if tripped {
                0.0
            } else {
                (((p.power_w.value * gain + offset_w).max(0.0)) / quantum).round() * quantum
            },
            amps: (p.current_a.value * gain * 1000.0).round() / 1000.0,
            volts: if tripped { 0.0 } else { (volts * 10.0).round() / 10.0 },
            speed_rpm: (p.speed_rpm.value * self.dice.between(0.98, 1.02)).round(),
            signs,
            code: self.name_of_code(&p),
            lasts_s: p.lasts_s.round(),
            timed_out: p.timed_out,
            tripped,
            ended: p.ended,
        })
    }

    fn test(&self, faults: &Hypothesis) -> Vec<Prediction> {
        Bench::new(&self.machine).predict(faults, &self.conditions)
    }

    fn name_of_code(&self, p: &Prediction) -> Option<String> {
        p.code.filter(|_| p.code_shown).map(|c| self.machine.codes[c].id.clone())
    }

    /// The code that the service test brings to the display.
    pub fn code(&mut self) -> Option<String> {
        let faults = self.now();
        self.test(&faults).iter().rev().find_map(|p| self.name_of_code(p))
    }

    /// Does a part's own check by eye, ear or hand; the answer misleads with the chance that the kind states.
    ///
    /// # Errors
    /// If there is no such part, or its kind has no such check.
    pub fn hand_check(&mut self, part: &str, check: &str) -> Result<bool, SubjectError> {
        let parts = || self.machine.parts.iter().map(|p| p.id.as_str());
        let Some(id) = self.machine.part(part) else {
            return Err(SubjectError::unknown("part", part, parts()));
        };
        let kind = self.machine.parts[id].kind;
        let Some(check) = kind.checks.iter().find(|c| c.id == check) else {
            let what = format!("check of a {}", kind.name);
            return Err(SubjectError::unknown(&what, check, kind.checks.iter().map(|c| c.id)));
        };
        let mode = self.hypothesis.modes(&self.machine)[id].map_or("", |m| kind.modes[m].name);
        Ok(check.yes_in.contains(&mode) != self.dice.chance(check.slip))
    }

    /// Does one of the file's own checks.
    ///
    /// # Errors
    /// If there is no such check.
    pub fn own_check(&mut self, check: &str) -> Result<bool, SubjectError> {
        let checks = &self.machine.checks;
        let Some(own) = checks.iter().find(|c| c.id == check) else {
            return Err(SubjectError::unknown("check", check, checks.iter().map(|c| c.id.as_str())));
        };
        let has = |(part, mode): &(usize, String)| {
            self.hypothesis
                .faults()
                .iter()
                .any(|&(p, m)| p == *part && self.machine.parts[p].kind.modes[m].name == *mode)
        };
        let yes = own.yes_with.iter().any(has) != own.yes_when_healthy;
        Ok(yes != self.dice.chance(OWN_CHECK_SLIP))
    }

    /// The functions that the customer finds failing, now and then or always. None at all is possible: some faults only a
    /// test finds.
    pub fn complaint(&self) -> Vec<String> {
        self.failing(&self.guises().shown)
    }

    fn failing(&self, faults: &Hypothesis) -> Vec<String> {
        let healthy = Hypothesis::healthy();
        let mut bench = Bench::new(&self.machine);
        let mut run = |f: &Function, h: &Hypothesis| {
            let mut state = before(f, &self.conditions);
            bench.step(&as_step(f, 120.0), &h.modes(&self.machine), &self.conditions, &mut state)
        };
        let fails = |f: &&Function| differs(&run(f, &healthy), &run(f, faults));
        self.machine.functions.iter().filter(fails).map(|f| f.name.clone()).collect()
    }

    /// Fits a new part in its place (or cleans or adjusts it): does the whole machine work then? The part stays in.
    ///
    /// # Errors
    /// If there is no such part.
    pub fn swap(&mut self, part: &str) -> Result<bool, SubjectError> {
        let Some(id) = self.machine.part(part) else {
            let parts = self.machine.parts.iter().map(|p| p.id.as_str());
            return Err(SubjectError::unknown("part", part, parts));
        };
        let left = self.hypothesis.faults().iter().copied().filter(|f| f.0 != id);
        self.hypothesis = Hypothesis::of(left);
        Ok(self.works())
    }

    /// Every function does what it should, and the service test reads as in a healthy machine.
    pub fn works(&self) -> bool {
        if self.hypothesis == Hypothesis::healthy() {
            return true;
        }
        let shown = self.guises().shown;
        let (healthy, now) = (self.test(&Hypothesis::healthy()), self.test(&shown));
        let alike = healthy.iter().zip(&now).all(|(a, b)| !differs(a, b) && a.code == b.code);
        alike && self.failing(&shown).is_empty()
    }
}

/// Would the customer find that this is not as it should be?
fn differs(healthy: &Prediction, now: &Prediction) -> bool {
    let judged = |p: &Prediction| -> Vec<&'static str> {
        p.signs.iter().copied().filter(|s| !UNHEARD.contains(s)).collect()
    };
    let slower = now.lasts_s > TOO_SLOW * healthy.lasts_s + 2.0;
    let speed = |p: &Prediction| p.speed_rpm.value.abs();
    now.trip.is_some()
        || now.timed_out != healthy.timed_out
        || slower
        || now.one_way != healthy.one_way
        || now.refused != healthy.refused
        || speed(now) < SPEED_SHARE * speed(healthy)
        || judged(now) != judged(healthy)
}

impl std::fmt::Debug for Subject {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        // The fault stays hidden from whoever prints it.
        write!(f, "Subject({} {})", self.machine.plate.maker, self.machine.plate.model)
    }
}
