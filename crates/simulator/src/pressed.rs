//! A service test walked through by whoever presses, at the times of the presses.

use crate::dice::{Dice, Purpose};
use crate::meter::samples;
use crate::record::{Recording, Stretch, conditions};
use crate::rig::unwatched;
use crate::setting::Setting;
use crate::stage::Stage;
use bench::Hypothesis;
use machine::model::{GoesOn, Machine};

/// The recording from time 0 to `until_s` of a machine (best a [`crate::specimen`]) that is pressed at these times, s, in
/// rising order. It is off up to the first press, which switches it on; every other press goes on to the next step, but in
/// a step that goes on by itself a press does nothing. After the last step a press switches it off.
///
/// A later end, and presses after a time, change nothing before that time: so a test can be shown while somebody works
/// it. (One exception: a protection that goes off within a stretch of up to 30 s shows from the stretch's start, and a
/// press within that stretch takes it back.) The operator of the setting does nothing here.
pub fn pressed(
    machine: &Machine,
    hypothesis: &Hypothesis,
    setting: &Setting,
    presses_s: &[f64],
    until_s: f64,
    seed: u64,
) -> Recording {
    let free = unwatched(machine);
    let course = Dice::new(seed, Purpose::Course);
    let stage =
        Stage::new(machine, &free, hypothesis, conditions(setting), setting.intermittent, false, course);
    let mut hand = Hand { stage, presses_s, until_s, truth: Vec::new() };
    hand.work();
    let Hand { stage, mut truth, .. } = hand;
    let mut taken = samples(&stage.course, &setting.meter, &setting.supply, &[], &mut truth, seed);
    taken.retain(|s| s.time_s <= until_s);
    Recording { samples: taken, truth, shown: stage.fitful.shown, ..Recording::default() }
}

struct Hand<'m, 'p> {
    stage: Stage<'m>,
    /// Those still to come.
    presses_s: &'p [f64],
    until_s: f64,
    truth: Vec<Stretch>,
}

impl Hand<'_, '_> {
    fn work(&mut self) {
        self.wait(false);
        let machine = self.stage.rig.machine;
        if self.presses_s.is_empty() {
            return;
        }
        self.press();
        self.wait(true);
        for step in &machine.test.steps {
            let by_press = matches!(step.goes_on, GoesOn::Press(_)) && step.until.is_none();
            if self.over() || self.stage.course.is_dead() || self.stage.state.over {
                break;
            }
            // What was pressed while a step went on by itself.
            self.forget_presses();
            let start_s = self.stage.course.now_s;
            let cut_s = by_press.then(|| self.next_s() - start_s);
            self.stage.play(step, cut_s);
            let end_s = self.stage.course.now_s;
            self.truth.push(Stretch { step: Some(step.id.clone()), start_s, end_s, energy_j: 0.0 });
            if by_press {
                self.press();
            }
        }
        if !self.over() {
            self.forget_presses();
            self.wait(true);
            self.press();
            self.presses_s = &[];
            self.wait(false);
        }
    }

    /// When the next press comes, or the end.
    fn next_s(&self) -> f64 {
        self.presses_s.first().copied().unwrap_or(f64::INFINITY).min(self.until_s)
    }

    fn over(&self) -> bool {
        self.stage.course.now_s >= self.until_s - 1e-9
    }

    fn press(&mut self) {
        self.presses_s = self.presses_s.get(1..).unwrap_or_default();
    }

    /// Drops the presses that came before now.
    fn forget_presses(&mut self) {
        // What ended the last stretch came at its end, but for rounding.
        let now_s = self.stage.course.now_s + 1e-6;
        while self.presses_s.first().is_some_and(|&at_s| at_s <= now_s) {
            self.press();
        }
    }

    /// Off or on without a step, up to the next press.
    fn wait(&mut self, on: bool) {
        let start_s = self.stage.course.now_s;
        let seconds = self.next_s() - start_s;
        if seconds <= 0.0 {
            return;
        }
        if on {
            self.stage.idle(seconds);
        } else {
            self.stage.off(seconds);
        }
        let end_s = self.stage.course.now_s;
        self.truth.push(Stretch { step: None, start_s, end_s, energy_j: 0.0 });
    }
}
