//! Temperature sensors: ohms (or millivolts) against degrees, both ways.

pub mod ntc;
pub mod platinum;
pub mod thermocouple;
