//! What to do next: checks generated from the machine file, and the plan over them.
//!
//! `candidates.rs` lists what could be checked, `outcomes.rs` what each would show under each suspect; here the ones
//! worth thinking about go into a [`Problem`], with repairs, access and the supply as states, and the planner
//! ([`crate::plan`]) says which comes first.

pub(crate) mod candidates;
pub(crate) mod outcomes;
pub(crate) mod troubles;

pub use candidates::{candidates, panels};

use crate::belief::{Belief, Beliefs, Case};
use crate::check::{Check, CheckKind, Power, RUNS};
use crate::evidence::{Clue, Evidence};
use crate::finding::{Action, LEFT_OUT_AT_MOST, Next};
use crate::plan::{self, Access, Effect, Move, Plan, Problem, ProblemError, Proof, Step};
use machine::kind::Mend;
use machine::model::{Machine, PartId};
use outcomes::Outcomes;
use troubles::Troubles;

/// Minutes to isolate, wait and prove dead, and to plug in again. Common practice, no source.
pub(crate) const ISOLATE_MINUTES: f64 = 1.5;

/// Most checks that the planner is given.
const MOST_CHECKS: usize = 32;

/// Most known-good parts that it is given to try.
const MOST_SWAPS: usize = 8;

/// Bits that a check must tell at least.
const LEAST_BITS: f64 = 0.005;

/// The same for a step that was run already: it tells only of what shows sometimes, and of slips.
const LEAST_BITS_AGAIN: f64 = 0.08;

/// Bits that a check must tell to come before a repair where too much was left out to be sure.
const WORTH_BITS: f64 = 0.04;

/// What to do next, and how long it may take.
pub(crate) struct Advice {
    /// Best first.
    pub(crate) next: Vec<Next>,
    /// Bounds on the expected minutes.
    pub(crate) minutes: Option<(f64, f64)>,
}

/// A check with what it would show.
pub(crate) struct Candidate {
    pub(crate) check: Check,
    pub(crate) outcomes: Outcomes,
}

impl Candidate {
    /// Bits that it tells, and bits for a minute, the panels before it off as well.
    fn tells(&self, machine: &Machine, troubles: &Troubles) -> (f64, f64) {
        let bits = bits(&self.outcomes.rows, &troubles.probabilities);
        let access: f64 = self.check.access.iter().map(|&p| machine.panels[p].minutes).sum();
        (bits, bits / (self.check.minutes + access + 1.0))
    }
}

/// Chooses.
///
/// # Errors
/// What the planner refuses.
pub(crate) fn advise(
    belief: &Belief<'_>,
    beliefs: &Beliefs,
    evidence: &Evidence,
) -> Result<Advice, ProblemError> {
    let machine = belief.machine();
    let troubles = Troubles::of(beliefs);
    let checks = checks(belief, &troubles, evidence);
    let mends = mends(machine, &troubles.cases);
    let problem = problem(belief, &troubles, &checks, &mends);
    let mut plan = plan::plan(&problem, &belief.setup().effort)?;
    cured_once(&mut plan, belief.setup().costs.in_vain);
    let place = |choice: &plan::Choice| match choice.step {
        Move::Step(step) if step < checks.len() => {
            let Candidate { check, outcomes } = &checks[step];
            Some((Action::Check(check.clone()), reads(&troubles, outcomes)))
        }
        Move::Step(step) => Some((mends[step - checks.len()].action(belief), Vec::new())),
        _ => None,
    };
    if beliefs.left_out > LEFT_OUT_AT_MOST {
        // Too much was never weighed to mend anything on: whatever tells something for its minutes comes first.
        let for_a_minute = |choice: &plan::Choice| match choice.step {
            Move::Step(step) if step < checks.len() => {
                let (bits, rate) = checks[step].tells(machine, &troubles);
                if bits < WORTH_BITS { 0.0 } else { rate }
            }
            _ => 0.0,
        };
        plan.choices.sort_by(|a, b| for_a_minute(b).total_cmp(&for_a_minute(a)));
    }
    let next = plan.choices.iter().filter_map(|choice| {
        let (action, reads) = place(choice)?;
        Some(Next { action, reads, lower: choice.lower, upper: choice.upper, why: String::new() })
    });
    let mut next: Vec<Next> = next.collect();
    explain(&mut next, &plan);
    Ok(Advice { next, minutes: Some((plan.lower, plan.upper)) })
}

/// The problem charges every repair as if in vain. One of them cures, whatever the order: that one is taken back here, and the
/// plan is the same. (Of several faults only one is: their repairs count as dearer than they are.)
fn cured_once(plan: &mut Plan, in_vain: f64) {
    let less = |minutes: &mut f64| *minutes = (*minutes - in_vain).max(0.0);
    less(&mut plan.lower);
    less(&mut plan.upper);
    for choice in &mut plan.choices {
        less(&mut choice.lower);
        less(&mut choice.upper);
    }
}

/// The problem that [`advise`] gives to the planner, and how often each of its repairs' faults comes before anything is
/// known (healthy as often as such a call): for comparisons.
pub(crate) fn posed(belief: &Belief<'_>, beliefs: &Beliefs, evidence: &Evidence) -> (Problem, Vec<f64>) {
    let machine = belief.machine();
    let troubles = Troubles::of(beliefs);
    let checks = checks(belief, &troubles, evidence);
    let mends = mends(machine, &troubles.cases);
    let rates: f64 = machine.parts.iter().flat_map(|p| p.rates.iter()).sum();
    let prior = |m: &Mending| match m {
        Mending::Part { part, .. } => machine.parts[*part].rates.iter().sum(),
        Mending::Nothing => rates * crate::belief::SOUND_CALLS,
    };
    let prior = mends.iter().map(prior).collect();
    (problem(belief, &troubles, &checks, &mends), prior)
}

/// What the leading suspects would show.
fn reads(troubles: &Troubles, outcomes: &Outcomes) -> Vec<(Case, String)> {
    let all = troubles.cases.iter().zip(&troubles.probabilities).zip(&outcomes.words);
    let mut shown: Vec<((&Case, &f64), &String)> = all.filter(|((_, p), _)| **p > 0.0).collect();
    shown.sort_by(|a, b| b.0.1.total_cmp(a.0.1));
    shown.into_iter().map(|((case, _), words)| (case.clone(), words.clone())).collect()
}

/// Why the first comes first.
fn explain(next: &mut [Next], plan: &Plan) {
    let best_mend = next
        .iter()
        .filter(|n| !matches!(n.action, Action::Check(_)))
        .map(|n| n.upper)
        .fold(f64::INFINITY, f64::min);
    let runner_up = next.get(1).map(|n| n.upper);
    for (place, n) in next.iter_mut().enumerate() {
        let mut why = format!("about {:.0} min to the end if done first", n.upper);
        if place == 0 {
            if let Some(other) = runner_up {
                why.push_str(&format!("; {other:.0} with the next best"));
            }
            if matches!(n.action, Action::Check(_)) && best_mend.is_finite() {
                why.push_str(&format!("; {best_mend:.0} when mending on what is known now"));
            }
            if plan.gap() > 0.5 {
                why.push_str(&format!(" (no plan can take less than {:.0})", plan.lower));
            }
        }
        n.why = why;
    }
}

/// What may be done to find out: the checks worth thinking about, and known-good parts to try.
fn checks(belief: &Belief<'_>, troubles: &Troubles, evidence: &Evidence) -> Vec<Candidate> {
    let mut all = worth_thinking_about(belief, troubles, evidence);
    let swaps = candidates::swaps(belief.machine(), belief.setup(), &troubles.parts());
    all.extend(weighed(belief, troubles, evidence, swaps).into_iter().map(|(_, swap)| swap).take(MOST_SWAPS));
    all
}

/// The checks that tell most for their minutes.
pub(crate) fn worth_thinking_about(
    belief: &Belief<'_>,
    troubles: &Troubles,
    evidence: &Evidence,
) -> Vec<Candidate> {
    let all =
        weighed(belief, troubles, evidence, candidates(belief.machine(), belief.setup(), &troubles.parts()));
    let mut kept: Vec<Candidate> = Vec::new();
    for (_, candidate) in all {
        let dearer = |k: &Candidate| {
            k.outcomes.rows == candidate.outcomes.rows
                && k.check.minutes <= candidate.check.minutes
                && k.check.power == candidate.check.power
                && k.check.access.iter().all(|p| candidate.check.access.contains(p))
        };
        if kept.len() < MOST_CHECKS && !kept.iter().any(dearer) {
            kept.push(candidate);
        }
    }
    kept
}

/// Checks that are not settled and tell something, with bits for a minute; those that tell most come first.
fn weighed(
    belief: &Belief<'_>,
    troubles: &Troubles,
    evidence: &Evidence,
    checks: Vec<Check>,
) -> Vec<(f64, Candidate)> {
    let (machine, setup) = (belief.machine(), belief.setup());
    let mut all: Vec<(f64, Candidate)> = Vec::new();
    for check in checks {
        if evidence.is_settled(&check.id) {
            continue;
        }
        let again = was_run(&check, evidence);
        let found = belief
            .with_predictions(|p| outcomes::outcomes(machine, setup, p, &check, &troubles.cases, again));
        let Some(outcomes) = found else { continue };
        let candidate = Candidate { check, outcomes };
        let (bits, rate) = candidate.tells(machine, troubles);
        if bits >= if again { LEAST_BITS_AGAIN } else { LEAST_BITS } {
            all.push((rate, candidate));
        }
    }
    all.sort_by(|a, b| b.0.total_cmp(&a.0).then_with(|| a.1.check.id.cmp(&b.1.check.id)));
    all
}

/// Is this a step of the service test that was read or recorded before?
fn was_run(check: &Check, evidence: &Evidence) -> bool {
    let read =
        |step: usize| evidence.entries.iter().any(|e| matches!(&e.clue, Clue::Step(r) if r.step == step));
    let again = check.kind == CheckKind::Rerun && check.step.is_some();
    again && (evidence.trace.is_some() || check.step.is_some_and(read))
}

/// Mutual information between the outcome and the suspect, bits (Shannon 1948).
pub(crate) fn bits(rows: &[Vec<f64>], probabilities: &[f64]) -> f64 {
    let mut sum = 0.0;
    for row in rows {
        let total: f64 = row.iter().zip(probabilities).map(|(r, p)| r * p).sum();
        for (r, p) in row.iter().zip(probabilities) {
            if r * p > 0.0 && total > 0.0 {
                sum += r * p * (r / total).log2();
            }
        }
    }
    sum.max(0.0)
}

/// Something that mends: a part, or the news that nothing is wrong.
pub(crate) enum Mending {
    Part { part: PartId, fit: bool, says: String },
    Nothing,
}

impl Mending {
    pub(crate) fn action(&self, belief: &Belief<'_>) -> Action {
        let machine = belief.machine();
        let costs = &belief.setup().costs;
        match self {
            Mending::Part { part, fit, says } => {
                let access = candidates::panels(machine, &machine.parts[*part].behind);
                Action::Mend {
                    part: *part,
                    says: says.clone(),
                    minutes: costs.mending(*fit),
                    caution: candidates::cautions(machine, "", &access, true),
                    access,
                }
            }
            Mending::Nothing => Action::HandBack {
                says: "Show the customer that the machine works; look at tap, load, programme and socket."
                    .to_owned(),
                minutes: costs.showing,
                caution: RUNS.to_owned(),
            },
        }
    }

    /// What to do, as one sentence.
    pub(crate) fn says(&self, belief: &Belief<'_>) -> String {
        match self.action(belief) {
            Action::Mend { says, .. } | Action::HandBack { says, .. } => says,
            Action::Check(check) => check.says,
        }
    }

    fn cost(&self, belief: &Belief<'_>) -> f64 {
        let costs = &belief.setup().costs;
        match self {
            Mending::Part { part, fit, .. } => {
                let price = if *fit { costs.parts.get(part).copied().unwrap_or(costs.part) } else { 0.0 };
                price + costs.mending(*fit) + costs.proof
            }
            Mending::Nothing => costs.showing,
        }
    }
}

pub(crate) fn mends(machine: &Machine, cases: &[Case]) -> Vec<Mending> {
    let mut all = vec![Mending::Nothing];
    let mut parts: Vec<(PartId, usize)> =
        cases.iter().flat_map(|c| c.faults.faults().iter().copied()).collect();
    parts.sort_unstable();
    parts.dedup();
    for group in parts.chunk_by(|a, b| a.0 == b.0) {
        let part = &machine.parts[group[0].0];
        let fit = group.iter().any(|f| part.kind.modes[f.1].mend == Mend::Fit);
        let name = part.in_words();
        let order =
            if part.order.is_empty() { String::new() } else { format!(", order code {}", part.order) };
        let says = if fit {
            format!("Fit a new {name}{order}.")
        } else {
            format!("Clean, clear or re-make {name}.")
        };
        all.push(Mending::Part { part: group[0].0, fit, says });
    }
    all
}

pub(crate) fn problem(
    belief: &Belief<'_>,
    troubles: &Troubles,
    checks: &[Candidate],
    mends: &[Mending],
) -> Problem {
    let machine = belief.machine();
    let setup = belief.setup();
    // Access states: the panels, and the supply isolated.
    let mut access: Vec<Access> =
        machine.panels.iter().map(|p| Access { parent: None, cost: p.minutes }).collect();
    let isolated = access.len();
    access.push(Access { parent: None, cost: ISOLATE_MINUTES });
    let everything: Vec<usize> = (0..access.len()).collect();
    let mut steps: Vec<Step> = checks
        .iter()
        .map(|Candidate { check, outcomes }| {
            let dead = check.power == Power::Dead && (!check.access.is_empty() || check.between.is_some());
            let live = if check.power == Power::Live { setup.costs.live } else { 0.0 };
            Step {
                cost: check.minutes + live,
                open: check.access.iter().copied().chain(dead.then_some(isolated)).collect(),
                closed: if check.power == Power::Closed { everything.clone() } else { Vec::new() },
                part: None,
                effect: Effect::Check { outcomes: outcomes.rows.clone() },
            }
        })
        .collect();
    for mending in mends {
        let open = match mending {
            Mending::Part { part, .. } => {
                let mut open = candidates::panels(machine, &machine.parts[*part].behind);
                open.push(isolated);
                open
            }
            Mending::Nothing => Vec::new(),
        };
        let mended = match mending {
            Mending::Part { part, .. } => Some(*part),
            Mending::Nothing => None,
        };
        let left = troubles.left_by(mended);
        steps.push(Step {
            cost: mending.cost(belief) + setup.costs.in_vain,
            open,
            closed: Vec::new(),
            part: None,
            effect: Effect::Repair { left },
        });
    }
    Problem {
        suspects: troubles.probabilities.clone(),
        access,
        steps,
        proof: Proof::AtOnce,
        stock: None,
        give_up: Some(setup.costs.give_up),
    }
}
