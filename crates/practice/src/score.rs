//! How it went: the bill against the best plan's, and what each wasted check would have had to show.

use crate::{Ending, Game};
use diagnosis::practise::Judgement;
use machine::model::Machine;
use report::finding::words::{minutes, per_cent};

/// A step that costs this much more than the best one was no good choice, minutes. Less is within what plans differ by.
const WASTED: f64 = 1.0;
/// Results that are named for one check.
const NAMED: usize = 2;

/// How it went, in words.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Score {
    /// "The machine works."
    pub ended: String,
    /// What was wrong with the machine.
    pub was: String,
    /// Minutes and steps of the learner.
    pub you: String,
    /// What the best plan takes on average from that complaint.
    pub best: String,
    /// What it takes with this very fault, where it reckons with it.
    pub here: Option<String>,
    /// Points of 100 and what they mean; none where nothing was done.
    pub points: Option<String>,
    /// Steps that others would have done better than.
    pub poor: Vec<Poor>,
}

/// A step that was no good choice.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Poor {
    /// Its number, from 1.
    pub number: usize,
    /// What was done, what it showed, what would have been better.
    pub says: String,
    /// What it would have had to show to be worth its minutes.
    pub worth: String,
}

pub(crate) fn score(game: &Game, machine: &Machine) -> Score {
    let mut was = game.truth.says(machine);
    if game.truth.faults().is_empty() {
        "nothing wrong with the machine".clone_into(&mut was);
    } else if game.hidden.comes_and_goes {
        was.push_str(", now and then");
    }
    let fitted =
        game.deeds.last().is_some_and(|d| matches!(d.proposal.doing, diagnosis::practise::Doing::Mend(_)));
    let ending = game.ended.unwrap_or(Ending::Left);
    let ended = match ending {
        Ending::Works if game.truth.faults().is_empty() && fitted => {
            "The machine works, as it did before you mended anything.".to_owned()
        }
        Ending::Works => "The machine works.".to_owned(),
        Ending::Named(part) => format!("Right: {}.", machine.parts[part].id),
        Ending::Wrong => "Not found: the customer has to call again.".to_owned(),
        Ending::Left => "Stopped.".to_owned(),
    };
    let start = &game.start;
    let bound = if start.upper - start.lower > 0.5 {
        format!(" (no plan can take less than {})", minutes(start.lower))
    } else {
        String::new()
    };
    let poor = game.deeds.iter().enumerate().filter(|(_, d)| d.proposal.judged.wasted() >= WASTED);
    let poor = poor.map(|(at, deed)| {
        let judged = &deed.proposal.judged;
        Poor {
            number: at + 1,
            says: format!(
                "{} It showed: {}. {} more than the best step there, which was: {}",
                deed.proposal.says,
                deed.showed,
                minutes(judged.wasted()),
                judged.instead
            ),
            worth: worth(judged, deed.mends()),
        }
    });
    Score {
        ended,
        was: format!("{was}."),
        you: format!(
            "{} with {} steps, parts counted as minutes of work.",
            minutes(game.spent()),
            game.deeds.len()
        ),
        best: format!("{} on average{bound}.", minutes(start.upper)),
        here: start.when(&game.truth).map(|here| format!("{}.", minutes(here))),
        points: points(game, ending),
        poor: poor.collect(),
    }
}

fn points(game: &Game, ending: Ending) -> Option<String> {
    if game.deeds.is_empty() {
        return None;
    }
    let wasted: f64 = game.deeds.iter().map(|d| d.proposal.judged.wasted()).sum();
    let score = 100.0 * game.start.upper / (game.start.upper + wasted).max(f64::MIN_POSITIVE);
    let found = if matches!(ending, Ending::Works | Ending::Named(_)) { "" } else { " for the steps taken" };
    let hints = match game.hints {
        0 => String::new(),
        1 => ", one hint".to_owned(),
        n => format!(", {n} hints"),
    };
    Some(format!(
        "{score:.0} of 100{found}{hints}. Your choices took {} more than the best ones would on average; the rest was \
         luck.",
        minutes(wasted)
    ))
}

/// What it would have had to show to be worth its minutes.
fn worth(judged: &Judgement, mends: bool) -> String {
    if mends {
        return "What was known by then did not point there clearly enough for the money.".to_owned();
    }
    if !judged.tells {
        return "Whatever it showed, it could not tell the suspects apart.".to_owned();
    }
    if judged.worth.is_empty() {
        return "Nothing that it could show would have been worth its minutes.".to_owned();
    }
    let named: Vec<String> = judged
        .worth
        .iter()
        .take(NAMED)
        .map(|w| {
            format!("{} ({} likely; saves {})", w.label.says(), per_cent(w.probability), minutes(w.saves))
        })
        .collect();
    format!("To be worth it, it would have had to show {}.", named.join(", or "))
}
