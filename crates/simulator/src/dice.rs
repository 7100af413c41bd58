//! Draws from a seeded generator.

use rand_pcg::Pcg64;
use rand_pcg::rand_core::{Rng, SeedableRng};

/// What a stream of draws is for: a change in one purpose leaves the draws of the others alone.
#[derive(Clone, Copy, Debug)]
pub(crate) enum Purpose {
    Specimen = 1,
    Course,
    Operator,
    Meter,
    Supply,
    Eyes,
    Subject,
    Household,
    Fitful,
    Hidden,
}

/// One stream of draws.
pub(crate) struct Dice(Pcg64);

impl Dice {
    pub(crate) fn new(seed: u64, purpose: Purpose) -> Dice {
        // The golden ratio in 64 bits, odd: distinct purposes give distinct seeds.
        Dice(Pcg64::seed_from_u64(seed ^ (purpose as u64).wrapping_mul(0x9e37_79b9_7f4a_7c15)))
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

    /// Standard normal (Box and Muller 1958).
    pub(crate) fn normal(&mut self) -> f64 {
        let radius = (-2.0 * (1.0 - self.share()).ln()).sqrt();
        radius * (std::f64::consts::TAU * self.share()).cos()
    }

    /// Exponential with this mean.
    pub(crate) fn wait(&mut self, mean: f64) -> f64 {
        -mean * (1.0 - self.share()).ln()
    }

    /// A whole number below `n` (0 for none).
    pub(crate) fn below(&mut self, n: usize) -> usize {
        ((self.share() * n as f64) as usize).min(n.saturating_sub(1))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn draws_have_the_moments_of_their_distributions() {
        let mut dice = Dice::new(7, Purpose::Meter);
        let n = 20_000;
        let mean = |f: &mut dyn FnMut() -> f64| (0..n).map(|_| f()).sum::<f64>() / f64::from(n);
        assert!((mean(&mut || dice.between(2.0, 4.0)) - 3.0).abs() < 0.02);
        assert!(mean(&mut || dice.normal()).abs() < 0.03);
        assert!((mean(&mut || dice.normal().powi(2)) - 1.0).abs() < 0.05);
        assert!((mean(&mut || dice.wait(5.0)) - 5.0).abs() < 0.15);
        assert!((mean(&mut || f64::from(u8::from(dice.chance(0.3)))) - 0.3).abs() < 0.02);
    }

    #[test]
    fn purposes_and_seeds_differ() {
        let first = |seed, purpose| Dice::new(seed, purpose).share();
        assert_ne!(first(1, Purpose::Meter), first(1, Purpose::Course));
        assert_ne!(first(1, Purpose::Meter), first(2, Purpose::Meter));
        assert_eq!(first(1, Purpose::Meter), first(1, Purpose::Meter));
    }
}
