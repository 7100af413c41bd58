//! A service test, walked through by an operator and recorded at the plug.

use crate::dice::{Dice, Purpose};
use crate::meter::{Foreign, samples};
use crate::rig::unwatched;
use crate::setting::{Operator, Setting};
use crate::stage::{Played, Stage};
use bench::{Bench, Conditions, Hypothesis, Meter, Prediction};
use machine::model::{GoesOn, Machine, Step};
use trace::Sample;

/// A step shorter than this leaves no time to look and listen, s.
const LOOKS_FROM_S: f64 = 3.0;

/// A test is left and entered again at most so often.
const REENTRIES: usize = 2;

/// A stretch of the truth.
#[derive(Clone, Debug, PartialEq)]
pub struct Stretch {
    /// The step that ran; `None` while the machine was off, or on without a step.
    pub step: Option<String>,
    /// From, s.
    pub start_s: f64,
    /// To, s.
    pub end_s: f64,
    /// Energy through the plug, before the meter and with any foreign load, J.
    pub energy_j: f64,
}

/// What was recorded, and the truth behind it.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Recording {
    /// The meter's samples; time 0 is a few seconds before the machine is switched on.
    pub samples: Vec<Sample>,
    /// What really happened, without gaps from 0 to the end.
    pub truth: Vec<Stretch>,
    /// The operator's marks: when, and the step that they took to begin then.
    pub marks: Vec<(f64, String)>,
    /// What the operator noted: step, sign, seen or heard.
    pub seen: Vec<(String, String, bool)>,
    /// The code that the operator saw, by its name.
    pub code: Option<String>,
    /// With an intermittent fault: when it showed, s.
    pub shown: Vec<(f64, f64)>,
}

/// The conditions of a setting, for the bench.
pub(crate) fn conditions(setting: &Setting) -> Conditions {
    Conditions {
        supply_v: setting.supply.volts,
        supply_u_v: 0.0,
        water_l: setting.water_l,
        ambient_c: setting.ambient_c,
        flows: 1.0,
        meter: Meter { relative: 0.0, absolute_w: 0.0 },
    }
}

/// Walks a machine (best a [`crate::specimen`]) through its service test and records it.
pub fn record(machine: &Machine, hypothesis: &Hypothesis, setting: &Setting, seed: u64) -> Recording {
    let free = unwatched(machine);
    let at = conditions(setting);
    let course = Dice::new(seed, Purpose::Course);
    let stage = Stage::new(machine, &free, hypothesis, at, setting.intermittent, false, course);
    let usual = Bench::new(machine).predict(&Hypothesis::healthy(), &at);
    let mut walk = Walk {
        machine,
        operator: &setting.operator,
        stage,
        usual,
        dice: Dice::new(seed, Purpose::Operator),
        eyes: Dice::new(seed, Purpose::Eyes),
        made: Recording::default(),
    };
    walk.test();
    let Walk { stage, mut made, mut dice, .. } = walk;
    let mut foreign = Vec::new();
    if let Some(load) = setting.operator.foreign_load
        && dice.chance(load.chance)
        && load.watts > 0.0
    {
        let start_s = dice.between(0.0, (stage.course.now_s - load.seconds).max(0.0));
        let ohms = machine.plate.supply_v.powi(2) / load.watts;
        foreign.push(Foreign { start_s, end_s: start_s + load.seconds, ohms });
    }
    made.samples = samples(&stage.course, &setting.meter, &setting.supply, &foreign, &mut made.truth, seed);
    made.shown = stage.fitful.shown;
    if setting.operator.marks {
        made.marks.sort_by(|a, b| a.0.total_cmp(&b.0));
    } else {
        made.marks.clear();
    }
    made
}

struct Walk<'m> {
    machine: &'m Machine,
    operator: &'m Operator,
    stage: Stage<'m>,
    /// What each step does in a healthy machine.
    usual: Vec<Prediction>,
    dice: Dice,
    eyes: Dice,
    made: Recording,
}

impl Walk<'_> {
    fn test(&mut self) {
        self.without_a_step(8.0, 20.0, false);
        self.without_a_step(8.0, 20.0, true);
        let machine = self.machine;
        let steps = &machine.test.steps;
        let (mut at, mut fast_until, mut left, mut passed_over) = (0, 0, 0, false);
        while let Some(step) = steps.get(at) {
            let by_press = matches!(step.goes_on, GoesOn::Press(_)) && step.until.is_none();
            let cut_s =
                by_press.then(|| self.press_after(step, at < fast_until, std::mem::take(&mut passed_over)));
            self.mark(self.stage.course.now_s, &step.id);
            let played = self.stage.play(step, cut_s);
            self.note(at, &played);
            if self.stage.course.is_dead() || self.stage.state.over {
                break;
            }
            let leaves = by_press && left < REENTRIES && self.dice.chance(self.operator.leaves_and_reenters);
            if leaves && at + 1 < steps.len() {
                (fast_until, left, at) = (at, left + 1, 0);
                self.without_a_step(3.0, 10.0, false);
                self.without_a_step(8.0, 20.0, true);
                continue;
            }
            passed_over = by_press && self.dice.chance(self.operator.presses_twice);
            at += 1;
        }
        if self.stage.state.over && !self.stage.course.is_dead() {
            let shown = self.stage.look();
            self.read_code(&shown);
        }
        self.without_a_step(10.0, 30.0, true);
        self.without_a_step(5.0, 15.0, false);
    }

    /// How long a step runs that goes on by a press, s.
    fn press_after(&mut self, step: &Step, fast: bool, passed_over: bool) -> f64 {
        let op = self.operator;
        let (least, most) = op.reaction_s;
        let mut after = step.lasts_s + self.dice.between(least, most.max(least));
        if self.dice.chance(op.unregistered) {
            // The operator took the first press for a good one.
            let next = self.machine.test.steps.iter().skip_while(|s| s.id != step.id).nth(1);
            if let Some(next) = next {
                self.mark(self.stage.course.now_s + after, &next.id);
            }
            after += self.dice.between(3.0, 8.0);
        }
        if self.dice.chance(op.pauses) {
            after += self.dice.between(20.0, 90.0);
        }
        if fast || self.dice.chance(op.skips) {
            after = self.dice.between(0.8, 2.5);
        }
        if passed_over {
            after = self.dice.between(0.2, 0.5);
        }
        after
    }

    fn mark(&mut self, at_s: f64, step: &str) {
        let late = self.dice.between(-0.2, 0.5);
        self.made.marks.push(((at_s + late).max(0.0), step.to_owned()));
    }

    fn without_a_step(&mut self, least: f64, most: f64, on: bool) {
        let start_s = self.stage.course.now_s;
        let seconds = self.dice.between(least, most);
        if on {
            self.stage.idle(seconds);
        } else {
            self.stage.off(seconds);
        }
        let end_s = self.stage.course.now_s;
        self.made.truth.push(Stretch { step: None, start_s, end_s, energy_j: 0.0 });
    }

    /// Notes what was played and what the operator saw of it.
    fn note(&mut self, at: usize, played: &Played) {
        let (start_s, end_s) = (played.start_s, played.end_s);
        let step = played.prediction.step.clone();
        self.made.truth.push(Stretch { step: Some(step.clone()), start_s, end_s, energy_j: 0.0 });
        if end_s - start_s < LOOKS_FROM_S {
            return;
        }
        let real = &played.prediction.signs;
        let mut asked: Vec<&'static str> = real.clone();
        asked.extend(&self.usual[at].signs);
        asked.sort_unstable();
        asked.dedup();
        for sign in asked {
            let wrong = self.eyes.chance(self.operator.misses);
            self.made.seen.push((step.clone(), sign.to_owned(), real.contains(&sign) != wrong));
        }
        self.read_code(&played.prediction);
    }

    fn read_code(&mut self, shown: &Prediction) {
        if let Some(code) = shown.code.filter(|_| shown.code_shown) {
            self.made.code = Some(self.machine.codes[code].id.clone());
        }
    }
}
