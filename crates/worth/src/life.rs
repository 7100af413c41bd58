//! Remaining life: the Weibull distribution, conditional on age, and what is paid over it.

use statrs::function::gamma::{gamma, gamma_ur};
use std::fmt;

/// Life that is Weibull distributed.
///
/// ```text
/// S(t) = exp(-(t/η)^k)
/// ```
/// | symbol | field   | meaning               | unit  |
/// |--------|---------|-----------------------|-------|
/// | k      | `shape` | above 1: wears out    | 1     |
/// | η      | `scale` | age that 37 % reach   | years |
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Weibull {
    shape: f64,
    scale: f64,
}

/// Parameters that no appliance's life has.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct WeibullError;

impl fmt::Display for WeibullError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("a life needs a shape from 0.5 to 10 and a length from 0.1 to 100 years")
    }
}

impl std::error::Error for WeibullError {}

/// Above this `z` the regularised gamma function underflows towards e^-z; the continued fraction takes over.
const FAR: f64 = 30.0;

/// Below this `z` differences of cumulative hazards keep their digits as they are.
const NEAR: f64 = 1e-3;

/// e^-this is nothing beside 1 in double precision.
const NOTHING: f64 = 45.0;

impl Weibull {
    /// By shape (0.5 to 10) and scale (0.1 to 100 years).
    ///
    /// # Errors
    /// Outside these ranges, and for NaN.
    pub fn new(shape: f64, scale: f64) -> Result<Weibull, WeibullError> {
        let fine = (0.5..=10.0).contains(&shape) && (0.1..=100.0).contains(&scale);
        if fine { Ok(Weibull { shape, scale }) } else { Err(WeibullError) }
    }

    /// By shape and mean life in years: η = mean/Γ(1 + 1/k).
    ///
    /// # Errors
    /// As [`Weibull::new`].
    pub fn of_mean(shape: f64, mean_years: f64) -> Result<Weibull, WeibullError> {
        if !(0.5..=10.0).contains(&shape) {
            return Err(WeibullError);
        }
        Weibull::new(shape, mean_years / gamma(1.0 + 1.0 / shape))
    }

    /// Shape.
    pub fn shape(&self) -> f64 {
        self.shape
    }

    /// Scale, years.
    pub fn scale(&self) -> f64 {
        self.scale
    }

    /// The same life, used so many times as much as usual: years pass so many times as fast.
    ///
    /// # Errors
    /// Where it comes out beyond what [`Weibull::new`] believes.
    pub fn used(&self, times_usual: f64) -> Result<Weibull, WeibullError> {
        Weibull::new(self.shape, self.scale / times_usual)
    }

    /// Mean life of a new one, years: η Γ(1 + 1/k).
    pub fn mean(&self) -> f64 {
        self.scale * gamma(1.0 + 1.0 / self.shape)
    }

    /// Cumulative hazard at an age; ages below 0 are 0.
    fn z(&self, age: f64) -> f64 {
        (age.max(0.0) / self.scale).powf(self.shape)
    }

    /// What the cumulative hazard grows by in so many years from an age; written so that it keeps its digits where a machine
    /// is far older than its kind.
    fn growth(&self, age: f64, years: f64) -> f64 {
        let z = self.z(age);
        if z > NEAR { z * (self.shape * (years / age).ln_1p()).exp_m1() } else { self.z(age + years) - z }
    }

    /// The years from an age in which the cumulative hazard grows by so much.
    fn years_to_grow(&self, age: f64, growth: f64) -> f64 {
        let z = self.z(age);
        if z > NEAR {
            age * ((growth / z).ln_1p() / self.shape).exp_m1()
        } else {
            self.scale * (z + growth).powf(1.0 / self.shape) - age
        }
    }

    /// Share that reaches an age.
    pub fn survival(&self, age: f64) -> f64 {
        (-self.z(age)).exp()
    }

    /// Probability of lasting `years` more at an age.
    pub fn survives(&self, age: f64, years: f64) -> f64 {
        (-self.growth(age.max(0.0), years.max(0.0))).exp()
    }

    /// Mean years left at an age: η/k · e^z · Γ(1/k, z), z = (age/η)^k.
    ///
    /// Γ(a, z) by the regularised function; far out, where that underflows, e^z Γ(a, z) by Legendre's continued fraction
    /// (DLMF 8.9.2), evaluated by Lentz's method.
    pub fn mean_residual(&self, age: f64) -> f64 {
        let (a, z) = (1.0 / self.shape, self.z(age));
        let scaled = match z {
            z if z <= 0.0 => gamma(a),
            z if z <= FAR => z.exp() * gamma(a) * gamma_ur(a, z),
            z => scaled_upper_gamma(a, z),
        };
        self.scale / self.shape * scaled
    }

    /// Years more that half of those at an age last: η (z + ln 2)^(1/k) − age.
    pub fn median_residual(&self, age: f64) -> f64 {
        self.years_to_grow(age.max(0.0), std::f64::consts::LN_2)
    }

    /// Present worth of 1 a year, paid continuously while a machine of this age lasts:
    ///
    /// ```text
    /// A = E[∫₀^X e^(-r s) ds] = ∫₀^∞ e^(-r s) S(age + s)/S(age) ds,     E[e^(-r X)] = 1 - r A
    /// ```
    /// with X the remaining life and r the `discount` rate per year (0 or more). At r = 0 it is [`Weibull::mean_residual`].
    ///
    /// By tanh-sinh quadrature (Takahasi and Mori 1974), which does not mind that the integrand has no third derivative at
    /// age 0; relative error below 1e-12 (`tests/life.rs`).
    pub fn annuity(&self, age: f64, discount: f64) -> f64 {
        let age = age.max(0.0);
        let end = self.years_to_grow(age, NOTHING);
        integrate(|s| (-discount * s - self.growth(age, s)).exp(), end)
    }
}

/// e^z Γ(a, z) for z well above a.
fn scaled_upper_gamma(a: f64, z: f64) -> f64 {
    const TINY: f64 = 1e-300;
    let mut b = z + 1.0 - a;
    let mut c = 1.0 / TINY;
    let mut d = 1.0 / b;
    let mut h = d;
    // Converges in fewer than 20 terms for z above 30.
    for i in 1..200 {
        let i = f64::from(i);
        let an = -i * (i - a);
        b += 2.0;
        d = 1.0 / (an * d + b);
        c = b + an / c;
        let step = c * d;
        h *= step;
        if (step - 1.0).abs() < f64::EPSILON {
            break;
        }
    }
    z.powf(a) * h
}

/// Half-width of the tanh-sinh rule in its own variable: beyond it every weight is below the double's last digit.
const REACH: f64 = 3.4;
/// Points either side of the middle.
const POINTS: i32 = 120;

/// ∫₀^end f, tanh-sinh.
fn integrate(f: impl Fn(f64) -> f64, end: f64) -> f64 {
    use std::f64::consts::FRAC_PI_2;
    let h = REACH / f64::from(POINTS);
    let term = |i: i32| {
        let t = h * f64::from(i);
        let u = FRAC_PI_2 * t.sinh();
        // x = end (1 + tanh u)/2, written so that it keeps its digits near 0.
        let x = end / (1.0 + (-2.0 * u).exp());
        let weight = end / 2.0 * FRAC_PI_2 * t.cosh() / u.cosh().powi(2);
        weight * f(x)
    };
    (-POINTS..=POINTS).map(term).sum::<f64>() * h
}
