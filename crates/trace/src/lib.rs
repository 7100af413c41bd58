//! What a recording of a machine's power says: what was on when, what each load drew, and what that tells.
//!
//! [`cut`] finds the levels, [`loads`] the heater intervals, spins and reversals, [`measures`] energy, duty and
//! differences between cycles. All work on plain slices of seconds and watts.

pub mod cut;
pub mod loads;
pub mod measures;
