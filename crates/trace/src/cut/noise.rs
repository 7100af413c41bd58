//! How much a recording wavers when nothing changes, and the step of its numbers.

/// Noise of a recording.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Noise {
    /// Standard deviation of one sample about its level, from the differences of neighbours.
    pub spread: f64,
    /// Smallest step between readings (the meter's resolution), 0 where none can be told.
    pub step: f64,
}

impl Noise {
    /// Spread with the rounding to steps added, never 0: √(spread² + step²/12), the variance of rounding being
    /// step²/12 (Widrow and Kollár, Quantization Noise, 2008, from memory).
    pub fn sigma(&self) -> f64 {
        let sigma = (self.spread.powi(2) + self.step.powi(2) / 12.0).sqrt();
        if sigma > 0.0 { sigma } else { 1e-6 }
    }
}

/// Noise of a series: spread is 1.4826·median|yᵢ₊₁ − yᵢ|/√2, which edges and spikes hardly move. Where more than half
/// of the neighbours are equal (a coarse meter) the mean of the middle 90 % of the differences stands in.
pub fn noise(series: &[f64]) -> Noise {
    let mut differences: Vec<f64> =
        series.windows(2).map(|pair| (pair[1] - pair[0]).abs()).filter(|d| d.is_finite()).collect();
    if differences.is_empty() {
        return Noise { spread: 0.0, step: 0.0 };
    }
    differences.sort_by(f64::total_cmp);
    let median = differences[differences.len() / 2];
    let kept = &differences[..(differences.len() * 9).div_ceil(10)];
    let trimmed = kept.iter().sum::<f64>() / kept.len() as f64;
    let scale = if median > 0.0 { 1.4826 * median } else { 1.2533 * trimmed };
    Noise { spread: scale / std::f64::consts::SQRT_2, step: step(&differences) }
}

/// The smallest difference that turns up often (one in a thousand of those that are not 0); none where fewer than one
/// neighbour in fifty differs, for then differences are loads that switch.
fn step(sorted: &[f64]) -> f64 {
    let moved = &sorted[sorted.partition_point(|d| *d <= 0.0)..];
    if moved.len() * 50 < sorted.len() {
        return 0.0;
    }
    moved.get(moved.len() / 1000).copied().unwrap_or(0.0)
}
