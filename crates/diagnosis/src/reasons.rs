//! Why a suspect is as likely as it is, in one line.

use crate::belief::{Belief, Beliefs, Case};
use crate::evidence::Evidence;
use crate::find::Find;

/// A clue speaks for a case if it makes it at least e times as likely against the healthy machine.
const SPEAKS_FROM: f64 = 1.0;

/// Most clues that are named.
const NAMED: usize = 3;

/// Said of a recording.
const TRACE: &str = "the recording";

/// "explains X and Y; does not fit Z; element open would not fit W".
pub(crate) fn reason(belief: &Belief<'_>, evidence: &Evidence, beliefs: &Beliefs, case: &Case) -> String {
    let healthy = Case::default();
    let is_healthy = *case == healthy;
    let names: Vec<String> = names(belief, evidence);
    let best = |item: usize| {
        let all = beliefs.cases.iter().take(30).map(|(c, _)| belief.fit(item, c).ln);
        all.fold(f64::NEG_INFINITY, f64::max)
    };
    let mut explains: Vec<(f64, &str)> = Vec::new();
    let mut misfits: Vec<(f64, &str)> = Vec::new();
    for (item, name) in names.iter().enumerate() {
        let fit = belief.fit(item, case);
        let against_healthy = fit.ln - belief.fit(item, &healthy).ln;
        let behind_best = best(item) - fit.ln;
        if behind_best > 2.0 * SPEAKS_FROM {
            misfits.push((behind_best, name));
        } else if !is_healthy && against_healthy > SPEAKS_FROM {
            explains.push((against_healthy, name));
        }
    }
    let mut parts = Vec::new();
    if !explains.is_empty() {
        parts.push(format!("explains {}", listed(explains)));
    }
    if !misfits.is_empty() {
        parts.push(format!("does not fit {}", listed(misfits)));
    }
    if let Some(rival) = rival(belief, beliefs, case, &names) {
        parts.push(rival);
    }
    if parts.is_empty() {
        parts.push(
            if is_healthy { "nothing speaks against it" } else { "from how often it fails" }.to_owned(),
        );
    }
    parts.join("; ")
}

/// The rival that comes nearest, and the clue that sets them apart.
fn rival(belief: &Belief<'_>, beliefs: &Beliefs, case: &Case, names: &[String]) -> Option<String> {
    let (first, _) = beliefs.cases.first()?;
    if first != case {
        return None;
    }
    let same_parts = |a: &Case, b: &Case| {
        let parts = |c: &Case| c.faults.faults().iter().map(|f| f.0).collect::<Vec<_>>();
        parts(a) == parts(b)
    };
    let (other, _) =
        beliefs.cases.iter().skip(1).find(|(c, _)| !c.faults.faults().is_empty() && !same_parts(c, case))?;
    let gap = |item: usize| belief.fit(item, case).ln - belief.fit(item, other).ln;
    let (item, told) = (0..names.len()).map(|i| (i, gap(i))).max_by(|a, b| a.1.total_cmp(&b.1))?;
    (told > SPEAKS_FROM).then(|| format!("{} would not give {}", other.says(belief.machine()), names[item]))
}

fn listed(mut clues: Vec<(f64, &str)>) -> String {
    clues.sort_by(|a, b| b.0.total_cmp(&a.0));
    let more = clues.len().saturating_sub(NAMED);
    let mut words: Vec<String> = clues.iter().take(NAMED).map(|c| c.1.to_owned()).collect();
    if more > 0 {
        words.push(format!("{more} more"));
    }
    words.join(", ")
}

impl Find<'_> {
    /// What each thing told is called, and how much likelier (natural logarithm) the first case makes it than the second.
    pub fn speaks_for(&self, evidence: &Evidence, one: &Case, other: &Case) -> Vec<(String, f64)> {
        let gap = |item: usize| self.belief.fit(item, one).ln - self.belief.fit(item, other).ln;
        names(&self.belief, evidence).into_iter().enumerate().map(|(item, name)| (name, gap(item))).collect()
    }
}

/// What each clue is called.
fn names(belief: &Belief<'_>, evidence: &Evidence) -> Vec<String> {
    let mut entries = evidence.entries.iter();
    (0..belief.items())
        .map(|item| match belief.clue(item) {
            None => TRACE.to_owned(),
            Some(_) => entries.next().map_or(String::new(), |e| format!("“{}”", e.said)),
        })
        .collect()
}
