//! Motor: turns of a reversing drum, the spins between rinses, and the final spin.

use std::ops::Range;

use super::heater::LAG_S;
use super::rows::{Rows, quantile};
use super::run_up::{RunUp, run_up};

/// A spin.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Spin {
    /// The drum leaves distribution speed for good, in seconds.
    pub start_s: f64,
    /// Row with the highest power, in seconds.
    pub peak_s: f64,
    /// First row after it, in seconds.
    pub end_s: f64,
    /// Highest power, in watts.
    pub peak_w: f64,
    /// Median of the last third, in watts.
    pub plateau_w: f64,
}

impl Spin {
    pub(crate) fn over(self, base_w: f64) -> Self {
        Self { peak_w: self.peak_w + base_w, plateau_w: self.plateau_w + base_w, ..self }
    }
}

/// One turn of a reversing drum, or any load as short.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Pulse {
    /// First row of it, in seconds.
    pub start_s: f64,
    /// First row off it, in seconds.
    pub end_s: f64,
    /// Highest power over what ran under it, in watts.
    pub rise_w: f64,
    /// Median power over what ran under it, in watts.
    pub power_w: f64,
}

/// Longest turn of a reversing drum, in seconds.
const TURN_S: f64 = 30.0;
/// Shortest final spin, in seconds.
const SPIN_S: f64 = 45.0;
/// Least share of the highest held level that a turn draws: a light load turns for about a tenth of what it spins for.
const LEAST_TURN: f64 = 0.05;
/// Heating after the last spin for at least this long is drying, in seconds.
const DRYING_S: f64 = 900.0;
/// What starts within this time of the heater's end ran with it, in seconds.
const AFTER_HEATER_S: f64 = 20.0;
/// Rinse spins together hold the final spin's level at most this many times as long as it does; a pump or fan that runs
/// through the programme holds its level longer.
const ELSEWHERE: f64 = 2.0;
/// Turns that a run must have before a spin to be a washing machine's.
const TURNS: usize = 12;
/// Shortest pause of a reversing drum, in seconds: 3 s (common practice, no source).
pub(crate) const PAUSE_S: f64 = 3.0;

/// A run with what is on for longer than a turn, heaters taken out.
pub(crate) struct Motor {
    /// Power without the heater's intervals (held at the level before them).
    pub(crate) free_w: Vec<f64>,
    /// The same without rises as short as turns.
    pub(crate) held_w: Vec<f64>,
    /// Turns outside heater intervals.
    pub(crate) pulses: Vec<Pulse>,
}

/// Splits a run's power without its heater into what is held and what turns.
pub(crate) fn motor(rows: &Rows, heater: &[Range<usize>], meter_step_w: f64) -> Motor {
    let mut free_w = rows.calm_w.clone();
    for on in heater {
        let (from, to) = whole_edges(rows, on);
        let level =
            if from >= 1 { free_w[from - 1].min(free_w.get(to).copied().unwrap_or(0.0)) } else { 0.0 };
        free_w[from..to].fill(level);
    }
    let width_s = TURN_S.max(3.5 * rows.step_s);
    let held_w = super::rows::without_short_rises(&rows.time_s, &free_w, width_s);
    let held_top = quantile(&held_w, 0.99);
    let least = (LEAST_TURN * held_top).max(4.0 * meter_step_w).max(2.0);
    let pulses = pulses(rows, &free_w, &held_w, least);
    Motor { free_w, held_w, pulses }
}

/// A heater interval with its edges whole: a row at each end, and what still rises to it and falls from it, as a meter
/// shows it that averages or lags.
fn whole_edges(rows: &Rows, on: &Range<usize>) -> (usize, usize) {
    let w = &rows.calm_w;
    let (mut from, mut to) = (on.start.saturating_sub(1), (on.end + 1).min(rows.len()));
    while from > 0 && w[from - 1] < w[from] && rows.time_s[on.start] - rows.time_s[from] < LAG_S {
        from -= 1;
    }
    while to < rows.len() && w[to] < w[to - 1] && rows.time_s[to] - end_s(rows, on.end) < LAG_S {
        to += 1;
    }
    (from, to)
}

fn pulses(rows: &Rows, free_w: &[f64], held_w: &[f64], least_w: f64) -> Vec<Pulse> {
    let mut found = Vec::new();
    let mut start = None;
    for i in 0..=rows.len() {
        let over = i < rows.len() && free_w[i] - held_w[i] > least_w;
        match (start, over) {
            (None, true) => start = Some(i),
            (Some(from), false) => {
                let rises: Vec<f64> = (from..i).map(|k| free_w[k] - held_w[k]).collect();
                found.push(Pulse {
                    start_s: rows.time_s[from],
                    end_s: super::heater::end_s(rows, i),
                    rise_w: rises.iter().copied().fold(0.0, f64::max),
                    power_w: quantile(&rises, 0.5),
                });
                start = None;
            }
            _ => {}
        }
    }
    found
}

/// Height that most turns keep under, 0 where there are too few to be a drum's.
pub(crate) fn turning_w(pulses: &[Pulse]) -> f64 {
    if pulses.len() < TURNS {
        return 0.0;
    }
    quantile(&pulses.iter().map(|p| p.power_w).collect::<Vec<_>>(), 0.75)
}

/// The last stretch that keeps at least half the highest power held without a heater, where a drum turned before it
/// and it is not the end of heating.
///
/// Heating after it is allowed only where it is as long as drying: a washing machine does not heat after its last spin.
pub(crate) fn final_spin(
    rows: &Rows,
    motor: &Motor,
    heater: &[Range<usize>],
    meter_step_w: f64,
) -> Option<Spin> {
    let top = motor.held_w.iter().copied().fold(0.0, f64::max);
    if top < 15.0 * meter_step_w.max(0.2) {
        return None;
    }
    let mut end = rows.len();
    loop {
        end = motor.held_w[..end].iter().rposition(|&w| w >= 0.5 * top)? + 1;
        let first = motor.held_w[..end].iter().rposition(|&w| w < 0.5 * top).map_or(0, |i| i + 1);
        let heated_after_s: f64 =
            heater.iter().filter(|on| on.start >= first).map(|on| duration_s(rows, on)).sum();
        if heated_after_s > 0.0 && heated_after_s < DRYING_S {
            return None;
        }
        if let Some(spin) = spin_at(rows, motor, heater, first..end) {
            return Some(spin);
        }
        if heater.iter().all(|on| on.start >= first) {
            return None;
        }
        end = first;
    }
}

fn duration_s(rows: &Rows, on: &Range<usize>) -> f64 {
    end_s(rows, on.end) - rows.time_s[on.start]
}

fn spin_at(rows: &Rows, motor: &Motor, heater: &[Range<usize>], held: Range<usize>) -> Option<Spin> {
    let first_s = rows.time_s[held.start];
    let heats = |on: &Range<usize>| on.start < held.end && end_s(rows, on.end) + AFTER_HEATER_S >= first_s;
    if heater.iter().any(heats) || end_s(rows, held.end) - first_s < SPIN_S {
        return None;
    }
    let before: Vec<Pulse> = motor.pulses.iter().filter(|p| p.start_s < first_s).copied().collect();
    let on_top: usize = heater
        .iter()
        .filter(|on| on.end <= held.start)
        .map(|on| super::own::turns_on_top(rows, on, heater))
        .sum();
    let spin = measure(rows, leaves_distribution(rows, motor, held.start)..held.end);
    let usual_s = elsewhere_s(rows, motor, &held, 0.8 * spin.plateau_w);
    // Rows nearly as far apart as a pause is long miss turns, and take turns in a row for a held level.
    let missed = (rows.step_s / PAUSE_S).clamp(1.0, 4.0);
    let rare = usual_s <= missed * ELSEWHERE * (spin.end_s - spin.start_s)
        || missed > 1.0 && runs_down(rows, &held) && final_run_up(rows, &spin).is_some_and(|up| up.rises());
    (rare
        && (before.len() + on_top) as f64 >= TURNS as f64 / missed
        && spin.plateau_w >= 0.7 * turning_w(&before))
    .then_some(spin)
}

fn end_s(rows: &Rows, end: usize) -> f64 {
    super::heater::end_s(rows, end)
}

/// Least share of the final spin's level that a spin between rinses holds.
const INTERIM: f64 = 0.4;
/// A spin draws at least this many times what nine of ten turns of the drum keep under, or rises from distribution.
const OVER_TURNS: f64 = 1.25;
/// After a spin the drum runs down: nothing turns for this long, in seconds.
const RUNS_DOWN_S: f64 = 20.0;
/// Until then at most this share of the spin's power is left, for a pump.
const LEFT: f64 = 0.35;
/// Less than this share of what a spin draws early on is a drum that does not turn, and a pump at most.
const PAUSED: f64 = 0.28;
/// What comes before a spin is looked at from here on, in seconds.
const BEFORE_S: f64 = 75.0;

/// Spins before the final one: held like a spin, with a run-up in it, and nothing but a pump while the drum runs down
/// after it. A drum that turns one way for a minute has neither run-up nor run-down. One that spins at the speed of
/// distribution draws no more than then and is not found.
pub(crate) fn interim_spins(
    rows: &Rows,
    motor: &Motor,
    heater: &[Range<usize>],
    last: &Spin,
) -> Vec<(Spin, RunUp)> {
    let stop = rows.between(f64::NEG_INFINITY, last.start_s).end;
    let turning_w = quantile(&motor.pulses.iter().map(|p| p.power_w).collect::<Vec<_>>(), 0.9);
    let least = INTERIM * last.plateau_w;
    let mut found = Vec::new();
    let mut from = 0;
    for held in motor.held_w[..stop].chunk_by(|a, b| (*a >= least) == (*b >= least)) {
        let range = from..from + held.len();
        from = range.end;
        if held[0] >= least && range.end < stop {
            found.extend(interim(rows, range, heater, turning_w));
        }
    }
    found
}

fn interim(
    rows: &Rows,
    held: Range<usize>,
    heater: &[Range<usize>],
    turning_w: f64,
) -> Option<(Spin, RunUp)> {
    let (first_s, stop_s) = (rows.time_s[held.start], end_s(rows, held.end));
    let heats = |on: &Range<usize>| on.start < held.end && end_s(rows, on.end) + AFTER_HEATER_S >= first_s;
    if stop_s - first_s < SPIN_S || heater.iter().any(heats) || !runs_down(rows, &held) {
        return None;
    }
    let over_w = OVER_TURNS * turning_w;
    // Where the stretch begins above what turns draw, what it rose from lies before it.
    let within = run_up(rows, held.clone()).filter(|up| up.rises() && up.from_w < over_w);
    let up = within.or_else(|| {
        let before = rows.between(first_s - BEFORE_S, first_s).start;
        let free = heater.iter().map(|on| on.end + 1).filter(|end| *end <= held.start).max().unwrap_or(0);
        run_up(rows, before.max(free)..held.end).filter(|up| up.to_w >= over_w)
    })?;
    let start = rows.between(up.start_s, f64::INFINITY).start.min(held.end - 1);
    Some((measure(rows, start..held.end), up))
}

/// Nothing but a pump while the drum runs down after a stretch.
fn runs_down(rows: &Rows, held: &Range<usize>) -> bool {
    let stop_s = end_s(rows, held.end);
    let down = rows.between(stop_s, stop_s + RUNS_DOWN_S.max(3.0 * rows.step_s));
    let level = quantile(&rows.calm_w[held.clone()], 0.5);
    !down.is_empty() && quantile(&rows.calm_w[down], 0.75) <= LEFT * level
}

/// The run-up of a final spin.
pub(crate) fn final_run_up(rows: &Rows, spin: &Spin) -> Option<RunUp> {
    let spun = rows.between(spin.start_s, spin.end_s);
    run_up(rows, spun.start.saturating_sub(1)..spun.end)
}

/// Seconds for which a level is held outside a stretch.
fn elsewhere_s(rows: &Rows, motor: &Motor, stretch: &Range<usize>, level_w: f64) -> f64 {
    (0..rows.len().saturating_sub(1))
        .filter(|i| !stretch.contains(i) && motor.held_w[*i] >= level_w)
        .map(|i| (rows.time_s[i + 1] - rows.time_s[i]).min(60.0))
        .sum()
}

/// Walks back from where the spin has half its power to the last row at distribution speed: the level held by the drum
/// as it turned without a pause before that.
fn leaves_distribution(rows: &Rows, motor: &Motor, first: usize) -> usize {
    let window = rows.between(rows.time_s[first] - BEFORE_S, rows.time_s[first]);
    let paused_w = PAUSED * motor.free_w[first];
    let paused = motor.free_w[window.clone()].iter().rposition(|w| *w < paused_w);
    let from = paused.map_or(window.start, |k| window.start + k + 1);
    let distribution = quantile(&motor.free_w[from..first], 0.2);
    motor.free_w[from..first]
        .iter()
        .rposition(|&w| w <= 1.15 * distribution)
        .map_or(from, |k| from + k + 1)
        .min(first)
}

fn measure(rows: &Rows, range: Range<usize>) -> Spin {
    let peak =
        range.clone().max_by(|&a, &b| rows.power_w[a].total_cmp(&rows.power_w[b])).unwrap_or(range.start);
    let (start_s, end_s) = (rows.time_s[range.start], end_s(rows, range.end));
    // Up to the last row on: the end can lie in a gap.
    let last_s = rows.time_s[range.end - 1];
    let last_third = rows.between(start_s + (last_s - start_s) * 2.0 / 3.0, last_s);
    Spin {
        start_s,
        peak_s: rows.time_s[peak],
        end_s,
        peak_w: rows.power_w[peak],
        plateau_w: quantile(&rows.power_w[last_third], 0.5),
    }
}
