//! The recording as stretches of one level each, and these as the pieces between which a step may end.
//!
//! Two steps can draw the same, one after the other: three inlet valves in turn look like one long level. So long
//! stretches are parted further, finely near their ends and coarsely in the middle, where nothing changes.

use super::habits::Habits;
use std::f64::consts::SQRT_2;
use trace::Sample;
use trace::cut::{Charge, cut, noise};

/// Most stretches that a recording is cut into; a finer one is cut again at a higher price.
pub const MOST_STRETCHES: usize = 160;
/// Most pieces; beyond that stretches are parted less finely.
pub const MOST_PIECES: usize = 400;

/// Watts are cut on the scale asinh(P / this), where the noise of meters is even: W below it, in proportion above.
const EVEN_W: f64 = 30.0;
/// Least noise on that scale.
const LEAST_NOISE: f64 = 0.02;
/// A hole in the samples longer than this, s, and than so many usual steps.
const HOLE: (f64, f64) = (10.0, 5.0);
/// Up to so many samples and seconds between two levels are the way from the one to the other.
const EDGE: (usize, f64) = (4, 5.0);
/// Levels up to so many seconds and so many times the one before can be parts of a slope, such as a run-up.
const SLOPE: (f64, f64) = (15.0, 1.8);
/// Length of a piece near the ends of its stretch, s, and how it grows with the distance from them.
const PIECE_S: f64 = 4.0;
const GROWS: f64 = 0.25;
/// Closer than this to an end of a stretch is at that end, s.
const END_S: f64 = 0.5;
/// A level is looked for in what came up to so long before, s.
const AGAIN_S: f64 = 90.0;

/// A stretch of one level.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Stretch {
    /// Start, s on the samples' clock.
    pub start_s: f64,
    /// End, s.
    pub end_s: f64,
    /// Level, W: the median of its samples.
    pub power_w: f64,
    /// Within what the level repeats, W, as a standard uncertainty.
    pub repeats_w: f64,
    /// It goes up or down all the while, by some three times `repeats_w`.
    pub slope: bool,
    /// Nothing was recorded here.
    pub hole: bool,
    /// An earlier stretch nearby with the same level, if there is one.
    pub again: Option<usize>,
}

impl Stretch {
    /// Is this the level of the other, as far as the steadier of the two shows it? A stretch that swings widely is not at every
    /// level that it passes.
    pub(super) fn repeats(&self, other: &Stretch) -> bool {
        let within = self.repeats_w.min(other.repeats_w);
        (self.power_w - other.power_w).abs() <= 3.0 * SQRT_2 * within
    }
}

/// A part of a stretch; steps begin and end between pieces.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Piece {
    pub start_s: f64,
    pub end_s: f64,
    /// Its stretch.
    pub stretch: usize,
    /// It is the first of its stretch.
    pub opens: bool,
    /// The last piece of an earlier stretch with the same level.
    pub again: Option<usize>,
}

/// The recording, cut.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Pieces {
    pub stretches: Vec<Stretch>,
    pub pieces: Vec<Piece>,
}

impl Pieces {
    /// Samples in order of time, at least one; and where steps are known to begin, s.
    pub(super) fn of(samples: &[Sample], edges: &[f64], habits: &Habits, meter_w: f64) -> Pieces {
        let usual_s = usual_step_s(samples);
        let mut stretches = Vec::new();
        let mut from = 0;
        for to in 1..=samples.len() {
            let hole = to < samples.len()
                && samples[to].time_s - samples[to - 1].time_s > HOLE.0.max(HOLE.1 * usual_s);
            if to == samples.len() || hole {
                cut_part(&samples[from..to], usual_s, habits, meter_w, &mut stretches);
                from = to;
            }
            if hole && let Some(last) = stretches.last().copied() {
                let (start_s, end_s) = (last.end_s, samples[to].time_s);
                stretches.push(Stretch { start_s, end_s, slope: false, hole: true, ..last });
            }
        }
        for &edge_s in edges {
            part_at(edge_s, &mut stretches);
        }
        Pieces::from_stretches(stretches)
    }

    /// From stretches in order, without holes between them.
    pub(super) fn from_stretches(mut stretches: Vec<Stretch>) -> Pieces {
        for k in 0..stretches.len() {
            stretches[k].again = (0..k)
                .rev()
                .take_while(|&j| stretches[k].start_s - stretches[j].end_s <= AGAIN_S)
                .find(|&j| alike(&stretches[j], &stretches[k]));
        }
        let mut finest = PIECE_S;
        loop {
            let pieces = parted(&stretches, finest);
            if pieces.len() <= MOST_PIECES || finest > 1e6 {
                return Pieces { stretches, pieces };
            }
            finest *= 1.5;
        }
    }

    pub(super) fn len(&self) -> usize {
        self.pieces.len()
    }

    /// Where boundary `i` lies, s: before piece i.
    pub(super) fn at_s(&self, i: usize) -> f64 {
        match self.pieces.get(i) {
            Some(piece) => piece.start_s,
            None => self.pieces.last().map_or(0.0, |p| p.end_s),
        }
    }

    /// What a boundary stands for: it lies somewhere between these, s.
    pub(super) fn around_s(&self, i: usize) -> (f64, f64) {
        let here = self.at_s(i);
        let before = if i == 0 { here } else { self.at_s(i - 1) };
        let after = self.at_s((i + 1).min(self.len()));
        (f64::midpoint(before, here), f64::midpoint(here, after))
    }
}

/// Parts the stretch in which this moment lies; near an end of it that end stands for it.
fn part_at(time_s: f64, stretches: &mut Vec<Stretch>) {
    let inside = |s: &Stretch| time_s - s.start_s > END_S && s.end_s - time_s > END_S;
    if let Some(at) = stretches.iter().position(inside) {
        let whole = stretches[at];
        stretches[at].end_s = time_s;
        stretches.insert(at + 1, Stretch { start_s: time_s, ..whole });
    }
}

fn usual_step_s(samples: &[Sample]) -> f64 {
    let mut steps: Vec<f64> = samples.windows(2).map(|w| w[1].time_s - w[0].time_s).collect();
    steps.retain(|s| *s > 0.0);
    steps.sort_by(f64::total_cmp);
    steps.get(steps.len() / 2).copied().unwrap_or(1.0)
}

/// Does the later level repeat the earlier one?
fn alike(a: &Stretch, b: &Stretch) -> bool {
    !a.hole && !b.hole && !a.slope && !b.slope && a.repeats(b)
}

fn even(power_w: f64) -> f64 {
    (power_w / EVEN_W).asinh()
}

/// Cuts samples without a hole; the last one stands for a usual step.
fn cut_part(samples: &[Sample], usual_s: f64, habits: &Habits, meter_w: f64, stretches: &mut Vec<Stretch>) {
    let series: Vec<f64> = samples.iter().map(|s| even(s.power_w)).collect();
    let sigma = noise(&series).sigma().max(LEAST_NOISE);
    let mut penalty = 4.0 * sigma * sigma * (series.len().max(2) as f64).ln();
    let mut ends = cut(&series, Charge { penalty, cap: 5.0 * sigma }).ends;
    while ends.len() > MOST_STRETCHES {
        penalty *= 2.0;
        ends = cut(&series, Charge::least_squares(penalty)).ends;
    }
    let end_s = |end: usize| samples.get(end).map_or_else(|| samples[end - 1].time_s + usual_s, |s| s.time_s);
    let starts = std::iter::once(0).chain(ends.iter().copied());
    let parts: Vec<Part> = starts
        .zip(&ends)
        .map(|(from, &to)| {
            let (power_w, spread_w) = level(&samples[from..to]);
            let seconds = end_s(to) - samples[from].time_s;
            Part { from, to, power_w, spread_w, seconds, slope: false }
        })
        .collect();
    for part in slopes(&without_edges(&parts)) {
        let repeats_w = part
            .spread_w
            .max(habits.repeats_within.0 * part.power_w.abs())
            .max(habits.repeats_within.1)
            .max(meter_w);
        stretches.push(Stretch {
            start_s: samples[part.from].time_s,
            end_s: end_s(part.to),
            power_w: part.power_w,
            repeats_w,
            slope: part.slope,
            hole: false,
            again: None,
        });
    }
}

/// What the cut found, in samples.
#[derive(Clone, Copy, Debug)]
struct Part {
    from: usize,
    to: usize,
    power_w: f64,
    spread_w: f64,
    seconds: f64,
    slope: bool,
}

/// A few samples between two levels are the way from the one to the other, drawn out by the meter's filter: they belong to
/// the level that they lead to, and say nothing of it.
fn without_edges(parts: &[Part]) -> Vec<Part> {
    let mut kept = Vec::new();
    let mut from = None;
    for (k, part) in parts.iter().enumerate() {
        let between = k > 0 && k + 1 < parts.len() && {
            let (before, after) = (parts[k - 1].power_w, parts[k + 1].power_w);
            (part.power_w - before) * (after - part.power_w) > 0.0
        };
        if between && part.to - part.from <= EDGE.0 && part.seconds <= EDGE.1 {
            from.get_or_insert(part.from);
        } else {
            kept.push(Part { from: from.take().unwrap_or(part.from), ..*part });
        }
    }
    kept
}

/// Short levels that go up, or down, one after the other are one slope.
fn slopes(parts: &[Part]) -> Vec<Part> {
    let mut found: Vec<Part> = Vec::new();
    let mut at = 0;
    while at < parts.len() {
        let up = parts.get(at + 1).is_some_and(|next| next.power_w > parts[at].power_w);
        let mut end = at + 1;
        while end < parts.len()
            && parts[end].seconds <= SLOPE.0
            && parts[end - 1].seconds <= SLOPE.0
            && (parts[end].power_w > parts[end - 1].power_w) == up
            && ratio(parts[end].power_w, parts[end - 1].power_w) <= SLOPE.1
        {
            end += 1;
        }
        if end - at < 3 {
            found.push(parts[at]);
            at += 1;
            continue;
        }
        let all = &parts[at..end];
        let seconds: f64 = all.iter().map(|p| p.seconds).sum();
        let power_w = all.iter().map(|p| p.power_w * p.seconds).sum::<f64>() / seconds;
        let spread_w = (all[all.len() - 1].power_w - all[0].power_w).abs() / 3.0;
        found.push(Part {
            from: all[0].from,
            to: all[all.len() - 1].to,
            power_w,
            spread_w,
            seconds,
            slope: true,
        });
        at = end;
    }
    found
}

fn ratio(a: f64, b: f64) -> f64 {
    let (low, high) = (a.min(b).max(1.0), a.max(b).max(1.0));
    high / low
}

/// Median and spread of the samples, W; the spread from the quartiles.
fn level(samples: &[Sample]) -> (f64, f64) {
    let mut sorted: Vec<f64> = samples.iter().map(|s| s.power_w).collect();
    sorted.sort_by(f64::total_cmp);
    let at = |share: f64| sorted[((sorted.len() - 1) as f64 * share).round() as usize];
    (at(0.5), (at(0.75) - at(0.25)) / 1.349)
}

fn parted(stretches: &[Stretch], finest_s: f64) -> Vec<Piece> {
    let mut pieces: Vec<Piece> = Vec::new();
    let mut last_of: Vec<usize> = Vec::with_capacity(stretches.len());
    for (k, stretch) in stretches.iter().enumerate() {
        let mut at = stretch.start_s;
        while at < stretch.end_s {
            let from_ends = (at - stretch.start_s).min((stretch.end_s - at - finest_s).max(0.0));
            let mut to = at + finest_s + GROWS * (from_ends - 10.0 * finest_s).max(0.0);
            if stretch.end_s - to < 0.6 * finest_s {
                to = stretch.end_s;
            }
            pieces.push(Piece {
                start_s: at,
                end_s: to,
                stretch: k,
                opens: at == stretch.start_s,
                again: stretch.again.map(|k| last_of[k]),
            });
            at = to;
        }
        last_of.push(pieces.len().saturating_sub(1));
    }
    pieces
}
