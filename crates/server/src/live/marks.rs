//! What the technician says by a tap about where the test is: entries of the job's log, as marks and edges on the trace.

use jiff::Timestamp;
use machine::model::Machine;
use records::{Entry, Log, Says};

/// An edge that was set by hand and the beginning of a step are the same within this, s: an alignment takes the end of a level
/// that is as near as half a second.
const SAME_S: f64 = 1.0;

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

/// What a log says of a trace.
#[derive(Clone, Debug, Default, PartialEq)]
pub(crate) struct Taps {
    /// Presses while the machine ran, in order of time.
    pub(crate) marks: Vec<Mark>,
    /// Beginnings of steps that were set by hand, s after the trace begins, in order of time.
    pub(crate) edges: Vec<(f64, usize)>,
}

impl Taps {
    /// Of a trace that begins then.
    pub(crate) fn of_log(log: &Log, machine: &Machine, begins: Timestamp) -> Taps {
        let edge = |e: &Entry| {
            let time_s = after(&e.at, begins).filter(|t| *t >= 0.0)?;
            let Says::Edge { edge } = &e.says else { return None };
            Some((time_s, machine.test.steps.iter().position(|s| s.id == *edge)?))
        };
        let mut edges: Vec<(f64, usize)> = log.standing().filter_map(edge).collect();
        edges.sort_by(|a, b| a.0.total_cmp(&b.0));
        Taps { marks: marks(log, machine, begins), edges }
    }
}

/// Was this beginning of a step set by hand?
pub(crate) fn is_edge(edges: &[(f64, usize)], start_s: f64, step: usize) -> bool {
    edges.iter().any(|&(time_s, of)| of == step && (time_s - start_s).abs() <= SAME_S)
}

/// Seconds from then to a moment of the log.
pub(super) fn after(at: &str, begins: Timestamp) -> Option<f64> {
    let at: jiff::ZonedDateTime = at.parse().ok()?;
    Some(at.timestamp().duration_since(begins).as_secs_f64())
}

/// The marks in a log, for a trace that begins then. A mark that was taken back says that its step had not begun.
fn marks(log: &Log, machine: &Machine, begins: Timestamp) -> Vec<Mark> {
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
        if let Some(time_s) = after(&entry.at, begins).filter(|t| *t >= 0.0) {
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
