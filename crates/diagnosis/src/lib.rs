//! Diagnosis.
pub mod network;
pub mod plan;
