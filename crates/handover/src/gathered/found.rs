//! What the evidence says.

use crate::record::{Found, Step, Suspect};
use crate::trace::{Span, trace_svg};
use diagnosis::finding::Verdict;
use quantity::{Dimension, format};
use report::finding::{json, words};
use trace::Sample;

/// Most suspects that are listed.
const LISTED: usize = 6;

impl Found {
    /// Evidence, steps, suspects and the picture of the trace. `before`: the same without the last of the evidence; none where
    /// that was the only one. `samples`: of the recording, where there is one. `says` is filled where one suspect is sure.
    pub fn of(found: &json::Found<'_>, before: Option<&json::Found<'_>>, samples: &[Sample]) -> Found {
        let all = &found.evidence.entries;
        let mut made = Found {
            says: found.finding.sure.as_ref().map_or(String::new(), |sure| sure.says.clone()),
            evidence: all.iter().map(|e| words::entry(found.machine, e)).collect(),
            before: before.map_or(Vec::new(), suspects),
            after: suspects(found),
            steps: steps(found),
            ..Found::default()
        };
        if found.evidence.trace.is_some() {
            picture(&mut made, found, samples);
        }
        made
    }
}

fn picture(made: &mut Found, found: &json::Found<'_>, samples: &[Sample]) {
    let steps = &found.machine.test.steps;
    let samples: Vec<(f64, f64)> = samples.iter().map(|s| (s.time_s, s.power_w)).collect();
    let span = |s: &diagnosis::finding::StepVerdict| {
        Some(Span { name: steps[s.step].id.clone(), start_s: s.start_s?, end_s: s.end_s? })
    };
    let spans: Vec<Span> = found.finding.steps.iter().filter_map(span).collect();
    let lasts = samples.last().zip(samples.first()).map_or(0.0, |(b, a)| b.0 - a.0);
    made.trace_svg = trace_svg(&samples, &spans).unwrap_or_default();
    made.trace_says = format!(
        "Power at the plug in the service test, {}, {} of {} steps found in it",
        format(lasts.round(), Dimension::Time),
        spans.len(),
        steps.len()
    );
}

/// Likeliest first, a sound machine among them.
fn suspects(found: &json::Found<'_>) -> Vec<Suspect> {
    let finding = found.finding;
    let mut all: Vec<(f64, String)> =
        finding.suspects.iter().map(|s| (s.probability, words::suspect(found.machine, s))).collect();
    let at = all.partition_point(|s| s.0 >= finding.healthy);
    all.insert(at, (finding.healthy, "nothing wrong with the machine".to_owned()));
    let shown = all.into_iter().take(LISTED);
    shown.map(|(p, what)| Suspect { what, probability: words::per_cent(p) }).collect()
}

fn steps(found: &json::Found<'_>) -> Vec<Step> {
    let all = &found.finding.steps;
    if all.iter().all(|s| s.verdict == Verdict::NotDone) {
        return Vec::new();
    }
    all.iter()
        .map(|s| Step {
            step: format!("{} {}", s.step + 1, found.machine.test.steps[s.step].id),
            expected: words::watts(s.expected_w),
            read: s.measured_w.map_or(String::new(), words::watts),
            verdict: words::verdict(s.verdict).to_owned(),
        })
        .collect()
}
