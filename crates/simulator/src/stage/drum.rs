//! The drum within a step: running up, turning to and fro, and trying while a guard is patient.

use super::Stage;
use crate::course::Drawn;
use bench::State;
use machine::model::{Drive, Otherwise, OutputId, Step};

/// Where the file states no run-up, a drum gains speed at this rate, rpm/s. Common practice, no source.
const USUAL_RPM_S: f64 = 45.0;

/// The outputs of a step are on within this time, s.
const START_WITHIN_S: f64 = 10.0;

/// Pieces in which a run-up is drawn.
const RUN_UP_PIECES: usize = 8;

/// Where in turning to and fro the drum is.
#[derive(Clone, Copy, Debug)]
pub(super) struct Turning {
    right: bool,
    running: bool,
    left_s: f64,
}

impl Turning {
    /// Starts with a pulse to the right.
    pub(super) fn start(pulse_s: f64) -> Turning {
        Turning { right: true, running: true, left_s: pulse_s }
    }
}

impl Stage<'_> {
    /// Draws so many seconds of driven outputs; gives the outputs that a watching guard took off for good.
    pub(super) fn draw(
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
            // Within the guard's patience a run-up does not come far.
            let (_, ramp_s) = self.ramp(drives, step);
            let share = if ramp_s > 0.0 { (patience_s / ramp_s).min(1.0) } else { 1.0 };
            let slower: Vec<Drive> = drives.iter().map(|d| Drive { rpm: share * d.rpm, ..*d }).collect();
            let tried = self.stirred(&slower, modes, before, false);
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

    /// The speed a drum is driven to, rpm, and how long it takes to come there, s.
    fn ramp(&self, drives: &[Drive], step: &Step) -> (f64, f64) {
        let target = drives.iter().map(|d| d.rpm.abs()).fold(0.0, f64::max);
        (target, self.habits.haste * if step.ramp_s > 0.0 { step.ramp_s } else { target / USUAL_RPM_S })
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
        let (target, ramp_s) = self.ramp(drives, step);
        if target == 0.0 || elapsed_s >= ramp_s {
            return;
        }
        let full = self.stirred(drives, modes, before, false);
        // A motor without its belt runs up too, but has no drum to push.
        let gains = if full.rpm.abs() < 1.0 { 0.0 } else { self.habits.push };
        let still: Vec<Drive> = drives.iter().filter(|d| d.rpm == 0.0).cloned().collect();
        let rest = self.rig.level(&still, modes, before, false).watts;
        let at = |stage: &mut Self, share: f64| -> Drawn {
            let slower: Vec<Drive> =
                drives.iter().map(|d| Drive { rpm: d.rpm * share.max(0.03), ..*d }).collect();
            let level = stage.stirred(&slower, modes, before, false);
            let mut drawn = Drawn::from(&level);
            drawn.watts += gains * share * (level.watts - rest).max(0.0);
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
            let push = gains * (full.watts - rest).max(0.0);
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
}
