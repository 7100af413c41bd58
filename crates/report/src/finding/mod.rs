//! A finding of [`diagnosis`] for a person, in words, and for a program, as JSON: the same on the command line and in the browser.

pub mod json;
pub mod words;
