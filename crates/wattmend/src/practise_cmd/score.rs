//! How it went: the bill against the best plan's, and what each wasted check would have had to show.

use super::{Ending, Game};
use crate::render::wrap::wrap;
use diagnosis::practise::Judgement;
use report::finding::words::{minutes, per_cent};

/// A step that costs this much more than the best one was no good choice, minutes. Less is within what plans differ by.
const WASTED: f64 = 1.0;
/// Results that are named for one check.
const NAMED: usize = 2;

pub(super) fn render(game: &Game<'_>, ending: &Ending) -> String {
    let machine = game.machine;
    let mut out = String::from("\n");
    let mut line = |first: &str, rest: &str, text: &str| out.push_str(&wrap(first, rest, text, game.columns));
    let mut was = game.truth.says(machine);
    if game.truth.faults().is_empty() {
        "nothing wrong with the machine".clone_into(&mut was);
    } else if game.hidden.comes_and_goes {
        was.push_str(", now and then");
    }
    match ending {
        Ending::Works if game.truth.faults().is_empty() && game.deeds.last().is_some_and(|d| d.fits) => {
            line("", "", "The machine works, as it did before you mended anything.");
        }
        Ending::Works => line("", "", "The machine works."),
        Ending::Named(part) => line("", "", &format!("Right: {}.", machine.parts[*part].id)),
        Ending::Wrong => line("", "", "Not found: the customer has to call again."),
        Ending::Left => line("", "", "Stopped."),
    }
    line("It was: ", "  ", &format!("{was}."));
    let spent = game.spent();
    let start = &game.start;
    let bound = if start.upper - start.lower > 0.5 {
        format!(" (no plan can take less than {})", minutes(start.lower))
    } else {
        String::new()
    };
    line(
        "You: ",
        "  ",
        &format!("{} with {} steps, parts counted as minutes of work.", minutes(spent), game.deeds.len()),
    );
    line(
        "The best plan from that complaint: ",
        "  ",
        &format!("{} on average{bound}.", minutes(start.upper)),
    );
    if let Some(here) = start.when(&game.truth) {
        line("  with this very fault: ", "  ", &format!("{}.", minutes(here)));
    }
    let wasted: f64 = game.deeds.iter().map(|d| d.judged.wasted()).sum();
    if !game.deeds.is_empty() {
        let score = 100.0 * start.upper / (start.upper + wasted).max(f64::MIN_POSITIVE);
        let found =
            if matches!(ending, Ending::Works | Ending::Named(_)) { "" } else { " for the steps taken" };
        let hints = match game.hints {
            0 => String::new(),
            1 => ", one hint".to_owned(),
            n => format!(", {n} hints"),
        };
        line(
            "Score: ",
            "  ",
            &format!(
                "{score:.0} of 100{found}{hints}. Your choices took {} more than the best ones would on average; the rest \
                 was luck.",
                minutes(wasted)
            ),
        );
    }
    let poor: Vec<_> = game.deeds.iter().enumerate().filter(|(_, d)| d.judged.wasted() >= WASTED).collect();
    if !poor.is_empty() {
        line("\n", "", "What other steps would have done better");
    }
    for (at, deed) in poor {
        let text = format!(
            "{} It showed: {}. {} more than the best step there, which was: {}",
            deed.says,
            deed.showed,
            minutes(deed.judged.wasted()),
            deed.judged.instead
        );
        line(&format!("{:>3}  ", at + 1), "     ", &text);
        line("     ", "     ", &worth(&deed.judged, deed.mends));
    }
    out
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
