//! The cautions that several commands give in the same words. Common practice, no source.

/// Before hands or probes go into an appliance.
pub const DEAD: &str =
    "Unplug the machine, wait until stored charge is gone, prove it dead with a meter before touching.";

/// Before an appliance runs, closed up.
pub const RUNS: &str = "Mains and moving parts: panels on, hands out, be ready to pull the plug.";

/// Several cautions as one text; empty ones are left out.
pub fn joined(cautions: &[&str]) -> String {
    cautions.iter().copied().filter(|words| !words.is_empty()).collect::<Vec<_>>().join(" ")
}
