//! The recording as a row of states, none left out.

use std::ops::Range;

use super::heater::end_s;
use super::rows::{Rows, quantile};
use super::{Loads, Pulse, RunUp, Spin};
use crate::cut::{Charge, Segment, Shape, cut, cut_ramps};

/// What a state is, as far as power alone tells.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// A heater is on, whatever runs beside it.
    Heating,
    /// A spin, between rinses or the final one.
    Spinning,
    /// The power rises in a straight line, as when a drum comes up to speed.
    RunUp,
    /// The power falls in a straight line.
    RunDown,
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
    /// Of a run-up or run-down the watts at its first and its last row, on the straight line through its rows.
    pub ramp_w: Option<(f64, f64)>,
}

/// Turns of the drum in a stretch from which it is one of reversing.
const TURNS: usize = 3;
/// What draws no more than this is standby, in watts (no load, as in [`super::Stream`]), or than this share of the run's
/// highest held level.
const STANDBY_W: f64 = 5.0;
const STANDBY: f64 = 0.02;
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
/// A ramp changes by at least this share of the highest held level, or of the level it reaches in a spin.
const RAMP: f64 = 0.2;
/// A spin's run-up is one if at least this share of it is straight, and if it lasts at least so many seconds.
const STRAIGHT: f64 = 0.5;
const RAMP_S: f64 = 8.0;
/// Outside spins at least this share of the rows lie within this share of its rise from the line.
const MOST_NEAR: f64 = 0.8;
const NEAR_RAMP: f64 = 0.25;
/// A level between two others is part of a ramp where it climbs from its first quarter to its last by this share of its
/// step at least; a straight line through all three climbs by 0.75.
const SLOPES: f64 = 0.4;
/// Rows of the levels before and after a ramp that are cut with it, and the longest ramp looked at, in rows: the time of
/// the cut grows with the square.
const BESIDE_RAMP: usize = 120;
const LONGEST_RAMP: usize = 4000;
/// What is shorter goes with what is before it, in seconds; also what has fewer than three rows.
const SHORT_S: f64 = 15.0;

/// A state on its way: its rows, what it is, and of a ramp the watts at its ends.
#[derive(Clone)]
struct Stretch {
    rows: Range<usize>,
    kind: Kind,
    ramp_w: Option<(f64, f64)>,
}

impl Stretch {
    fn plain(rows: Range<usize>, kind: Kind) -> Self {
        Self { rows, kind, ramp_w: None }
    }
}

/// Heater intervals and spins as found, the rest cut into levels and joined to what a person would call one state.
pub(crate) fn states(rows: &Rows, held_w: &[f64], loads: &Loads) -> Vec<State> {
    let heating =
        loads.heater_on.iter().map(|h| Stretch::plain(rows.between(h.start_s, h.end_s), Kind::Heating));
    let mut known: Vec<Stretch> = heating.collect();
    known.extend(loads.spins_and_run_ups().flat_map(|(spin, up)| spun(rows, spin, up)));
    let top = held_w.iter().copied().fold(0.0, f64::max);
    let turning_w = super::spin::turning_w(&loads.pulses);
    for spin in loads.interim_spins.iter().chain(&loads.spins) {
        known.extend(drain(rows, spin.end_s, top).map(|range| Stretch::plain(range, Kind::Draining)));
    }
    known.sort_by_key(|stretch| stretch.rows.start);
    let mut found = Vec::new();
    let mut from = 0;
    for stretch in known {
        // A spin whose distribution began as the one before ran down, a drain that the next spin ended.
        let range = stretch.rows.start.max(from)..stretch.rows.end;
        if range.is_empty() {
            continue;
        }
        found.extend(between(rows, held_w, loads, from..range.start, top, turning_w));
        from = range.end;
        found.push(Stretch { rows: range, ..stretch });
    }
    found.extend(between(rows, held_w, loads, from..rows.len(), top, turning_w));
    found.into_iter().map(|stretch| state(rows, stretch)).collect()
}

/// A spin, its run-up by itself where that is seen and straight for the most part.
fn spun(rows: &Rows, spin: &Spin, up: Option<&RunUp>) -> Vec<Stretch> {
    let whole = rows.between(spin.start_s, spin.end_s);
    let straight = |up: &&RunUp| {
        up.straight >= STRAIGHT
            && up.to_w - up.from_w >= RAMP * (up.to_w - rows.base_w)
            && up.end_s - up.start_s >= RAMP_S
            && up.end_s < spin.end_s
    };
    let Some(up) = up.filter(straight) else { return vec![Stretch::plain(whole, Kind::Spinning)] };
    let top = rows.between(up.end_s, f64::INFINITY).start.clamp(whole.start, whole.end);
    let (from_w, to_w) = (up.from_w - rows.base_w, up.to_w - rows.base_w);
    let ramp = Stretch { rows: whole.start..top, kind: Kind::RunUp, ramp_w: Some((from_w, to_w)) };
    let spun = Stretch::plain(top..whole.end, Kind::Spinning);
    [ramp, spun].into_iter().filter(|part| !part.rows.is_empty()).collect()
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

fn between(
    rows: &Rows,
    held_w: &[f64],
    loads: &Loads,
    range: Range<usize>,
    top: f64,
    turning_w: f64,
) -> Vec<Stretch> {
    let mut parts: Vec<Stretch> = Vec::new();
    if range.is_empty() {
        return parts;
    }
    // A level counts that differs by a tenth of the highest for half a minute: what a reader would mark.
    let penalty = (0.1 * top).powi(2) * (30.0 / rows.step_s.max(1e-3)).max(3.0);
    let mut from = range.start;
    for segment in levels_and_ramps(&rows.time_s[range.clone()], &held_w[range.clone()], penalty) {
        let part = from..range.start + segment.end;
        // One or two rows are the edge of what follows.
        if part.len() < 3 && part.end < range.end {
            continue;
        }
        from = part.end;
        let turned = around_turns(rows, loads, part.clone());
        let ramp = ramp(rows, &part, &segment, RAMP * top).filter(|_| turned.len() == 1);
        for part in turned {
            let kind = kind(rows, loads, &part, top);
            parts.push(match ramp {
                Some(ramp) if kind != Kind::Reversing => {
                    Stretch { rows: part, kind: ramp, ramp_w: Some((segment.from, segment.to)) }
                }
                _ => Stretch::plain(part, kind),
            });
        }
    }
    joined(rows, as_turning(rows, parts, turning_w), ALIKE * top)
}

/// Cut into levels; and where a level between two others slopes from the one towards the other, these three are cut into
/// levels and ramps.
fn levels_and_ramps(time_s: &[f64], series: &[f64], penalty: f64) -> Vec<Segment> {
    let charge = Charge::least_squares(penalty);
    let levels = cut(series, charge);
    let mut start = 0;
    let mut found: Vec<Segment> = Vec::with_capacity(levels.ends.len());
    for (&end, &level) in levels.ends.iter().zip(&levels.levels) {
        found.push(Segment { start, end, shape: Shape::Level, from: level, to: level });
        start = end;
    }
    let mut first = 0;
    let mut out: Vec<Segment> = Vec::with_capacity(found.len());
    while first < found.len() {
        let mut last = first + 1;
        while slopes(series, &found, last) {
            last += 1;
        }
        if last == first + 1 {
            out.push(found[first]);
            first += 1;
            continue;
        }
        // Most of the levels on either side is left out, for the cut's time.
        let from = found[first].start.max(found[first].end.saturating_sub(BESIDE_RAMP));
        let to = found[last].end.min(found[last].start + BESIDE_RAMP);
        if to - from > LONGEST_RAMP {
            out.extend(&found[first..last]);
            first = last;
            continue;
        }
        let recut = cut_ramps(&time_s[from..to], &series[from..to], charge, penalty).segments;
        if recut.iter().all(|s| s.shape == Shape::Level) {
            out.extend(&found[first..last]);
            first = last;
            continue;
        }
        // The levels at its ends go on where the stair was cut out of them.
        let mut recut: Vec<Segment> =
            recut.into_iter().map(|s| Segment { start: s.start + from, end: s.end + from, ..s }).collect();
        if from > found[first].start {
            match recut.first_mut() {
                Some(s) if s.shape == Shape::Level => s.start = found[first].start,
                _ => out.push(Segment { end: from, ..found[first] }),
            }
        }
        // What follows the last ramp is the beginning of the next stair.
        let rest = match recut.last() {
            Some(s) if s.shape == Shape::Level => recut.pop().map_or(to, |s| s.start),
            _ => to,
        };
        out.append(&mut recut);
        if rest < found[last].end {
            found[last].start = rest;
            first = last;
        } else {
            first = last + 1;
        }
    }
    out
}

/// Whether a level between two others slopes from the one towards the other.
fn slopes(series: &[f64], levels: &[Segment], at: usize) -> bool {
    let (Some(before), Some(own), Some(after)) =
        (at.checked_sub(1).and_then(|k| levels.get(k)), levels.get(at), levels.get(at + 1))
    else {
        return false;
    };
    let (step_up, step_on) = (own.from - before.from, after.from - own.from);
    let quarter = (own.end - own.start) / 4;
    if step_up * step_on <= 0.0 || quarter == 0 {
        return false;
    }
    let mean = |range: Range<usize>| series[range].iter().sum::<f64>() / quarter as f64;
    let rises = mean(own.end - quarter..own.end) - mean(own.start..own.start + quarter);
    rises * step_up.signum() >= SLOPES * 0.5 * (step_up + step_on).abs()
}

/// Whether a segment is a ramp that a reader would see as one: far enough, and most rows near it.
fn ramp(rows: &Rows, part: &Range<usize>, segment: &Segment, least_w: f64) -> Option<Kind> {
    let rises_w = segment.to - segment.from;
    if segment.shape != Shape::Ramp || rises_w.abs() < least_w || long_s(rows, part) < SHORT_S {
        return None;
    }
    let (first_s, last_s) = (rows.time_s[part.start], rows.time_s[part.end - 1]);
    let on_line = |i: &usize| {
        let along = (rows.time_s[*i] - first_s) / (last_s - first_s).max(f64::MIN_POSITIVE);
        (rows.calm_w[*i] - segment.from - along * rises_w).abs() <= NEAR_RAMP * rises_w.abs()
    };
    let near = part.clone().filter(on_line).count();
    (near as f64 >= MOST_NEAR * part.len() as f64).then_some(if rises_w > 0.0 {
        Kind::RunUp
    } else {
        Kind::RunDown
    })
}

fn level_w(rows: &Rows, part: &Range<usize>) -> f64 {
    quantile(&rows.power_w[part.clone()], 0.5)
}

fn long_s(rows: &Rows, part: &Range<usize>) -> f64 {
    end_s(rows, part.end) - rows.time_s[part.start]
}

/// Calls reversing what is part of it: from each stretch of turns on, levels as high as turns and the pauses before them.
fn as_turning(rows: &Rows, mut parts: Vec<Stretch>, turning_w: f64) -> Vec<Stretch> {
    if turning_w <= 0.0 {
        return parts;
    }
    let seldom = rows.step_s >= super::spin::PAUSE_S;
    let like = |part: &Stretch| {
        let level = level_w(rows, &part.rows) / turning_w;
        part.kind == Kind::Steady
            && LIKE_TURNS.contains(&level)
            && (seldom || long_s(rows, &part.rows) <= PAUSE_S)
    };
    let pause =
        |part: &Stretch| long_s(rows, &part.rows) <= PAUSE_S && level_w(rows, &part.rows) <= turning_w;
    for _ in 0..2 {
        for k in 1..parts.len() {
            if parts[k - 1].kind != Kind::Reversing {
                continue;
            }
            let next = parts.get(k + 1).is_some_and(|part| part.kind == Kind::Reversing || like(part));
            if like(&parts[k]) || pause(&parts[k]) && next {
                parts[k] = Stretch::plain(parts[k].rows.clone(), Kind::Reversing);
            }
        }
        // The second time from the last to the first.
        parts.reverse();
    }
    parts
}

/// Joins neighbours that are one state: of one kind and, where steady, of about one level; and what is too short to be one.
fn joined(rows: &Rows, parts: Vec<Stretch>, alike_w: f64) -> Vec<Stretch> {
    let short = |part: &Range<usize>| part.len() < 3 || long_s(rows, part) < SHORT_S;
    let mut out: Vec<Stretch> = Vec::new();
    for part in parts {
        if let Some(last) = out.last_mut() {
            let same = last.kind == part.kind
                && match part.kind {
                    Kind::Steady => (level_w(rows, &last.rows) - level_w(rows, &part.rows)).abs() <= alike_w,
                    // Two ramps that meet have a bend between them.
                    Kind::RunUp | Kind::RunDown => false,
                    _ => true,
                };
            if same || short(&part.rows) {
                last.rows.end = part.rows.end;
                continue;
            }
            if short(&last.rows) {
                *last = Stretch { rows: last.rows.start..part.rows.end, ..part };
                continue;
            }
        }
        out.push(part);
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
    } else if level <= STANDBY_W.max(STANDBY * top) {
        Kind::Standby
    } else {
        Kind::Steady
    }
}

fn state(rows: &Rows, stretch: Stretch) -> State {
    let Stretch { rows: range, kind, ramp_w } = stretch;
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
        ramp_w: ramp_w.map(|(from_w, to_w)| (rows.base_w + from_w, rows.base_w + to_w)),
    }
}
