//! `wattmend machine kinds [NAME]`: the library of part kinds, for someone who writes a machine file.

use crate::end::{Answer, Done, Failure};
use crate::render::Screen;
use crate::render::wrap::wrap;
use machine::diagnostic::nearest;
use machine::kind::{self, Mend, Param, PartKind, Takes};

#[derive(clap::Args)]
pub(crate) struct Arguments {
    /// One kind with its terminals, parameters, faults and their sources; all kinds in short where left out
    kind: Option<String>,
}

/// Runs it.
pub(crate) fn run(arguments: &Arguments, screen: &Screen) -> Answer {
    let Some(name) = &arguments.kind else {
        return Ok(Done::with(list(screen)));
    };
    if let Some(kind) = kind::by_name(name) {
        return Ok(Done::with(one(kind, screen)));
    }
    let remedy = match nearest(name, kind::all().iter().map(|k| k.name)) {
        Some(near) => format!("did you mean \"{near}\"?"),
        None => "`wattmend machine kinds` lists them all".to_owned(),
    };
    Err(Failure::asked_wrongly(&format!("there is no part kind `{name}`"), &remedy))
}

fn list(screen: &Screen) -> String {
    let mut kinds: Vec<&PartKind> = kind::all().to_vec();
    kinds.sort_unstable_by_key(|k| k.name);
    let widest = kinds.iter().map(|k| k.name.len()).max().unwrap_or(0) + 2;
    let rest = " ".repeat(widest);
    let lines = kinds.iter().map(|k| wrap(&format!("{:<widest$}", k.name), &rest, k.about, screen.columns));
    format!("{}\n`wattmend machine kinds \"heating element\"` tells all of one.\n", lines.collect::<String>())
}

fn one(kind: &PartKind, screen: &Screen) -> String {
    let mut out = wrap("", "", &format!("{}: {}", kind.name, kind.about), screen.columns);
    let mut line = |first: &str, text: &str| out.push_str(&wrap(first, "      ", text, screen.columns));
    line("\nHow often: ", &format!("{} % of jobs ({})", kind.rate.percent, kind.rate.source));
    line("\n", "Terminals:");
    for t in kind.terminals {
        line("  ", &format!("{}{}", t.name, if t.must { "" } else { " (may stay free)" }));
    }
    line("\n", "Parameters:");
    for p in kind.params {
        line("  ", &format!("{} = {}: {}{}", p.name, example(p.takes), p.about, obligation(p)));
    }
    line("\n", "Faults:");
    let total: f64 = kind.modes.iter().map(|m| m.share).sum();
    for m in kind.modes {
        let share = if total > 0.0 { 100.0 * m.share / total } else { 0.0 };
        let mend = mend_words(m.mend);
        line("  ", &format!("{}: {}; {share:.0} % of its faults ({}); {mend}", m.name, m.says, m.source));
    }
    for check in kind.checks {
        let reach = if check.at_part { "" } else { ", no panel off" };
        line("\nCheck: ", &format!("{} ({} min{reach}) {}", check.ask, check.minutes, check.caution));
    }
    out
}

fn obligation(p: &Param) -> String {
    match p.default {
        _ if p.must => " (must be given)".to_owned(),
        Some(default) => format!(" ({default} where left out)"),
        None => String::new(),
    }
}

fn mend_words(mend: Mend) -> &'static str {
    match mend {
        Mend::Fit => "fit a new part",
        Mend::Clean => "clean or clear it",
        Mend::Remake => "adjust, re-seat or re-make it",
    }
}

/// What a parameter's text looks like.
pub(crate) fn example(takes: Takes) -> String {
    match takes {
        Takes::Quantity(d) => format!("\"… {}\"", d.base_unit()),
        Takes::RatedAt(d, at) => format!("\"… {} at … {}\"", d.base_unit(), at.base_unit()),
        Takes::Range(d) => format!("\"… {0} .. … {0}\"", d.base_unit()),
        Takes::Table(x, y) => format!("[[\"… {0}\", \"… {1}\"], …]", x.base_unit(), y.base_unit()),
        Takes::Choice(words) => words.iter().map(|w| format!("\"{w}\"")).collect::<Vec<_>>().join(" or "),
        Takes::Flag => "true or false".to_owned(),
        Takes::Words => "\"…\"".to_owned(),
        Takes::Part => "\"name of a part\"".to_owned(),
    }
}
