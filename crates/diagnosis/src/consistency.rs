//! Which components contradict what was seen: conflicts, diagnoses and the best place to measure.
//!
//! A component that works ties its output to its inputs; a broken one may do anything (weak fault model). A *conflict*
//! is a set of components that cannot all work, given the observations; a *diagnosis* is a set whose breakage makes
//! them possible. Minimal diagnoses are the minimal hitting sets of the minimal conflicts, and the other way round
//! (Reiter 1987, "A theory of diagnosis from first principles"; de Kleer & Williams 1987, "Diagnosing multiple faults").
//!
//! Sets of components are bits of a `u64`, the first component lowest.

use std::collections::BTreeMap;
use std::fmt;

/// Most components of a system: every set of them may have to be weighed.
pub const MAX_COMPONENTS: usize = 20;
/// Most assignments tried in one question of consistency.
const MAX_TRIALS: u32 = 1 << 20;

/// How a working component makes its output from its inputs.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Relation {
    /// 1 when all inputs are 1.
    And,
    /// 1 when any input is 1.
    Or,
    /// 0 when all inputs are 1; of one input, its opposite.
    Nand,
    /// 0 when any input is 1.
    Nor,
    /// 1 when an odd number of inputs is 1.
    Xor,
    /// Sum of whole numbers.
    Sum,
    /// Product of whole numbers.
    Product,
}

/// One component.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Component {
    /// What it does when it works.
    pub relation: Relation,
    /// Signals that it reads, at least one.
    pub inputs: Vec<usize>,
    /// Signal that it drives.
    pub output: usize,
}

/// Components, and what is known of their signals.
///
/// Signals of logic gates are 0 or 1; of sums and products, any whole number. A sum or product in which two values
/// stay open after all else is worked out counts as possible.
#[derive(Clone, Debug)]
pub struct System {
    components: Vec<Component>,
    logic: Vec<bool>,
    known: Vec<Option<i64>>,
}

/// Minimal conflicts and minimal diagnoses, each in rising order.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Minimal {
    /// Sets of components of which at least one is broken.
    pub conflicts: Vec<u64>,
    /// Sets of broken components that explain everything, none with a member too many.
    pub diagnoses: Vec<u64>,
}

/// One place to measure.
#[derive(Clone, Debug, PartialEq)]
pub struct Probe {
    /// The signal.
    pub signal: usize,
    /// Probability of each value; under None, of the diagnoses that leave it open.
    pub values: BTreeMap<Option<i64>, f64>,
    /// Entropy of these probabilities in bits: how much one measurement is expected to tell.
    pub entropy: f64,
}

/// Why a system was refused, or a question about it could not be answered.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum ConsistencyError {
    /// More than [`MAX_COMPONENTS`].
    TooManyComponents,
    /// A component names a signal that is not there, or reads none; a signal has a value it cannot have.
    BadSignal {
        /// The component or signal, in words.
        place: String,
    },
    /// A prior is not strictly between 0 and 1, or their number is not that of the components.
    BadPrior,
    /// Even with all components broken, the observations contradict one another.
    Contradiction,
    /// Too many open signals to try them all.
    TooLarge,
}

impl fmt::Display for ConsistencyError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::TooManyComponents => {
                write!(f, "more than {MAX_COMPONENTS} components: split the system at measured signals")
            }
            Self::BadSignal { place } => {
                write!(f, "{place}: a signal that is not there or cannot have this value; correct it")
            }
            Self::BadPrior => f.write_str("give each component a fault probability between 0 and 1"),
            Self::Contradiction => {
                f.write_str("one signal was seen with two values; take the observations again")
            }
            Self::TooLarge => f.write_str("too many open signals to try them all: measure one of them"),
        }
    }
}

impl std::error::Error for ConsistencyError {}

impl System {
    /// A system of `signals` signals, some of them `known` as `(signal, value)`.
    ///
    /// # Errors
    /// [`ConsistencyError::TooManyComponents`], [`ConsistencyError::BadSignal`], [`ConsistencyError::Contradiction`].
    pub fn new(
        signals: usize,
        components: Vec<Component>,
        known: &[(usize, i64)],
    ) -> Result<Self, ConsistencyError> {
        if components.len() > MAX_COMPONENTS {
            return Err(ConsistencyError::TooManyComponents);
        }
        let mut logic = vec![false; signals];
        for (i, component) in components.iter().enumerate() {
            let bad = || ConsistencyError::BadSignal { place: format!("component {i}") };
            if component.inputs.is_empty() {
                return Err(bad());
            }
            for &signal in component.inputs.iter().chain([&component.output]) {
                *logic.get_mut(signal).ok_or_else(bad)? |= component.relation.is_logic();
            }
        }
        let mut values = vec![None; signals];
        for &(signal, value) in known {
            let bad = || ConsistencyError::BadSignal { place: format!("signal {signal}") };
            let slot = values.get_mut(signal).ok_or_else(bad)?;
            if logic[signal] && !(0..=1).contains(&value) {
                return Err(bad());
            }
            if slot.is_some_and(|v| v != value) {
                return Err(ConsistencyError::Contradiction);
            }
            *slot = Some(value);
        }
        Ok(Self { components, logic, known: values })
    }

    /// Whether the observations are possible with exactly the components in `broken` free to do anything.
    ///
    /// # Errors
    /// [`ConsistencyError::TooLarge`].
    pub fn is_possible(&self, broken: u64) -> Result<bool, ConsistencyError> {
        self.solvable(broken, self.known.clone(), &mut 0)
    }

    /// All minimal conflicts and all minimal diagnoses.
    ///
    /// Starts from no conflict; each hitting set that does not explain the observations gives a new minimal conflict,
    /// until all hitting sets explain them.
    ///
    /// # Errors
    /// [`ConsistencyError::TooLarge`].
    pub fn minimal(&self) -> Result<Minimal, ConsistencyError> {
        let mut conflicts: Vec<u64> = Vec::new();
        loop {
            let diagnoses = hitting_sets(&conflicts);
            let mut new = None;
            for &set in &diagnoses {
                if !self.is_possible(set)? {
                    new = Some(self.conflict_without(set)?);
                    break;
                }
            }
            match new {
                Some(conflict) => conflicts.push(conflict),
                // Not every minimal conflict was needed on the way; the diagnoses name them all.
                None => return Ok(Minimal { conflicts: hitting_sets(&diagnoses), diagnoses }),
            }
        }
    }

    /// A minimal conflict among the components outside `broken`, which cannot all work.
    fn conflict_without(&self, broken: u64) -> Result<u64, ConsistencyError> {
        let all = (1_u64 << self.components.len()) - 1;
        let mut conflict = all & !broken;
        for i in 0..self.components.len() {
            let fewer = conflict & !(1 << i);
            if fewer != conflict && !self.is_possible(all & !fewer)? {
                conflict = fewer;
            }
        }
        Ok(conflict)
    }

    /// Posterior over every set of broken components that explains the observations, likeliest first; `priors` are the
    /// fault probabilities of the components, independent of each other.
    ///
    /// # Errors
    /// [`ConsistencyError::BadPrior`], [`ConsistencyError::TooLarge`].
    pub fn posterior(&self, minimal: &Minimal, priors: &[f64]) -> Result<Vec<(u64, f64)>, ConsistencyError> {
        let count = self.components.len();
        if priors.len() != count || !priors.iter().all(|p| *p > 0.0 && *p < 1.0) {
            return Err(ConsistencyError::BadPrior);
        }
        let weight = |set: u64| {
            let one = |(i, p): (usize, &f64)| if set >> i & 1 == 1 { *p } else { 1.0 - p };
            priors.iter().enumerate().map(one).product::<f64>()
        };
        // A superset of a diagnosis is a diagnosis: what is broken may also do the right thing.
        let explains = |set: &u64| minimal.diagnoses.iter().any(|d| set & d == *d);
        Ok(normalised((0..1_u64 << count).filter(explains).map(|set| (set, weight(set))).collect()))
    }

    /// Every signal not yet known, with what a measurement there would tell, the most telling first.
    ///
    /// # Errors
    /// [`ConsistencyError::TooLarge`].
    pub fn probes(&self, posterior: &[(u64, f64)]) -> Result<Vec<Probe>, ConsistencyError> {
        let mut probes = Vec::new();
        for signal in (0..self.known.len()).filter(|&s| self.known[s].is_none()) {
            let mut values = BTreeMap::new();
            for &(set, p) in posterior {
                *values.entry(self.predicted(set, signal)?).or_insert(0.0) += p;
            }
            let entropy = values.values().map(|p: &f64| -p * p.log2()).sum();
            probes.push(Probe { signal, values, entropy });
        }
        probes.sort_by(|a, b| b.entropy.total_cmp(&a.entropy).then(a.signal.cmp(&b.signal)));
        Ok(probes)
    }

    /// The only value that `signal` can have with `broken` broken, if there is only one.
    fn predicted(&self, broken: u64, signal: usize) -> Result<Option<i64>, ConsistencyError> {
        let mut values = self.known.clone();
        if !self.logic[signal] {
            return Ok(if self.propagate(broken, &mut values) { values[signal] } else { None });
        }
        let mut can_be = |value| {
            values.clone_from(&self.known);
            values[signal] = Some(value);
            self.solvable(broken, values.clone(), &mut 0)
        };
        Ok(match (can_be(0)?, can_be(1)?) {
            (true, false) => Some(0),
            (false, true) => Some(1),
            _ => None,
        })
    }

    /// Whether some assignment to the open signals satisfies all working components.
    fn solvable(
        &self,
        broken: u64,
        mut values: Vec<Option<i64>>,
        trials: &mut u32,
    ) -> Result<bool, ConsistencyError> {
        *trials += 1;
        if *trials > MAX_TRIALS {
            return Err(ConsistencyError::TooLarge);
        }
        if !self.propagate(broken, &mut values) {
            return Ok(false);
        }
        let working = self.components.iter().enumerate().filter(|(i, _)| broken >> i & 1 == 0);
        let open = working.flat_map(|(_, c)| &c.inputs).find(|&&s| self.logic[s] && values[s].is_none());
        let Some(&open) = open else { return Ok(true) };
        for value in 0..=1 {
            values[open] = Some(value);
            if self.solvable(broken, values.clone(), trials)? {
                return Ok(true);
            }
        }
        Ok(false)
    }

    /// Works out what follows from the known values; false when something contradicts.
    fn propagate(&self, broken: u64, values: &mut [Option<i64>]) -> bool {
        loop {
            let mut changed = false;
            for (_, component) in self.components.iter().enumerate().filter(|(i, _)| broken >> i & 1 == 0) {
                match component.follow(values) {
                    Follows::Nothing => {}
                    Follows::Impossible => return false,
                    Follows::Value(signal, value) => {
                        if self.logic[signal] && !(0..=1).contains(&value) {
                            return false;
                        }
                        match values[signal] {
                            Some(v) if v != value => return false,
                            Some(_) => {}
                            None => {
                                values[signal] = Some(value);
                                changed = true;
                            }
                        }
                    }
                }
            }
            if !changed {
                return true;
            }
        }
    }
}

/// What a working component says about its signals.
enum Follows {
    Nothing,
    Value(usize, i64),
    Impossible,
}

impl Relation {
    fn is_logic(self) -> bool {
        !matches!(self, Self::Sum | Self::Product)
    }
}

impl Component {
    fn follow(&self, values: &[Option<i64>]) -> Follows {
        if !self.relation.is_logic() {
            return self.follow_number(values);
        }
        let inputs = || self.inputs.iter().map(|&s| values[s]);
        let all_known = inputs().all(|v| v.is_some());
        let any = |value| inputs().any(|v| v == Some(value));
        let output = match self.relation {
            Relation::And | Relation::Nand if any(0) => Some(0),
            Relation::And | Relation::Nand => all_known.then_some(1),
            Relation::Or | Relation::Nor if any(1) => Some(1),
            Relation::Or | Relation::Nor => all_known.then_some(0),
            _ => all_known.then(|| inputs().flatten().sum::<i64>() % 2),
        };
        let inverted = matches!(self.relation, Relation::Nand | Relation::Nor);
        output.map_or(Follows::Nothing, |v| Follows::Value(self.output, if inverted { 1 - v } else { v }))
    }

    /// Sums and products also run backwards, to the one input that is open.
    fn follow_number(&self, values: &[Option<i64>]) -> Follows {
        let product = self.relation == Relation::Product;
        let mut open = None;
        let mut total: i64 = i64::from(product);
        for &signal in &self.inputs {
            let Some(value) = values[signal] else {
                if open.replace(signal).is_some() {
                    return Follows::Nothing;
                }
                continue;
            };
            let next = if product { total.checked_mul(value) } else { total.checked_add(value) };
            let Some(next) = next else { return Follows::Nothing };
            total = next;
        }
        let Some(open) = open else { return Follows::Value(self.output, total) };
        match values[self.output] {
            None => Follows::Nothing,
            Some(output) if !product => {
                output.checked_sub(total).map_or(Follows::Nothing, |v| Follows::Value(open, v))
            }
            Some(output) if total == 0 => {
                if output == 0 {
                    Follows::Nothing
                } else {
                    Follows::Impossible
                }
            }
            Some(output) if output % total != 0 => Follows::Impossible,
            Some(output) => Follows::Value(open, output / total),
        }
    }
}

/// All minimal sets that share a member with each of `sets` (Berge 1989, "Hypergraphs", one set after another).
pub fn hitting_sets(sets: &[u64]) -> Vec<u64> {
    let mut hitting = vec![0_u64];
    for &set in sets {
        let (mut next, missing): (Vec<u64>, Vec<u64>) = hitting.into_iter().partition(|h| h & set != 0);
        let kept = next.len();
        for h in missing {
            let mut members = set;
            while members != 0 {
                let larger = h | members & members.wrapping_neg();
                members &= members - 1;
                if !next[..kept].iter().any(|k| larger & k == *k) {
                    next.push(larger);
                }
            }
        }
        hitting = next;
    }
    hitting.sort_unstable();
    hitting
}

/// Weights as probabilities, likeliest first.
fn normalised(mut weights: Vec<(u64, f64)>) -> Vec<(u64, f64)> {
    let total: f64 = weights.iter().map(|w| w.1).sum();
    for weight in &mut weights {
        weight.1 /= total;
    }
    weights.sort_by(|a, b| b.1.total_cmp(&a.1).then(a.0.cmp(&b.0)));
    weights
}

/// Posterior over the minimal diagnoses only: `Π p / (1 − p)` over the broken, normalised; `priors` as in
/// [`System::posterior`].
pub fn minimal_posterior(minimal: &Minimal, priors: &[f64]) -> Vec<(u64, f64)> {
    let odds = |set: u64| {
        let one = |(i, p): (usize, &f64)| if set >> i & 1 == 1 { p / (1.0 - p) } else { 1.0 };
        priors.iter().enumerate().map(one).product::<f64>()
    };
    normalised(minimal.diagnoses.iter().map(|&set| (set, odds(set))).collect())
}
