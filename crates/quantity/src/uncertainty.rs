//! Values with standard uncertainty, propagated to first order after the GUM (JCGM 100:2008).
//!
//! Each [`Uncertain`] carries how much of its uncertainty comes from which independent [`Source`]. Two readings that
//! share an instrument share the source of its gain, so their correlation follows by construction:
//!
//! ```
//! use quantity::uncertainty::Sources;
//! let mut sources = Sources::new();
//! let gain = sources.value(1.0, 0.005); // the one voltmeter, 0.5 %
//! let before = sources.value(239.0, 0.03) * &gain;
//! let after = sources.value(236.0, 0.03) * &gain;
//! let sag = &before - &after;
//! // The gain nearly cancels: 3.00 V are known to 0.045 V, not to 1.7 V.
//! assert!((sag.standard_uncertainty() - 0.045).abs() < 0.001);
//! ```
//!
//! To first order only: where a value is uncertain by a good part of itself and enters a curved formula, the result
//! is an approximation (JCGM 100, 5.1.2 NOTE).

use std::cmp::Ordering;
use std::error::Error;
use std::fmt;
use std::ops::{Add, Div, Mul, Neg, Sub};

use statrs::distribution::{ContinuousCDF, Normal, StudentsT};

use crate::Toleranced;

/// One independent cause of error. Handed out by [`Sources`]; sources of two different [`Sources`] must not meet.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct Source(u32);

/// Part of a value's uncertainty: sensitivity times the standard uncertainty of the source, with its sign.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Contribution {
    source: Source,
    size: f64,
    degrees_of_freedom: f64,
}

/// A value with its standard uncertainty, told apart by source.
#[derive(Debug, Clone, PartialEq)]
pub struct Uncertain {
    value: f64,
    /// Ordered by source, each once.
    contributions: Vec<Contribution>,
}

/// Hands out independent sources, in order.
#[derive(Debug, Clone, Default)]
pub struct Sources {
    next: u32,
}

/// A table of correlations that no set of values can have.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum CorrelationError {
    /// The values, uncertainties and rows of the table differ in number.
    Shape,
    /// A coefficient is missing its mirror image, differs from 1 on the diagonal, or the table as a whole is not
    /// positive semi-definite.
    NotACorrelation,
}

impl fmt::Display for CorrelationError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Shape => "values, uncertainties and correlations differ in number",
            Self::NotACorrelation => "these correlations contradict each other",
        })
    }
}

impl Error for CorrelationError {}

impl Sources {
    /// No source handed out yet.
    pub fn new() -> Self {
        Self::default()
    }

    /// A value with standard uncertainty `u` of its own, from a source taken for well known (type B).
    pub fn value(&mut self, value: f64, u: f64) -> Uncertain {
        self.value_with_degrees_of_freedom(value, u, f64::INFINITY)
    }

    /// As [`Sources::value`], where `u` was found from few readings: `n - 1` degrees of freedom for the mean of `n`.
    pub fn value_with_degrees_of_freedom(
        &mut self,
        value: f64,
        u: f64,
        degrees_of_freedom: f64,
    ) -> Uncertain {
        let contribution = Contribution { source: self.next(), size: u, degrees_of_freedom };
        Uncertain { value, contributions: vec![contribution] }
    }

    /// A value known within the limits of its tolerance, rectangular between them (JCGM 100, 4.3.7, 4.3.8).
    pub fn toleranced(&mut self, t: &Toleranced) -> Uncertain {
        self.value(t.expectation(), t.standard_uncertainty())
    }

    /// Values read together, with standard uncertainties `u` and correlation coefficients `r` (the full table).
    ///
    /// The table is split into independent sources (Cholesky), which are taken for well known: degrees of freedom
    /// do not pass through a correlation (JCGM 100, G.4.1 NOTE asks for independent inputs).
    ///
    /// # Errors
    /// If sizes differ or `r` is no table of correlations.
    pub fn correlated(
        &mut self,
        values: &[f64],
        u: &[f64],
        r: &[Vec<f64>],
    ) -> Result<Vec<Uncertain>, CorrelationError> {
        let n = values.len();
        if u.len() != n || r.len() != n || r.iter().any(|row| row.len() != n) {
            return Err(CorrelationError::Shape);
        }
        let factor = cholesky(r).ok_or(CorrelationError::NotACorrelation)?;
        let sources: Vec<Source> = values.iter().map(|_| self.next()).collect();
        let contributions = |row: &[f64], u: f64| {
            let shares = sources.iter().zip(row).filter(|(_, share)| **share != 0.0);
            shares
                .map(|(&source, share)| Contribution {
                    source,
                    size: u * share,
                    degrees_of_freedom: f64::INFINITY,
                })
                .collect()
        };
        let values = values.iter().zip(u).zip(&factor);
        Ok(values
            .map(|((&value, &u), row)| Uncertain { value, contributions: contributions(row, u) })
            .collect())
    }

    fn next(&mut self) -> Source {
        let source = Source(self.next);
        self.next += 1;
        source
    }
}

/// Rounding allowed in a table of correlations, since coefficients are often quoted to two or three digits.
const SEMI_DEFINITE_SLACK: f64 = 1e-9;

/// Lower triangle `L` with `L Lᵀ = r`, rows of full length; nothing if `r` is no correlation table.
fn cholesky(r: &[Vec<f64>]) -> Option<Vec<Vec<f64>>> {
    let n = r.len();
    let mut l = vec![vec![0.0; n]; n];
    for i in 0..n {
        if (r[i][i] - 1.0).abs() > SEMI_DEFINITE_SLACK {
            return None;
        }
        for j in 0..=i {
            if (r[i][j] - r[j][i]).abs() > SEMI_DEFINITE_SLACK || !r[i][j].is_finite() {
                return None;
            }
            let rest: f64 = r[i][j] - (0..j).map(|k| l[i][k] * l[j][k]).sum::<f64>();
            l[i][j] = if i == j {
                (rest >= -SEMI_DEFINITE_SLACK).then(|| rest.max(0.0).sqrt())?
            } else if l[j][j] > SEMI_DEFINITE_SLACK.sqrt() {
                rest / l[j][j]
            } else {
                (rest.abs() <= SEMI_DEFINITE_SLACK.sqrt()).then_some(0.0)?
            };
        }
    }
    Some(l)
}

impl Uncertain {
    /// A value without uncertainty.
    pub const fn exact(value: f64) -> Self {
        Self { value, contributions: Vec::new() }
    }

    /// The estimate.
    pub fn value(&self) -> f64 {
        self.value
    }

    /// Combined standard uncertainty (JCGM 100, 5.1.2 and 5.2.2).
    pub fn standard_uncertainty(&self) -> f64 {
        self.covariance(self).sqrt()
    }

    /// Covariance with `other`: what their common sources contribute to both (JCGM 100, F.1.2.3).
    pub fn covariance(&self, other: &Self) -> f64 {
        let mut theirs = other.contributions.iter().peekable();
        let mut sum = 0.0;
        for mine in &self.contributions {
            while theirs.next_if(|t| t.source < mine.source).is_some() {}
            if let Some(same) = theirs.next_if(|t| t.source == mine.source) {
                sum += mine.size * same.size;
            }
        }
        sum
    }

    /// Correlation coefficient with `other`, -1 to 1; 0 where either has no uncertainty.
    pub fn correlation(&self, other: &Self) -> f64 {
        let scale = self.standard_uncertainty() * other.standard_uncertainty();
        if scale > 0.0 { (self.covariance(other) / scale).clamp(-1.0, 1.0) } else { 0.0 }
    }

    /// Effective degrees of freedom after Welch and Satterthwaite (JCGM 100, G.4.1, formula G.2b); infinite where
    /// every source is well known.
    pub fn degrees_of_freedom(&self) -> f64 {
        let parts = self.contributions.iter();
        let sum: f64 = parts.map(|c| c.size.powi(4) / c.degrees_of_freedom).sum();
        if sum > 0.0 { self.covariance(self).powi(2) / sum } else { f64::INFINITY }
    }

    /// Half width of the interval that holds the true value with probability `coverage`, e.g. 0.95.
    pub fn expanded_uncertainty(&self, coverage: f64) -> f64 {
        self.standard_uncertainty() * coverage_factor(coverage, self.degrees_of_freedom())
    }

    /// A function of this value alone, with its derivative there.
    fn through(&self, value: f64, derivative: f64) -> Self {
        let contributions =
            self.contributions.iter().map(|c| Contribution { size: c.size * derivative, ..*c }).collect();
        Self { value, contributions }
    }

    /// The value to the power `n`.
    #[must_use]
    pub fn powi(&self, n: i32) -> Self {
        let derivative = if n == 0 { 0.0 } else { f64::from(n) * self.value.powi(n - 1) };
        self.through(self.value.powi(n), derivative)
    }

    /// Square root. At 0 the uncertainty is infinite: the first order says nothing there.
    #[must_use]
    pub fn sqrt(&self) -> Self {
        let root = self.value.sqrt();
        self.through(root, 0.5 / root)
    }

    /// Sine of the value in radians.
    #[must_use]
    pub fn sin(&self) -> Self {
        self.through(self.value.sin(), self.value.cos())
    }

    /// Cosine of the value in radians.
    #[must_use]
    pub fn cos(&self) -> Self {
        self.through(self.value.cos(), -self.value.sin())
    }

    /// Natural logarithm.
    #[must_use]
    pub fn ln(&self) -> Self {
        self.through(self.value.ln(), 1.0 / self.value)
    }

    /// Exponential function.
    #[must_use]
    pub fn exp(&self) -> Self {
        let value = self.value.exp();
        self.through(value, value)
    }

    /// A function of this and another value, with its two partial derivatives.
    fn with(&self, by_self: f64, other: &Self, by_other: f64, value: f64) -> Self {
        let (a, b) = (&self.contributions, &other.contributions);
        let mut contributions = Vec::with_capacity(a.len() + b.len());
        let (mut i, mut j) = (0, 0);
        while i < a.len() || j < b.len() {
            let order = match (a.get(i), b.get(j)) {
                (Some(x), Some(y)) => x.source.cmp(&y.source),
                (Some(_), None) => Ordering::Less,
                (None, _) => Ordering::Greater,
            };
            let mine = if order.is_le() { a[i].size * by_self } else { 0.0 };
            let theirs = if order.is_ge() { b[j].size * by_other } else { 0.0 };
            let from = if order.is_le() { a[i] } else { b[j] };
            contributions.push(Contribution { size: mine + theirs, ..from });
            i += usize::from(order.is_le());
            j += usize::from(order.is_ge());
        }
        Self { value, contributions }
    }
}

/// `k` such that `k` standard uncertainties either side hold the true value with probability `coverage`.
///
/// From the t distribution with the degrees of freedom rounded down (JCGM 100, G.4.2 and Table G.2), the normal
/// distribution where they are infinite. `coverage` is held between 0 and 1, the degrees of freedom at 1 or more.
pub fn coverage_factor(coverage: f64, degrees_of_freedom: f64) -> f64 {
    // The library panics outside 0..=1, and so at what is no number.
    if coverage.is_nan() || degrees_of_freedom.is_nan() {
        return f64::NAN;
    }
    let quantile = f64::midpoint(1.0, coverage.clamp(0.0, 1.0));
    // From a million degrees of freedom on the two distributions agree to six digits.
    if degrees_of_freedom < 1e6 {
        let whole = degrees_of_freedom.floor().max(1.0);
        if let Ok(t) = StudentsT::new(0.0, 1.0, whole) {
            return t.inverse_cdf(quantile);
        }
    }
    Normal::standard().inverse_cdf(quantile)
}

/// Standard uncertainty of a display whose last digit is worth `resolution`: `d/√12` (JCGM 100, F.2.2.1).
pub fn of_resolution(resolution: f64) -> f64 {
    resolution.abs() / 12.0_f64.sqrt()
}

/// An operator for owned and borrowed values and for plain numbers on either side.
macro_rules! operator {
    ($trait:ident, $method:ident, |$a:ident, $b:ident| $value:expr, $by_a:expr, $by_b:expr) => {
        impl $trait<&Uncertain> for &Uncertain {
            type Output = Uncertain;
            fn $method(self, other: &Uncertain) -> Uncertain {
                let ($a, $b) = (self.value, other.value);
                self.with($by_a, other, $by_b, $value)
            }
        }
        operator!(@forward $trait, $method, Uncertain, Uncertain, |a, b| $trait::$method(&a, &b));
        operator!(@forward $trait, $method, Uncertain, &Uncertain, |a, b| $trait::$method(&a, b));
        operator!(@forward $trait, $method, &Uncertain, Uncertain, |a, b| $trait::$method(a, &b));
        operator!(@forward $trait, $method, &Uncertain, f64, |a, b| $trait::$method(a, &Uncertain::exact(b)));
        operator!(@forward $trait, $method, Uncertain, f64, |a, b| $trait::$method(&a, &Uncertain::exact(b)));
        operator!(@forward $trait, $method, f64, &Uncertain, |a, b| $trait::$method(&Uncertain::exact(a), b));
        operator!(@forward $trait, $method, f64, Uncertain, |a, b| $trait::$method(&Uncertain::exact(a), &b));
    };
    (@forward $trait:ident, $method:ident, $left:ty, $right:ty, |$a:ident, $b:ident| $call:expr) => {
        impl $trait<$right> for $left {
            type Output = Uncertain;
            fn $method(self, other: $right) -> Uncertain {
                let ($a, $b) = (self, other);
                $call
            }
        }
    };
}

operator!(Add, add, |a, b| a + b, 1.0, 1.0);
operator!(Sub, sub, |a, b| a - b, 1.0, -1.0);
operator!(Mul, mul, |a, b| a * b, b, a);
operator!(Div, div, |a, b| a / b, 1.0 / b, -a / (b * b));

impl Neg for &Uncertain {
    type Output = Uncertain;
    fn neg(self) -> Uncertain {
        self.through(-self.value, -1.0)
    }
}

impl Neg for Uncertain {
    type Output = Self;
    fn neg(self) -> Self {
        -&self
    }
}
