//! What was agreed, mended and proved on a visit: read from the job's log, and worked out from it by `worth` and `safety`.
//!
//! Read in this order: this file (what stands in the log), `charge.rs` (settings and log → quote, worth), `proof.rs` (log →
//! report of the safety test), `record.rs` and `bill.rs` (all of it → the record that is handed over), `closing.rs` (from that
//! to a closed job), `check.rs` (may an entry be kept?), `keep.rs` (from a form to the log).

pub(crate) mod bill;
pub(crate) mod charge;
pub(crate) mod check;
pub(crate) mod closing;
pub(crate) mod keep;
pub(crate) mod proof;
pub(crate) mod record;

use machine::model::{Machine, PartId};
use records::{Entry, Log, Says};

/// The entry that decides now, if the customer decided.
pub(crate) fn decided(log: &Log) -> Option<&Entry> {
    log.standing().filter(|e| matches!(e.says, Says::Decided { .. })).last()
}

/// Parts that were fitted or cleared, oldest first.
pub(crate) fn fitted(log: &Log) -> impl Iterator<Item = &Entry> {
    log.standing().filter(|e| matches!(e.says, Says::Fitted { .. }))
}

/// The last time that a part was fitted or cleared: the number of its entry, and the part. What was tested before it was tested
/// on another machine. An entry that was only put right counts from when it was first written.
pub(crate) fn worked_on_last(log: &Log) -> Option<(u32, &str)> {
    let last = fitted(log).max_by_key(|e| first_written(log, e))?;
    let Says::Fitted { fitted, .. } = &last.says else { return None };
    Some((first_written(log, last), fitted))
}

/// Number of the first of the entries that this one puts right, as long as they are of the same work.
fn first_written(log: &Log, entry: &Entry) -> u32 {
    let work = |e: &Entry| match &e.says {
        Says::Fitted { fitted, cleared, .. } => Some((fitted.clone(), *cleared)),
        _ => None,
    };
    let before = |e: &Entry| log.entries().iter().find(|b| Some(b.number) == e.supersedes);
    let chain = std::iter::successors(Some(entry), |e| before(e).filter(|b| work(b) == work(entry)));
    chain.last().map_or(entry.number, |e| e.number)
}

/// The last part that was mended, with its entry and whether the machine works now.
pub(crate) fn mended(log: &Log) -> Option<(u32, &str, Option<bool>)> {
    let of = |e: &'_ Entry| matches!(e.says, Says::Mended { .. });
    let last = log.standing().filter(|e| of(e)).last()?;
    match &last.says {
        Says::Mended { mended, cured } => Some((last.number, mended, *cured)),
        _ => None,
    }
}

/// The parts that were worked on.
pub(crate) fn parts_worked_on(machine: &Machine, log: &Log) -> Vec<PartId> {
    let name = |e: &'_ Entry| match &e.says {
        Says::Fitted { fitted, .. } => machine.part(fitted),
        Says::Mended { mended, .. } => machine.part(mended),
        _ => None,
    };
    let mut parts: Vec<PartId> = log.standing().filter_map(name).collect();
    parts.sort_unstable();
    parts.dedup();
    parts
}

/// A sign-off as it stands.
pub(crate) struct SignOff<'l> {
    pub(crate) by: &'l str,
    pub(crate) report: &'l str,
    pub(crate) at: &'l str,
    /// Something that the test rests on was said or taken back since.
    pub(crate) overtaken: bool,
}

/// The last sign-off of the safety test.
pub(crate) fn signed(log: &Log) -> Option<SignOff<'_>> {
    let last = log.standing().filter(|e| matches!(e.says, Says::Signed { .. })).last()?;
    let Says::Signed { signed, report } = &last.says else { return None };
    let before = |number: Option<u32>| log.entries().iter().find(|e| Some(e.number) == number);
    let counts =
        |e: &Entry| is_of_proof(&e.says) || before(e.supersedes).is_some_and(|e| is_of_proof(&e.says));
    let overtaken = log.entries().iter().any(|e| e.number > last.number && counts(e));
    Some(SignOff { by: signed, report, at: &last.at, overtaken })
}

/// Does the safety test rest on it?
fn is_of_proof(says: &Says) -> bool {
    matches!(
        says,
        Says::Safety { .. }
            | Says::Proving { .. }
            | Says::Fitted { .. }
            | Says::Mended { .. }
            | Says::Supply { .. }
    )
}

/// Who handed the job over, and when.
pub(crate) fn handed_over(log: &Log) -> Option<(&str, &str)> {
    log.standing().find_map(|e| match &e.says {
        Says::HandedOver { handed_over, .. } => Some((handed_over.as_str(), e.at.as_str())),
        _ => None,
    })
}

/// What comes next after Find, for a list; none while it is Find's turn.
pub(crate) fn next(log: &Log) -> Option<String> {
    if handed_over(log).is_some() {
        return Some("Handed over".to_owned());
    }
    if let Some(sign_off) = signed(log).filter(|s| !s.overtaken) {
        return Some(format!("Signed off: {}", sign_off.report));
    }
    if let Some((_, part, Some(true))) = mended(log) {
        return Some(format!("Mended: {part}; prove that it is safe"));
    }
    if fitted(log).next().is_some() {
        return Some("Mended: does it work? Prove that it is safe".to_owned());
    }
    match &decided(log)?.says {
        Says::Decided { agreed: true, parts, .. } if parts.is_empty() => Some("Agreed: mend it".to_owned()),
        Says::Decided { agreed: true, parts, .. } => Some(format!("Agreed: mend {}", parts.join(", "))),
        Says::Decided { why, .. } => {
            Some(format!("Declined: {}; hand it back", why.as_deref().unwrap_or("no reason written")))
        }
        _ => None,
    }
}
