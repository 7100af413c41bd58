//! Placeholder until the alignment is merged.
use bench::{PredictionId, Sweep};
/// A stretch of the trace that belongs to a step.
#[derive(Clone, Debug, PartialEq)]
pub struct Match {
    /// Place in the service test.
    pub step: usize,
    /// Start, s.
    pub start_s: f64,
    /// End, s.
    pub end_s: f64,
    /// What was measured, W.
    pub power_w: bench::Estimate,
}
/// Aligner.
pub struct Aligner<'m>(std::marker::PhantomData<&'m ()>);
impl Aligner<'_> {
    /// Likelihood.
    pub fn ln_likelihood(&mut self, _: &[PredictionId], _: &Sweep<'_>) -> f64 {
        0.0
    }
    /// Ceiling.
    pub fn ln_ceiling(&self) -> f64 {
        0.0
    }
    /// Best.
    pub fn best(&mut self, _: &[PredictionId], _: &Sweep<'_>) -> Vec<Match> {
        Vec::new()
    }
}
/// Error.
#[derive(Clone, Debug, PartialEq)]
pub struct AlignError;
impl std::fmt::Display for AlignError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("placeholder")
    }
}
impl<'m> Aligner<'m> {
    /// New.
    pub fn new(
        _: &'m machine::model::Machine,
        _: &crate::evidence::Recording,
        _: &bench::Conditions,
    ) -> Result<Self, AlignError> {
        Ok(Aligner(std::marker::PhantomData))
    }
}
/// Volts.
pub fn volts_under_load(_: &[trace::Sample]) -> Option<f64> {
    None
}
