//! From the id of a check back to what it asks, and from an answer to what it says.
//!
//! The grammar is that of [`crate::check::Check::id`]:
//!
//! ```text
//! ohms A B            ohms A B off X Y
//! insulation A B      insulation A B off X Y
//! volts A B in STEP
//! hand PART CHECK     own CHECK
//! step STEP           swap PART          mend PART
//! ```

use super::listener::{Listener, Probes, shown_ohms, shown_volts, yes_or_no};
use super::piece::{Piece, named, plain};
use super::{Clue, NotUnderstood, OhmsReading, VoltsReading};
use machine::model::{NodeId, PartId};

/// What a check asks.
#[derive(Clone, Debug, PartialEq)]
pub enum Asked {
    /// Ohms between two points.
    Ohms {
        /// The points.
        points: [NodeId; 2],
        /// Their names.
        names: [String; 2],
        /// Connectors and tabs that are off.
        unplugged: Vec<String>,
        /// An insulation tester rather than a multimeter.
        insulation: bool,
    },
    /// Volts between two points while a step runs.
    Volts {
        /// Their names.
        names: [String; 2],
        /// The step, by place.
        step: usize,
    },
    /// A kind's hand check.
    Hand {
        /// The part.
        part: PartId,
        /// Place among the checks of its kind.
        check: usize,
    },
    /// One of the machine's own checks, by place.
    Own(usize),
    /// A step of the service test once more, by place.
    Step(usize),
    /// A known-good part in place of this one, or this one mended: does the machine work?
    Swap(PartId),
}

/// An answer to a check.
#[derive(Clone, Debug, PartialEq)]
pub enum Answer {
    /// It says this; more than one thing only of a step.
    Says(Vec<Clue>),
    /// It could not be done, or told nothing: not to be asked again.
    Declined,
}

impl Listener<'_> {
    /// What the check with this id asks.
    pub fn asked(&self, id: &str) -> Result<Asked, NotUnderstood> {
        let whole = Piece::whole(id);
        let (verb, rest) = whole.first_word();
        match verb.text {
            "ohms" | "insulation" => {
                let Probes { points, names, unplugged } = self.probes(rest)?;
                Ok(Asked::Ohms { points, names, unplugged, insulation: verb.text == "insulation" })
            }
            "volts" => self.volts_asked(rest).map(|(names, step)| Asked::Volts { names, step }),
            "hand" => self.hand(rest),
            "own" => {
                let ids = self.machine().checks.iter().map(|c| c.id.as_str());
                named(rest, "check", "own checks", ids).map(Asked::Own)
            }
            "step" => self.step(rest).map(Asked::Step),
            "swap" | "mend" => self.part(rest).map(Asked::Swap),
            _ => Err(whole
                .refused("unknown-check", format!("`{}` is the id of no check", whole.text))
                .mend("take an id from `next` of `wattmend find --json`: ohms element.1 element.2, hand drum turn, own tray, step warm, swap element, mend element")),
        }
    }

    fn hand(&self, rest: Piece<'_>) -> Result<Asked, NotUnderstood> {
        let (part, check) = rest.first_word();
        let part = self.part(part)?;
        let kind = self.machine().parts[part].kind;
        let wanted = plain(check.text);
        if let Some(check) = kind.checks.iter().position(|c| c.id == wanted) {
            return Ok(Asked::Hand { part, check });
        }
        let ids: Vec<&str> = kind.checks.iter().map(|c| c.id).collect();
        let remedy = if ids.is_empty() {
            "measure it, or run a step of the service test".to_owned()
        } else {
            format!("checks of a {}: {}", kind.name, ids.join(", "))
        };
        Err(check.refused("unknown-check", format!("a {} has no check `{wanted}`", kind.name)).mend(remedy))
    }

    /// What this answer to that check says: yes or no, a reading, watts, or that it could not be done.
    pub fn answer(&self, asked: Asked, answer: &str) -> Result<Answer, NotUnderstood> {
        let given = Piece::whole(answer);
        if declines(given.text) {
            return Ok(Answer::Declined);
        }
        let yes = |given| yes_or_no(given).map_err(|e| e.mend("answer yes, no, not sure or could not"));
        let clue = match asked {
            Asked::Ohms { points, names, unplugged, insulation } => {
                Clue::Ohms(OhmsReading { points, names, unplugged, shown: shown_ohms(given)?, insulation })
            }
            Asked::Volts { names, step } => {
                Clue::Volts(VoltsReading { names, step, shown: shown_volts(given)? })
            }
            Asked::Hand { part, check } => Clue::Hand { part, check, yes: yes(given)? },
            Asked::Own(check) => Clue::Own { check, yes: yes(given)? },
            Asked::Step(step) => return self.of_step(step, given).map(Answer::Says),
            Asked::Swap(part) => Clue::Mended { part, works: Some(yes(given)?) },
        };
        Ok(Answer::Says(vec![clue]))
    }
}

/// Does the answer say that there is none?
fn declines(answer: &str) -> bool {
    const NO_ANSWER: [&str; 11] = [
        "could not",
        "couldn't",
        "cannot",
        "can't",
        "do not have",
        "don't have",
        "not sure",
        "unsure",
        "skip",
        "skipped",
        "?",
    ];
    NO_ANSWER.contains(&plain(answer).as_str())
}
