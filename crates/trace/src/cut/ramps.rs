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
/// Time: that of the levels and a nanosecond or two for each sample and start alive: its line is priced only where it could
/// win, for a line's cost only grows. Starts live until about the next change, so it
/// is n·(samples between changes) for recordings, and n² for one long noisy level. Memory: 4 bytes a sample, the
/// pieces, and 92 bytes a start alive.
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
    let opened = charge.penalty + surcharge;
    // What a cut before the first sample costs: no change is paid for the first segment.
    let mut before = -charge.penalty;
    for (i, &y) in series.iter().enumerate() {
        if surcharge.is_finite() {
            starts.begin(i as u32, before, at[i], y);
        }
        before = 0.0;
        let (level, level_start) = levels.add(y);
        let least = if stray[i] { starts.set_aside(charge.cap * charge.cap) } else { starts.add(at[i], y) };
        let (mut best, mut segment) = (level, Last::packed(level_start, Shape::Level));
        if least + opened < best
            && let Some((cost, start)) = starts.cheapest(best - opened)
        {
            (best, segment) = (cost + opened, Last::packed(start, Shape::Ramp));
        }
        last.push(segment);
        if i % DROPPED_EVERY == 0 {
            starts.drop_from(best);
        }
        starts.counted_from = best;
        levels.settle(best, i as u32 + 1);
    }
    last
}

/// Starts that can't win are looked for every so many samples: one that stays longer changes nothing but the time.
const DROPPED_EVERY: usize = 16;
/// Starts that are worked on together.
const LANES: usize = 4;

/// Some starts of a ramp, each with the sums of its samples from the first of them on, so that no digits are lost.
#[derive(Clone, Copy)]
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
    /// Base and residuals of the line together as last worked out, and no more than they are now: residuals only grow.
    /// Infinite where no start stands.
    cost: [f64; LANES],
}

impl Block {
    /// A block without a start.
    const EMPTY: Self = Self {
        start: [0; LANES],
        base: [f64::INFINITY; LANES],
        origin_x: [0.0; LANES],
        origin_y: [0.0; LANES],
        n: [0.0; LANES],
        x: [0.0; LANES],
        y: [0.0; LANES],
        xx: [0.0; LANES],
        xy: [0.0; LANES],
        yy: [0.0; LANES],
        cost: [f64::INFINITY; LANES],
    };

    fn add(&mut self, x: f64, y: f64, counted_from: f64) {
        for k in 0..LANES {
            let (dx, dy) = (x - self.origin_x[k], y - self.origin_y[k]);
            self.base[k] -= counted_from;
            self.cost[k] -= counted_from;
            self.n[k] += 1.0;
            self.x[k] += dx;
            self.y[k] += dy;
            self.xx[k] += dx * dx;
            self.xy[k] += dx * dy;
            self.yy[k] += dy * dy;
        }
    }

    /// Works out what the lines cost now.
    fn price(&mut self) {
        for k in 0..LANES {
            let n = self.n[k];
            let xx = n * self.xx[k] - self.x[k] * self.x[k];
            let xy = n * self.xy[k] - self.x[k] * self.y[k];
            let yy = n * self.yy[k] - self.y[k] * self.y[k];
            // (yy − xy²/xx)/n in one division. One moment only, n²·xx at most a rounding: no line, a level.
            let line = xx > 1e-13 * n * self.xx[k];
            let (over, under) = if line { (yy * xx - xy * xy, n * xx) } else { (yy, n) };
            self.cost[k] = self.base[k] + (over / under).max(0.0);
        }
    }

    /// Takes a stray: it is on no line, and costs the same on any.
    fn set_aside(&mut self, price: f64, counted_from: f64) {
        for k in 0..LANES {
            self.base[k] += price - counted_from;
            self.cost[k] += price - counted_from;
        }
    }

    fn least(&self) -> f64 {
        self.cost.iter().copied().fold(f64::INFINITY, f64::min)
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
        self.cost[lane] = from.cost[other];
    }
}

/// Starts of a ramp that can still win, the last block filled up with what is in none.
#[derive(Default)]
struct Starts {
    blocks: Vec<Block>,
    count: usize,
    /// What costs are to be counted from, from the next sample on.
    counted_from: f64,
}

impl Starts {
    fn begin(&mut self, start: u32, base: f64, x: f64, y: f64) {
        if self.count.is_multiple_of(LANES) {
            self.blocks.push(Block::EMPTY);
        }
        let base = base + self.counted_from;
        let mut one = Block::EMPTY;
        (one.start[0], one.base[0], one.cost[0]) = (start, base, base);
        (one.origin_x[0], one.origin_y[0]) = (x, y);
        self.blocks[self.count / LANES].set(self.count % LANES, &one, 0);
        self.count += 1;
    }

    /// Takes a stray; no ramp costs less than what it gives back.
    fn set_aside(&mut self, price: f64) -> f64 {
        let counted_from = std::mem::take(&mut self.counted_from);
        self.blocks.iter_mut().fold(f64::INFINITY, |least, block| {
            block.set_aside(price, counted_from);
            least.min(block.least())
        })
    }

    /// Takes a sample; no ramp costs less than what it gives back.
    fn add(&mut self, x: f64, y: f64) -> f64 {
        let counted_from = std::mem::take(&mut self.counted_from);
        self.blocks.iter_mut().fold(f64::INFINITY, |least, block| {
            block.add(x, y, counted_from);
            least.min(block.least())
        })
    }

    /// The cheapest ramp that costs less than this, and where it starts.
    fn cheapest(&mut self, below: f64) -> Option<(f64, u32)> {
        let mut best: Option<(f64, u32)> = None;
        for block in self.blocks.iter_mut().filter(|block| block.least() < below) {
            block.price();
            for (cost, start) in block.cost.iter().zip(block.start) {
                if *cost < best.map_or(below, |b| b.0) {
                    best = Some((*cost, start));
                }
            }
        }
        best
    }

    /// Drops what can't win any more.
    fn drop_from(&mut self, best: f64) {
        self.blocks.iter_mut().for_each(Block::price);
        let mut at = 0;
        while at < self.blocks.len() {
            if self.blocks[at].cost.iter().all(|cost| *cost < best) {
                at += 1;
                continue;
            }
            let mut lane = 0;
            while lane < LANES && at * LANES + lane < self.count {
                if self.blocks[at].cost[lane] < best {
                    lane += 1;
                    continue;
                }
                self.count -= 1;
                let last = self.blocks[self.count / LANES];
                self.blocks[at].set(lane, &last, self.count % LANES);
                self.blocks[self.count / LANES].set(self.count % LANES, &Block::EMPTY, 0);
                self.blocks.truncate(self.count.div_ceil(LANES));
                if at >= self.blocks.len() {
                    break;
                }
            }
            at += 1;
        }
    }
}
