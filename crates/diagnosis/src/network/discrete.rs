//! Any small network of discrete variables, by variable elimination.

use super::{NetworkError, probability};

/// Largest intermediate table, in entries (32 MiB).
const MAX_TABLE: usize = 1 << 22;

/// One variable with its table.
#[derive(Clone, Debug, PartialEq)]
pub struct Variable {
    /// Number of its states, at least 1.
    pub states: usize,
    /// Indices of its parents.
    pub parents: Vec<usize>,
    /// `P(state | parents)`, the parents' states as digits with the first parent slowest, the own state fastest.
    pub table: Vec<f64>,
}

/// A network of discrete variables.
#[derive(Clone, Debug)]
pub struct Discrete {
    variables: Vec<Variable>,
}

/// Answer of [`Discrete::posterior`].
#[derive(Clone, Debug, PartialEq)]
pub struct DiscretePosterior {
    /// Probability of the evidence, greater than zero.
    pub evidence: f64,
    /// Probability of each state of each variable given the evidence.
    pub variables: Vec<Vec<f64>>,
}

/// A table over some variables, the first slowest.
#[derive(Clone)]
struct Factor {
    scope: Vec<usize>,
    table: Vec<f64>,
}

impl Discrete {
    /// A network from its variables. Cycles among parents are not looked for: tables that multiply to a
    /// distribution are the caller's promise.
    ///
    /// # Errors
    /// When a table has the wrong length or a row that does not sum to 1 (to 1e-6), a number is not a
    /// probability, or a parent is missing or named twice.
    pub fn new(variables: Vec<Variable>) -> Result<Self, NetworkError> {
        for (i, variable) in variables.iter().enumerate() {
            let bad = |what: &str| NetworkError::BadReference { place: format!("{what} of variable {i}") };
            let mut rows = 1_usize;
            for (k, &parent) in variable.parents.iter().enumerate() {
                if parent >= variables.len() || parent == i || variable.parents[..k].contains(&parent) {
                    return Err(bad("parent"));
                }
                rows = rows.saturating_mul(variables[parent].states);
            }
            if variable.states == 0 || variable.table.len() != rows.saturating_mul(variable.states) {
                return Err(bad("table length"));
            }
            for row in variable.table.chunks(variable.states) {
                for &p in row {
                    probability(p, || format!("table of variable {i}"))?;
                }
                if (row.iter().sum::<f64>() - 1.0).abs() > 1e-6 {
                    return Err(NetworkError::NotAProbability { place: format!("row sum of variable {i}") });
                }
            }
        }
        Ok(Self { variables })
    }

    /// Probability of every state of every variable, given observed `(variable, state)` pairs.
    ///
    /// Sums variables out one by one, always the one whose table is smallest (Zhang & Poole 1994; greedy
    /// minimum-size order). One elimination for each variable asked about.
    ///
    /// # Errors
    /// When the evidence names a missing variable or state, contradicts itself or is impossible, and when a table
    /// would exceed 2^22 entries.
    pub fn posterior(&self, evidence: &[(usize, usize)]) -> Result<DiscretePosterior, NetworkError> {
        let mut fixed = vec![None; self.variables.len()];
        for &(variable, state) in evidence {
            let place = || NetworkError::BadReference { place: format!("evidence on variable {variable}") };
            let slot = fixed.get_mut(variable).ok_or_else(place)?;
            if state >= self.variables[variable].states || slot.is_some_and(|s| s != state) {
                return Err(place());
            }
            *slot = Some(state);
        }
        let factors: Vec<Factor> = (0..self.variables.len()).map(|i| self.factor(i, &fixed)).collect();
        let told = self.with_ancestors(&fixed, None);
        let mut probability_of_evidence = self.eliminate(&factors, &told, None)?.table[0];
        if probability_of_evidence <= 0.0 {
            return Err(NetworkError::Impossible);
        }
        if evidence.is_empty() {
            probability_of_evidence = 1.0;
        }
        let mut variables = Vec::with_capacity(fixed.len());
        for (i, state) in fixed.iter().enumerate() {
            let mut row = vec![0.0; self.variables[i].states];
            if let Some(state) = *state {
                row[state] = 1.0;
            } else {
                let told = self.with_ancestors(&fixed, Some(i));
                row = self.eliminate(&factors, &told, Some(i))?.table;
                let total: f64 = row.iter().sum();
                for p in &mut row {
                    *p /= total;
                }
            }
            variables.push(row);
        }
        Ok(DiscretePosterior { evidence: probability_of_evidence, variables })
    }

    /// The table of one variable with the observed ones held fixed.
    fn factor(&self, variable: usize, fixed: &[Option<usize>]) -> Factor {
        let mut all = self.variables[variable].parents.clone();
        all.push(variable);
        let full = Factor { scope: all.clone(), table: self.variables[variable].table.clone() };
        let scope: Vec<usize> = all.into_iter().filter(|&v| fixed[v].is_none()).collect();
        let mut table = Vec::new();
        let mut digits: Vec<usize> = fixed.iter().map(|s| s.unwrap_or(0)).collect();
        self.each_assignment(&scope, &mut digits, |digits| table.push(self.entry(&full, digits)));
        Factor { scope, table }
    }

    /// What is observed or asked about, and all that it depends on. The other variables sum to 1 whatever the rest is
    /// (barren nodes, Shachter 1986), so their tables can be left out.
    fn with_ancestors(&self, fixed: &[Option<usize>], asked: Option<usize>) -> Vec<bool> {
        let mut told = vec![false; fixed.len()];
        let mut waiting: Vec<usize> = (0..fixed.len()).filter(|&v| fixed[v].is_some()).chain(asked).collect();
        while let Some(v) = waiting.pop() {
            if !std::mem::replace(&mut told[v], true) {
                waiting.extend(&self.variables[v].parents);
            }
        }
        told
    }

    /// Sums out all variables of `told` but `keep`.
    fn eliminate(
        &self,
        factors: &[Factor],
        told: &[bool],
        keep: Option<usize>,
    ) -> Result<Factor, NetworkError> {
        let mut live: Vec<Factor> =
            factors.iter().zip(told).filter(|(_, told)| **told).map(|(f, _)| f.clone()).collect();
        let mut left: Vec<usize> = (0..self.variables.len()).filter(|&v| Some(v) != keep).collect();
        left.retain(|v| live.iter().any(|f| f.scope.contains(v)));
        while let Some(position) = (0..left.len()).min_by_key(|&k| self.joined_size(&live, left[k])) {
            let variable = left.swap_remove(position);
            let (touching, rest): (Vec<_>, Vec<_>) =
                live.into_iter().partition(|f| f.scope.contains(&variable));
            live = rest;
            live.push(self.sum_out(&touching, Some(variable))?);
        }
        self.sum_out(&live, None)
    }

    /// Variables of the product of all factors that mention `variable`.
    fn joined_scope<'a>(factors: impl Iterator<Item = &'a Factor>) -> Vec<usize> {
        let mut scope: Vec<usize> = factors.flat_map(|f| f.scope.iter().copied()).collect();
        scope.sort_unstable();
        scope.dedup();
        scope
    }

    fn joined_size(&self, factors: &[Factor], variable: usize) -> usize {
        let scope = Self::joined_scope(factors.iter().filter(|f| f.scope.contains(&variable)));
        self.size(&scope)
    }

    fn size(&self, scope: &[usize]) -> usize {
        scope.iter().fold(1, |size, &v| size.saturating_mul(self.variables[v].states))
    }

    /// Product of `factors`, with `variable` summed out when given.
    fn sum_out(&self, factors: &[Factor], variable: Option<usize>) -> Result<Factor, NetworkError> {
        let mut scope = Self::joined_scope(factors.iter());
        scope.retain(|&v| Some(v) != variable);
        let states = variable.map_or(1, |v| self.variables[v].states);
        let size = self.size(&scope).saturating_mul(states);
        if size > MAX_TABLE {
            return Err(NetworkError::TooLarge { bits: usize::BITS - size.leading_zeros() });
        }
        let mut table = Vec::with_capacity(size / states);
        let mut digits = vec![0; self.variables.len()];
        self.each_assignment(&scope, &mut digits, |digits| {
            let mut sum = 0.0;
            for state in 0..states {
                if let Some(v) = variable {
                    digits[v] = state;
                }
                sum += factors.iter().map(|f| self.entry(f, digits)).product::<f64>();
            }
            table.push(sum);
        });
        Ok(Factor { scope, table })
    }

    fn entry(&self, factor: &Factor, digits: &[usize]) -> f64 {
        factor.table[factor.scope.iter().fold(0, |index, &v| index * self.variables[v].states + digits[v])]
    }

    /// Calls `visit` for every combination of the states of `scope`, the first variable slowest.
    fn each_assignment(&self, scope: &[usize], digits: &mut [usize], mut visit: impl FnMut(&mut [usize])) {
        for &v in scope {
            digits[v] = 0;
        }
        loop {
            visit(digits);
            let Some(&advance) = scope.iter().rev().find(|&&v| digits[v] + 1 < self.variables[v].states)
            else {
                return;
            };
            digits[advance] += 1;
            let position = scope.iter().position(|&v| v == advance).unwrap_or(0);
            scope[position + 1..].iter().for_each(|&v| digits[v] = 0);
        }
    }
}
