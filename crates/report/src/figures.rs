//! Figures as JSON.

use bench::Estimate;
use serde_json::{Value, json};

/// A value that cannot lie below 0, with its standard uncertainty and the ends of its 95 % interval.
pub fn estimate(e: Estimate) -> Value {
    let (low, high) = e.interval();
    json!({ "value": rounded(e.value), "u": rounded(e.u), "low": rounded(low.max(0.0)), "high": rounded(high) })
}

/// Six significant digits: more would only differ between machines.
pub fn rounded(value: f64) -> f64 {
    format!("{value:.5e}").parse().unwrap_or(value)
}
