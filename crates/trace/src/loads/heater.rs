//! Heater intervals: the largest load that lasts, with sharp edges and a flat top, whatever turns on top of it.

use std::ops::Range;

use super::own::{beside, level, turning_beside};
use super::rows::{Rows, quantile};
use crate::cut::{Charge, cut};

/// One stage of a heater with several elements.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Stage {
    /// First row at this stage, in seconds.
    pub start_s: f64,
    /// First row off it, in seconds.
    pub end_s: f64,
    /// The heater's own watts at this stage.
    pub power_w: f64,
}

/// A heater that was on.
#[derive(Debug, Clone, PartialEq)]
pub struct HeaterOn {
    /// First row at the level, in seconds.
    pub start_s: f64,
    /// First row off it, in seconds.
    pub end_s: f64,
    /// The heater's own watts, all that ran beside it taken off. Of the stage with the most energy where there are several.
    pub power_w: f64,
    /// Ohms at the voltage of the recording, where one is known: U²/P.
    pub resistance_ohm: Option<f64>,
    /// Stages in order; empty for a heater with one level.
    pub stages: Vec<Stage>,
}

/// The heater's least part of the highest level held, to count as on.
const ON: f64 = 0.45;
/// Least part of the highest level held that a smaller element of the heater draws; motors stay under it.
const LOW_STAGE: f64 = 0.28;
/// How long a level must be held to be taken for the heater's, in seconds.
const LASTING_S: f64 = 20.0;
/// From this time between its neighbours on, in seconds, a single row off is a break.
const LONE_S: f64 = 12.0;
/// Intervals with a break up to this are one phase of heating, in seconds.
const PHASE_S: f64 = 10.0;
/// A meter shows a step in full within this time, in seconds; twice a second is usual, some average over 3 s (common
/// practice, no source).
pub(crate) const LAG_S: f64 = 6.0;
/// A heater draws at least this many times what the motor's turns draw.
const OVER_MOTOR: f64 = 4.5;
/// No element made for heating in these machines draws less, in watts; also 25 steps of the meter at least. They draw
/// 450 W to 3000 W (from memory), pumps and fans up to 120 W.
const LEAST_W: f64 = 150.0;

/// Heater intervals of a run, as rows.
pub(crate) fn intervals(rows: &Rows, pulse_w: f64, meter_step_w: f64) -> Vec<Range<usize>> {
    if rows.len() < 4 {
        return Vec::new();
    }
    let step_s = rows.step_s.max(1e-3);
    let held_rows = ((LASTING_S / step_s).ceil() as usize).clamp(3, rows.len() - 1);
    let top_w = quantile(&rows.calm_w, 1.0 - held_rows as f64 / rows.len() as f64);
    if top_w < LEAST_W.max(25.0 * meter_step_w) {
        return Vec::new();
    }
    let on_w = ON * top_w;
    let found = above(rows, on_w);
    let levels: Vec<f64> =
        found.iter().filter(|on| lasting(rows, on)).map(|on| level(rows, on.clone(), 0.0).power_w).collect();
    if levels.is_empty() {
        return Vec::new();
    }
    let heater_w = quantile(&levels, 0.5);
    if heater_w < OVER_MOTOR * pulse_w {
        return Vec::new();
    }
    let found: Vec<_> = found.into_iter().filter(|on| belongs(rows, on, heater_w)).collect();
    let found = with_low_stages(rows, &found, LOW_STAGE * top_w);
    let strong: Vec<bool> = read(rows, &found, None).iter().map(|on| on.power_w >= LEAST_W).collect();
    found.into_iter().zip(strong).filter_map(|(on, strong)| strong.then_some(on)).collect()
}

/// Stretches whose calmed power is at least `on_w`, edges set on the rows themselves.
fn above(rows: &Rows, on_w: f64) -> Vec<Range<usize>> {
    let mut found = Vec::new();
    let mut start = None;
    for i in 0..=rows.len() {
        let on = i < rows.len() && rows.calm_w[i] >= on_w && !lone_break(rows, i, on_w);
        match (start, on) {
            (None, true) => start = Some(i),
            (Some(from), false) => {
                found.push(on_rows(rows, from..i, on_w));
                start = None;
            }
            _ => {}
        }
    }
    found
}

/// Joins to each interval the stretches next to it on which a smaller element alone may have been on: flat, lasting, and
/// above what a motor draws.
fn with_low_stages(rows: &Rows, found: &[Range<usize>], low_w: f64) -> Vec<Range<usize>> {
    let stage = |part: &Range<usize>| {
        part.len() >= 3
            && duration(rows, part) >= LASTING_S
            && rows.calm_w[part.clone()].iter().all(|w| *w >= low_w)
            && flat(rows, part)
    };
    let mut joined: Vec<Range<usize>> = Vec::new();
    for (k, on) in found.iter().enumerate() {
        let floor = joined.last().map_or(0, |last| last.end);
        let low =
            rows.calm_w[floor..on.start].iter().rposition(|w| *w < low_w).map_or(floor, |i| floor + i + 1);
        let ceiling = found.get(k + 1).map_or(rows.len(), |next| next.start);
        let high =
            rows.calm_w[on.end..ceiling].iter().position(|w| *w < low_w).map_or(ceiling, |i| on.end + i);
        let start = if stage(&(low..on.start)) { low } else { on.start };
        let end = if stage(&(on.end..high)) { high } else { on.end };
        match joined.last_mut() {
            Some(last) if start == last.end => last.end = end,
            _ => joined.push(start..end),
        }
    }
    joined
}

/// A single row fully down is a late one where rows come fast, and a break where they come seldom.
fn lone_break(rows: &Rows, i: usize, on_w: f64) -> bool {
    i > 0
        && i + 1 < rows.len()
        && rows.power_w[i] < 0.5 * on_w
        && rows.time_s[i + 1] - rows.time_s[i - 1] >= LONE_S
}

/// The calmed edge can be a row off: a change shows in the first row of its moment that has it.
fn on_rows(rows: &Rows, calm: Range<usize>, on_w: f64) -> Range<usize> {
    let Range { mut start, mut end } = calm;
    if start > 0 && rows.other_w[start - 1] >= on_w {
        start -= 1;
    }
    if end > start + 1 && rows.other_w[end - 1] < on_w {
        end -= 1;
    }
    start..end
}

fn duration(rows: &Rows, on: &Range<usize>) -> f64 {
    rows.time_s[on.end.min(rows.len() - 1)] - rows.time_s[on.start]
}

/// Long enough, with the edge and the top of a heater.
fn lasting(rows: &Rows, on: &Range<usize>) -> bool {
    duration(rows, on) >= LASTING_S && on.len() >= 3 && sharp(rows, on) && flat(rows, on)
}

/// A heater is at its level within three rows of being off, or within what a meter lags; a spin ramps.
fn sharp(rows: &Rows, on: &Range<usize>) -> bool {
    let level = quantile(&rows.power_w[on.clone()], 0.5);
    let before = on.start.saturating_sub(2);
    let lagged = rows.between(rows.time_s[on.start], rows.time_s[on.start] + LAG_S).end;
    let soon = lagged.max(on.start + 3).min(on.end);
    let top = rows.power_w[on.start..soon].iter().copied().fold(0.0, f64::max);
    on.start == 0 || (rows.calm_w[before] <= 0.45 * level && top >= 0.85 * level)
}

/// Short or long, the level is the heater's or a stage of it.
fn belongs(rows: &Rows, on: &Range<usize>, heater_w: f64) -> bool {
    let top = quantile(&rows.calm_w[on.clone()], 0.75);
    on.len() >= 2
        && (top >= 0.8 * heater_w && top <= 1.4 * heater_w || lasting(rows, on) && top >= 0.4 * heater_w)
}

/// Reads watts and stages of the intervals.
pub(crate) fn read(rows: &Rows, found: &[Range<usize>], volts: Option<f64>) -> Vec<HeaterOn> {
    found
        .chunk_by(|a, b| rows.time_s[b.start] - end_s(rows, a.end) <= PHASE_S.max(2.5 * rows.step_s))
        .flat_map(|phase| {
            let whole = phase[0].start..phase[phase.len() - 1].end;
            phase.iter().map(move |on| read_one(rows, on, &whole, found, volts))
        })
        .collect()
}

fn read_one(
    rows: &Rows,
    on: &Range<usize>,
    phase: &Range<usize>,
    all: &[Range<usize>],
    volts: Option<f64>,
) -> HeaterOn {
    let turning_w = turning_beside(rows, phase, all);
    let whole = level(rows, inner(on), turning_w);
    let beside_w = beside(rows, phase, all, whole);
    let stages = stages(rows, on, beside_w, turning_w);
    let power_w = stages
        .iter()
        .max_by(|a, b| (a.power_w * (a.end_s - a.start_s)).total_cmp(&(b.power_w * (b.end_s - b.start_s))))
        .map_or(whole.power_w - beside_w, |s| s.power_w);
    HeaterOn {
        start_s: rows.time_s[on.start],
        end_s: end_s(rows, on.end),
        power_w,
        resistance_ohm: volts.filter(|_| power_w > 0.0).map(|u| u * u / power_w),
        stages,
    }
}

/// Rows without the edge rows, which are averages over the change.
pub(crate) fn inner(on: &Range<usize>) -> Range<usize> {
    if on.len() >= 4 { on.start + 1..on.end - 1 } else { on.clone() }
}

pub(crate) fn end_s(rows: &Rows, end: usize) -> f64 {
    rows.time_s[end.min(rows.len() - 1)]
}

/// Stages with the heater's own watts, none where there is one level only.
fn stages(rows: &Rows, on: &Range<usize>, beside_w: f64, turning_w: f64) -> Vec<Stage> {
    let parts = parts(rows, on);
    if parts.len() < 2 || duration(rows, on) < 2.0 * LASTING_S {
        return Vec::new();
    }
    parts
        .into_iter()
        .map(|range| Stage {
            start_s: rows.time_s[range.start],
            end_s: end_s(rows, range.end),
            power_w: level(rows, inner(&range), turning_w).power_w - beside_w,
        })
        .collect()
}

/// Cuts an interval into levels that differ by a quarter of the top and last three rows.
fn parts(rows: &Rows, on: &Range<usize>) -> Vec<Range<usize>> {
    let series = &rows.calm_w[on.clone()];
    let top = quantile(series, 0.9);
    let charge = Charge::least_squares(6.0 * (0.1 * top).powi(2));
    let found = cut(series, charge);
    let mut parts: Vec<(Range<usize>, f64)> = Vec::new();
    let mut from = 0;
    for (&end, &power) in found.ends.iter().zip(&found.levels) {
        match parts.last_mut() {
            // An edge row in front is no stage.
            Some((range, last)) if range.len() < 3 => {
                range.end = on.start + end;
                *last = power;
            }
            Some((range, last)) if (power - *last).abs() < 0.25 * top || end - from < 3 => {
                range.end = on.start + end;
            }
            _ => parts.push((on.start + from..on.start + end, power)),
        }
        from = end;
    }
    parts.into_iter().map(|(range, _)| range).collect()
}

/// An element draws the same while it is on: within its stages the middle eight tenths of the rows lie close, up to
/// what a motor may add on top. A spin with its steps of speed does not.
fn flat(rows: &Rows, on: &Range<usize>) -> bool {
    let top = quantile(&rows.calm_w[on.clone()], 0.9);
    let spread: f64 = parts(rows, on)
        .into_iter()
        .map(|part| {
            let values = &rows.calm_w[inner(&part)];
            (quantile(values, 0.9) - quantile(values, 0.1)) * part.len() as f64
        })
        .sum();
    spread / on.len() as f64 <= top / OVER_MOTOR
}
