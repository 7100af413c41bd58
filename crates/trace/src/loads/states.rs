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
    /// A spin, between rinses or the final one.
    Spinning,
    /// A drum turns and pauses.
    Reversing,
    /// A low steady load that follows a spin, as a drain pump does.
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

/// A held level from this share to that share of what turns draw is a longer turn, or turns whose pauses fell between rows
/// that stand no closer than a pause is long.
const LIKE_TURNS: std::ops::RangeInclusive<f64> = 0.5..=1.35;
/// What is quiet no longer than this between turns is a pause, what is held no longer is a turn, in seconds.
const PAUSE_S: f64 = 60.0;
/// Neighbours that differ by less than this share of the highest held level are one state.
const ALIKE: f64 = 0.15;
/// What is shorter goes with what is before it, in seconds; also what has fewer than three rows.
const SHORT_S: f64 = 15.0;

/// Heater intervals and spins as found, the rest cut into levels and joined to what a person would call one state.
pub(crate) fn states(rows: &Rows, held_w: &[f64], loads: &Loads) -> Vec<State> {
    let mut known: Vec<(Range<usize>, Kind)> = Vec::new();
    let heating = loads.heater_on.iter().map(|h| (h.start_s, h.end_s, Kind::Heating));
    let spinning = loads.interim_spins.iter().chain(&loads.spins);
    for (start_s, end_s, kind) in heating.chain(spinning.map(|s| (s.start_s, s.end_s, Kind::Spinning))) {
        known.push((rows.between(start_s, end_s), kind));
    }
    let top = held_w.iter().copied().fold(0.0, f64::max);
    let turning_w = super::spin::turning_w(&loads.pulses);
    for spin in loads.interim_spins.iter().chain(&loads.spins) {
        known.extend(drain(rows, spin.end_s, top).map(|range| (range, Kind::Draining)));
    }
    known.sort_by_key(|(range, _)| range.start);
    let mut found = Vec::new();
    let mut from = 0;
    for (range, kind) in known {
        // A spin whose distribution began as the one before ran down, a drain that the next spin ended.
        let range = range.start.max(from)..range.end;
        if range.is_empty() {
            continue;
        }
        found.extend(between(rows, held_w, loads, from..range.start, top, turning_w));
        from = range.end;
        found.push((range, kind));
    }
    found.extend(between(rows, held_w, loads, from..rows.len(), top, turning_w));
    found.into_iter().map(|(range, kind)| state(rows, range, kind)).collect()
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

type Part = (Range<usize>, Kind);

fn between(
    rows: &Rows,
    held_w: &[f64],
    loads: &Loads,
    range: Range<usize>,
    top: f64,
    turning_w: f64,
) -> Vec<Part> {
    let mut parts: Vec<Part> = Vec::new();
    if range.is_empty() {
        return parts;
    }
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
            parts.push((part, kind));
        }
    }
    let parts = as_turning(rows, parts, turning_w);
    joined(rows, parts, ALIKE * top)
}

fn level_w(rows: &Rows, part: &Range<usize>) -> f64 {
    quantile(&rows.power_w[part.clone()], 0.5)
}

fn long_s(rows: &Rows, part: &Range<usize>) -> f64 {
    end_s(rows, part.end) - rows.time_s[part.start]
}

/// Calls reversing what is part of it: from each stretch of turns on, levels as high as turns and the pauses before them.
fn as_turning(rows: &Rows, mut parts: Vec<Part>, turning_w: f64) -> Vec<Part> {
    if turning_w <= 0.0 {
        return parts;
    }
    let seldom = rows.step_s >= super::spin::PAUSE_S;
    let like = |(part, kind): &Part| {
        let level = level_w(rows, part) / turning_w;
        *kind == Kind::Steady && LIKE_TURNS.contains(&level) && (seldom || long_s(rows, part) <= PAUSE_S)
    };
    let pause = |(part, _): &Part| long_s(rows, part) <= PAUSE_S && level_w(rows, part) <= turning_w;
    for _ in 0..2 {
        for k in 1..parts.len() {
            if parts[k - 1].1 != Kind::Reversing {
                continue;
            }
            let next = parts.get(k + 1).is_some_and(|part| part.1 == Kind::Reversing || like(part));
            if like(&parts[k]) || pause(&parts[k]) && next {
                parts[k].1 = Kind::Reversing;
            }
        }
        // The second time from the last to the first.
        parts.reverse();
    }
    parts
}

/// Joins neighbours that are one state: of one kind and, where steady, of about one level; and what is too short to be one.
fn joined(rows: &Rows, parts: Vec<Part>, alike_w: f64) -> Vec<Part> {
    let mut out: Vec<Part> = Vec::new();
    for (part, kind) in parts {
        if let Some((last, last_kind)) = out.last_mut() {
            let apart_w = (level_w(rows, last) - level_w(rows, &part)).abs();
            let same = *last_kind == kind && (kind != Kind::Steady || apart_w <= alike_w);
            let short = |part: &Range<usize>| part.len() < 3 || long_s(rows, part) < SHORT_S;
            if same || short(&part) {
                last.end = part.end;
                continue;
            }
            if short(last) {
                *last = last.start..part.end;
                *last_kind = kind;
                continue;
            }
        }
        out.push((part, kind));
    }
    out
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
