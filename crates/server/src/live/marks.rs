//! What the technician says by a tap about where the test is: entries of the job's log, as marks on the trace.

use jiff::Timestamp;
use machine::model::Machine;
use records::{Log, Says};

/// What a tap says.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Tap {
    /// This step begins here: "I pressed", or "this is step …".
    Begins(usize),
    /// "It did not take": this step still runs.
    Still(usize),
}

/// A tap with its time, s after the trace begins.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Mark {
    pub(crate) time_s: f64,
    pub(crate) tap: Tap,
}

/// The marks in a log, for a trace that begins then. A mark that was taken back says that its step had not begun.
pub(crate) fn of_log(log: &Log, machine: &Machine, begins: Timestamp) -> Vec<Mark> {
    let after = |at: &str| {
        let at: jiff::ZonedDateTime = at.parse().ok()?;
        Some(at.timestamp().duration_since(begins).as_secs_f64())
    };
    let step_of = |says: &Says| match says {
        Says::Mark { mark } => machine.test.steps.iter().position(|s| s.id == *mark),
        _ => None,
    };
    let mut marks = Vec::new();
    for entry in log.entries() {
        let taken_back = entry.supersedes.and_then(|old| log.entries().iter().find(|e| e.number == old));
        let tap = match (step_of(&entry.says), taken_back.and_then(|old| step_of(&old.says))) {
            (Some(step), _) => Tap::Begins(step),
            (None, Some(step)) => Tap::Still(step.saturating_sub(1)),
            (None, None) => continue,
        };
        if let Some(time_s) = after(&entry.at).filter(|t| *t >= 0.0) {
            marks.push(Mark { time_s, tap });
        }
    }
    marks.sort_by(|a, b| a.time_s.total_cmp(&b.time_s));
    marks
}

/// The marks as the alignment takes them: steps that began. A press that did not take is none, and a mark after the last
/// sample says nothing yet.
pub(crate) fn for_alignment(marks: &[Mark], until_s: f64) -> Vec<(f64, usize)> {
    let mut begun: Vec<(f64, usize)> = Vec::new();
    for mark in marks.iter().filter(|m| m.time_s <= until_s) {
        match mark.tap {
            Tap::Begins(step) => {
                // Said twice of the same step: the later one puts the earlier right.
                if begun.last().is_some_and(|last| last.1 == step) {
                    begun.pop();
                }
                begun.push((mark.time_s, step));
            }
            Tap::Still(step) => {
                if begun.last().is_some_and(|last| last.1 > step) {
                    begun.pop();
                }
            }
        }
    }
    begun
}

#[cfg(test)]
mod tests {
    use super::{Mark, Tap, for_alignment};

    #[test]
    fn a_press_that_did_not_take_is_no_mark() {
        let marks = [
            Mark { time_s: 5.0, tap: Tap::Begins(1) },
            Mark { time_s: 20.0, tap: Tap::Begins(2) },
            Mark { time_s: 24.0, tap: Tap::Still(1) },
            Mark { time_s: 30.0, tap: Tap::Begins(2) },
            Mark { time_s: 33.0, tap: Tap::Begins(2) },
            Mark { time_s: 99.0, tap: Tap::Begins(3) },
        ];
        assert_eq!(for_alignment(&marks, 60.0), [(5.0, 1), (33.0, 2)]);
    }
}
