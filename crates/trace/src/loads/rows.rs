//! Rows of a recording put in order, and the level filters that work on them.

use std::collections::VecDeque;

/// Rows in order of time, one for each moment.
#[derive(Debug, Clone, Default)]
pub(crate) struct Rows {
    /// Seconds, rising.
    pub(crate) time_s: Vec<f64>,
    /// Watts.
    pub(crate) power_w: Vec<f64>,
    /// Of the rows of one moment the watts furthest from the row before: what a change within the moment shows first.
    pub(crate) other_w: Vec<f64>,
    /// Watts with single rows gone wrong taken out: the median of each row and its two neighbours.
    pub(crate) calm_w: Vec<f64>,
    /// Median step between rows, in seconds.
    pub(crate) step_s: f64,
    /// Least calmed power, in watts: what was on all the time. Taken off all the powers above.
    pub(crate) base_w: f64,
}

impl Rows {
    /// Sorts by time, keeps of the rows of one moment the one nearest to the row before (a late row stands after a
    /// newer one and carries an older value), leaves out what is not a number.
    pub(crate) fn new(time_s: &[f64], power_w: &[f64]) -> Self {
        let mut pairs: Vec<(f64, f64)> = time_s
            .iter()
            .zip(power_w)
            .filter(|(t, p)| t.is_finite() && p.is_finite())
            .map(|(&t, &p)| (t, p.clamp(-1e9, 1e9)))
            .collect();
        if !pairs.is_sorted_by(|a, b| a.0 <= b.0) {
            pairs.sort_by(|a, b| a.0.total_cmp(&b.0));
        }
        let mut rows = Self::default();
        rows.time_s.reserve(pairs.len());
        rows.power_w.reserve(pairs.len());
        rows.other_w.reserve(pairs.len());
        for group in pairs.chunk_by(|a, b| a.0 == b.0) {
            let before = rows.power_w.last().copied().unwrap_or(group[0].1);
            let away = |a: &f64, b: &f64| (a - before).abs().total_cmp(&(b - before).abs());
            rows.time_s.push(group[0].0);
            rows.power_w.push(group.iter().map(|g| g.1).min_by(away).unwrap_or(before));
            rows.other_w.push(group.iter().map(|g| g.1).max_by(away).unwrap_or(before));
        }
        rows.calm_w = median_of_three(&rows.power_w);
        rows.base_w = rows.calm_w.iter().copied().fold(f64::INFINITY, f64::min).min(1e9);
        for w in [&mut rows.power_w, &mut rows.other_w, &mut rows.calm_w].into_iter().flatten() {
            *w -= rows.base_w;
        }
        rows.step_s = quantile(&rows.time_s.windows(2).map(|w| w[1] - w[0]).collect::<Vec<_>>(), 0.5);
        rows
    }

    pub(crate) fn len(&self) -> usize {
        self.time_s.len()
    }

    /// Rows with time in [from, to).
    pub(crate) fn between(&self, from_s: f64, to_s: f64) -> std::ops::Range<usize> {
        let first = self.time_s.partition_point(|&t| t < from_s);
        let last = self.time_s.partition_point(|&t| t < to_s);
        first..last.max(first)
    }
}

fn median_of_three(values: &[f64]) -> Vec<f64> {
    let mut out = values.to_vec();
    for i in 1..values.len().saturating_sub(1) {
        let (a, b, c) = (values[i - 1], values[i], values[i + 1]);
        out[i] = a.max(b).min(a.min(b).max(c));
    }
    if let [first, second, .., before, last] = values {
        let n = out.len();
        out[0] = first.min(*second);
        out[n - 1] = last.min(*before);
    }
    out
}

/// The value below which this share of the values lies; 0 for none.
pub(crate) fn quantile(values: &[f64], share: f64) -> f64 {
    if values.is_empty() {
        return 0.0;
    }
    let mut scratch = values.to_vec();
    let at = ((scratch.len() - 1) as f64 * share.clamp(0.0, 1.0)).round() as usize;
    *scratch.select_nth_unstable_by(at, f64::total_cmp).1
}

/// Takes out every rise shorter than `width_s`: the running least over windows of that width, then the running greatest
/// (morphological opening). Never above the series.
pub(crate) fn without_short_rises(time_s: &[f64], values: &[f64], width_s: f64) -> Vec<f64> {
    let negated: Vec<f64> =
        running_greatest(time_s, &values.iter().map(|v| -v).collect::<Vec<_>>(), width_s, true);
    let least: Vec<f64> = negated.iter().map(|v| -v).collect();
    running_greatest(time_s, &least, width_s, false)
}

/// Greatest value among the rows in [t, t + width] (`ahead`) or [t − width, t].
fn running_greatest(time_s: &[f64], values: &[f64], width_s: f64, ahead: bool) -> Vec<f64> {
    let n = values.len();
    let mut out = vec![0.0; n];
    let mut queue: VecDeque<usize> = VecDeque::new();
    for k in 0..n {
        let i = if ahead { n - 1 - k } else { k };
        while queue.back().is_some_and(|&j| values[j] <= values[i]) {
            queue.pop_back();
        }
        queue.push_back(i);
        while queue.front().is_some_and(|&j| (time_s[j] - time_s[i]).abs() > width_s) {
            queue.pop_front();
        }
        out[i] = queue.front().map_or(values[i], |&j| values[j]);
    }
    out
}

/// Where values lie in two levels: the split with the greatest variance between the two (N. Otsu, IEEE Transactions on
/// Systems, Man, and Cybernetics 9 (1979) 62–66, from memory).
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct TwoLevels {
    /// Median of the lower ones.
    pub(crate) low: f64,
    /// Median of the upper ones.
    pub(crate) high: f64,
    /// Values at or above belong to the upper level.
    pub(crate) middle: f64,
    /// Share of the values in the lower level.
    pub(crate) low_share: f64,
    /// Share of the variance that lies between the two levels; 0.75 for an even spread, 0.64 for a normal one.
    pub(crate) contrast: f64,
}

pub(crate) fn two_levels(values: &[f64]) -> Option<TwoLevels> {
    if values.len() < 4 {
        return None;
    }
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    let n = sorted.len();
    let mean = sorted.iter().sum::<f64>() / n as f64;
    let total: f64 = sorted.iter().map(|v| (v - mean).powi(2)).sum();
    let (mut sum, mut best) = (0.0, (0.0, 0));
    for k in 1..n {
        sum += sorted[k - 1] - mean;
        let between = sum * sum * (1.0 / k as f64 + 1.0 / (n - k) as f64);
        if between > best.0 {
            best = (between, k);
        }
    }
    let (between, k) = best;
    (k > 0 && total > 0.0).then(|| TwoLevels {
        low: sorted[k / 2],
        high: sorted[k + (n - k) / 2],
        middle: f64::midpoint(sorted[k - 1], sorted[k]),
        low_share: k as f64 / n as f64,
        contrast: between / total,
    })
}
