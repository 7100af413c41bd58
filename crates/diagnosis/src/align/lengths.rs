//! How long steps and pauses last.
//!
//! Log-logistic: P(T ≤ t) = 1/(1 + (m/t)^β) with median m. Its tail falls as t^−β, so that an operator who was called
//! away is unlikely and not impossible; for large β, ln T has a standard deviation of π/(√3·β).

/// Distribution of a time.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Length {
    /// Median, s; 0: over at once.
    pub median_s: f64,
    /// Steepness β.
    pub steep: f64,
    /// Share that has the steepness `loose` about the same median.
    pub hurried: f64,
    /// Steepness of that share.
    pub loose: f64,
    /// Share that is over almost at once, after [`QUICK`].
    pub quick: f64,
}

/// Median and steepness of what is pressed on at once, s.
const QUICK: (f64, f64) = (1.5, 3.0);

/// Step of the table, s, and how many.
const TICK_S: f64 = 0.5;
const TICKS: usize = 600;

/// A distribution, tabled.
#[derive(Clone, Debug)]
pub(super) struct Table {
    length: Length,
    over: Vec<f64>,
}

impl Length {
    /// What two of the same distribution have in common.
    pub(super) fn key(&self) -> [u64; 5] {
        [self.median_s, self.steep, self.hurried, self.loose, self.quick].map(f64::to_bits)
    }

    fn beyond(&self, t: f64) -> f64 {
        if t <= 0.0 {
            return 1.0;
        }
        let part = |median_s: f64, steep: f64| 1.0 / (1.0 + (steep * (t / median_s).ln()).exp());
        let median_s = self.median_s.max(0.1);
        (1.0 - self.hurried - self.quick) * part(median_s, self.steep)
            + self.hurried * part(median_s, self.loose)
            + self.quick * part(QUICK.0, QUICK.1)
    }
}

impl Table {
    pub(super) fn new(length: Length) -> Table {
        Table { length, over: (0..=TICKS).map(|k| length.beyond(k as f64 * TICK_S)).collect() }
    }

    /// Probability to last longer than t; falls with t.
    pub(super) fn beyond(&self, t: f64) -> f64 {
        let ticks = t / TICK_S;
        if ticks <= 0.0 {
            1.0
        } else if ticks < TICKS as f64 {
            let k = ticks as usize;
            self.over[k] + (ticks - k as f64) * (self.over[k + 1] - self.over[k])
        } else {
            self.length.beyond(t)
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_table_is_the_formula() {
        let length = Length { median_s: 20.0, steep: 10.0, hurried: 0.05, loose: 2.2, quick: 0.0 };
        let table = Table::new(length);
        assert!((table.beyond(20.0) - 0.5).abs() < 1e-12);
        for t in [0.0, 0.3, 7.7, 19.9, 33.3, 299.9, 300.1, 5000.0] {
            assert!((table.beyond(t) - length.beyond(t)).abs() < 2e-3, "{t}");
            assert!(table.beyond(t) >= table.beyond(t + 0.2));
        }
        // Twice the median: 1/(1 + 2^10) of those that go by themselves, 1/(1 + 2^2.2) of the others.
        let twice = 0.95 / 1025.0 + 0.05 / (1.0 + 2f64.powf(2.2));
        assert!((table.beyond(40.0) - twice).abs() < 1e-12);
    }
}
