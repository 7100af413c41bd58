//! Conformity against JCGM 106:2012 and ILAC-G8:09/2019.
#![allow(missing_docs, clippy::unwrap_used, reason = "a test")]

use proptest::prelude::*;
use quantity::conformity::{DecisionRule, Limits, Population, Verdict, guard_band_for};
use statrs::distribution::{Continuous, Gamma};

fn near(got: f64, want: f64, tolerance: f64) {
    assert!((got - want).abs() <= tolerance, "{got} is not {want} ± {tolerance}");
}

/// JCGM 106:2012, 7.3, Table 1 (one-sided, normal).
#[test]
fn table_1_of_jcgm_106() {
    for (probability, z) in [(0.8, 0.84), (0.9, 1.28), (0.95, 1.64), (0.99, 2.33), (0.999, 3.09)] {
        near(guard_band_for(probability, 1.0), z, 0.005);
    }
}

#[test]
fn probability_of_conformity() {
    // JCGM 106, 7.3, computed: earth bond 0.26 Ω of 0.3 Ω at most, u = 0.025 Ω.
    near(Limits::at_most(0.3).probability(0.26, 0.025), 0.9452, 5e-5);
    // JCGM 106, 7.3, lower limit, computed: insulation 1.2 MΩ of 1 MΩ at least, u = 0.08 MΩ.
    near(Limits::at_least(1.0).probability(1.2, 0.08), 0.993_79, 5e-6);
    // JCGM 106 (example from memory): Zener breakdown V <= -5.40 V, measured -5.47 V, u = 0.05 V.
    near(Limits::at_most(-5.4).probability(-5.47, 0.05), 0.919, 0.005);
    // ILAC-G8:09/2019: at an acceptance limit with w = U (k = 2) the specific risk is below about 2.5 %.
    near(1.0 - Limits::at_most(1.0).probability(0.8, 0.1), 0.02275, 0.0003);
    near(Limits::between(-1.0, 1.0).probability(0.0, 1.0), 0.6827, 5e-5);
}

/// JCGM 106:2012, 9.5.4 (ball bearings: gamma process with mean 1 µm and shape 4, upper limit 2 µm, u = 0.25 µm), as
/// worked by a public uncertainty library.
#[test]
fn ball_bearings_of_jcgm_106() {
    let gamma = Gamma::new(4.0, 4.0).unwrap();
    let bearings = Population { density: |x| gamma.pdf(x), from: 0.0, to: 12.0 };
    let limits = Limits::at_most(2.0);
    near(bearings.nonconforming(&limits), 0.0424, 0.0005);
    near(bearings.consumer_risk(&limits, &limits, 0.25), 0.008_02, 0.0002);
    let guard = bearings.guard_band(&limits, 0.25, 0.001).unwrap();
    near(2.0 - guard, 1.672, 0.005);
    // The guard band is paid for by the producer.
    let (free, guarded) = (limits, limits.drawn_in(guard));
    assert!(bearings.producer_risk(&limits, &guarded, 0.25) > bearings.producer_risk(&limits, &free, 0.25));
    assert_eq!(bearings.guard_band(&limits, 0.25, 0.5), Some(0.0));
    assert_eq!(bearings.guard_band(&limits, 0.25, -0.1), None);
}

/// ILAC-G8:09/2019, 4.2.2, w = U: AL = TL - U = 0.25 Ω for 0.3 Ω and U = 0.05 Ω (computed).
#[test]
fn verdict_with_guard_band() {
    let limit = Limits::at_most(0.3);
    near(limit.drawn_in(DecisionRule::GuardBand.guard_band(0.05)).upper.unwrap(), 0.25, 0.0005);
    let verdict = |y| limit.verdict(y, 0.05, DecisionRule::GuardBand);
    assert_eq!([0.2, 0.24, 0.26, 0.3, 0.31].map(verdict), {
        use Verdict::{Fail, Pass, Unsure};
        [Pass, Pass, Unsure, Unsure, Fail]
    });
    assert_eq!(limit.verdict(0.3, 0.05, DecisionRule::SimpleAcceptance), Verdict::Pass);
    assert_eq!(verdict(f64::NAN), Verdict::Unsure);
}

#[test]
fn what_is_no_number_gives_no_number() {
    assert!(guard_band_for(f64::NAN, 1.0).is_nan());
    assert!(Limits::at_most(1.0).probability(f64::NAN, 0.1).is_nan());
}

#[test]
fn over_range_insulation_passes_a_lower_limit() {
    let insulation = Limits::at_least(1.0);
    assert_eq!(insulation.verdict(f64::INFINITY, 0.1, DecisionRule::GuardBand), Verdict::Pass);
    assert_eq!(insulation.probability(f64::INFINITY, 0.1), 1.0);
    assert_eq!(Limits::at_most(0.3).verdict(f64::INFINITY, 0.1, DecisionRule::GuardBand), Verdict::Fail);
}

proptest! {
    /// A pass with guard band U = 2u at one limit is never less likely right than 97.7 %, a fail never more likely
    /// wrong than 50 %.
    #[test]
    fn verdicts_agree_with_probabilities(y in 0.0..2.0f64, u in 0.001..0.5f64) {
        for limits in [Limits::at_most(1.0), Limits::at_least(1.0)] {
            let p = limits.probability(y, u);
            match limits.verdict(y, 2.0 * u, DecisionRule::GuardBand) {
                Verdict::Pass => prop_assert!(p >= 0.977),
                Verdict::Unsure => prop_assert!((0.4999..0.9775).contains(&p)),
                Verdict::Fail => prop_assert!(p <= 0.5),
            }
        }
    }
}
