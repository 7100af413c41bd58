//! Diagnosis.
pub mod hypotheses;
pub mod network;
pub mod plan;
