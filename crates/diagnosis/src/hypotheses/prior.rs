//! What is likely to fail before anything is seen.

use std::collections::BTreeMap;

use super::{Consequence, Fault, HypothesesError, Hypothesis, Part};

/// Prior over sets of faults.
#[derive(Clone, Debug)]
pub struct Prior {
    parts: Vec<Part>,
    consequences: Vec<Consequence>,
    /// How much the empty set counts against what its parts' probabilities make of it.
    empty: f64,
}

/// One part's states, likeliest first.
#[derive(Clone, Debug)]
pub(super) struct States {
    /// Each state's fault; None is sound, or failed in a way that makes no difference.
    pub(super) faults: Vec<Option<Fault>>,
    /// Each state's probability as a share of the likeliest one's, falling from 1, none zero.
    pub(super) ratios: Vec<f64>,
}

/// A prior in which the faults that make no difference to the evidence are counted with the sound state of their part.
pub(super) struct Folded<'a> {
    /// Parts with more than one state left, by the ratio of their second state.
    pub(super) parts: Vec<States>,
    /// Probability that every part is in its likeliest state.
    pub(super) best: f64,
    /// Factor on the weight of the empty set, which stands for nothing wrong and for what is folded away.
    pub(super) empty: f64,
    consequences: &'a [Consequence],
    /// The faults folded away, each with its share of the state that it is counted with.
    pub(super) aside: Vec<(Fault, f64)>,
}

impl Prior {
    /// A prior over the faults of `parts`.
    ///
    /// # Errors
    /// [`HypothesesError::BadPart`] and [`HypothesesError::BadConsequence`].
    pub fn new(parts: &[Part], consequences: Vec<Consequence>) -> Result<Self, HypothesesError> {
        let prior = Self { parts: parts.to_vec(), consequences, empty: 1.0 };
        for (consequence, c) in prior.consequences.iter().enumerate() {
            let sound = (0.0..=1.0).contains(&c.probability);
            if !sound || !prior.has(c.cause) || !prior.has(c.effect) || c.cause.part == c.effect.part {
                return Err(HypothesesError::BadConsequence { consequence });
            }
        }
        for (part, modes) in parts.iter().map(|p| &p.modes).enumerate() {
            if !modes.iter().all(|p| (0.0..=1.0).contains(p)) || modes.iter().sum::<f64>() > 1.0 + 1e-12 {
                return Err(HypothesesError::BadPart { part });
            }
        }
        Ok(prior)
    }

    /// The same where the empty set counts only `factor` times as much: sound machines are seldom looked at.
    #[must_use]
    pub fn counting_empty(mut self, factor: f64) -> Self {
        self.empty = factor.clamp(0.0, 1.0);
        self
    }

    /// Share of the empty set's weight that is of nothing wrong at all; the rest is of the faults folded away.
    pub fn of_nothing_wrong(&self, aside: &[(Fault, f64)]) -> f64 {
        let sound = nothing_aside(aside);
        let counted = self.empty * sound;
        counted / (counted + 1.0 - sound)
    }

    /// Odds of a fault against its part being sound.
    pub(crate) fn odds(&self, fault: Fault) -> f64 {
        let modes = &self.parts[fault.part].modes;
        modes[fault.mode] / (1.0 - modes.iter().sum::<f64>()).max(f64::MIN_POSITIVE)
    }

    /// Does the fault cause others, or can its part be struck by one? What follows depends on it, whatever it shows.
    pub(crate) fn is_bound_up(&self, fault: Fault) -> bool {
        self.consequences.iter().any(|c| c.cause == fault || c.effect.part == fault.part)
    }

    pub(super) fn has(&self, fault: Fault) -> bool {
        self.parts.get(fault.part).is_some_and(|p| fault.mode < p.modes.len())
    }

    /// Counts the faults that do not `matter` with the sound state of their part. Faults that cause or follow others
    /// stay as they are: what follows depends on them.
    pub(super) fn fold(&self, matters: impl Fn(Fault) -> bool) -> Folded<'_> {
        let (mut parts, mut best, mut aside) = (Vec::new(), 1.0, Vec::new());
        for (part, modes) in self.parts.iter().map(|p| &p.modes).enumerate() {
            let mut rest = (1.0 - modes.iter().sum::<f64>()).max(0.0);
            let mut states = Vec::new();
            let mut folded = Vec::new();
            for (mode, &p) in modes.iter().enumerate().filter(|(_, p)| **p > 0.0) {
                let fault = Fault { part, mode };
                if matters(fault) || self.is_bound_up(fault) {
                    states.push((Some(fault), p));
                } else {
                    folded.push((fault, p));
                    rest += p;
                }
            }
            aside.extend(folded.into_iter().map(|(fault, p)| (fault, p / rest)));
            if rest > 0.0 {
                states.push((None, rest));
            }
            states.sort_by(|a, b| b.1.total_cmp(&a.1));
            let top = states[0].1;
            best *= top;
            if states.len() > 1 || states[0].0.is_some() {
                let (faults, ratios) = states.into_iter().map(|(fault, p)| (fault, p / top)).unzip();
                parts.push(States { faults, ratios });
            }
        }
        let second = |s: &States| s.ratios.get(1).copied().unwrap_or(0.0);
        parts.sort_by(|a, b| second(b).total_cmp(&second(a)));
        let sound = nothing_aside(&aside);
        let empty = self.empty * sound + (1.0 - sound);
        Folded { parts, best, empty, consequences: &self.consequences, aside }
    }
}

/// Probability that none of the faults folded away is there.
pub(super) fn nothing_aside(aside: &[(Fault, f64)]) -> f64 {
    let mut by_part: BTreeMap<usize, f64> = BTreeMap::new();
    for (f, share) in aside {
        *by_part.entry(f.part).or_insert(0.0) += share;
    }
    by_part.values().map(|share| 1.0 - share).product()
}

impl Folded<'_> {
    /// The faults that may follow from one that arose by itself.
    pub(super) fn effects(&self, cause: Fault) -> impl Iterator<Item = Fault> {
        self.consequences.iter().filter(move |c| c.cause == cause && c.probability > 0.0).map(|c| c.effect)
    }

    /// What consequences make of a set of faults that arose by themselves.
    pub(super) fn follow(&self, mut faults: Vec<Fault>, probability: f64) -> Vec<(Hypothesis, f64)> {
        faults.sort_unstable();
        let base = Hypothesis { faults };
        let mut ways = vec![(base.clone(), probability)];
        for c in self.consequences {
            if c.probability == 0.0 || !base.faults.contains(&c.cause) {
                continue;
            }
            for i in 0..ways.len() {
                let Err(place) = ways[i].0.faults.binary_search_by_key(&c.effect.part, |f| f.part) else {
                    continue;
                };
                let mut struck = ways[i].clone();
                struck.0.faults.insert(place, c.effect);
                struck.1 *= c.probability;
                ways[i].1 *= 1.0 - c.probability;
                ways.push(struck);
            }
        }
        ways.retain(|w| w.1 > 0.0);
        ways
    }
}
