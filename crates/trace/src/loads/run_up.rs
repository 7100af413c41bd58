//! How a drum comes up to speed: from distribution, when the wash is pressed to the drum's wall, to the spin's peak.

use std::ops::Range;

use super::rows::{Rows, quantile, without_short_rises};
use crate::cut::{Charge, Segment, Shape, cut_ramps, noise};

/// A drum's run-up, read off the levels and ramps that its power is cut into: single rows gone wrong, and the kick of a
/// motor as it starts, do not move it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RunUp {
    /// Last row at the lower level, in seconds.
    pub start_s: f64,
    /// First row at the peak, in seconds.
    pub end_s: f64,
    /// Level it starts from, in watts.
    pub from_w: f64,
    /// Level it reaches, in watts.
    pub to_w: f64,
    /// Share of its rows on straight ramps, 0 to 1; the rest are speeds held on the way, and jumps.
    pub straight: f64,
}

impl RunUp {
    /// Far enough to be a spin's.
    pub(crate) fn rises(&self) -> bool {
        self.to_w >= RISES * self.from_w
    }

    pub(crate) fn over(self, base_w: f64) -> Self {
        Self { from_w: self.from_w + base_w, to_w: self.to_w + base_w, ..self }
    }
}

/// A spin rises at least this many times above the level it starts from.
const RISES: f64 = 1.25;
/// Higher power that lasts no longer is the kick of a motor that starts, in seconds.
const KICK_S: f64 = 6.0;
/// No drum takes longer to come up to speed, in seconds (common practice, no source); nor is it looked for in more rows,
/// for the cut's time grows with the square of a stretch that does not change.
const LONGEST_S: f64 = 600.0;
const MOST_ROWS: usize = 6000;
/// What is within this share of the way from the lowest level to the highest is the lowest, or the highest.
const NEAR: f64 = 0.15;

/// The run-up in a stretch of rows that holds a spin and what is before it; none where nothing rises.
pub(crate) fn run_up(rows: &Rows, range: Range<usize>) -> Option<RunUp> {
    let first_s = rows.time_s.get(range.start)?;
    let stop = rows.between(f64::NEG_INFINITY, first_s + LONGEST_S).end.min(range.start + MOST_ROWS);
    let range = range.start..range.end.min(stop);
    if range.len() < 4 {
        return None;
    }
    let time_s = &rows.time_s[range.clone()];
    // To a millionth of a watt: what else runs all the time leaves rounding behind, which would decide between cuts of one cost.
    let calm_w: Vec<f64> = rows.calm_w[range].iter().map(|w| (w * 1e6).round() / 1e6).collect();
    let power_w = &without_short_rises(time_s, &calm_w, KICK_S);
    // A motor under load wavers by some per cent of its power, far more than the meter.
    let sigma = noise(power_w).sigma().max(0.03 * quantile(power_w, 0.9));
    let penalty = 4.0 * sigma * sigma * (power_w.len() as f64).ln();
    let segments = cut_ramps(time_s, power_w, Charge { penalty, cap: 5.0 * sigma }, penalty).segments;
    let most = |s: &Segment| s.from.max(s.to);
    let high = segments.iter().map(most).fold(f64::NEG_INFINITY, f64::max);
    let peak = segments.iter().position(|s| most(s) >= high - NEAR * high.abs())?;
    // What was lower still before a level that lasts is another story: the last low level counts.
    let low = segments[..=peak].iter().map(|s| s.from.min(s.to)).fold(f64::INFINITY, f64::min);
    let limit = low + NEAR * (high - low);
    let (start, from_w) = (0..=peak).rev().find_map(|k| {
        let s = &segments[k];
        let whole = most(s) <= limit;
        (whole || s.from <= limit)
            .then(|| (if whole { s.end - 1 } else { s.start }, if whole { s.to } else { s.from }))
    })?;
    let top = &segments[peak];
    let end = if top.to > top.from { top.end - 1 } else { top.start };
    let on_ramps: usize = segments
        .iter()
        .filter(|s| s.shape == Shape::Ramp && s.to > s.from)
        .map(|s| s.end.min(end + 1).saturating_sub(s.start.max(start)))
        .sum();
    (end > start && high > from_w).then(|| RunUp {
        start_s: time_s[start],
        end_s: time_s[end],
        from_w,
        to_w: high,
        straight: on_ramps as f64 / (end + 1 - start) as f64,
    })
}
