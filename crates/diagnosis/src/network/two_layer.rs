//! Independent faults over noisy-OR checks: every posterior, without a subtraction.

use super::{NetworkError, probability};

/// Most abnormal checks in one question: 2^20 sets of explained checks, 8 MiB per vector.
const MAX_ABNORMAL: usize = 20;

/// One arrow from a fault to a check.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Link {
    /// Index of the fault.
    pub fault: usize,
    /// Probability, 0 … 1, that this fault alone turns the check abnormal.
    pub probability: f64,
}

/// A check that turns abnormal when any of its faults, or the leak, switches it on:
/// `P(abnormal) = 1 − (1 − leak) · Π over present faults of (1 − link)`.
///
/// Links of 1 make it deterministic with a leak.
#[derive(Clone, Debug, PartialEq)]
pub struct NoisyOr {
    /// Probability, 0 … 1, that the check is abnormal although no linked fault is present.
    pub leak: f64,
    /// The faults that can switch it on, each at most once.
    pub links: Vec<Link>,
}

/// What one check showed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Observed {
    /// Index of the check.
    pub check: usize,
    /// Whether it was abnormal.
    pub abnormal: bool,
}

/// Independent faults in one layer, noisy-OR checks in the other.
#[derive(Clone, Debug)]
pub struct TwoLayer {
    priors: Vec<f64>,
    checks: Vec<NoisyOr>,
}

/// Answer of [`TwoLayer::posterior`].
#[derive(Clone, Debug, PartialEq)]
pub struct TwoLayerPosterior {
    /// Probability of the evidence, greater than zero.
    pub evidence: f64,
    /// Probability of each fault given the evidence, in the order of the priors.
    pub faults: Vec<f64>,
}

/// How one fault acts on the evidence at hand.
struct Action {
    prior: f64,
    /// Probability that the fault leaves all normal checks normal.
    keep: f64,
    /// Abnormal checks it may switch on: bit and link.
    switches: Vec<(usize, f64)>,
}

impl TwoLayer {
    /// A network of faults with the given prior probabilities, and checks over them.
    ///
    /// # Errors
    /// When a number is not a probability, or a link names a missing fault or the same fault twice.
    pub fn new(priors: Vec<f64>, checks: Vec<NoisyOr>) -> Result<Self, NetworkError> {
        for (i, &p) in priors.iter().enumerate() {
            probability(p, || format!("prior of fault {i}"))?;
        }
        for (c, check) in checks.iter().enumerate() {
            probability(check.leak, || format!("leak of check {c}"))?;
            let mut linked = vec![false; priors.len()];
            for link in &check.links {
                let place = || format!("link from fault {} to check {c}", link.fault);
                probability(link.probability, place)?;
                match linked.get_mut(link.fault) {
                    Some(seen) if !*seen => *seen = true,
                    _ => return Err(NetworkError::BadReference { place: place() }),
                }
            }
        }
        Ok(Self { priors, checks })
    }

    /// Probability of every fault given what the observed checks showed.
    ///
    /// Let `f[S]` be the probability that exactly the abnormal checks in `S` are switched on and all normal ones
    /// are not. Start from the leaks; each fault then does
    ///
    /// ```text
    /// f ← (1 − p) · f + p · keep · switch_on(f)
    /// ```
    /// with `p` its prior, `keep` the product of (1 − link) over normal checks, and `switch_on` setting bit `k`
    /// with probability `link_k`. `P(e) = f[all]`; the same recursion backwards gives `P(e | on so far = S)`, and
    /// both together the posteriors. Every term is ≥ 0, so no digits are lost, unlike in the alternating sum over
    /// subsets (Heckerman 1989, "A tractable inference algorithm for diagnosing multiple diseases").
    ///
    /// Cost: links into abnormal checks × 2^abnormal, in time; faults with such a link × 2^abnormal in memory.
    ///
    /// # Errors
    /// When an observation names a missing check or names one twice, when the evidence is impossible, and when
    /// more than 20 checks are abnormal.
    pub fn posterior(&self, observed: &[Observed]) -> Result<TwoLayerPosterior, NetworkError> {
        let (actions, mut forward) = self.actions(observed)?;
        let size = forward.len();
        let mut before = Vec::new();
        for action in actions.iter().filter(|a| !a.switches.is_empty()) {
            let mut switched = forward.clone();
            switch_on(&mut switched, &action.switches);
            let (stay, act) = (1.0 - action.prior, action.prior * action.keep);
            let next = forward.iter().zip(&switched).map(|(f, s)| stay * f + act * s).collect();
            before.push(std::mem::replace(&mut forward, next));
        }
        let quiet = |a: &Action| (1.0 - a.prior) + a.prior * a.keep;
        let quiet_factor: f64 = actions.iter().filter(|a| a.switches.is_empty()).map(quiet).product();
        let active_evidence = forward[size - 1];
        let evidence = active_evidence * quiet_factor;
        if evidence <= 0.0 {
            return Err(NetworkError::Impossible);
        }
        let mut backward = vec![0.0; size];
        backward[size - 1] = 1.0;
        let mut faults = vec![0.0; actions.len()];
        for (i, action) in actions.iter().enumerate().rev() {
            if action.switches.is_empty() {
                faults[i] = action.prior * action.keep / quiet(action);
                continue;
            }
            let mut switched = backward.clone();
            switch_on_transposed(&mut switched, &action.switches);
            let earlier = before.pop().unwrap_or_default();
            let (stay, act) = (1.0 - action.prior, action.prior * action.keep);
            let joint: f64 = earlier.iter().zip(&switched).map(|(f, b)| f * b).sum();
            faults[i] = act * joint / active_evidence;
            for (b, s) in backward.iter_mut().zip(&switched) {
                *b = stay * *b + act * s;
            }
        }
        Ok(TwoLayerPosterior { evidence, faults })
    }

    /// What each fault does to this evidence, and the vector that the leaks alone give.
    fn actions(&self, observed: &[Observed]) -> Result<(Vec<Action>, Vec<f64>), NetworkError> {
        let mut seen = vec![false; self.checks.len()];
        let mut actions: Vec<Action> =
            self.priors.iter().map(|&prior| Action { prior, keep: 1.0, switches: Vec::new() }).collect();
        let mut leaks = Vec::new();
        let mut normal = 1.0;
        for o in observed {
            match seen.get_mut(o.check) {
                Some(seen) if !*seen => *seen = true,
                _ => {
                    return Err(NetworkError::BadReference { place: format!("observed check {}", o.check) });
                }
            }
            let check = &self.checks[o.check];
            for link in &check.links {
                let action = &mut actions[link.fault];
                if !o.abnormal {
                    action.keep *= 1.0 - link.probability;
                } else if link.probability > 0.0 {
                    action.switches.push((leaks.len(), link.probability));
                }
            }
            if o.abnormal {
                leaks.push((leaks.len(), check.leak));
            } else {
                normal *= 1.0 - check.leak;
            }
        }
        if leaks.len() > MAX_ABNORMAL {
            return Err(NetworkError::TooLarge { bits: leaks.len() as u32 });
        }
        let mut start = vec![0.0; 1 << leaks.len()];
        start[0] = normal;
        switch_on(&mut start, &leaks);
        Ok((actions, start))
    }
}

/// Sets each bit with its probability: mass moves from the sets without it to the sets with it.
fn switch_on(f: &mut [f64], switches: &[(usize, f64)]) {
    for &(bit, link) in switches {
        for pair in f.chunks_exact_mut(2 << bit) {
            let (off, on) = pair.split_at_mut(1 << bit);
            for (off, on) in off.iter_mut().zip(on) {
                *on += link * *off;
                *off *= 1.0 - link;
            }
        }
    }
}

/// The same step seen from the end: what a set is worth before its bits were set.
fn switch_on_transposed(b: &mut [f64], switches: &[(usize, f64)]) {
    for &(bit, link) in switches {
        for pair in b.chunks_exact_mut(2 << bit) {
            let (off, on) = pair.split_at_mut(1 << bit);
            for (off, on) in off.iter_mut().zip(on) {
                *off = (1.0 - link) * *off + link * *on;
            }
        }
    }
}
