//! The machine file and the library of part kinds.
//!
//! A machine file states **structure**: what parts there are, how they are wired, what the board drives, senses and
//! refuses, what each step of the service test drives. The part kinds state **behaviour**: ohms, watts, motion,
//! faults, rates. Every expected reading is computed from the two, elsewhere (`circuit`, `bench`).
//!
//! Read in this order: [`kind`] (what a part kind is), `kinds/` (one file a kind), [`model`] (a machine after reading),
//! [`read`] (from text to model, with all errors at once).
//! Not here: solving the network (`circuit`), what a step reads (`bench`), drawing (`report`).

pub mod caution;
pub mod diagnostic;
pub mod kind;
pub mod model;
pub mod params;
pub mod read;
pub mod schema;
pub mod templates;
