//! What the evidence says, as it is handed over.

use crate::find_cmd::text::{entry_says, name};
use diagnosis::Find;
use diagnosis::finding::Verdict;
use diagnosis::setup::Setup;
use handover::{JobRecord, Span, Step, Suspect, trace_svg};
use quantity::{Dimension, format};
use report::finding::json::Found;
use report::finding::words;

/// Most suspects that are listed.
const LISTED: usize = 6;

/// Adds evidence, steps, suspects and the picture of the trace. What the visit file says in words stands before what is worked
/// out.
pub(super) fn add(record: &mut JobRecord, found: &Found<'_>, setup: &Setup) {
    let says = &mut record.found.says;
    if says.is_empty()
        && let Some(sure) = &found.finding.sure
    {
        says.clone_from(&sure.says);
    }
    record.found.evidence = found.evidence.entries.iter().map(|e| entry_says(found, e)).collect();
    record.found.after = suspects(found);
    record.found.before = before(found, setup);
    record.found.steps = steps(found);
    let Some(trace) = &found.evidence.trace else { return };
    let samples: Vec<(f64, f64)> = trace.samples.iter().map(|s| (s.time_s, s.power_w)).collect();
    let spans: Vec<Span> = found
        .finding
        .steps
        .iter()
        .filter_map(|s| {
            let name = found.machine.test.steps[s.step].id.clone();
            Some(Span { name, start_s: s.start_s?, end_s: s.end_s? })
        })
        .collect();
    let lasts = samples.last().zip(samples.first()).map_or(0.0, |(b, a)| b.0 - a.0);
    record.found.trace_svg = trace_svg(&samples, &spans).unwrap_or_default();
    record.found.trace_says = format!(
        "Power at the plug in the service test, {}, {} of {} steps found in it",
        format(lasts.round(), Dimension::Time),
        spans.len(),
        found.machine.test.steps.len()
    );
}

/// Likeliest first, a sound machine among them.
fn suspects(found: &Found<'_>) -> Vec<Suspect> {
    let finding = found.finding;
    let mut all: Vec<(f64, String)> =
        finding.suspects.iter().map(|s| (s.probability, name(found, s))).collect();
    let at = all.partition_point(|s| s.0 >= finding.healthy);
    all.insert(at, (finding.healthy, "nothing wrong with the machine".to_owned()));
    let shown = all.into_iter().take(LISTED);
    shown.map(|(p, what)| Suspect { what, probability: words::per_cent(p) }).collect()
}

/// The suspects without the last entry; nothing where that was the only one.
fn before(found: &Found<'_>, setup: &Setup) -> Vec<Suspect> {
    let mut evidence = found.evidence.clone();
    evidence.entries.pop();
    if evidence.entries.is_empty() {
        return Vec::new();
    }
    let finding = Find::new(found.machine, &evidence, setup).and_then(|mut find| find.finding(&evidence));
    finding
        .map_or(Vec::new(), |finding| suspects(&Found { evidence: &evidence, finding: &finding, ..*found }))
}

fn steps(found: &Found<'_>) -> Vec<Step> {
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
