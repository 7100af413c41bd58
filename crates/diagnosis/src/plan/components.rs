//! Several faults at once, mended one by one.

use super::problem::{Access, Effect, Left, Problem, ProblemError, Proof, Step};

/// Most components: each set of faults among them is a suspect.
pub const MAX_COMPONENTS: usize = 12;

/// Components that fail independently, in a machine that is known to be down.
#[derive(Clone, Debug, PartialEq)]
pub struct Components {
    /// The components.
    pub components: Vec<Component>,
    /// When the machine works.
    pub works: Structure,
    /// Noisy-OR checks over present faults.
    pub checks: Vec<ComponentCheck>,
    /// Cost of ending the job without a cure.
    pub give_up: Option<f64>,
}

/// One component.
#[derive(Clone, Debug, PartialEq)]
pub struct Component {
    /// Probability, 0 … 1, that it is faulty before the machine is known to be down.
    pub fault: f64,
    /// Cost of looking at it; the look is never wrong. None: it cannot be looked at.
    pub inspect: Option<f64>,
    /// Cost of mending it for sure, with a free look whether the machine works.
    pub repair: f64,
}

/// When a machine works, as a function of its sound components.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Structure {
    /// This component is sound.
    Component(usize),
    /// At least `least` of these hold; all of them for parts in series, one for parts in parallel.
    AtLeast {
        /// How many must hold.
        least: usize,
        /// The structures counted.
        of: Vec<Structure>,
    },
}

/// A check that is abnormal with probability `1 − (1 − leak) · Π over faulty components of (1 − link)`.
#[derive(Clone, Debug, PartialEq)]
pub struct ComponentCheck {
    /// Cost of the check.
    pub cost: f64,
    /// Probability of an abnormal result without a linked fault.
    pub leak: f64,
    /// Components and the probability that each alone makes the check abnormal.
    pub links: Vec<(usize, f64)>,
}

impl Components {
    /// The problem in terms of fault sets: each set that keeps the machine down is a suspect.
    ///
    /// Steps are in this order: for each component its inspection, if it has one, then its repair; then the checks.
    ///
    /// # Errors
    /// More than 12 components, an index that points at nothing, a probability out of range, or a machine that cannot
    /// be down.
    pub fn problem(&self) -> Result<Problem, ProblemError> {
        let count = self.components.len();
        if count > MAX_COMPONENTS {
            return Err(ProblemError::TooMany { what: "components", limit: MAX_COMPONENTS });
        }
        if !self.works.fits(count) || self.checks.iter().flat_map(|c| &c.links).any(|l| l.0 >= count) {
            return Err(ProblemError::BadReference { place: "a component".into() });
        }
        // In rising order of their bits, so that a set with fewer faults stands before those that contain it.
        let down: Vec<u32> = (0..1_u32 << count).filter(|&set| !self.works.holds(set)).collect();
        let weight = |set: u32| {
            let one = |(i, c): (usize, &Component)| if set >> i & 1 == 1 { c.fault } else { 1.0 - c.fault };
            self.components.iter().enumerate().map(one).product::<f64>()
        };
        let total: f64 = down.iter().map(|&set| weight(set)).sum();
        if total.is_nan() || total <= 0.0 {
            return Err(ProblemError::BadNumber { place: "probability that the machine is down".into() });
        }
        let problem = Problem {
            suspects: down.iter().map(|&set| weight(set) / total).collect(),
            access: Vec::<Access>::new(),
            steps: self.steps(&down),
            proof: Proof::AtOnce,
            stock: None,
            give_up: self.give_up,
        };
        problem.check()?;
        Ok(problem)
    }

    fn steps(&self, down: &[u32]) -> Vec<Step> {
        let plain = |cost, effect| Step { cost, open: vec![], closed: vec![], part: None, effect };
        let mut steps = Vec::new();
        for (i, component) in self.components.iter().enumerate() {
            if let Some(cost) = component.inspect {
                let bad: Vec<f64> = down.iter().map(|set| f64::from(set >> i & 1)).collect();
                let good = bad.iter().map(|b| 1.0 - b).collect();
                steps.push(plain(cost, Effect::Check { outcomes: vec![bad, good] }));
            }
            let left =
                down.iter().enumerate().map(|(at, set)| match down.binary_search(&(set & !(1 << i))) {
                    Ok(suspect) => Left { probability: 1.0, suspect },
                    Err(_) => Left { probability: 0.0, suspect: at },
                });
            steps.push(plain(component.repair, Effect::Repair { left: left.collect() }));
        }
        for check in &self.checks {
            let normal: Vec<f64> = down
                .iter()
                .map(|set| {
                    let present = check.links.iter().filter(|l| set >> l.0 & 1 == 1);
                    (1.0 - check.leak) * present.map(|l| 1.0 - l.1).product::<f64>()
                })
                .collect();
            let abnormal = normal.iter().map(|n| 1.0 - n).collect();
            steps.push(plain(check.cost, Effect::Check { outcomes: vec![abnormal, normal] }));
        }
        steps
    }
}

impl Structure {
    /// Whether the machine works with the components in `faulty` down.
    fn holds(&self, faulty: u32) -> bool {
        match self {
            Self::Component(i) => faulty >> i & 1 == 0,
            Self::AtLeast { least, of } => of.iter().filter(|s| s.holds(faulty)).count() >= *least,
        }
    }

    fn fits(&self, count: usize) -> bool {
        match self {
            Self::Component(i) => *i < count,
            Self::AtLeast { of, .. } => of.iter().all(|s| s.fits(count)),
        }
    }
}
