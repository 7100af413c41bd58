//! What a step should read.

use machine::model::{CodeId, OutputId, PartId};

/// Beyond what is reckoned with here: readings of a running machine waver by this much, in proportion and in W. Common
/// practice, no source.
const WAVERS: (f64, f64) = (0.015, 1.0);

/// A value with its standard uncertainty, both in the unit that the field's name says.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Estimate {
    /// Best value.
    pub value: f64,
    /// Standard uncertainty.
    pub u: f64,
}

impl Estimate {
    /// The interval of about 95 % (coverage factor 2, JCGM 100, 6.3.3).
    pub fn interval(&self) -> (f64, f64) {
        (self.value - 2.0 * self.u, self.value + 2.0 * self.u)
    }

    /// How far watts measured on the running machine lie from these expected ones: ζ-score, in joint standard uncertainties,
    /// what a running machine wavers by included. Above 0: more than expected.
    pub fn zeta_w(&self, measured: Estimate) -> f64 {
        let wavers = (WAVERS.0 * self.value).hypot(WAVERS.1);
        (measured.value - self.value) / self.u.hypot(measured.u).hypot(wavers)
    }
}

/// A protection that goes off.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub enum Trip {
    /// The residual-current device: more than 30 mA to earth.
    Residual,
    /// Fuse or breaker: a short across the supply, by way of these parts.
    Overcurrent(Vec<PartId>),
}

/// What one step should read and do.
#[allow(
    clippy::struct_excessive_bools,
    reason = "facts that are independent of one another, as a person reads them"
)]
#[derive(Clone, Debug, PartialEq)]
pub struct Prediction {
    /// The step's key.
    pub step: String,
    /// Active power at the plug.
    pub power_w: Estimate,
    /// Driven both ways: the power right and left, of which `power_w` is the mean. Where a guard stops the step at
    /// the first turn left, it turns right once, tries left (`tried_w`), and `power_w` and the second of these are what
    /// is left on from then.
    pub directions_w: Option<[Estimate; 2]>,
    /// Driven both ways: the power while the drum rests between turns, W.
    pub rest_w: Option<f64>,
    /// Power before a guard that watches stopped something, W; the reading is what is left after.
    pub tried_w: Option<f64>,
    /// Current at the plug.
    pub current_a: Estimate,
    /// Apparent power, VA.
    pub apparent_va: f64,
    /// Power factor; none where nothing flows.
    pub power_factor: Option<f64>,
    /// Drum speed, rpm, right positive; both ways: the size, see `one_way`.
    pub speed_rpm: Estimate,
    /// Driven both ways, it turns only one.
    pub one_way: bool,
    /// Water in the machine at the end of the step, l.
    pub water_l: f64,
    /// Rise of temperature in the step, K.
    pub rise_k: Estimate,
    /// Length of the step, s.
    pub lasts_s: f64,
    /// The condition that should end the step did not come about in time.
    pub timed_out: bool,
    /// Outputs that the board wanted and a guard forbade or stopped.
    pub refused: Vec<OutputId>,
    /// Code stored by the end of the step.
    pub code: Option<CodeId>,
    /// The code is to be seen in this step.
    pub code_shown: bool,
    /// What is seen and heard, sorted.
    pub signs: Vec<&'static str>,
    /// Leakage to earth, A.
    pub earth_a: f64,
    /// A protection went off.
    pub trip: Option<Trip>,
    /// The test had ended before this step, or ends in it.
    pub ended: bool,
}
