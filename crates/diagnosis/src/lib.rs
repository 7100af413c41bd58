//! Diagnosis.
pub mod consistency;
pub mod hypotheses;
pub mod network;
pub mod plan;
