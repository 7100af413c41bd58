//! A nominal value with the limits its maker promises.

/// A nominal value and how far the true one may lie below and above, all in the base unit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Toleranced {
    /// The value named.
    pub nominal: f64,
    /// How far below the nominal value the true one may lie; not negative.
    pub minus: f64,
    /// How far above the nominal value the true one may lie; not negative.
    pub plus: f64,
}

impl Toleranced {
    /// A value without tolerance.
    pub const fn exact(value: f64) -> Self {
        Self { nominal: value, minus: 0.0, plus: 0.0 }
    }

    /// `value` within plus or minus `relative` (1 is 100 %) of its magnitude.
    pub fn symmetric_relative(value: f64, relative: f64) -> Self {
        let deviation = (value * relative).abs();
        Self { nominal: value, minus: deviation, plus: deviation }
    }

    /// The least value allowed.
    pub fn lower(&self) -> f64 {
        self.nominal - self.minus
    }

    /// The greatest value allowed.
    pub fn upper(&self) -> f64 {
        self.nominal + self.plus
    }

    /// Expectation of a rectangular distribution between the limits: their middle, not the nominal value, where the
    /// limits are asymmetrical (JCGM 100:2008, 4.3.8).
    pub fn expectation(&self) -> f64 {
        self.nominal + (self.plus - self.minus) / 2.0
    }

    /// Standard uncertainty of a rectangular distribution between the limits, `(b₊ + b₋)/√12`
    /// (JCGM 100:2008, 4.3.7 and 4.3.8).
    pub fn standard_uncertainty(&self) -> f64 {
        (self.plus + self.minus) / 12.0_f64.sqrt()
    }
}
