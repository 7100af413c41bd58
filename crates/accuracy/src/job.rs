//! One job from the complaint to the working machine, with what is worth counting.

use crate::case::Case;
use crate::rules::{self, Plans};
use crate::technician::Technician;
use diagnosis::evidence::{Clue, Entry, Evidence};
use diagnosis::finding::{Action, Finding};
use diagnosis::setup::Setup;
use diagnosis::{Find, FindError};
use machine::kind::Mend;
use machine::model::{Machine, PartId};

/// Most checks before the first repair.
pub(crate) const MOST_CHECKS: usize = 12;

/// Most repairs in one job.
const MOST_REPAIRS: usize = 4;

/// How a posterior stands to the truth.
#[derive(Clone, Debug, Default)]
pub(crate) struct Standing {
    /// Place of the suspect with the right parts: 1 is first; healthy counts as a suspect.
    pub(crate) place: usize,
    /// Place of the suspect with the right parts in modes that no check tells from the true ones.
    pub(crate) mode_place: usize,
    /// Probability of the true parts.
    pub(crate) truth: f64,
    /// Probability of the parts named first.
    pub(crate) first: f64,
    /// What stands first, for the list of failures.
    pub(crate) named: String,
    /// Most that was left out.
    pub(crate) left_out: f64,
}

/// What came of a job.
#[derive(Clone, Debug, Default)]
pub(crate) struct Outcome {
    pub(crate) after_test: Standing,
    pub(crate) at_end: Standing,
    pub(crate) checks: Vec<String>,
    pub(crate) sure: bool,
    pub(crate) minutes: f64,
    pub(crate) repairs: usize,
    pub(crate) works: bool,
    pub(crate) plans: Option<Plans>,
    pub(crate) slips: usize,
    pub(crate) said: Vec<String>,
    /// Where it went wrong: what spoke for what stood first and against the truth, in nats.
    pub(crate) misled: Vec<(String, f64)>,
}

/// Minutes spent, with panels off and supply isolated as states.
struct Clock<'m> {
    machine: &'m Machine,
    off: Vec<usize>,
    minutes: f64,
}

impl Clock<'_> {
    fn reach(&mut self, panels: &[usize]) {
        for &p in panels {
            if !self.off.contains(&p) {
                self.off.push(p);
                self.minutes += self.machine.panels[p].minutes;
            }
        }
    }
}

/// Does the job.
pub(crate) fn run(machine: &Machine, case: &Case, setup: &Setup, plans: bool) -> Result<Outcome, FindError> {
    let mut technician = Technician::new(machine, case);
    let mut evidence = technician.first_look(case);
    let mut find = Find::new(machine, &evidence, setup)?;
    let mut clock = Clock { machine, off: Vec::new(), minutes: 0.0 };
    let mut out = Outcome::default();
    let mut finding = find.finding(&evidence)?;
    out.after_test = standing(machine, case, &finding);
    if plans {
        let (problem, prior) = find.problem(&evidence)?;
        out.plans = Some(rules::plans(&problem, &prior, setup)?);
    }
    while finding.sure.is_none() && out.checks.len() < MOST_CHECKS {
        let Some(Action::Check(check)) = finding.next.first().map(|n| n.action.clone()) else { break };
        clock.reach(&check.access);
        clock.minutes += check.minutes;
        technician.answer(&check, &mut evidence);
        out.checks.push(check.id.clone());
        finding = find.finding(&evidence)?;
    }
    out.sure = finding.sure.is_some();
    out.at_end = standing(machine, case, &finding);
    if out.at_end.place != 1 {
        out.misled = misled(&find, &evidence, case, &finding);
    }
    repair(machine, &mut technician, &mut evidence, &mut find, finding, setup, &mut clock, &mut out)?;
    out.minutes = clock.minutes;
    out.slips = technician.slips;
    out.said = evidence.entries.iter().map(|e| e.said.clone()).collect();
    Ok(out)
}

#[allow(clippy::too_many_arguments, reason = "the state of one job")]
fn repair(
    machine: &Machine,
    technician: &mut Technician<'_>,
    evidence: &mut Evidence,
    find: &mut Find<'_>,
    mut finding: Finding,
    setup: &Setup,
    clock: &mut Clock<'_>,
    out: &mut Outcome,
) -> Result<(), FindError> {
    let costs = &setup.costs;
    let mut asked = 0;
    while out.repairs < MOST_REPAIRS {
        match finding.next.first().map(|n| n.action.clone()) {
            Some(Action::Check(check)) if asked < MOST_CHECKS && out.sure => {
                asked += 1;
                clock.reach(&check.access);
                clock.minutes += check.minutes;
                technician.answer(&check, evidence);
            }
            Some(Action::HandBack { .. })
                if finding.suspects.first().is_none_or(|s| s.probability < finding.healthy) =>
            {
                clock.minutes += costs.showing;
                out.works = technician.works();
                if !out.works {
                    clock.minutes += costs.give_up;
                }
                return Ok(());
            }
            _ => {
                let Some((part, mode)) = mends(&finding) else { break };
                let access = diagnosis::next::panels(machine, &machine.parts[part].behind);
                clock.reach(&access);
                let fit = machine.parts[part].kind.modes[mode].mend == Mend::Fit;
                clock.minutes += costs.proof + costs.mending(fit) + if fit { costs.part } else { 0.0 };
                out.repairs += 1;
                let works = technician.mend(part);
                if works {
                    out.works = true;
                    return Ok(());
                }
                let said = format!("mended {}: still fails", machine.parts[part].id);
                let clue = Clue::Mended { part, works: Some(false) };
                evidence.entries.extend(Entry::of_one(vec![clue], &said, None, None));
            }
        }
        finding = find.finding(evidence)?;
    }
    clock.minutes += costs.give_up;
    Ok(())
}

/// What spoke for what stands first and against the truth, that most of all first.
fn misled(find: &Find<'_>, evidence: &Evidence, case: &Case, finding: &Finding) -> Vec<(String, f64)> {
    let sound = diagnosis::belief::Case::default();
    let first = match finding.suspects.first() {
        Some(s) if s.probability > finding.healthy => {
            diagnosis::belief::Case { faults: s.faults.clone(), sometimes: s.sometimes.clone() }
        }
        _ => sound.clone(),
    };
    let faults = case.truth.faults().len();
    let sometimes = if case.setting.intermittent.is_some() { (0..faults).collect() } else { Vec::new() };
    let truth = diagnosis::belief::Case { faults: case.truth.clone(), sometimes };
    let mut all = find.speaks_for(evidence, &first, &truth);
    all.retain(|(_, nats)| nats.abs() > 0.3);
    all.sort_by(|a, b| b.1.total_cmp(&a.1));
    all
}

/// The part to mend, in its likeliest mode.
fn mends(finding: &Finding) -> Option<(PartId, usize)> {
    let wanted = match finding.next.first().map(|n| &n.action) {
        Some(Action::Mend { part, .. }) => Some(*part),
        _ => None,
    };
    let mut faults = finding.suspects.iter().flat_map(|s| s.faults.faults().iter().copied());
    match wanted {
        Some(part) => faults.find(|f| f.0 == part).or(Some((part, 0))),
        None => faults.next(),
    }
}

fn standing(machine: &Machine, case: &Case, finding: &Finding) -> Standing {
    let parts = |h: &bench::Hypothesis| h.faults().iter().map(|f| f.0).collect::<Vec<_>>();
    let mut groups: Vec<(Vec<PartId>, f64, Vec<bench::Hypothesis>)> =
        vec![(Vec::new(), finding.healthy, vec![bench::Hypothesis::healthy()])];
    for s in &finding.suspects {
        let of = parts(&s.faults);
        match groups.iter_mut().find(|g| g.0 == of) {
            Some(g) => {
                g.1 += s.probability;
                g.2.push(s.faults.clone());
            }
            None => groups.push((of, s.probability, vec![s.faults.clone()])),
        }
    }
    groups.sort_by(|a, b| b.1.total_cmp(&a.1));
    let truth = parts(&case.truth);
    let place = groups.iter().position(|g| g.0 == truth).map_or(usize::MAX, |p| p + 1);
    let mut cases: Vec<(f64, &bench::Hypothesis)> =
        finding.suspects.iter().map(|s| (s.probability, &s.faults)).collect();
    let healthy = bench::Hypothesis::healthy();
    cases.push((finding.healthy, &healthy));
    cases.sort_by(|a, b| b.0.total_cmp(&a.0));
    let mode_place = cases
        .iter()
        .position(|c| crate::alike::alike(machine, c.1, &case.truth))
        .map_or(usize::MAX, |p| p + 1);
    let right = groups.iter().find(|g| g.0 == truth).map_or(0.0, |g| g.1);
    Standing {
        place,
        mode_place,
        truth: right,
        first: groups[0].1,
        named: groups[0].2[0].says(machine),
        left_out: finding.left_out,
    }
}
