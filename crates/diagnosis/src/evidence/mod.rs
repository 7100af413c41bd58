//! Evidence: everything that is known about one machine's trouble, in the order in which it came.
//!
//! Entries are only ever added. Each is one [`Clue`], already tied to the machine's parts, points and steps; how texts
//! become entries stands in `read.rs`, how a clue is weighed in [`crate::belief`].

mod check_id;
mod complaint;
mod listener;
mod piece;
mod read;
mod recording;

pub use check_id::{Answer, Asked};
pub use listener::Listener;
pub use read::{EvidenceFile, LARGEST_FILE, read};
pub use recording::{At, Mark, TraceFile};

use machine::model::{CodeId, NodeId, PartId};
use std::ops::Range;

/// Why a text is no evidence.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct NotUnderstood {
    /// A stable short name of the rule: `unknown-step`.
    pub rule: &'static str,
    /// The offending bytes of the text; none where it is about no one place.
    pub span: Option<Range<usize>>,
    /// What is wrong.
    pub message: String,
    /// What to write instead.
    pub remedy: String,
}

impl std::fmt::Display for NotUnderstood {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{}; {}", self.message, self.remedy)
    }
}

impl std::error::Error for NotUnderstood {}

impl Clue {
    /// The id of the check that asks for this, where the clue says it all: ohms in full, the readings of a step.
    pub fn check_id(&self, machine: &machine::model::Machine) -> Option<String> {
        match self {
            Clue::Ohms(OhmsReading { names: [a, b], unplugged, insulation, .. }) => {
                let verb = if *insulation { "insulation" } else { "ohms" };
                let off = if unplugged.is_empty() {
                    String::new()
                } else {
                    format!(" off {}", unplugged.join(" "))
                };
                Some(format!("{verb} {a} {b}{off}"))
            }
            Clue::Volts(VoltsReading { names: [a, b], step, .. }) => {
                Some(format!("volts {a} {b} in {}", machine.test.steps[*step].id))
            }
            Clue::Step(reading) => Some(format!("step {}", machine.test.steps[reading.step].id)),
            _ => None,
        }
    }
}

/// What is known, oldest first.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Evidence {
    /// Supply while the machine drew power, as it was read.
    pub supply: Option<Supply>,
    /// Water in the machine at the start of the service test, l.
    pub water_l: f64,
    /// The entries.
    pub entries: Vec<Entry>,
    /// A recording of the service test, if there is one.
    pub trace: Option<Recording>,
    /// Checks (by [`crate::check::Check::id`]) that cannot be done or were passed over: not to be asked again.
    pub declined: Vec<String>,
}

impl Evidence {
    /// Has this check been answered, or passed over?
    pub fn is_settled(&self, check: &str) -> bool {
        self.declined.iter().any(|id| id == check)
            || self.entries.iter().any(|e| e.answers.as_deref() == Some(check))
    }
}

/// The supply as it was read.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Supply {
    /// Voltage, V.
    pub volts: f64,
    /// Its standard uncertainty, V.
    pub u_v: f64,
}

/// One entry.
#[derive(Clone, Debug, PartialEq)]
pub struct Entry {
    /// What it says.
    pub clue: Clue,
    /// As a person wrote it: `element.1 element.2 = OL`.
    pub said: String,
    /// When, as written; times are optional and order nothing.
    pub at: Option<String>,
    /// The check that it answers.
    pub answers: Option<String>,
}

impl Entry {
    /// Entries of what was said at once.
    pub fn of_one(clues: Vec<Clue>, said: &str, at: Option<&str>, answers: Option<&str>) -> Vec<Entry> {
        let owned = |text: Option<&str>| text.map(str::to_owned);
        let entry = |clue| Entry { clue, said: said.to_owned(), at: owned(at), answers: owned(answers) };
        clues.into_iter().map(entry).collect()
    }
}

/// What one entry says.
#[derive(Clone, Debug, PartialEq)]
pub enum Clue {
    /// The customer says that something fails: places in `Machine::functions`, any of which the words may mean.
    Fails(Vec<usize>),
    /// The customer, or a look at it, says that this function works.
    Works(usize),
    /// The code that was shown or stored; none: the machine shows that there is none.
    Code(Option<CodeId>),
    /// Ohms between two points of the dead machine.
    Ohms(OhmsReading),
    /// Volts between two points while a step ran.
    Volts(VoltsReading),
    /// What was read while a step ran.
    Step(StepReading),
    /// Something was, or was not, seen, heard or felt in a step: one of the signs that the bench predicts.
    Sign {
        /// Place in the service test.
        step: usize,
        /// The sign: `drum turns`.
        sign: String,
        /// Was it so?
        seen: bool,
    },
    /// A kind's hand check, answered.
    Hand {
        /// The part.
        part: PartId,
        /// Place among the checks of its kind.
        check: usize,
        /// The answer.
        yes: bool,
    },
    /// One of the machine's own checks, answered.
    Own {
        /// Place in `Machine::checks`.
        check: usize,
        /// The answer.
        yes: bool,
    },
    /// A part was mended or changed. What is entered later is about the machine with it sound.
    Mended {
        /// The part.
        part: PartId,
        /// Does the machine work now? None: not tried yet.
        works: Option<bool>,
    },
    /// A long recording: how often a function was asked for and worked.
    Cycles {
        /// Place in `Machine::functions`.
        function: usize,
        /// Times it worked.
        worked: u32,
        /// Times it did not.
        failed: u32,
    },
}

/// Ohms between two points of the dead machine.
#[derive(Clone, Debug, PartialEq)]
pub struct OhmsReading {
    /// The points.
    pub points: [NodeId; 2],
    /// Their names as [`bench::find_node`] takes them.
    pub names: [String; 2],
    /// Connectors and tabs that were off.
    pub unplugged: Vec<String>,
    /// What the instrument showed, Ω.
    pub shown: quantity::Reading,
    /// An insulation tester rather than a multimeter.
    pub insulation: bool,
}

/// Volts between two points of the live machine while a step of the service test ran.
#[derive(Clone, Debug, PartialEq)]
pub struct VoltsReading {
    /// Their names as [`bench::find_node`] takes them.
    pub names: [String; 2],
    /// Place in the service test.
    pub step: usize,
    /// What the meter showed, V.
    pub shown: quantity::Decoded,
}

/// What was read while a step of the service test ran; at least one value is there.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct StepReading {
    /// Place in the service test.
    pub step: usize,
    /// Active power at the plug.
    pub power_w: Option<quantity::Decoded>,
    /// Current at the plug.
    pub current_a: Option<quantity::Decoded>,
    /// Drum speed, rpm, whichever way.
    pub speed_rpm: Option<quantity::Decoded>,
    /// How long the step took, s.
    pub lasted_s: Option<quantity::Decoded>,
}

/// A recording of the service test.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Recording {
    /// Name of the file, for messages.
    pub name: String,
    /// The samples, oldest first.
    pub samples: Vec<trace::Sample>,
    /// Marks of the operator: seconds on the samples' clock, and the step that began then (place in the service test).
    pub marks: Vec<(f64, usize)>,
    /// Beginnings of steps that were set by hand, by who looked at the trace: as the marks, and believed.
    pub edges: Vec<(f64, usize)>,
}
