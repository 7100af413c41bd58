//! From evidence to the suspects and the next check: everything put together.

use crate::align::{Aligner, Match};
use crate::belief::{Belief, Beliefs, Case};
use crate::evidence::{Clue, Entry, Evidence};
use crate::finding::{Action, Conflict, Finding, LEFT_OUT_AT_MOST, Next, Sure, Suspect};
use crate::hypotheses::HypothesesError;
use crate::plan::{Problem, ProblemError};
use crate::setup::Setup;
use crate::{next, reasons, verdicts};
use bench::Conditions;
use machine::model::Machine;
use std::fmt;

/// Most suspects that are listed.
const LISTED: usize = 8;

/// Suspects below this share of what was looked at are not listed.
const LISTED_FROM: f64 = 0.002;

/// Why no suspects can be named.
#[derive(Clone, Debug, PartialEq)]
pub enum FindError {
    /// The machine file's rates, or evidence that fits nothing at all.
    Hypotheses(HypothesesError),
    /// The planner refused what it was given.
    Plan(ProblemError),
    /// The recording cannot be matched to the steps.
    Trace(crate::align::AlignError),
}

impl fmt::Display for FindError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Hypotheses(e) => e.fmt(f),
            Self::Plan(e) => e.fmt(f),
            Self::Trace(e) => e.fmt(f),
        }
    }
}

impl std::error::Error for FindError {}

impl From<HypothesesError> for FindError {
    fn from(e: HypothesesError) -> Self {
        Self::Hypotheses(e)
    }
}

impl From<ProblemError> for FindError {
    fn from(e: ProblemError) -> Self {
        Self::Plan(e)
    }
}

impl From<crate::align::AlignError> for FindError {
    fn from(e: crate::align::AlignError) -> Self {
        Self::Trace(e)
    }
}

/// Names the suspects and what to do next.
///
/// # Errors
/// [`FindError`]; never for evidence that is merely odd, which is pointed out in the answer.
pub fn find(machine: &Machine, evidence: &Evidence, setup: &Setup) -> Result<Finding, FindError> {
    Find::new(machine, evidence, setup)?.finding(evidence)
}

/// A diagnosis that goes on: entries come and are taken back, what was worked out about the machine is kept.
pub struct Find<'m> {
    pub(crate) belief: Belief<'m>,
    conditions: Conditions,
    /// What was told so far.
    entries: Vec<Entry>,
    /// What it makes one believe, once that was asked.
    believed: Option<Beliefs>,
}

impl<'m> Find<'m> {
    /// Supply, water and recording are taken from this evidence and stay; its entries may change with every question.
    ///
    /// # Errors
    /// As [`find`].
    pub fn new(machine: &'m Machine, evidence: &Evidence, setup: &Setup) -> Result<Self, FindError> {
        let conditions = conditions(machine, evidence, setup);
        let mut belief = Belief::new(machine, &conditions, setup)?;
        if evidence.trace.is_some() || !evidence.entries.is_empty() {
            belief.look_ahead();
        }
        if let Some(recording) = &evidence.trace {
            belief.add_trace(Aligner::new(machine, recording, &conditions)?);
        }
        Ok(Find { belief, conditions, entries: Vec::new(), believed: None })
    }

    /// What all evidence together says.
    ///
    /// # Errors
    /// As [`find`].
    pub fn finding(&mut self, evidence: &Evidence) -> Result<Finding, FindError> {
        let beliefs = self.beliefs(evidence)?;
        let aligned = beliefs.cases.first().map_or(Vec::new(), |(case, _)| self.belief.aligned(case));
        self.put_together(evidence, &beliefs, &aligned)
    }

    /// Supply, water and meter as they were taken.
    pub fn conditions(&self) -> &Conditions {
        &self.conditions
    }

    /// The posterior alone.
    ///
    /// # Errors
    /// As [`find`].
    pub fn beliefs(&mut self, evidence: &Evidence) -> Result<Beliefs, FindError> {
        self.hold_to(evidence);
        if let Some(known) = &self.believed {
            return Ok(known.clone());
        }
        let beliefs = self.belief.posterior(&self.belief.setup().limits)?;
        self.believed = Some(beliefs.clone());
        Ok(beliefs)
    }

    /// What would be believed if the entries that this evidence has beyond those last asked about were true. Where what was left
    /// out cannot come to matter with them, no new sets of faults are looked for, and up to ten times as much may be left
    /// out. Nothing of it is kept.
    ///
    /// # Errors
    /// As [`find`].
    pub fn would_believe(&mut self, evidence: &Evidence) -> Result<Beliefs, FindError> {
        let goes_on = evidence.entries.starts_with(&self.entries);
        let Some(before) = self.believed.take_if(|_| goes_on) else { return self.beliefs(evidence) };
        let told = self.belief.items();
        self.belief.add(evidence);
        let would = self.belief.posterior_from(&before, told, &self.belief.setup().limits);
        self.belief.take_back(told);
        self.believed = Some(before);
        Ok(would?)
    }

    /// Takes back what this evidence no longer says, and adds what it says more.
    fn hold_to(&mut self, evidence: &Evidence) {
        let same = self.entries.iter().zip(&evidence.entries).take_while(|(a, b)| a == b).count();
        if same == self.entries.len() && same == evidence.entries.len() {
            return;
        }
        self.believed = None;
        let dropped = self.entries.len() - same;
        self.belief.take_back(self.belief.items() - dropped);
        self.belief.add(evidence);
        self.entries.clone_from(&evidence.entries);
    }

    /// What to do next, best first, given what is believed after all evidence.
    ///
    /// # Errors
    /// As [`find`].
    pub fn next_checks(&self, evidence: &Evidence, beliefs: &Beliefs) -> Result<Vec<Next>, FindError> {
        Ok(next::advise(&self.belief, beliefs, evidence)?.next)
    }

    /// The problem that the next check is chosen by, and how often the fault that each of its repairs cures comes before
    /// anything is known: to hold the plan against other rules.
    ///
    /// # Errors
    /// As [`find`].
    pub fn problem(&mut self, evidence: &Evidence) -> Result<(Problem, Vec<f64>), FindError> {
        let beliefs = self.beliefs(evidence)?;
        Ok(next::posed(&self.belief, &beliefs, evidence))
    }

    fn put_together(
        &self,
        evidence: &Evidence,
        beliefs: &Beliefs,
        aligned: &[Match],
    ) -> Result<Finding, FindError> {
        let belief = &self.belief;
        let healthy = beliefs.cases.iter().find(|(c, _)| c.faults.faults().is_empty()).map_or(0.0, |c| c.1);
        let looked_at: f64 = beliefs.cases.iter().map(|c| c.1).sum();
        let share = |p: f64| if looked_at > 0.0 { p / looked_at } else { 0.0 };
        let mut suspects = Vec::new();
        let mut others = 0.0;
        for (case, p) in beliefs.cases.iter().filter(|(c, _)| !c.faults.faults().is_empty()) {
            let probability = share(*p);
            if suspects.len() < LISTED && probability >= LISTED_FROM {
                suspects.push(Suspect {
                    faults: case.faults.clone(),
                    sometimes: case.sometimes.clone(),
                    probability,
                    reason: reasons::reason(belief, evidence, beliefs, case),
                });
            } else {
                others += probability;
            }
        }
        let advice = next::advise(belief, beliefs, evidence)?;
        Ok(Finding {
            steps: verdicts::verdicts(belief, &self.conditions, evidence, aligned),
            sure: sure(belief, beliefs, healthy, &advice.next, share),
            suspects,
            healthy: share(healthy),
            healthy_reason: reasons::reason(belief, evidence, beliefs, &Case::default()),
            others,
            left_out: beliefs.left_out,
            conflicts: conflicts(belief, evidence, beliefs),
            next: advice.next,
            minutes_left: advice.minutes,
        })
    }
}

/// Supply, water, meter.
fn conditions(machine: &Machine, evidence: &Evidence, setup: &Setup) -> Conditions {
    let logged = evidence.trace.as_ref().and_then(|t| volts_under_load(&t.samples));
    let mut conditions = match (evidence.supply, logged) {
        (Some(supply), _) => Conditions { supply_u_v: supply.u_v, ..Conditions::at(supply.volts) },
        (None, Some(volts)) => Conditions::at(volts),
        (None, None) => Conditions::unmeasured(machine.plate.supply_v),
    };
    conditions.water_l = evidence.water_l;
    if let Some(meter) = setup.owns(crate::check::Instrument::PowerMeter) {
        conditions.meter = bench::Meter { relative: meter.relative, absolute_w: meter.absolute };
    }
    conditions
}

/// Mean of the logged voltage while the machine drew more than its board alone would, V: where it sags, loads draw less.
fn volts_under_load(samples: &[trace::Sample]) -> Option<f64> {
    let most_w = samples.iter().map(|s| s.power_w).fold(0.0, f64::max);
    let under_load = |s: &&trace::Sample| s.power_w >= 0.5 * most_w;
    let volts: Vec<f64> = samples.iter().filter(under_load).filter_map(|s| s.voltage_v).collect();
    (!volts.is_empty()).then(|| volts.iter().sum::<f64>() / volts.len() as f64)
}

/// Entries that only fit as a slip, whatever is suspected.
fn conflicts(belief: &Belief<'_>, evidence: &Evidence, beliefs: &Beliefs) -> Vec<Conflict> {
    let mut all = Vec::new();
    let mut entry = 0;
    for item in 0..belief.items() {
        let Some(clue) = belief.clue(item) else { continue };
        let at = entry;
        entry += 1;
        if matches!(clue, Clue::Mended { .. }) {
            continue;
        }
        let leading = beliefs.cases.iter().take(50);
        let (mut slipped, mut total) = (0.0, 0.0);
        for (case, p) in leading {
            slipped += p * belief.fit(item, case).slip;
            total += p;
        }
        if total > 0.0 && slipped / total > 0.5 {
            let said = &evidence.entries[at].said;
            all.push(Conflict { entry: Some(at), says: format!("`{said}` fits no suspect: take it again") });
        }
    }
    all
}

/// Sure: the best thing to do is to mend the leading suspect (or to hand the machine back), and that is so probable, whatever was
/// left out; what is shown is the `share` of what was looked at, as with the suspects.
fn sure(
    belief: &Belief<'_>,
    beliefs: &Beliefs,
    healthy: f64,
    next: &[Next],
    share: impl Fn(f64) -> f64,
) -> Option<Sure> {
    let machine = belief.machine();
    let from = belief.setup().sure_from;
    if beliefs.left_out > LEFT_OUT_AT_MOST {
        return None;
    }
    match next.first().map(|n| &n.action) {
        Some(Action::Mend { part, .. }) => {
            let about = |c: &&(Case, f64)| c.0.faults.faults().iter().any(|f| f.0 == *part);
            let at_least: f64 = beliefs.cases.iter().filter(about).map(|c| c.1).sum();
            let (case, _) = beliefs.cases.iter().find(about)?;
            let probability = share(at_least);
            let says = format!("{}: {:.0} %.", case.says(machine), 100.0 * probability);
            (at_least >= from).then(|| Sure { faults: case.faults.clone(), probability, says })
        }
        Some(Action::HandBack { .. }) => (healthy >= from).then(|| Sure {
            faults: bench::Hypothesis::healthy(),
            probability: share(healthy),
            says: format!("Nothing is wrong with the machine: {:.0} %.", 100.0 * share(healthy)),
        }),
        _ => None,
    }
}
