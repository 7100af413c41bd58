//! A step played: what comes on when, how it starts, and how long a guard lets it try.

use crate::course::Course;
use crate::dice::Dice;
use crate::fitful::{Fitful, guises};
use crate::rig::{Level, Rig, plain_step};
use crate::starts::{Start, kicks, starts};
use bench::{Conditions, Hypothesis, Prediction, State};
use machine::model::{Drive, Machine, OutputId, Step};

mod drum;
use drum::Turning;

/// Longest stretch that is taken from the bench in one piece, s: temperature and level move on between. A step that
/// ends by a condition is taken whole, as the bench does it.
const CHUNK_S: f64 = 30.0;

/// A load without moving parts that takes more than this heats, W. Common practice, no source.
const HEATER_FROM_W: f64 = 300.0;

/// What differs between one machine and the next but stands in no file. Common practice, no source, but where named.
struct Habits {
    /// Turning to and fro: seconds on and seconds of pause.
    pulse_s: f64,
    pause_s: f64,
    /// Between two outputs, s.
    apart_s: f64,
    /// Nothing but what stays on between two steps, s.
    gap_s: f64,
    /// A door lock takes so long, s.
    lock_s: f64,
    /// How much more than its settled power the drum takes at the end of its run-up: the final spins of four washers
    /// in the tracebase recordings peak 1.3 to 1.7 times as high as they settle, with a wash in them.
    push: f64,
    /// Ripple of a turning drum's power, in proportion.
    stir: f64,
    /// Factor on run-up times.
    haste: f64,
}

/// What came of a step.
pub(crate) struct Played {
    pub(crate) start_s: f64,
    pub(crate) end_s: f64,
    pub(crate) prediction: Prediction,
}

/// A machine in time.
pub(crate) struct Stage<'m> {
    pub(crate) rig: Rig<'m>,
    pub(crate) course: Course,
    pub(crate) state: State,
    pub(crate) dice: Dice,
    pub(crate) fitful: Fitful,
    starts: Vec<Vec<Start>>,
    kicks: Vec<f64>,
    habits: Habits,
    on: Vec<Drive>,
    level: Level,
    off_since_s: Vec<f64>,
    turning: Turning,
}

impl<'m> Stage<'m> {
    pub(crate) fn new(
        machine: &'m Machine,
        free: &'m Machine,
        hypothesis: &Hypothesis,
        conditions: Conditions,
        intermittent: Option<f64>,
        loaded: bool,
        mut dice: Dice,
    ) -> Stage<'m> {
        let habits = Habits {
            pulse_s: dice.between(4.0, 14.0),
            pause_s: dice.between(2.0, 6.0),
            apart_s: dice.between(0.1, 0.7),
            gap_s: dice.between(0.2, 1.2),
            lock_s: dice.between(1.5, 3.5),
            push: if loaded { dice.between(0.25, 0.7) } else { dice.between(0.05, 0.3) },
            stir: if loaded { dice.between(0.06, 0.16) } else { dice.between(0.01, 0.05) },
            haste: dice.between(0.9, 1.1),
        };
        let guises = guises(machine, hypothesis, intermittent, &mut dice);
        let fitful = Fitful::new(guises, &mut dice);
        let turning = Turning::start(habits.pulse_s);
        Stage {
            rig: Rig::new(machine, free, conditions),
            course: Course::default(),
            state: State::start(&conditions),
            dice,
            fitful,
            starts: starts(machine),
            kicks: kicks(machine),
            habits,
            on: Vec::new(),
            level: Level::default(),
            off_since_s: vec![f64::NEG_INFINITY; machine.outputs.len()],
            turning,
        }
    }

    /// The modes at this moment, and until when they stay.
    fn modes(&mut self) -> (Vec<Option<usize>>, f64) {
        let (hypothesis, until) = self.fitful.at(self.course.now_s, &mut self.dice);
        (hypothesis.modes(self.rig.machine), until)
    }

    /// Switched off at the machine.
    pub(crate) fn off(&mut self, seconds: f64) {
        self.switch(&[], &Level::default());
        self.state.locked = false;
        self.state.over = false;
        self.course.hold(&Level::default(), seconds);
    }

    /// Switched on, nothing driven but what is on already.
    pub(crate) fn idle(&mut self, seconds: f64) {
        let end = self.course.now_s + seconds;
        while self.course.now_s < end - 1e-9 {
            let (modes, until) = self.modes();
            let level = self.rig.level(&[], &modes, &self.state, true);
            self.note_trip(&level);
            self.switch(&[], &level);
            let part = (until - self.course.now_s).clamp(1e-3, end - self.course.now_s);
            self.course.hold(&level, part);
        }
    }

    /// Plays a step, cut off by a press after so long where `cut_s` says so.
    pub(crate) fn play(&mut self, step: &Step, cut_s: Option<f64>) -> Played {
        let start_s = self.course.now_s;
        let longest = step.until.as_ref().and(step.at_most_s).unwrap_or(step.lasts_s);
        let end = start_s + cut_s.unwrap_or(longest);
        let (modes, _) = self.modes();
        let mut prediction = self.rig.run(step, &modes, &mut self.state.clone());
        if step.until.is_some() && !prediction.timed_out && prediction.lasts_s == 0.0 {
            prediction = self.rig.run(step, &modes, &mut self.state);
            self.idle(self.habits.gap_s);
            return Played { start_s, end_s: self.course.now_s, prediction };
        }
        self.enter(&step.drives, end);
        let entered_s = self.course.now_s;
        let mut barred: Vec<OutputId> = Vec::new();
        let mut first = true;
        self.turning = Turning::start(self.habits.pulse_s);
        while self.course.now_s < end - 1e-6 {
            let (modes, until) = self.modes();
            let here = self.course.now_s;
            let chunk_s = if step.until.is_some() { f64::INFINITY } else { CHUNK_S };
            let length = (end - here).min(chunk_s).min((until - here).max(1e-3));
            let mut drives: Vec<Drive> = if self.state.over { Vec::new() } else { step.drives.clone() };
            drives.retain(|d| !barred.contains(&d.output));
            let before = self.state.clone();
            let chunk =
                Step { drives: drives.clone(), at_most_s: Some(length), lasts_s: length, ..step.clone() };
            let p = self.rig.run(&chunk, &modes, &mut self.state);
            if p.trip.is_some() {
                self.course.kill();
            }
            let done = step.until.is_some() && !p.timed_out;
            let seconds = if done { p.lasts_s } else { length };
            barred.extend(self.draw(&drives, seconds, &before, &modes, step, here - entered_s));
            barred.extend(p.refused.iter().copied());
            prediction = if first { p } else { joined(prediction, p) };
            first = false;
            if done {
                break;
            }
        }
        prediction.lasts_s = self.course.now_s - start_s;
        Played { start_s, end_s: self.course.now_s, prediction }
    }

    /// The outputs come on one after the other; a door must lock before what lies behind it has power.
    fn enter(&mut self, drives: &[Drive], end: f64) {
        if self.state.over || self.course.is_dead() {
            return;
        }
        let (modes, _) = self.modes();
        let stays: Vec<Drive> = drives.iter().filter(|d| self.on.contains(d)).cloned().collect();
        let mut so_far = stays;
        self.hold(&so_far.clone(), &modes, self.habits.gap_s.min(end - self.course.now_s));
        let news: Vec<Drive> = drives.iter().filter(|d| !so_far.contains(d)).cloned().collect();
        for drive in news.iter().take(news.len().saturating_sub(1)) {
            if drive.rpm != 0.0 {
                continue;
            }
            let locked = self.state.locked;
            so_far.push(drive.clone());
            let level = self.hold(&so_far.clone(), &modes, 0.0);
            let wait = if level.locked && !locked { self.habits.lock_s } else { self.habits.apart_s };
            self.state.locked |= level.locked;
            self.hold(&so_far.clone(), &modes, wait.min((end - self.course.now_s).max(0.0)));
        }
    }

    /// These outputs for so long, at their level.
    fn hold(&mut self, drives: &[Drive], modes: &[Option<usize>], seconds: f64) -> Level {
        let state = self.state.clone();
        let level = self.stirred(drives, modes, &state, true);
        self.note_trip(&level);
        self.switch(drives, &level);
        self.course.hold(&level, seconds);
        level
    }

    fn note_trip(&mut self, level: &Level) {
        if level.trips {
            self.course.kill();
        }
    }

    /// A level with the ripple of what moves.
    fn stirred(&mut self, drives: &[Drive], modes: &[Option<usize>], state: &State, watched: bool) -> Level {
        let mut level = self.rig.level(drives, modes, state, watched);
        let still: Vec<Drive> = drives.iter().filter(|d| d.rpm == 0.0).cloned().collect();
        if still.len() < drives.len() {
            let rest = self.rig.level(&still, modes, state, watched);
            level.stir_w = self.habits.stir * (level.watts - rest.watts).abs();
        }
        let pumps: f64 =
            still.iter().flat_map(|d| &self.starts[d.output]).filter(|s| s.moves).map(|s| s.at_work_w).sum();
        level.stir_w += 0.01 * pumps.min(level.watts);
        level
    }

    /// Notes what came on and went off, with the surges of what came on.
    fn switch(&mut self, drives: &[Drive], level: &Level) {
        let now = self.course.now_s;
        for gone in self.on.iter().filter(|d| !drives.contains(d)) {
            self.course.cut(gone.output);
            self.off_since_s[gone.output] = now;
        }
        let news: Vec<Drive> = drives.iter().filter(|d| !self.on.contains(d)).cloned().collect();
        let expected: f64 =
            news.iter().flat_map(|d| &self.starts[d.output]).map(|s| s.at_work_w).sum::<f64>().max(0.1);
        let real = (level.watts - self.level.watts).max(0.0) / expected;
        for drive in &news {
            for i in 0..self.starts[drive.output].len() {
                let start = self.starts[drive.output][i];
                let tau_s = start.tau_s * self.dice.between(0.8, 1.25);
                // What was on a moment ago is still warm.
                let cooled = 1.0 - (-(now - self.off_since_s[drive.output]) / (10.0 * start.tau_s)).exp();
                // A load that a fault keeps from drawing has no start either.
                let share = if real < 0.2 { 0.0 } else { real.min(1.0) };
                self.course.surge(drive.output, start.extra_w * cooled * share, tau_s);
            }
        }
        self.on = drives.to_vec();
        self.level = level.clone();
    }

    /// Those of the drives that feed no heater.
    pub(crate) fn without_heat(&self, drives: &[Drive]) -> Vec<Drive> {
        let heats = |d: &&Drive| {
            self.starts[d.output].iter().any(|s| !s.moves && s.at_work_w > HEATER_FROM_W)
                && self.starts[d.output].len() == 1
        };
        drives.iter().filter(|d| !heats(d)).cloned().collect()
    }

    /// What a step of nothing shows now: the display after the test has ended.
    pub(crate) fn look(&mut self) -> Prediction {
        let (modes, _) = self.modes();
        let mut state = self.state.clone();
        self.rig.run(&Step { shows_code: true, ..plain_step(Vec::new(), 1.0) }, &modes, &mut state)
    }
}

/// Two parts of one step: what was seen in either was seen.
fn joined(before: Prediction, after: Prediction) -> Prediction {
    let mut signs = [before.signs, after.signs].concat();
    signs.sort_unstable();
    signs.dedup();
    let mut refused = [before.refused, after.refused].concat();
    refused.sort_unstable();
    refused.dedup();
    let one_way = before.one_way || after.one_way;
    Prediction { signs, refused, one_way, ..after }
}
