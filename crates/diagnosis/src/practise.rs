//! Practice.
