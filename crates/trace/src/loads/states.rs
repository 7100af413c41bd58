//! The recording as a row of states, none left out.

use std::ops::Range;

use super::heater::end_s;
use super::rows::{Rows, quantile};
use super::{Loads, Pulse};
use crate::cut::{Charge, cut};

/// What a state is, as far as power alone tells.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// A heater is on, whatever runs beside it.
    Heating,
    /// The final spin.
    Spinning,
    /// A drum turns and pauses.
    Reversing,
    /// A low steady load that follows the final spin, as a drain pump does.
    Draining,
    /// A load that holds its level and can't be told from others by power alone.
    Steady,
    /// Electronics only, or nothing.
    Standby,
}

/// A stretch with one thing going on.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct State {
    /// First row of it, in seconds.
    pub start_s: f64,
    /// First row after it, in seconds.
    pub end_s: f64,
    /// Power in watts, everything included: the median of the rows of a held level, the mean where loads take turns.
    pub power_w: f64,
    /// What it is.
    pub kind: Kind,
}

/// Turns of the drum in a stretch from which it is one of reversing.
const TURNS: usize = 3;
/// What draws less than this share of the run's highest held level is standby.
const STANDBY: f64 = 0.05;
/// What is quiet this long before or after a drum's turns is none of them, in seconds.
const AROUND_S: f64 = 30.0;
/// A drain pump draws at least this share of the run's highest held level without a heater.
const DRAIN: f64 = 0.04;
/// Shortest drain after a spin, in seconds.
const DRAIN_S: f64 = 15.0;

/// Heater intervals and spin as found, the rest cut into levels.
pub(crate) fn states(rows: &Rows, held_w: &[f64], loads: &Loads) -> Vec<State> {
    let mut known: Vec<(Range<usize>, Kind)> = Vec::new();
    let heating = loads.heater_on.iter().map(|h| (h.start_s, h.end_s, Kind::Heating));
    for (start_s, end_s, kind) in
        heating.chain(loads.spins.iter().map(|s| (s.start_s, s.end_s, Kind::Spinning)))
    {
        known.push((rows.between(start_s, end_s), kind));
    }
    let top = held_w.iter().copied().fold(0.0, f64::max);
    for spin in &loads.spins {
        known.extend(drain(rows, spin.end_s, top).map(|range| (range, Kind::Draining)));
    }
    known.sort_by_key(|(range, _)| range.start);
    let mut found = Vec::new();
    let mut from = 0;
    for (range, kind) in known {
        if range.start < from || range.is_empty() {
            continue;
        }
        between(rows, held_w, loads, from..range.start, &mut found);
        from = range.end;
        found.push(state(rows, range, kind));
    }
    between(rows, held_w, loads, from..rows.len(), &mut found);
    found
}

/// Rows after a spin that stay at one low level, as with the drain pump alone.
fn drain(rows: &Rows, spin_end_s: f64, top: f64) -> Option<Range<usize>> {
    let start = rows.between(spin_end_s, f64::INFINITY).start;
    let first = rows.between(spin_end_s, spin_end_s + DRAIN_S.max(4.0 * rows.step_s));
    let level = quantile(&rows.calm_w[first.clone()], 0.5);
    if first.len() < 3 || !(DRAIN * top..0.5 * top).contains(&level) {
        return None;
    }
    let on = |w: f64| (w - level).abs() <= 0.25 * level;
    // The first rows can be the spin's edge.
    let edge = |i: usize| i < 2 || rows.time_s[start + i] - spin_end_s <= 5.0;
    let length = rows.calm_w[start..].iter().enumerate().take_while(|(i, w)| edge(*i) || on(**w)).count();
    let range = start..start + length;
    (end_s(rows, range.end) - spin_end_s >= DRAIN_S).then_some(range)
}

fn between(rows: &Rows, held_w: &[f64], loads: &Loads, range: Range<usize>, found: &mut Vec<State>) {
    if range.is_empty() {
        return;
    }
    let top = held_w.iter().copied().fold(0.0, f64::max);
    let series = &held_w[range.clone()];
    // A level counts that differs by a tenth of the highest for half a minute: what a reader would mark.
    let penalty = (0.1 * top).powi(2) * (30.0 / rows.step_s.max(1e-3)).max(3.0);
    let mut from = range.start;
    for end in cut(series, Charge::least_squares(penalty)).ends {
        let part = from..range.start + end;
        // One or two rows are the edge of what follows.
        if part.len() < 3 && part.end < range.end {
            continue;
        }
        from = part.end;
        for part in around_turns(rows, loads, part) {
            let kind = kind(rows, loads, &part, top);
            add(rows, part, kind, found);
        }
    }
}

/// Adds a state, growing the one before it where that is the same.
fn add(rows: &Rows, part: Range<usize>, kind: Kind, found: &mut Vec<State>) {
    match found.last_mut() {
        Some(last) if last.kind == kind && kind != Kind::Steady && last.end_s == rows.time_s[part.start] => {
            let start = rows.between(last.start_s, f64::INFINITY).start;
            *last = state(rows, start..part.end, kind);
        }
        _ => found.push(state(rows, part, kind)),
    }
}

/// The turns of a drum within a part, and what is before and after them where that is longer than half a minute.
fn around_turns(rows: &Rows, loads: &Loads, part: Range<usize>) -> Vec<Range<usize>> {
    let inside = turns_in(loads, rows.time_s[part.start], end_s(rows, part.end));
    let (Some(first), Some(last)) = (inside.first(), inside.last()) else { return vec![part] };
    let (mut from, mut to) = (part.start, part.end);
    if first.start_s - rows.time_s[part.start] > AROUND_S {
        from = rows.between(first.start_s, f64::INFINITY).start.clamp(part.start, part.end);
    }
    if end_s(rows, part.end) - last.end_s > AROUND_S {
        to = rows.between(last.end_s, f64::INFINITY).start.clamp(from, part.end);
    }
    [part.start..from, from..to, to..part.end].into_iter().filter(|r| !r.is_empty()).collect()
}

fn turns_in(loads: &Loads, start_s: f64, stop_s: f64) -> &[Pulse] {
    let first = loads.pulses.partition_point(|p| p.start_s < start_s);
    let last = loads.pulses.partition_point(|p| p.start_s < stop_s);
    &loads.pulses[first..last.max(first)]
}

fn kind(rows: &Rows, loads: &Loads, part: &Range<usize>, top: f64) -> Kind {
    let (start_s, stop_s) = (rows.time_s[part.start], end_s(rows, part.end));
    let turns = turns_in(loads, start_s, stop_s).len();
    let level = quantile(&rows.power_w[part.clone()], 0.5);
    if turns >= TURNS && turns as f64 * 60.0 >= stop_s - start_s {
        Kind::Reversing
    } else if level <= STANDBY * top {
        Kind::Standby
    } else {
        Kind::Steady
    }
}

fn state(rows: &Rows, range: Range<usize>, kind: Kind) -> State {
    let powers = &rows.power_w[range.clone()];
    let power_w = match kind {
        Kind::Steady | Kind::Draining | Kind::Standby => quantile(powers, 0.5),
        _ => powers.iter().sum::<f64>() / powers.len().max(1) as f64,
    };
    State {
        start_s: rows.time_s[range.start],
        end_s: end_s(rows, range.end),
        power_w: rows.base_w + power_w,
        kind,
    }
}
