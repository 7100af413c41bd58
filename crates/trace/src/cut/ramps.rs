//! Exact segmentation into levels and straight ramps.

use super::pieces::Levels;
use super::{Charge, finite, fit};

/// What a segment is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Shape {
    /// One level.
    Level,
    /// A straight line, its ends free.
    Ramp,
}

/// One segment of a cut into levels and ramps.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Segment {
    /// First sample.
    pub start: usize,
    /// First sample after it.
    pub end: usize,
    /// What it is.
    pub shape: Shape,
    /// Value of the level or the line at its first sample, in the unit of the series.
    pub from: f64,
    /// Value at its last sample.
    pub to: f64,
}

/// A series cut into levels and ramps, and what that costs.
#[derive(Debug, Clone, PartialEq)]
pub struct Ramped {
    /// In order and without a hole; none for an empty series.
    pub segments: Vec<Segment>,
    /// The minimised cost, in the unit of the series squared.
    pub cost: f64,
}

/// The cheapest cut into levels and ramps. `at` says where on the time axis each sample stands; where it is not finite
/// and rising (equal neighbours are allowed), or not as long as the series, samples count as evenly spaced.
///
/// Minimises Σ residuals + β·(segments − 1) + γ·ramps with β and K of `charge` and γ the `surcharge` of a ramp. A level is
/// charged Σ min(r², K²). A ramp is charged Σ r², and K² for each stray, which the line leaves out: a sample more than K
/// above both its neighbours, or below both. So single samples gone wrong break neither. (The least Σ min(r², K²) over
/// all lines has no fast exact method; K² for what stands alone is what it comes to where the line fits.) With γ = ∞ it is
/// [`cut`](super::cut) with the same cost; with γ = β a line never costs less than the two samples it joins.
///
/// Method: one table of best costs F. Levels are searched by functional pruning as in [`cut`](super::cut), ramps by trying
/// all starts s that can still win. A start is dropped at t once F(s) + ramp(s, t) ≥ F(t): for every later T,
/// ramp(s, T) ≥ ramp(s, t) + ramp(t, T), as one line cannot fit both parts better than a line for each, so a ramp from t
/// does as well (R. Killick, P. Fearnhead, I. Eckley, Journal of the American Statistical Association 107 (2012)
/// 1590–1598, condition (4), from memory). The same holds for levels and for strays, which are the same samples wherever the cut is.
///
/// Time: that of the levels and a few nanoseconds for each sample and start alive. Starts live until about the next change, so it
/// is n·(samples between changes) for recordings, and n² for one long noisy level. Memory: 4 bytes a sample, the
/// pieces, and 84 bytes a start alive.
pub fn cut_ramps(at: &[f64], series: &[f64], charge: Charge, surcharge: f64) -> Ramped {
    let clean = finite(series);
    let charge = charge.sound();
    let surcharge = if surcharge >= 0.0 { surcharge } else { 0.0 };
    let numbered: Vec<f64>;
    let at = if at.len() == clean.len() && at.iter().all(|t| t.abs() < 1e12) && at.is_sorted() {
        at
    } else {
        numbered = (0..clean.len()).map(|i| i as f64).collect();
        &numbered
    };
    let stray = strays(&clean, charge.cap);
    let last = last_segments(at, &clean, &stray, charge, surcharge);
    let mut spans = Vec::new();
    let mut end = clean.len();
    while end > 0 {
        let (start, shape) = last[end - 1].unpacked();
        spans.push((start, end, shape));
        end = start;
    }
    spans.reverse();
    let mut cost = charge.penalty * spans.len().saturating_sub(1) as f64;
    let segments = spans
        .into_iter()
        .map(|(start, end, shape)| {
            let (from, to, residuals) = match shape {
                Shape::Level => {
                    let (level, residuals) = fit(&clean[start..end], charge.cap);
                    (level, level, residuals)
                }
                Shape::Ramp => {
                    cost += surcharge;
                    fit_line(&at[start..end], &clean[start..end], &stray[start..end], charge.cap)
                }
            };
            cost += residuals;
            Segment { start, end, shape, from, to }
        })
        .collect();
    Ramped { segments, cost }
}

/// Samples more than K above both neighbours, or below both.
pub(super) fn strays(series: &[f64], cap: f64) -> Vec<bool> {
    let mut found = vec![false; series.len()];
    for (i, w) in series.windows(3).enumerate() {
        found[i + 1] = w[1] - w[0].max(w[2]) > cap || w[0].min(w[2]) - w[1] > cap;
    }
    found
}

/// The line through the samples that are no strays: value at the first and the last sample, and the cost.
pub(super) fn fit_line(at: &[f64], series: &[f64], stray: &[bool], cap: f64) -> (f64, f64, f64) {
    let kept: Vec<(f64, f64)> =
        (0..series.len()).filter(|&i| !stray[i]).map(|i| (at[i], series[i])).collect();
    let set_aside = (series.len() - kept.len()) as f64;
    let aside = if set_aside > 0.0 { set_aside * cap * cap } else { 0.0 };
    if kept.is_empty() {
        return (series[0], series[series.len() - 1], aside);
    }
    let n = kept.len() as f64;
    let (mean_x, mean_y) =
        (kept.iter().map(|k| k.0).sum::<f64>() / n, kept.iter().map(|k| k.1).sum::<f64>() / n);
    let (sxx, sxy) = kept
        .iter()
        .fold((0.0, 0.0), |(xx, xy), (x, y)| (xx + (x - mean_x).powi(2), xy + (x - mean_x) * (y - mean_y)));
    let slope = if sxx > 0.0 { sxy / sxx } else { 0.0 };
    let on = |x: f64| mean_y + slope * (x - mean_x);
    let residuals: f64 = kept.iter().map(|&(x, y)| (y - on(x)).powi(2)).sum();
    (on(at[0]), on(at[at.len() - 1]), residuals + aside)
}

/// Start of a last segment, and its shape in the lowest bit.
#[derive(Clone, Copy)]
struct Last(u32);

impl Last {
    fn packed(start: u32, shape: Shape) -> Self {
        Self(start << 1 | u32::from(shape == Shape::Ramp))
    }

    fn unpacked(self) -> (usize, Shape) {
        ((self.0 >> 1) as usize, if self.0 & 1 == 1 { Shape::Ramp } else { Shape::Level })
    }
}

fn last_segments(at: &[f64], series: &[f64], stray: &[bool], charge: Charge, surcharge: f64) -> Vec<Last> {
    let mut levels = Levels::new(series, charge);
    let mut starts = Starts::default();
    let mut last = Vec::with_capacity(series.len());
    // What a cut before the first sample costs: no change is paid for the first segment.
    let mut before = -charge.penalty;
    for (i, &y) in series.iter().enumerate() {
        if surcharge.is_finite() {
            starts.begin(i as u32, before, at[i], y);
        }
        before = 0.0;
        let (level, level_start) = levels.add(y);
        if stray[i] {
            starts.set_aside(charge.cap * charge.cap);
        } else {
            starts.add(at[i], y);
        }
        let (mut best, mut segment) = (level, Last::packed(level_start, Shape::Level));
        let opened = charge.penalty + surcharge;
        if let Some((cost, start)) = starts.cheapest()
            && cost + opened < best
        {
            (best, segment) = (cost + opened, Last::packed(start, Shape::Ramp));
        }
        last.push(segment);
        starts.drop_from(best);
        levels.settle(best, i as u32 + 1);
    }
    last
}

/// Starts that are worked on together.
const LANES: usize = 4;

/// Some starts of a ramp, each with the sums of its samples from the first of them on, so that no digits are lost.
#[derive(Clone, Copy, Default)]
struct Block {
    start: [u32; LANES],
    /// F(s) and what strays cost since, relative to the best cut of all samples so far.
    base: [f64; LANES],
    origin_x: [f64; LANES],
    origin_y: [f64; LANES],
    n: [f64; LANES],
    x: [f64; LANES],
    y: [f64; LANES],
    xx: [f64; LANES],
    xy: [f64; LANES],
    yy: [f64; LANES],
    /// Residuals of the line.
    residuals: [f64; LANES],
}

impl Block {
    fn add(&mut self, x: f64, y: f64) {
        for k in 0..LANES {
            let (dx, dy) = (x - self.origin_x[k], y - self.origin_y[k]);
            self.n[k] += 1.0;
            self.x[k] += dx;
            self.y[k] += dy;
            self.xx[k] += dx * dx;
            self.xy[k] += dx * dy;
            self.yy[k] += dy * dy;
        }
        for k in 0..LANES {
            let share = 1.0 / self.n[k];
            let xx = self.xx[k] - self.x[k] * self.x[k] * share;
            let xy = self.xy[k] - self.x[k] * self.y[k] * share;
            let yy = self.yy[k] - self.y[k] * self.y[k] * share;
            // One moment only: no line, a level. The smallest number keeps 0 / 0 away.
            let along = if xx > 0.0 { xy * xy / xx.max(f64::MIN_POSITIVE) } else { 0.0 };
            self.residuals[k] = (yy - along).max(0.0);
        }
    }

    fn set(&mut self, lane: usize, from: &Self, other: usize) {
        self.start[lane] = from.start[other];
        self.base[lane] = from.base[other];
        self.origin_x[lane] = from.origin_x[other];
        self.origin_y[lane] = from.origin_y[other];
        self.n[lane] = from.n[other];
        self.x[lane] = from.x[other];
        self.y[lane] = from.y[other];
        self.xx[lane] = from.xx[other];
        self.xy[lane] = from.xy[other];
        self.yy[lane] = from.yy[other];
        self.residuals[lane] = from.residuals[other];
    }
}

/// Starts of a ramp that can still win, the last block filled up with what is in none.
#[derive(Default)]
struct Starts {
    blocks: Vec<Block>,
    count: usize,
}

impl Starts {
    fn begin(&mut self, start: u32, base: f64, x: f64, y: f64) {
        if self.count.is_multiple_of(LANES) {
            self.blocks.push(Block::default());
        }
        let one = Block {
            start: [start; LANES],
            base: [base; LANES],
            origin_x: [x; LANES],
            origin_y: [y; LANES],
            ..Block::default()
        };
        self.blocks[self.count / LANES].set(self.count % LANES, &one, 0);
        self.count += 1;
    }

    fn set_aside(&mut self, price: f64) {
        for block in &mut self.blocks {
            block.base.iter_mut().for_each(|base| *base += price);
        }
    }

    fn add(&mut self, x: f64, y: f64) {
        for block in &mut self.blocks {
            block.add(x, y);
        }
    }

    fn cost(&self, k: usize) -> f64 {
        let block = &self.blocks[k / LANES];
        block.base[k % LANES] + block.residuals[k % LANES]
    }

    fn cheapest(&self) -> Option<(f64, u32)> {
        let mut best: Option<(f64, u32)> = None;
        for k in 0..self.count {
            let cost = self.cost(k);
            if best.is_none_or(|(least, _)| cost < least) {
                best = Some((cost, self.blocks[k / LANES].start[k % LANES]));
            }
        }
        best
    }

    /// Drops what can't win any more, and counts from `best` on.
    fn drop_from(&mut self, best: f64) {
        let mut k = 0;
        while k < self.count {
            if self.cost(k) < best {
                k += 1;
                continue;
            }
            self.count -= 1;
            let last = self.blocks[self.count / LANES];
            self.blocks[k / LANES].set(k % LANES, &last, self.count % LANES);
            self.blocks.truncate(self.count.div_ceil(LANES));
        }
        for block in &mut self.blocks {
            block.base.iter_mut().for_each(|base| *base -= best);
        }
    }
}
