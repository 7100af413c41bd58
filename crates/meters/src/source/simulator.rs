//! A made-up machine on a made-up meter.

use super::played::Player;
use super::{Ear, Heard, unheard};
use crate::MeterError;
use crate::config::Simulator;
use bench::Hypothesis;
use jiff::Timestamp;
use machine::diagnostic::{Severity, line_column};
use machine::model::Machine;
use machine::read::LARGEST_FILE;
use simulator::{Setting, pressed, record, specimen};
use std::io::Read as _;
use std::path::Path;
use std::sync::Arc;
use std::time::Duration;
use tokio::sync::mpsc;
use tokio::task::spawn_blocking;
use tokio::time::sleep_until;
use trace::Sample;

/// How far ahead of the last press a machine worked by hand is worked out at first, s; then twice as far.
const AHEAD_S: f64 = 300.0;

/// A machine that nobody presses for so long has been forgotten, s.
const FORGOTTEN_S: f64 = 12.0 * 3600.0;

pub(crate) async fn session(
    made_up: &Simulator,
    presses: Option<&mut mpsc::Receiver<()>>,
    ear: &Ear,
) -> MeterError {
    let config = made_up.clone();
    let stand = match spawn_blocking(move || Stand::set_up(&config)).await {
        Ok(Ok(stand)) => Arc::new(stand),
        Ok(Err(error)) => return error,
        Err(_) => return not_run(),
    };
    let pace = Duration::from_secs_f64(stand.setting.meter.every_s / made_up.speed);
    if ear.send(Heard::Pace(pace)).await.is_err() {
        return unheard();
    }
    match presses {
        None => by_itself(stand, made_up.speed, ear).await,
        Some(presses) => by_hand(stand, made_up.speed, presses, ear).await,
    }
}

/// A machine with its faults in a kitchen.
struct Stand {
    machine: Machine,
    hypothesis: Hypothesis,
    setting: Setting,
    seed: u64,
}

impl Stand {
    fn set_up(config: &Simulator) -> Result<Stand, MeterError> {
        let machine = load(&config.machine)?;
        let hypothesis =
            Hypothesis::parse(&machine, &config.faults).map_err(|e| MeterError::new(e.message, e.remedy))?;
        let setting = Setting { meter: config.meter.clone(), ..Setting::kitchen(machine.plate.supply_v) };
        Ok(Stand { machine: specimen(&machine, config.seed), hypothesis, setting, seed: config.seed })
    }
}

fn load(path: &Path) -> Result<Machine, MeterError> {
    let shown = path.display();
    let mut text = String::new();
    let file = std::fs::File::open(path);
    file.and_then(|f| f.take(LARGEST_FILE as u64 + 1).read_to_string(&mut text)).map_err(|e| {
        MeterError::new(format!("{shown} cannot be read: {e}"), "name a machine file with `machine`")
    })?;
    let outcome = machine::read::read(&text, None);
    outcome.machine.ok_or_else(|| {
        let first = outcome.diagnostics.iter().find(|d| d.severity == Severity::Error);
        let what = first.map_or_else(String::new, |d| {
            format!(": line {}: {}", line_column(&text, d.span.start).0, d.message)
        });
        MeterError::new(
            format!("{shown} is no machine file that can be used{what}"),
            format!("`wattmend machine check {shown}` finds everything that is wrong in it"),
        )
    })
}

fn not_run() -> MeterError {
    MeterError::new("the simulation could not be run", "try another fault or another machine file")
}

/// Walks through the service test; after its end the meter goes on reading the machine that was switched off.
async fn by_itself(stand: Arc<Stand>, speed: f64, ear: &Ear) -> MeterError {
    let every_s = stand.setting.meter.every_s;
    let recorded =
        spawn_blocking(move || record(&stand.machine, &stand.hypothesis, &stand.setting, stand.seed)).await;
    let Ok(recording) = recorded else { return not_run() };
    let player = Player::start(speed, Timestamp::now());
    for sample in &recording.samples {
        if !player.give(sample, ear).await {
            return unheard();
        }
    }
    let Some(mut last) = recording.samples.last().copied() else { return not_run() };
    loop {
        last.time_s += every_s;
        if !player.give(&last, ear).await {
            return unheard();
        }
    }
}

/// Goes from step to step as the presses come.
async fn by_hand(stand: Arc<Stand>, speed: f64, presses: &mut mpsc::Receiver<()>, ear: &Ear) -> MeterError {
    let player = Player::start(speed, Timestamp::now());
    let mut pressed_s: Vec<f64> = Vec::new();
    let mut given_s = f64::NEG_INFINITY;
    let mut ahead_s = AHEAD_S;
    while ahead_s <= FORGOTTEN_S {
        let until_s = pressed_s.last().copied().unwrap_or_default() + ahead_s;
        let Some(samples) = worked_out(&stand, &pressed_s, until_s).await else { return not_run() };
        // Samples taken before the press but not yet given are of the course before it, which is the same.
        let mut next = samples.partition_point(|s| s.time_s <= given_s);
        let was_pressed = loop {
            let due = player.due(samples.get(next).map_or(until_s, |s| s.time_s));
            tokio::select! {
                biased;
                // Once the handle is gone nobody can press any more, and the machine just goes on.
                Some(()) = presses.recv() => break true,
                () = sleep_until(due) => {
                    let Some(sample) = samples.get(next) else { break false };
                    (next, given_s) = (next + 1, sample.time_s);
                    if !player.give(sample, ear).await {
                        return unheard();
                    }
                }
            }
        };
        if was_pressed {
            pressed_s.push(player.now_s());
            ahead_s = AHEAD_S;
        } else {
            ahead_s *= 2.0;
        }
    }
    MeterError::new("nobody pressed for hours, and the simulation was ended", "it starts again by itself")
}

async fn worked_out(stand: &Arc<Stand>, presses_s: &[f64], until_s: f64) -> Option<Vec<Sample>> {
    let (stand, presses_s) = (Arc::clone(stand), presses_s.to_vec());
    let work = move || {
        pressed(&stand.machine, &stand.hypothesis, &stand.setting, &presses_s, until_s, stand.seed).samples
    };
    spawn_blocking(work).await.ok()
}
