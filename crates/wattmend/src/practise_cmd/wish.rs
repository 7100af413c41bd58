//! What the learner wants: numbers of the menu, ids of checks, or plain words.

use crate::render::wrap::wrap;
use diagnosis::check::{Check, CheckKind};
use diagnosis::evidence::{Asked, Listener};
use diagnosis::practise::{Coach, Doing};
use machine::model::PartId;
use report::finding::words;

/// Most checks that are listed at once.
const LISTED: usize = 40;

/// A wish.
pub(super) enum Wish {
    Nothing,
    Help,
    Menu(String),
    Bill,
    Hint,
    Quit,
    Do(Doing),
    /// The failed part, and no more.
    Name(PartId),
    /// What to say instead.
    Unclear(String),
}

/// Everything that can be checked, numbered from 1.
pub(super) struct Menu {
    pub(super) checks: Vec<Check>,
}

impl Menu {
    /// Those in which all words occur; without a word, the steps and the machine's own checks.
    pub(super) fn list(&self, filter: &str, parts: &[&str], columns: usize) -> String {
        let wanted = tokens(filter);
        let shown = |c: &Check| {
            if wanted.is_empty() {
                return c.kind == CheckKind::Rerun || c.id.starts_with("own ");
            }
            let about = text_of(c);
            wanted.iter().all(|w| about.iter().any(|t| t.starts_with(w.as_str())))
        };
        let all: Vec<(usize, &Check)> = self.checks.iter().enumerate().filter(|(_, c)| shown(c)).collect();
        let mut out = String::new();
        for (at, check) in all.iter().take(LISTED) {
            let first = format!("{:>4}  ", at + 1);
            let text = format!("{} ({})", check.says, words::minutes(check.minutes));
            out.push_str(&wrap(&first, "      ", &text, columns));
        }
        let more = all.len().saturating_sub(LISTED);
        let note = match (wanted.is_empty(), more) {
            (true, 0) => format!("More with `menu` and a part: {}.", parts.join(", ")),
            (_, 0) if all.is_empty() => "No check has these words. `menu` alone names the parts.".to_owned(),
            (_, 0) => String::new(),
            (_, more) => format!("and {more} more: add a word, such as `menu ohms element`."),
        };
        if !note.is_empty() {
            out.push_str(&wrap("", "", &note, columns));
        }
        out
    }
}

/// Lower-case words without marks; names such as `element.1` stay whole.
fn tokens(text: &str) -> Vec<String> {
    let word = |w: &str| w.trim_matches(|c: char| !c.is_alphanumeric()).to_lowercase();
    text.split_whitespace().map(word).filter(|w| !w.is_empty()).collect()
}

fn text_of(check: &Check) -> Vec<String> {
    tokens(&format!("{} {}", check.id, check.says))
}

/// Understands one line.
pub(super) fn wish(listener: &Listener<'_>, coach: &Coach<'_>, menu: &Menu, line: &str) -> Wish {
    let line = line.trim().trim_end_matches(['.', '!', '?']).trim();
    let lower = line.to_lowercase();
    if let Ok(number) = lower.parse::<usize>() {
        return match number.checked_sub(1).and_then(|n| menu.checks.get(n)) {
            Some(check) => Wish::Do(Doing::Check(check.clone())),
            None => Wish::Unclear(format!("The menu goes from 1 to {}.", menu.checks.len())),
        };
    }
    match lower.as_str() {
        "" => return Wish::Nothing,
        "help" | "h" => return Wish::Help,
        "bill" | "cost" | "time" | "score" => return Wish::Bill,
        "hint" => return Wish::Hint,
        "quit" | "exit" | "q" | "give up" | "stop" | "answer" => return Wish::Quit,
        "hand back" | "handback" | "nothing wrong" | "healthy" => return Wish::Do(Doing::HandBack),
        _ => {}
    }
    let (verb, rest) = line.split_once(char::is_whitespace).unwrap_or((line, ""));
    let rest = rest.trim();
    let part = |rest: &str| {
        let name = rest.strip_prefix("a new ").or(rest.strip_prefix("the ")).unwrap_or(rest);
        let name = name.split_whitespace().next().unwrap_or("");
        match listener.asked(&format!("mend {name}")) {
            Ok(Asked::Swap(part)) => Ok(part),
            Ok(_) => Err("Name a part.".to_owned()),
            Err(e) => Err(sentence(&e.message, &e.remedy)),
        }
    };
    match verb.to_lowercase().as_str() {
        "menu" | "list" | "checks" => Wish::Menu(rest.to_owned()),
        "fit" | "change" | "replace" | "mend" | "swap" | "repair" | "renew" | "clean" | "clear" => {
            part(rest).map_or_else(Wish::Unclear, |p| Wish::Do(Doing::Mend(p)))
        }
        "name" | "order" => part(rest).map_or_else(Wish::Unclear, Wish::Name),
        "run" | "step" => asked(listener, coach, &format!("step {}", without(rest, &["step", "the"]))),
        "ohms" | "ohm" | "measure" | "resistance" => {
            let points = without(rest, &["ohms", "between", "and", "to", "from", "across", "of"]);
            if points.split_whitespace().count() < 2 {
                return Wish::Menu(format!("ohms {points}"));
            }
            asked(listener, coach, &format!("ohms {points}"))
        }
        "insulation" | "hand" | "own" => asked(listener, coach, &format!("{} {rest}", verb.to_lowercase())),
        _ => by_words(menu, line),
    }
}

fn sentence(message: &str, remedy: &str) -> String {
    format!("{message}: {remedy}{}", if remedy.ends_with(['.', '?']) { "" } else { "." })
}

fn without(text: &str, fill: &[&str]) -> String {
    text.split_whitespace()
        .filter(|w| !fill.contains(&w.to_lowercase().as_str()))
        .collect::<Vec<_>>()
        .join(" ")
}

/// A check by its id.
fn asked(listener: &Listener<'_>, coach: &Coach<'_>, id: &str) -> Wish {
    match listener.asked(id) {
        Err(e) => Wish::Unclear(sentence(&e.message, &e.remedy)),
        Ok(asked) => {
            let id = match &asked {
                Asked::Step(step) => format!("step {}", listener.machine().test.steps[*step].id),
                _ => id.to_owned(),
            };
            match coach.check(&asked, &id) {
                Some(check) => Wish::Do(Doing::Check(check)),
                None => Wish::Unclear(
                    "That needs an instrument that is not at hand, or live work: start with --instruments, or choose \
                     another check."
                        .to_owned(),
                ),
            }
        }
    }
}

/// A look, a sound, a turn by hand: the one whose words fit best.
fn by_words(menu: &Menu, line: &str) -> Wish {
    let wanted: Vec<String> = tokens(line);
    let fits = |check: &Check| {
        let about = text_of(check);
        let found = |w: &&String| about.iter().any(|t| t == *w || (w.len() > 3 && t.starts_with(w.as_str())));
        wanted.iter().filter(found).count()
    };
    let seen = menu.checks.iter().filter(|c| matches!(c.kind, CheckKind::Observation | CheckKind::Rerun));
    let scored: Vec<(usize, &Check)> = seen.map(|c| (fits(c), c)).collect();
    let most = scored.iter().map(|s| s.0).max().unwrap_or(0);
    let best: Vec<&Check> = scored.iter().filter(|s| s.0 == most).map(|s| s.1).collect();
    match best[..] {
        [only] if most > 0 => Wish::Do(Doing::Check(only.clone())),
        [_, ..] if most > 0 && best.len() <= 6 => {
            let numbers: Vec<String> = best
                .iter()
                .filter_map(|b| menu.checks.iter().position(|c| c.id == b.id))
                .zip(&best)
                .map(|(at, b)| format!("{} {}", at + 1, b.says))
                .collect();
            Wish::Unclear(format!("Which one? Say its number: {}", numbers.join(" · ")))
        }
        _ => Wish::Unclear(format!(
            "\"{line}\" is not understood. Say for instance \"run {}\", \"menu\", \"fit\" and a part, \"help\", or \"quit\".",
            menu.checks.iter().find_map(|c| c.id.strip_prefix("step ")).unwrap_or("a step")
        )),
    }
}
