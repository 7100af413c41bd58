//! A made-up machine worked without a hand: its button is pressed when each step has had its time.

use crate::desk::Desk;
use bench::{Conditions, Hypothesis};
use machine::model::GoesOn;
use meters::Source;
use records::SocketId;
use std::collections::HashMap;
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;
use tokio::task::AbortHandle;

/// Off, and switched on, before the test is entered, s.
const BEFORE_S: [f64; 2] = [4.0, 8.0];
/// Longer than a step takes by the file, s: tap and pump are not exactly those of the file.
const SLACK_S: f64 = 4.0;

/// The made-up machines that work by themselves.
#[derive(Default)]
pub(crate) struct ByItself(Mutex<HashMap<SocketId, AbortHandle>>);

impl ByItself {
    pub(crate) fn is_on(&self, id: SocketId) -> bool {
        let all = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        all.get(&id).is_some_and(|task| !task.is_finished())
    }

    /// Starts in this step, or stops where it works already. A machine that was not pressed yet stands switched off, whatever a
    /// trace shows of the time before: it is switched on and the test entered first.
    ///
    /// # Errors
    /// Where there is no made-up machine on this socket, or its file cannot be read.
    pub(crate) fn work(&self, desk: &Arc<Desk>, id: SocketId, step: usize) -> Result<(), ()> {
        let mut all = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(task) = all.remove(&id).filter(|task| !task.is_finished()) {
            task.abort();
            return Ok(());
        }
        let Some(Source::Simulator(made_up)) = desk.capture.config(id).map(|c| c.source) else {
            return Err(());
        };
        let text = std::fs::read_to_string(&made_up.machine).map_err(drop)?;
        let machine = machine::read::read(&text, None).machine.ok_or(())?;
        let faults: Vec<&str> = made_up.faults.iter().map(String::as_str).collect();
        let hypothesis = Hypothesis::parse(&machine, &faults).map_err(drop)?;
        let waits = waits(&machine, &hypothesis);
        let (desk, speed) = (desk.clone(), made_up.speed);
        let pressed = desk.capture.pressed(id);
        let before = BEFORE_S.len();
        let to_come =
            move |n: usize, at: usize| if n < before { n >= pressed } else { pressed < before || at >= step };
        let task = tokio::spawn(async move {
            for (_, (_, wait_s)) in waits.into_iter().enumerate().filter(|(n, (at, _))| to_come(*n, *at)) {
                tokio::time::sleep(Duration::from_secs_f64(wait_s / speed)).await;
                while !desk.capture.press(id) {
                    tokio::time::sleep(Duration::from_millis(200)).await;
                }
            }
        });
        all.insert(id, task.abort_handle());
        Ok(())
    }
}

/// Each press: the step that it ends (the first for those before the test), and the seconds before it.
fn waits(machine: &machine::model::Machine, hypothesis: &Hypothesis) -> Vec<(usize, f64)> {
    let predicted = bench::predict(machine, hypothesis, &Conditions::at(machine.plate.supply_v));
    let mut waits: Vec<(usize, f64)> = BEFORE_S.iter().map(|s| (0, *s)).collect();
    let mut since = 0.0;
    for (at, (step, p)) in machine.test.steps.iter().zip(&predicted).enumerate() {
        let by_press = matches!(step.goes_on, GoesOn::Press(_)) && step.until.is_none();
        since += if by_press { step.lasts_s } else { p.lasts_s } + SLACK_S;
        if by_press {
            waits.push((at, since));
            since = 0.0;
        }
    }
    waits
}
