//! Draws from a seeded generator, apart from the simulator's own.

use rand_pcg::Pcg64;
use rand_pcg::rand_core::{Rng, SeedableRng};

/// One stream of draws.
pub(crate) struct Dice(Pcg64);

impl Dice {
    pub(crate) fn new(seed: u64) -> Dice {
        Dice(Pcg64::seed_from_u64(seed ^ 0xA5A5_0001_5EED_0C0D))
    }

    /// Rectangular in [0, 1).
    pub(crate) fn share(&mut self) -> f64 {
        // 53 bits: every f64 of that grid, none of them 1.
        (self.0.next_u64() >> 11) as f64 / (1u64 << 53) as f64
    }

    /// Rectangular from `low` to `high`.
    pub(crate) fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.share()
    }

    /// True with this probability.
    pub(crate) fn chance(&mut self, probability: f64) -> bool {
        self.share() < probability
    }

    /// A whole number below `n` (0 for none).
    pub(crate) fn below(&mut self, n: usize) -> usize {
        ((self.share() * n as f64) as usize).min(n.saturating_sub(1))
    }

    /// A place, each as likely as its weight.
    pub(crate) fn weighted(&mut self, weights: &[f64]) -> usize {
        let mut left = self.share() * weights.iter().sum::<f64>();
        for (place, w) in weights.iter().enumerate() {
            if left < *w {
                return place;
            }
            left -= w;
        }
        weights.len().saturating_sub(1)
    }
}
