//! Water: what it is, how it warms, where it stands and how it runs.

pub mod flow;
pub mod heating;
pub mod level;
pub mod properties;
