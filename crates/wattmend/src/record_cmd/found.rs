//! What the evidence says, as it is handed over.

use diagnosis::Find;
use diagnosis::setup::Setup;
use handover::JobRecord;
use report::finding::json::Found;

/// Adds evidence, steps, suspects and the picture of the trace. What the visit file says in words stands before what is worked
/// out.
pub(super) fn add(record: &mut JobRecord, found: &Found<'_>, setup: &Setup) {
    let said = std::mem::take(&mut record.found.says);
    let samples = found.evidence.trace.as_ref().map_or(&[][..], |trace| &trace.samples);
    // Without the last entry; nothing where that was the only one.
    let mut evidence = found.evidence.clone();
    evidence.entries.pop();
    let before = (!evidence.entries.is_empty())
        .then(|| Find::new(found.machine, &evidence, setup).and_then(|mut find| find.finding(&evidence)).ok())
        .flatten();
    let before = before.as_ref().map(|finding| Found { evidence: &evidence, finding, ..*found });
    record.found = handover::Found::of(found, before.as_ref(), samples);
    if !said.is_empty() {
        record.found.says = said;
    }
}
