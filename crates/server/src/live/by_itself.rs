//! A made-up machine worked without a hand: its button is pressed when each step has had its time.

use crate::desk::Desk;
use crate::problem::Problem;
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
    pub(crate) async fn work(&self, desk: &Arc<Desk>, id: SocketId, step: usize) -> Result<(), Problem> {
        if self.stopped(id) {
            return Ok(());
        }
        let Some(Source::Simulator(made_up)) = desk.capture.config(id).map(|c| c.source) else {
            return Err(super::no_button());
        };
        let speed = made_up.speed;
        let waits = desk
            .work(move || {
                let text = std::fs::read_to_string(&made_up.machine).ok()?;
                let machine = machine::read::read(&text, None).machine?;
                let faults: Vec<&str> = made_up.faults.iter().map(String::as_str).collect();
                let hypothesis = Hypothesis::parse(&machine, &faults).ok()?;
                Some(waits(&machine, &hypothesis))
            })
            .await?
            .ok_or_else(super::no_button)?;
        let pressed = desk.capture.pressed(id);
        let before = BEFORE_S.len();
        let to_come =
            move |n: usize, at: usize| if n < before { n >= pressed } else { pressed < before || at >= step };
        let waits = waits.into_iter().enumerate().filter(move |(n, (at, _))| to_come(*n, *at));
        let hand = hand(desk.clone(), id, waits.map(move |(_, (_, wait_s))| wait_s / speed).collect());
        let mut all = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(other) = all.insert(id, tokio::spawn(hand).abort_handle()) {
            other.abort();
        }
        Ok(())
    }

    /// Takes the hand off a machine that works by itself; false where none does.
    fn stopped(&self, id: SocketId) -> bool {
        let mut all = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        let task = all.remove(&id).filter(|task| !task.is_finished());
        task.inspect(AbortHandle::abort).is_some()
    }
}

/// Presses after each of these waits, s, as soon as the button is taken; ends where the socket has no button any more.
async fn hand(desk: Arc<Desk>, id: SocketId, waits: Vec<f64>) {
    for wait_s in waits {
        tokio::time::sleep(Duration::from_secs_f64(wait_s)).await;
        while !desk.capture.press(id) {
            if !desk.capture.socket(id).is_some_and(|s| s.has_button) {
                return;
            }
            tokio::time::sleep(Duration::from_millis(200)).await;
        }
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

#[cfg(test)]
mod tests {
    use crate::desk::Desk;
    use meters::Config;
    use std::sync::Arc;
    use std::time::Duration;

    #[tokio::test(flavor = "multi_thread")]
    async fn the_hand_is_gone_with_its_socket() {
        let folder = tempfile::tempdir().unwrap();
        let machine = folder.path().join("tern.toml");
        std::fs::write(&machine, include_str!("../../../../machines/aldermere-tern-81.toml")).unwrap();
        let text = format!(
            "format = 1\n[[socket]]\nname = \"loft\"\nkind = \"simulator\"\nmachine = {:?}\nspeed = 60.0\n",
            machine.display().to_string()
        );
        let desk = Arc::new(Desk::open(folder.path(), false).unwrap());
        desk.capture.watch(Config::read(&text).unwrap().sockets).unwrap();
        let id = desk.capture.all()[0].id;
        desk.by_itself.work(&desk, id, 0).await.unwrap();
        assert!(desk.by_itself.is_on(id));
        desk.capture.watch(Vec::new()).unwrap();
        for _ in 0..100 {
            if !desk.by_itself.is_on(id) {
                return;
            }
            tokio::time::sleep(Duration::from_millis(50)).await;
        }
        panic!("it works on without a machine");
    }
}
