//! Sets of faults of which a likelihood is going to be asked for: gathered, so that whoever answers can work on many side by side.

use super::evidence::Places;

/// A set of which one item's likelihood is to be asked for.
pub(super) struct Asked {
    /// Most that it can weigh by what is known.
    pub(super) most: f64,
    pub(super) prior: f64,
    /// Its place among the search's sets.
    pub(super) set: u32,
    /// The item, and the faults that make a difference to it.
    pub(super) question: (usize, Places),
}

/// Those gathered so far.
pub(super) struct Asking {
    at_once: usize,
    all: Vec<Asked>,
    most: f64,
}

impl Asking {
    pub(super) fn new(at_once: usize) -> Self {
        Self { at_once, all: Vec::new(), most: 0.0 }
    }

    pub(super) fn add(&mut self, asked: Asked) {
        self.most += asked.most;
        self.all.push(asked);
    }

    pub(super) fn len(&self) -> usize {
        self.all.len()
    }

    pub(super) fn is_full(&self) -> bool {
        self.all.len() >= self.at_once
    }

    /// The most that all of them can weigh together.
    pub(super) fn most(&self) -> f64 {
        self.most
    }

    /// Takes them all out.
    pub(super) fn take(&mut self) -> Vec<Asked> {
        self.most = 0.0;
        std::mem::take(&mut self.all)
    }
}
