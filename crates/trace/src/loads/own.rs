//! A heater's own watts: what the total rose by, with everything else that ran taken off.

use std::ops::Range;

use super::rows::{Rows, TwoLevels, quantile, two_levels};

/// Level of the total while a heater is on, read so that it can be held against the level beside it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Level {
    pub(crate) power_w: f64,
    /// A motor turned and paused on top, and this is the level with it paused.
    pub(crate) paused: bool,
}

/// Least share of the time a reversing drum pauses.
const PAUSE_SHARE: f64 = 0.1;
/// Share of the rows beside the heater below which the pause lies.
const LOW_BESIDE: f64 = 0.1;
/// Contrast from which values lie in two levels and not in a spread.
const TWO_LEVELS: f64 = 0.8;
/// How far beside a heater interval the level without it is looked for, in seconds.
const BESIDE_S: f64 = 90.0;
/// A load held this long beside the heater ran with it and did not just start, in seconds.
const HELD_S: f64 = 45.0;

/// Level within rows: the lower one where they lie in two levels as far apart as the drum's turning and pausing beside
/// the heater (`turning_w`, 0 for none), else the median. Mains that steps gives two levels too, but not those.
pub(crate) fn level(rows: &Rows, range: Range<usize>, turning_w: f64) -> Level {
    let values = &rows.power_w[range];
    match two_levels(values) {
        Some(two) if turning_w > 0.0 && is_turning(values, &two, PAUSE_SHARE) => {
            let apart = (two.high - two.low) / turning_w;
            if (0.4..=2.5).contains(&apart) {
                return Level { power_w: two.low, paused: true };
            }
        }
        _ => {}
    }
    Level { power_w: quantile(values, 0.5), paused: false }
}

fn is_turning(values: &[f64], two: &TwoLevels, least_share: f64) -> bool {
    two.contrast >= TWO_LEVELS
        && (least_share..=1.0 - least_share).contains(&two.low_share)
        && turns(values, two.low, two.high) >= 3
}

/// How far apart a drum's turning and pausing are beside a phase of heating; 0 where none turned.
pub(crate) fn turning_beside(rows: &Rows, phase: &Range<usize>, heater: &[Range<usize>]) -> f64 {
    [true, false]
        .into_iter()
        .map(|before| {
            let values = &rows.power_w[free_rows(rows, phase, heater, before)];
            match two_levels(values) {
                Some(two) if turns(values, two.low, two.high) >= 3 => two.high - two.low,
                _ => 0.0,
            }
        })
        .fold(0.0, f64::max)
}

/// Changes between two levels, each gone through to within a quarter of their distance.
fn turns(values: &[f64], low: f64, high: f64) -> usize {
    let quarter = 0.25 * (high - low);
    let (mut up, mut count) = (None, 0);
    for &w in values {
        let now = if w >= high - quarter {
            Some(true)
        } else if w <= low + quarter {
            Some(false)
        } else {
            up
        };
        count += usize::from(up.is_some() && now != up);
        up = now;
    }
    count
}

/// How often a drum was seen to start on top of the heater within a phase.
pub(crate) fn turns_on_top(rows: &Rows, on: &Range<usize>, heater: &[Range<usize>]) -> usize {
    let inner = super::heater::inner(on);
    if !level(rows, inner.clone(), turning_beside(rows, on, heater)).paused {
        return 0;
    }
    let values = &rows.power_w[inner];
    two_levels(values).map_or(0, |two| turns(values, two.low, two.high) / 2)
}

/// What ran beside a heater interval, to be taken off its level.
pub(crate) fn beside(rows: &Rows, on: &Range<usize>, heater: &[Range<usize>], level: Level) -> f64 {
    let before = free_rows(rows, on, heater, true);
    let after = free_rows(rows, on, heater, false);
    if level.paused {
        let paused = |range: &Range<usize>| {
            (range.len() >= 3).then(|| quantile(&rows.power_w[range.clone()], LOW_BESIDE))
        };
        return match (paused(&before), paused(&after)) {
            (Some(before), Some(after)) => before.min(after),
            (one, other) => one.or(other).unwrap_or(0.0),
        };
    }
    let just_before = near(rows, &before, true, 12.0);
    let held_after = if held(rows, &after) { near(rows, &after, false, HELD_S) } else { None };
    match (just_before, held_after) {
        (Some(before), Some(after)) => before.max(after),
        (one, other) => one.or(other).or_else(|| near(rows, &after, false, 12.0)).unwrap_or(0.0),
    }
}

/// Rows next to an interval and free of the heater, edge rows left out.
fn free_rows(rows: &Rows, on: &Range<usize>, heater: &[Range<usize>], before: bool) -> Range<usize> {
    if before {
        let end = on.start.saturating_sub(1);
        let from = rows.time_s[on.start] - BESIDE_S;
        let floor = heater.iter().map(|h| h.end + 1).filter(|&e| e <= on.start).max().unwrap_or(0);
        let start = rows.between(from, f64::INFINITY).start.max(floor);
        return start.min(end)..end;
    }
    let start = (on.end + 1).min(rows.len());
    let to = rows.time_s[on.end - 1] + BESIDE_S;
    let ceiling =
        heater.iter().map(|h| h.start.saturating_sub(1)).filter(|&s| s >= on.end).min().unwrap_or(rows.len());
    let end = rows.between(f64::NEG_INFINITY, to).end.min(ceiling);
    start.min(end)..end
}

/// Median of the rows within `width_s` of the heater's edge, at least three where there are.
fn near(rows: &Rows, range: &Range<usize>, before: bool, width_s: f64) -> Option<f64> {
    if range.is_empty() {
        return None;
    }
    let picked: Vec<f64> = if before {
        let edge = rows.time_s[range.end - 1];
        range
            .clone()
            .rev()
            .enumerate()
            .take_while(|(k, i)| *k < 3 || edge - rows.time_s[*i] <= width_s)
            .map(|(_, i)| rows.power_w[i])
            .collect()
    } else {
        let edge = rows.time_s[range.start];
        range
            .clone()
            .enumerate()
            .take_while(|(k, i)| *k < 3 || rows.time_s[*i] - edge <= width_s)
            .map(|(_, i)| rows.power_w[i])
            .collect()
    };
    Some(quantile(&picked, 0.5))
}

/// Whether the load after an interval goes on for [`HELD_S`] without a fall to half of it.
fn held(rows: &Rows, range: &Range<usize>) -> bool {
    let Some(level) = near(rows, range, false, HELD_S) else { return false };
    let end = range.clone().find(|&i| rows.calm_w[i] < 0.5 * level).unwrap_or(range.end);
    end > range.start && rows.time_s[end - 1] - rows.time_s[range.start] >= HELD_S.min(0.8 * BESIDE_S)
}
