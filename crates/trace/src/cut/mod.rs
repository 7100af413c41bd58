//! Exact segmentation of a series into constant levels, and into levels and ramps ([`cut_ramps`]).
//!
//! [`cut`] minimises, over every number and place of changes, Σ ρ(yᵢ − μ of its segment) + β·(segments − 1) with
//! ρ(r) = min(r², K²). K = ∞ is least squares; a finite K keeps single rows gone wrong from making segments.
//!
//! Method: functional pruning by dynamic programming. The best cost of the first t samples is kept as a function of
//! the last segment's level μ, a list of quadratic pieces; a sample adds ρ(y − μ), a change puts a ceiling on it.
//! Sources: R. Maidstone, T. Hocking, G. Rigaill, P. Fearnhead, "On optimal multiple changepoint algorithms for large
//! data", Statistics and Computing 27 (2017) 519–533; P. Fearnhead, G. Rigaill, "Changepoint detection in the presence
//! of outliers", Journal of the American Statistical Association 114 (2019) 169–183 (both cited from memory).

mod noise;
mod pieces;
mod ramps;

pub use noise::{Noise, noise};
pub use ramps::{Ramped, Segment, Shape, cut_ramps};

/// Where a series was cut, and what that costs.
#[derive(Debug, Clone, PartialEq)]
pub struct Cut {
    /// End of each segment, exclusive, in samples; the last is the length of the series. Empty for an empty series.
    pub ends: Vec<usize>,
    /// The minimised cost: residuals plus one penalty for each change. In watts squared.
    pub cost: f64,
    /// Level of each segment, in the unit of the series.
    pub levels: Vec<f64>,
}

/// What a cut is charged.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Charge {
    /// β: cost of one change, in the unit of the series squared; at least 0.
    pub penalty: f64,
    /// K: residual from which a sample costs no more, in the unit of the series; infinite for least squares.
    pub cap: f64,
}

impl Charge {
    /// Least squares with this penalty.
    pub fn least_squares(penalty: f64) -> Self {
        Self { penalty, cap: f64::INFINITY }
    }

    /// What is not a cost is none: a penalty below 0 is 0, a cap not above 0 is no cap.
    fn sound(self) -> Self {
        let penalty = if self.penalty > 0.0 { self.penalty.min(1e30) } else { 0.0 };
        let cap = if self.cap > 0.0 && self.cap < 1e13 { self.cap } else { f64::INFINITY };
        Self { penalty, cap }
    }

    /// From the series itself: β = 4·σ²·ln n and K = 5·σ, σ the noise of [`noise`] with the meter's step in it.
    ///
    /// 2·σ²·ln n is the penalty at which white noise of n samples is left in one piece (Y.-C. Yao, Statistics and
    /// Probability Letters 6 (1988) 181–189, from memory); twice that because a meter's readings are not white.
    pub fn of(series: &[f64]) -> Self {
        let sigma = noise(series).sigma();
        let n = series.len().max(2) as f64;
        Self { penalty: 4.0 * sigma * sigma * n.ln(), cap: 5.0 * sigma }
    }
}

/// The cheapest cut of a series. Samples that are not finite count as the sample before them.
///
/// Exact for K = ∞ and for finite K; ties go to the longer last segment. Time is about n·log n for series that look
/// like recordings and up to n² for long smooth ramps (50,000 samples of a parabola: some seconds); memory is 20 bytes a
/// sample and the pieces.
pub fn cut(series: &[f64], charge: Charge) -> Cut {
    let clean = finite(series);
    let charge = charge.sound();
    if clean.is_empty() {
        return Cut { ends: Vec::new(), cost: 0.0, levels: Vec::new() };
    }
    let last_change = pieces::last_changes(&clean, charge);
    let mut ends = Vec::new();
    let mut end = clean.len();
    while end > 0 {
        ends.push(end);
        end = last_change[end - 1] as usize;
    }
    ends.reverse();
    priced(&clean, ends, charge)
}

fn finite(series: &[f64]) -> Vec<f64> {
    let mut last = series.iter().copied().find(|y| y.is_finite()).unwrap_or(0.0);
    series
        .iter()
        .map(|&y| {
            if y.is_finite() {
                last = y.clamp(-1e12, 1e12);
            }
            last
        })
        .collect()
}

/// Costs are summed afresh from the samples, so that the running sums of the search leave no rounding in them.
fn priced(series: &[f64], ends: Vec<usize>, charge: Charge) -> Cut {
    let mut start = 0;
    let mut cost = charge.penalty * ends.len().saturating_sub(1) as f64;
    let mut levels = Vec::with_capacity(ends.len());
    for &end in &ends {
        let (level, segment_cost) = fit(&series[start..end], charge.cap);
        cost += segment_cost;
        levels.push(level);
        start = end;
    }
    Cut { ends, cost, levels }
}

/// Level with the least Σ min((y − μ)², K²), and that sum.
pub fn fit(samples: &[f64], cap: f64) -> (f64, f64) {
    if samples.is_empty() {
        return (0.0, 0.0);
    }
    let mean = samples.iter().sum::<f64>() / samples.len() as f64;
    if cap.is_infinite() {
        return (mean, samples.iter().map(|y| (y - mean).powi(2)).sum());
    }
    fit_capped(samples, cap)
}

/// The optimum is the mean of the samples within K of it, and these stand side by side when sorted: each window of the
/// sorted samples that a level can have within its reach is tried.
fn fit_capped(samples: &[f64], cap: f64) -> (f64, f64) {
    let mut sorted = samples.to_vec();
    sorted.sort_by(f64::total_cmp);
    let n = sorted.len();
    let shift = sorted[n / 2];
    let (mut sum, mut squares) = (vec![0.0; n + 1], vec![0.0; n + 1]);
    for (i, y) in sorted.iter().enumerate() {
        sum[i + 1] = sum[i] + (y - shift);
        squares[i + 1] = squares[i] + (y - shift).powi(2);
    }
    let mut best = (sorted[n / 2], f64::INFINITY);
    let (mut low, mut high) = (0, 0);
    // A window changes where a sample leaves (level y + K) or enters (level y − K), in order of level.
    while low < n {
        let enters = sorted.get(high).map_or(f64::INFINITY, |y| y - cap);
        if enters <= sorted[low] + cap {
            high += 1;
        } else {
            low += 1;
        }
        let count = high - low;
        let inside = count as f64;
        if count > 0 {
            let (s, q) = (sum[high] - sum[low], squares[high] - squares[low]);
            let cost = (q - s * s / inside).max(0.0) + (n - count) as f64 * cap * cap;
            if cost < best.1 {
                best = (shift + s / inside, cost);
            }
        }
    }
    best
}

#[cfg(test)]
mod tests;
