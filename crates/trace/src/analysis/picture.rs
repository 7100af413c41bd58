//! A recording of any length in a bounded number of bins, for drawing.

/// Samples of a stretch of time.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bin {
    /// Lowest power, W.
    pub low_w: f64,
    /// Highest power, W.
    pub high_w: f64,
    /// Sum of powers, W; over `count` the mean.
    pub sum_w: f64,
    /// Samples; 0 in a gap.
    pub count: u64,
}

const EMPTY: Bin = Bin { low_w: f64::INFINITY, high_w: f64::NEG_INFINITY, sum_w: 0.0, count: 0 };

impl Bin {
    fn add(&mut self, other: Bin) {
        self.low_w = self.low_w.min(other.low_w);
        self.high_w = self.high_w.max(other.high_w);
        self.sum_w += other.sum_w;
        self.count += other.count;
    }
}

/// Bins of equal width from the first sample on; twice as wide each time there are too many.
#[derive(Debug, Clone, PartialEq)]
pub struct Picture {
    /// Time of the first bin's start, s.
    pub start_s: f64,
    /// Width of a bin, s.
    pub width_s: f64,
    /// The bins.
    pub bins: Vec<Bin>,
}

/// Most bins.
const MOST: usize = 4096;

impl Default for Picture {
    fn default() -> Self {
        Self { start_s: f64::NAN, width_s: 1.0, bins: Vec::new() }
    }
}

impl Picture {
    pub(super) fn push(&mut self, time_s: f64, power_w: f64) {
        if self.start_s.is_nan() {
            self.start_s = time_s;
        }
        while (time_s - self.start_s) / self.width_s >= MOST as f64 && self.width_s < 1e15 {
            self.halve();
        }
        let at = (((time_s - self.start_s) / self.width_s).max(0.0) as usize).min(MOST - 1);
        if at >= self.bins.len() {
            self.bins.resize(at + 1, EMPTY);
        }
        self.bins[at].add(Bin { low_w: power_w, high_w: power_w, sum_w: power_w, count: 1 });
    }

    fn halve(&mut self) {
        self.bins = self.bins.chunks(2).map(sum).collect();
        self.width_s *= 2.0;
    }

    /// The same in this many bins of equal width; a bin between samples takes the last one seen.
    pub fn in_columns(&self, columns: usize) -> Vec<Bin> {
        let n = self.bins.len();
        (0..columns)
            .map(|c| {
                let from = c * n / columns.max(1);
                let to = ((c + 1) * n / columns.max(1)).max(from + 1).min(n);
                sum(self.bins.get(from..to).unwrap_or(&[]))
            })
            .collect()
    }
}

fn sum(bins: &[Bin]) -> Bin {
    let mut all = EMPTY;
    for bin in bins {
        all.add(*bin);
    }
    all
}
