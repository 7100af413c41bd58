//! How likely a reading is, given what it should be.

use bench::{Estimate, Ohms};
use quantity::{Decoded, Reading};

/// How well one piece of evidence fits.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Fit {
    /// Natural logarithm of the likelihood (of a density, for readings).
    pub(crate) ln: f64,
    /// Share of it that comes from slips: near 1 where the reading only fits as a mistake.
    pub(crate) slip: f64,
}

impl Fit {
    /// From what is meant and what slips let through.
    pub(crate) fn of(meant: f64, slipped: f64) -> Fit {
        let total = meant + slipped;
        Fit { ln: total.ln(), slip: if total > 0.0 { slipped / total } else { 1.0 } }
    }

    /// The mean over cases, each with its probability.
    pub(crate) fn mixed(of: impl Iterator<Item = (f64, Fit)>) -> Fit {
        let all: Vec<(f64, Fit)> = of.collect();
        // As shares of the likeliest: a whole recording's likelihood is below what a number can hold.
        let top = all.iter().map(|f| f.1.ln).fold(f64::NEG_INFINITY, f64::max);
        if top == f64::NEG_INFINITY {
            return Fit { ln: top, slip: 1.0 };
        }
        let (total, slipped) = all.iter().fold((0.0, 0.0), |(total, slipped), (p, fit)| {
            let likely = p * (fit.ln - top).exp();
            (total + likely, slipped + likely * fit.slip)
        });
        Fit { ln: top + total.ln(), slip: if total > 0.0 { slipped / total } else { 1.0 } }
    }

    /// A yes or no that is so with probability `p`; below one half it is rather a slip.
    pub(crate) fn answer(p: f64) -> Fit {
        Fit { ln: p.ln(), slip: if p < SLIP * 2.0 { 1.0 } else { 0.0 } }
    }
}

/// Chance that a reading was taken at the wrong place, misread or mistyped. Common practice, no source.
pub(crate) const SLIP: f64 = 0.02;

/// What readings of a running machine vary by beyond what the bench reckons with, in proportion. Common practice, no source.
const WAVERS: f64 = 0.015;

/// One machine in so many is not as its file says, and draws this much more or less, in proportion: a motor of another
/// maker, a stiff bearing, another load. Common practice, no source.
const UNLIKE_SHARE: f64 = 0.3;
const UNLIKE: f64 = 0.08;

/// The same in small loads, W.
const WAVERS_W: f64 = 0.6;

/// Ohms of probes and contacts that a reading may have on top. Common practice, no source.
const PROBES_OHM: f64 = 0.3;

/// Usual spread of a prediction: in proportion, and in small values. Common practice, no source.
const USUAL: (f64, f64) = (0.05, 1.5);

/// Widest range of what instruments show: a slip may show any value with density 1 / (x + a) / `DECADES`.
const DECADES: f64 = 18.0;

/// An insulation tester's reading from here up is good insulation, Ω (EN 50678 asks for 1 MΩ, from memory).
const INSULATES_FROM_OHM: f64 = 1e6;

/// Density of the normal distribution.
pub(crate) fn normal(x: f64, mean: f64, u: f64) -> f64 {
    let u = u.max(1e-9);
    let z = (x - mean) / u;
    (-0.5 * z * z).exp() / (u * std::f64::consts::TAU.sqrt())
}

fn anywhere(x: f64, from: f64) -> f64 {
    1.0 / ((x.abs() + from) * DECADES)
}

/// Standard uncertainty of a figure from its last digit. Whoever writes `140 W` or `1800 W` may well have rounded: noughts at the
/// end of a figure of three digits and more are taken for no digits.
fn display_u(shown: &Decoded) -> f64 {
    let digits = (shown.value / shown.resolution.max(1e-12)).abs();
    let round = |to: f64| digits >= 10.0 * to && (digits / to).fract() < 1e-6;
    let rounded = if round(100.0) {
        100.0
    } else if round(10.0) {
        10.0
    } else {
        1.0
    };
    rounded * shown.resolution / 12f64.sqrt()
}

/// Watts, amperes or the like at the plug. `small` is the size below which everything is little, in the same unit.
pub(crate) fn plug(shown: &Decoded, expected: &[Estimate], small: f64) -> Fit {
    let meant: f64 = expected
        .iter()
        .map(|e| {
            let with = |share: f64| {
                let wavers = (share * e.value).hypot(WAVERS_W * small);
                normal(shown.value, e.value, e.u.hypot(display_u(shown)).hypot(wavers))
            };
            (1.0 - UNLIKE_SHARE) * with(WAVERS) + UNLIKE_SHARE * with(UNLIKE)
        })
        .sum::<f64>()
        / expected.len().max(1) as f64;
    Fit::of((1.0 - SLIP) * meant, SLIP * anywhere(shown.value, 5.0 * small))
}

/// A value with its own spread, such as rpm or seconds.
pub(crate) fn value(shown: &Decoded, mean: f64, u: f64, small: f64) -> Fit {
    let meant = normal(shown.value, mean, u.hypot(display_u(shown)));
    Fit::of((1.0 - SLIP) * meant, SLIP * anywhere(shown.value, small))
}

/// Logarithm of the density at what was shown of a prediction that hits it, of usual spread: some per cent, and something in
/// small values.
pub(crate) fn usual(shown: &Decoded, small: f64) -> f64 {
    ((1.0 - SLIP) * normal(0.0, 0.0, (USUAL.0 * shown.value).hypot(USUAL.1 * small))).ln()
}

/// Ohms. `error`: the instrument's limits, in proportion and in Ω.
pub(crate) fn ohms(shown: &Reading, expected: Ohms, error: (f64, f64), insulation: bool) -> Fit {
    match (shown, expected) {
        (Reading::OverRange { .. }, Ohms::Open) => Fit::of(1.0 - SLIP, 0.0),
        (Reading::OverRange { .. }, Ohms::Ohms { .. }) => Fit::of(0.0, SLIP),
        (Reading::Value(x), Ohms::Open) => {
            let slipped = SLIP * anywhere(x.value, 1.0);
            // No insulation is endless: a tester of gigaohms shows some figure.
            let sound = insulation && x.value >= INSULATES_FROM_OHM;
            Fit::of(if sound { (1.0 - SLIP) * anywhere(x.value, 1.0) } else { 0.0 }, slipped)
        }
        (Reading::Value(x), Ohms::Ohms { value, u }) => {
            let instrument = (error.0 * value).hypot(error.1) / 3f64.sqrt();
            let u = u.hypot(instrument).hypot(display_u(x)).hypot(PROBES_OHM / 3f64.sqrt());
            Fit::of((1.0 - SLIP) * normal(x.value, value, u), SLIP * anywhere(x.value, 1.0))
        }
    }
}

/// The same as [`usual`] for ohms.
pub(crate) fn usual_ohms(shown: &Reading) -> f64 {
    match shown {
        Reading::OverRange { .. } => (1.0 - SLIP).ln(),
        Reading::Value(x) => usual(x, 1.0),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn shown(value: f64, resolution: f64) -> Decoded {
        Decoded { value, resolution }
    }

    #[test]
    fn over_range_speaks_for_an_open_path() {
        let ol = Reading::OverRange { below_zero: false };
        let open = ohms(&ol, Ohms::Open, (0.01, 0.3), false);
        let rod = ohms(&ol, Ohms::Ohms { value: 27.0, u: 1.0 }, (0.01, 0.3), false);
        assert!(open.ln - rod.ln > 3.0 && rod.slip == 1.0 && open.slip == 0.0);
    }

    #[test]
    fn a_value_that_fits_nothing_is_a_slip() {
        let x = Reading::Value(shown(500.0, 1.0));
        assert!(ohms(&x, Ohms::Ohms { value: 27.0, u: 1.0 }, (0.01, 0.3), false).slip > 0.999);
        assert!(ohms(&x, Ohms::Ohms { value: 495.0, u: 10.0 }, (0.01, 0.3), false).slip < 0.05);
    }
}
