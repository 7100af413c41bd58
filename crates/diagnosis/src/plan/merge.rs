//! Suspects that nothing can tell apart, taken as one.

use super::problem::{Effect, Left, Problem};

/// The same problem with one suspect for all those to which every step does the same; None when there are none. Costs,
/// steps and plans stay as they are: what two such suspects may cost is what one with both their probabilities costs.
pub(super) fn merged(problem: &Problem) -> Option<Problem> {
    let count = problem.suspects.len();
    // The first suspect that each one is equal to: itself, or an earlier one.
    let mut first: Vec<usize> = Vec::with_capacity(count);
    for s in 0..count {
        let twin = (0..s)
            .find(|&t| first[t] == t && problem.steps.iter().all(|step| alike(&step.effect, &first, s, t)));
        first.push(twin.unwrap_or(s));
    }
    let kept: Vec<usize> = (0..count).filter(|&s| first[s] == s).collect();
    if kept.len() == count {
        return None;
    }
    // Each kept suspect's place among them.
    let place = |suspect: usize| kept.binary_search(&first[suspect]).unwrap_or(0);
    let mut result = problem.clone();
    result.suspects = vec![0.0; kept.len()];
    for (s, p) in problem.suspects.iter().enumerate() {
        result.suspects[place(s)] += p;
    }
    for step in &mut result.steps {
        match &mut step.effect {
            Effect::Check { outcomes } => {
                for row in outcomes {
                    *row = kept.iter().map(|&s| row[s]).collect();
                }
            }
            Effect::Repair { left } => {
                *left = kept.iter().map(|&s| Left { suspect: place(left[s].suspect), ..left[s] }).collect();
            }
        }
    }
    Some(result)
}

/// Whether a step does the same to `s` and to the earlier `t`.
fn alike(effect: &Effect, first: &[usize], s: usize, t: usize) -> bool {
    match effect {
        Effect::Check { outcomes } => outcomes.iter().all(|row| row[s] == row[t]),
        Effect::Repair { left } => {
            let stays = left[s].suspect == s && left[t].suspect == t;
            let becomes_the_same = left[s].suspect < s && first[left[s].suspect] == first[left[t].suspect];
            left[s].probability == left[t].probability && (stays || becomes_the_same)
        }
    }
}
