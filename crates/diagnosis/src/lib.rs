//! Diagnosis.
pub mod network;
