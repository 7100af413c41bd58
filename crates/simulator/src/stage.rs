//! A step played: what comes on when, how it starts, and how long a guard lets it try.

use crate::course::{Course, Drawn};
use crate::dice::Dice;
use crate::fitful::{Fitful, guises};
use crate::rig::{Level, Rig, plain_step};
use crate::starts::{Start, kicks, starts};
use bench::{Conditions, Hypothesis, Prediction, State};
use machine::model::{Drive, Machine, Otherwise, OutputId, Step};

/// Longest stretch that is taken from the bench in one piece, s: temperature and level move on between.
const CHUNK_S: f64 = 30.0;

/// A load without moving parts that takes more than this heats, W. Common practice, no source.
const HEATER_FROM_W: f64 = 300.0;

/// The outputs of a step are on within this time, s.
const START_WITHIN_S: f64 = 10.0;

/// Pieces in which a run-up is drawn.
const RUN_UP_PIECES: usize = 8;

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

/// Where in turning to and fro the drum is.
#[derive(Clone, Copy, Debug)]
struct Turning {
    right: bool,
    running: bool,
    left_s: f64,
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
        let turning = Turning { right: true, running: true, left_s: habits.pulse_s };
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
        let mut prediction = self.rig.run(&Step { ..step.clone() }, &modes, &mut self.state.clone());
        if step.until.is_some() && !prediction.timed_out && prediction.lasts_s == 0.0 {
            prediction = self.rig.run(step, &modes, &mut self.state);
            self.idle(self.habits.gap_s);
            return Played { start_s, end_s: self.course.now_s, prediction };
        }
        self.enter(&step.drives, end);
        let entered_s = self.course.now_s;
        let mut barred: Vec<OutputId> = Vec::new();
        self.turning = Turning { right: true, running: true, left_s: self.habits.pulse_s };
        while self.course.now_s < end - 1e-6 {
            let (modes, until) = self.modes();
            let here = self.course.now_s;
            let length = (end - here).min(CHUNK_S).min((until - here).max(1e-3));
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
            prediction = Prediction { step: step.id.clone(), ..p };
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

    /// Draws so many seconds of driven outputs; gives the outputs that a watching guard took off for good.
    fn draw(
        &mut self,
        drives: &[Drive],
        seconds: f64,
        before: &State,
        modes: &[Option<usize>],
        step: &Step,
        elapsed_s: f64,
    ) -> Vec<OutputId> {
        if drives.iter().any(|d| d.both_ways) {
            return self.turn_to_and_fro(drives, seconds, before, modes);
        }
        let settled = self.stirred(drives, modes, before, true);
        let tried = self.stirred(drives, modes, before, false);
        let stopped: Vec<OutputId> =
            settled.refused.iter().copied().filter(|o| !tried.refused.contains(o)).collect();
        let end = self.course.now_s + seconds;
        if stopped.is_empty() {
            self.run_up(drives, before, modes, step, elapsed_s, end);
            self.switch(drives, &settled);
        } else {
            let (patience_s, _) = self.rig.patience(&stopped);
            for _ in 0..=self.dice.below(3) {
                let burst = (patience_s * self.dice.between(0.9, 1.2)).min(end - self.course.now_s);
                self.switch(drives, &tried);
                self.course.hold(&tried, burst);
                let rest = self.dice.between(1.0, 3.0).min(end - self.course.now_s);
                let left: Vec<Drive> =
                    drives.iter().filter(|d| !settled.refused.contains(&d.output)).cloned().collect();
                self.switch(&left, &settled);
                self.course.hold(&settled, rest);
            }
        }
        self.course.hold(&settled, end - self.course.now_s);
        stopped
    }

    /// How long the kick of a starting drum is felt (time constant), s. Common practice, no source.
    fn kick_s(&mut self) -> f64 {
        self.dice.between(0.2, 0.7)
    }

    /// A drum comes up to its speed; more power while it gains speed, less and less after.
    fn run_up(
        &mut self,
        drives: &[Drive],
        before: &State,
        modes: &[Option<usize>],
        step: &Step,
        elapsed_s: f64,
        end: f64,
    ) {
        let target = drives.iter().map(|d| d.rpm.abs()).fold(0.0, f64::max);
        let ramp_s = self.habits.haste * if step.ramp_s > 0.0 { step.ramp_s } else { target / 45.0 };
        if target == 0.0 || elapsed_s >= ramp_s {
            return;
        }
        let full = self.stirred(drives, modes, before, false);
        if full.rpm.abs() < 1.0 {
            return;
        }
        let still: Vec<Drive> = drives.iter().filter(|d| d.rpm == 0.0).cloned().collect();
        let rest = self.rig.level(&still, modes, before, false).watts;
        let at = |stage: &mut Self, share: f64| -> Drawn {
            let slower: Vec<Drive> =
                drives.iter().map(|d| Drive { rpm: d.rpm * share.max(0.03), ..*d }).collect();
            let level = stage.stirred(&slower, modes, before, false);
            let mut drawn = Drawn::from(&level);
            drawn.watts += stage.habits.push * share * (level.watts - rest).max(0.0);
            drawn
        };
        if let Some(drum) = drives.iter().find(|d| d.rpm != 0.0)
            && elapsed_s < START_WITHIN_S
        {
            let slow = at(self, 0.0).watts - rest;
            let tau_s = self.kick_s();
            self.course.surge(drum.output, self.kicks[drum.output] * slow.max(0.0), tau_s);
        }
        let mut from_share = (elapsed_s / ramp_s).clamp(0.0, 1.0);
        let mut from = at(self, from_share);
        self.switch(drives, &full);
        while from_share < 1.0 && self.course.now_s < end - 1e-9 {
            let to_share = (from_share + 1.0 / RUN_UP_PIECES as f64).min(1.0);
            let whole_s = (to_share - from_share) * ramp_s;
            let part_s = whole_s.min(end - self.course.now_s);
            let to_share = from_share + (to_share - from_share) * part_s / whole_s;
            let to = at(self, to_share);
            self.course.line(from, to, part_s);
            (from_share, from) = (to_share, to);
        }
        if from_share >= 1.0
            && let Some(drum) = drives.iter().find(|d| d.rpm != 0.0)
        {
            let push = self.habits.push * (full.watts - rest).max(0.0);
            self.course.surge(drum.output, push, (ramp_s / 5.0).max(0.3));
        }
    }

    /// Pulses one way and the other, with pauses.
    fn turn_to_and_fro(
        &mut self,
        drives: &[Drive],
        seconds: f64,
        before: &State,
        modes: &[Option<usize>],
    ) -> Vec<OutputId> {
        let end = self.course.now_s + seconds;
        let still: Vec<Drive> = drives.iter().filter(|d| !d.both_ways).cloned().collect();
        while self.course.now_s < end - 1e-9 {
            let part_s = self.turning.left_s.min(end - self.course.now_s);
            if self.turning.running {
                let sign = if self.turning.right { 1.0 } else { -1.0 };
                let this_way: Vec<Drive> = drives
                    .iter()
                    .map(|d| Drive { rpm: if d.both_ways { sign * d.rpm } else { d.rpm }, ..*d })
                    .collect();
                let stopped = self.draw_pulse(&this_way, &still, part_s, before, modes);
                if !stopped.is_empty() {
                    let (_, otherwise) = self.rig.patience(&stopped);
                    let left: Vec<Drive> = if otherwise == Otherwise::KeepsOff { still } else { Vec::new() };
                    let level = self.stirred(&left, modes, before, true);
                    self.switch(&left, &level);
                    self.course.hold(&level, end - self.course.now_s);
                    return if otherwise == Otherwise::KeepsOff {
                        stopped
                    } else {
                        drives.iter().map(|d| d.output).collect()
                    };
                }
            } else {
                let level = self.stirred(&still, modes, before, true);
                self.switch(&still, &level);
                self.course.hold(&level, part_s);
            }
            self.turning.left_s -= part_s;
            if self.turning.left_s <= 1e-9 {
                let next = if self.turning.running { self.habits.pause_s } else { self.habits.pulse_s };
                self.turning.left_s = next * self.dice.between(0.96, 1.04);
                self.turning.right ^= !self.turning.running;
                self.turning.running = !self.turning.running;
            }
        }
        Vec::new()
    }

    /// One pulse; gives the outputs that a watching guard took off.
    fn draw_pulse(
        &mut self,
        this_way: &[Drive],
        still: &[Drive],
        seconds: f64,
        before: &State,
        modes: &[Option<usize>],
    ) -> Vec<OutputId> {
        let settled = self.stirred(this_way, modes, before, true);
        let tried = self.stirred(this_way, modes, before, false);
        let stopped: Vec<OutputId> =
            settled.refused.iter().copied().filter(|o| !tried.refused.contains(o)).collect();
        let level = if stopped.is_empty() { &settled } else { &tried };
        self.switch(this_way, level);
        if let Some(drum) = this_way.iter().find(|d| d.both_ways) {
            let rest = self.rig.level(still, modes, before, true).watts;
            let kick = self.kicks[drum.output] * (level.watts - rest).max(0.0);
            let tau_s = self.kick_s();
            self.course.surge(drum.output, kick, tau_s);
        }
        if stopped.is_empty() {
            self.course.hold(&settled, seconds);
        } else {
            let (patience_s, _) = self.rig.patience(&stopped);
            self.course.hold(&tried, patience_s.min(seconds));
        }
        stopped
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
