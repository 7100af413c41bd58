//! What other ways of going on would cost from the same start, by the same model.

use diagnosis::FindError;
use diagnosis::plan::{Effect, Problem, Step, myopic_rule_likely, plan, ratio_rule};
use diagnosis::setup::Setup;

/// The myopic rule is followed where it is this likely to be got to; the P/C rule ends the other branches.
const LIKELY: f64 = 0.01;

/// Expected minutes from the end of the service test on, as the model has it.
#[derive(Clone, Debug, Default)]
pub(crate) struct Plans {
    pub(crate) lower: f64,
    pub(crate) upper: f64,
    pub(crate) ratio: f64,
    pub(crate) myopic: f64,
    pub(crate) by_prior: f64,
}

/// The plan's bounds, and the expected cost of three rules.
pub(crate) fn plans(problem: &Problem, prior: &[f64], setup: &Setup) -> Result<Plans, FindError> {
    let ours = plan(problem, &setup.effort)?;
    Ok(Plans {
        lower: ours.lower,
        upper: ours.upper,
        ratio: ratio_rule(problem)?.cost,
        myopic: myopic_rule_likely(problem, LIKELY)?.cost,
        by_prior: by_prior(problem, prior, setup.costs.give_up),
    })
}

/// Expected cost of mending one part after the other, those that fail most often first, whatever was seen.
///
/// `prior`: how often each repair's fault comes, in the order of the repairs among the steps.
fn by_prior(problem: &Problem, prior: &[f64], give_up: f64) -> f64 {
    let repairs = problem.steps.iter().filter(|s| matches!(s.effect, Effect::Repair { .. }));
    let mut order: Vec<(&Step, f64)> = repairs.zip(prior.iter().copied()).collect();
    order.sort_by(|a, b| b.1.total_cmp(&a.1));
    let mut sum = 0.0;
    for (suspect, p) in problem.suspects.iter().enumerate().filter(|(_, p)| **p > 0.0) {
        let (mut at, mut cost, mut cured) = (suspect, 0.0, false);
        let mut open: Vec<usize> = Vec::new();
        for (step, _) in &order {
            let Effect::Repair { left } = &step.effect else { continue };
            for &access in &step.open {
                if !open.contains(&access) {
                    open.push(access);
                    cost += problem.access[access].cost;
                }
            }
            cost += step.cost;
            if left[at].probability == 0.0 {
                cured = true;
                break;
            }
            at = left[at].suspect;
        }
        sum += p * if cured { cost } else { cost + give_up };
    }
    sum
}
