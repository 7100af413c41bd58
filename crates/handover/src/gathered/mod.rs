//! From what the other crates worked out to the parts of a record: the plate, what was found, the safety test. One place for
//! who works without pages and for who works with them.

mod found;
mod plate;
mod proof;
