//! Whether a measured value keeps to a limit, given its uncertainty (JCGM 106:2012, ILAC-G8:09/2019).

use statrs::distribution::{ContinuousCDF, Normal};
use statrs::function::erf::erfc;

/// The limits a quantity must keep: a lower, an upper, or both.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Limits {
    /// Least value allowed.
    pub lower: Option<f64>,
    /// Greatest value allowed.
    pub upper: Option<f64>,
}

/// What a measurement says about a limit.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Verdict {
    /// Within the limit by at least the guard band.
    Pass,
    /// Within the limit, but closer to it than the guard band: measure better, or treat as failed.
    Unsure,
    /// Beyond the limit, or not a number that could pass.
    Fail,
}

/// How the verdict allows for uncertainty.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum DecisionRule {
    /// Simple acceptance, no guard band: at the limit every second pass is wrong (ILAC-G8:09/2019, 4.2.1).
    SimpleAcceptance,
    /// A guard band as wide as the expanded uncertainty (k = 2): no pass is wrong with more than 2.5 %
    /// (ILAC-G8:09/2019, 4.2.2).
    GuardBand,
}

impl DecisionRule {
    /// Width of the guard band for an expanded uncertainty, in its unit.
    pub fn guard_band(self, expanded_uncertainty: f64) -> f64 {
        match self {
            Self::SimpleAcceptance => 0.0,
            Self::GuardBand => expanded_uncertainty,
        }
    }
}

impl Limits {
    /// An upper limit alone.
    pub const fn at_most(upper: f64) -> Self {
        Self { lower: None, upper: Some(upper) }
    }

    /// A lower limit alone.
    pub const fn at_least(lower: f64) -> Self {
        Self { lower: Some(lower), upper: None }
    }

    /// A lower and an upper limit.
    pub const fn between(lower: f64, upper: f64) -> Self {
        Self { lower: Some(lower), upper: Some(upper) }
    }

    /// Whether `value` keeps to the limits, which themselves are allowed.
    pub fn contains(&self, value: f64) -> bool {
        !value.is_nan() && self.lower.is_none_or(|l| value >= l) && self.upper.is_none_or(|u| value <= u)
    }

    /// The acceptance limits: these limits, drawn in by `guard_band` (JCGM 106, 8.3.2).
    #[must_use]
    pub fn drawn_in(&self, guard_band: f64) -> Self {
        Self { lower: self.lower.map(|l| l + guard_band), upper: self.upper.map(|u| u - guard_band) }
    }

    /// Probability that the quantity keeps to the limits if `measured` was found with standard uncertainty `u`,
    /// with a normal distribution and no knowledge from before (JCGM 106, 7.2 and 7.3).
    pub fn probability(&self, measured: f64, u: f64) -> f64 {
        if measured.is_nan() || u.is_nan() {
            return f64::NAN;
        }
        if u <= 0.0 || measured.is_infinite() {
            return f64::from(u8::from(self.contains(measured)));
        }
        let below_upper = self.upper.map_or(1.0, |upper| normal_cdf((upper - measured) / u));
        let below_lower = self.lower.map_or(0.0, |lower| normal_cdf((lower - measured) / u));
        (below_upper - below_lower).max(0.0)
    }

    /// Pass inside the acceptance limits, fail beyond the limits themselves, unsure between.
    ///
    /// `expanded_uncertainty` is `U` for k = 2. A reading that is not a number is unsure.
    pub fn verdict(&self, measured: f64, expanded_uncertainty: f64, rule: DecisionRule) -> Verdict {
        let accepted = self.drawn_in(rule.guard_band(expanded_uncertainty));
        if measured.is_nan() || expanded_uncertainty.is_nan() {
            Verdict::Unsure
        } else if !self.contains(measured) {
            Verdict::Fail
        } else if accepted.contains(measured) {
            Verdict::Pass
        } else {
            Verdict::Unsure
        }
    }
}

/// Distribution function of the standard normal distribution.
pub fn normal_cdf(z: f64) -> f64 {
    0.5 * erfc(-z / std::f64::consts::SQRT_2)
}

/// Guard band at a single limit that leaves at least `probability` of conformity at its inner edge, for standard
/// uncertainty `u` (JCGM 106, 7.3, Table 1): `z u` with the normal quantile `z`. `probability` from 0 to 1.
pub fn guard_band_for(probability: f64, u: f64) -> f64 {
    // The library panics outside 0..=1, and so at what is no number.
    if probability.is_nan() {
        f64::NAN
    } else {
        Normal::standard().inverse_cdf(probability.clamp(0.0, 1.0)) * u
    }
}

/// What is known of a population of items before any of them is measured.
///
/// `density` is its probability density, negligible outside `from..to`.
#[derive(Debug, Clone, Copy)]
pub struct Population<F> {
    /// Probability density of the quantity over the items.
    pub density: F,
    /// Where the density begins to count.
    pub from: f64,
    /// Where it ceases to count.
    pub to: f64,
}

/// Panels of Simpson's rule for one stretch; the error falls with the fourth power.
const PANELS: u32 = 1000;
/// How many standard uncertainties away a reading is no longer possible for numerical purposes.
const REACH: f64 = 9.0;

impl<F: Fn(f64) -> f64> Population<F> {
    /// Share of the population outside the limits.
    pub fn nonconforming(&self, limits: &Limits) -> f64 {
        let (below, above) = self.outside(limits);
        integrate(&self.density, below) + integrate(&self.density, above)
    }

    /// Share of all items that are accepted although they do not conform: the global consumer's risk
    /// (JCGM 106, 9.5.2, formula 17), for readings with standard uncertainty `u` and the given acceptance limits.
    pub fn consumer_risk(&self, limits: &Limits, acceptance: &Limits, u: f64) -> f64 {
        let (below, above) = self.outside(limits);
        let wrong = |x: f64| (self.density)(x) * acceptance.probability(x, u);
        // Beyond the reach of a wrong acceptance there is nothing to add; this keeps the panels fine where it counts.
        let below = (below.0.max(acceptance.lower.map_or(f64::MIN, |l| l - REACH * u)), below.1);
        let above = (above.0, above.1.min(acceptance.upper.map_or(f64::MAX, |a| a + REACH * u)));
        integrate(&wrong, below) + integrate(&wrong, above)
    }

    /// Share of all items that are rejected although they conform: the global producer's risk
    /// (JCGM 106, 9.5.3, formula 19).
    pub fn producer_risk(&self, limits: &Limits, acceptance: &Limits, u: f64) -> f64 {
        let inside =
            (limits.lower.unwrap_or(f64::MIN).max(self.from), limits.upper.unwrap_or(f64::MAX).min(self.to));
        integrate(&|x| (self.density)(x) * (1.0 - acceptance.probability(x, u)), inside)
    }

    /// The narrowest guard band, up to `REACH` (9) standard uncertainties, that keeps the consumer's risk at
    /// `max_risk`; nothing if none does.
    pub fn guard_band(&self, limits: &Limits, u: f64, max_risk: f64) -> Option<f64> {
        let risk = |w: f64| self.consumer_risk(limits, &limits.drawn_in(w), u);
        let (mut low, mut high) = (0.0, REACH * u);
        if risk(low) <= max_risk {
            return Some(low);
        }
        if risk(high).is_nan() || risk(high) > max_risk {
            return None;
        }
        // Each halving gains one binary digit; 50 exhaust what the integration can tell.
        for _ in 0..50 {
            let middle = f64::midpoint(low, high);
            if risk(middle) > max_risk { low = middle } else { high = middle }
        }
        Some(high)
    }

    /// The stretches of the population below and above the limits.
    fn outside(&self, limits: &Limits) -> ((f64, f64), (f64, f64)) {
        let below = (self.from, limits.lower.map_or(self.from, |l| l.min(self.to)));
        let above = (limits.upper.map_or(self.to, |u| u.max(self.from)), self.to);
        (below, above)
    }
}

/// Simpson's rule; nothing for an empty stretch.
fn integrate(f: &impl Fn(f64) -> f64, (from, to): (f64, f64)) -> f64 {
    if to <= from {
        return 0.0;
    }
    let half = (to - from) / f64::from(2 * PANELS);
    let at = |i: u32| f(from + half * f64::from(i));
    let inner: f64 = (1..2 * PANELS).map(|i| at(i) * if i % 2 == 1 { 4.0 } else { 2.0 }).sum();
    (at(0) + inner + at(2 * PANELS)) * half / 3.0
}
