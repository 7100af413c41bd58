//! From TOML to [`Config`], with all errors at once.

use super::kinds::{KINDS, Kind};
use super::values::duration;
use super::{Config, SocketConfig};
use machine::diagnostic::{Diagnostic, Severity, nearest};
use machine::model::Span;
use machine::read::fields::{Fields, Findings, Text, document, first_line, format_is_known};
use machine::schema::{Form, Key, Table, may, must};
use std::time::Duration;

/// Largest configuration that is read, bytes.
pub const LARGEST_FILE: usize = 200_000;

/// The newest format that this program reads.
const FORMAT: i64 = 1;

/// More meters than a bench has sockets; each takes a task and a connection.
const MOST_SOCKETS: usize = 64;

/// Longest name of a socket, letters.
const LONGEST_NAME: usize = 60;

static FILE: Table = Table {
    name: "the file",
    keys: &[
        must("format", Form::Number, "the format of this file"),
        must("socket", Form::Tables(&SOCKET), "a socket with its meter"),
    ],
};

/// What every socket has.
static SOCKET: Table = Table {
    name: "[[socket]]",
    keys: &[
        must("name", Form::Text, "what you call the socket"),
        must("kind", Form::Text, "how its meter is heard"),
    ],
};

const EVERY: Key = may("every", Form::Quantity("time"), "how often the meter gives a reading, or is asked");

/// Reads a configuration, and gives what is wrong with it together with its place.
///
/// # Errors
/// All of them, in the order of the file.
pub fn diagnose(text: &str) -> Result<Config, Vec<Diagnostic>> {
    let mut findings = Findings::default();
    let config = read_into(text, &mut findings);
    let found = findings.in_order(text);
    match config {
        Some(config) if found.iter().all(|d| d.severity != Severity::Error) => Ok(config),
        _ => Err(found),
    }
}

fn read_into(text: &str, findings: &mut Findings) -> Option<Config> {
    if text.len() > LARGEST_FILE {
        findings.push(
            Diagnostic::error("too-large", 0..1, format!("the file has {} bytes", text.len()))
                .mend(format!("a file of meters may have {LARGEST_FILE} bytes; is this one?")),
        );
        return None;
    }
    let table = document(text, findings);
    if !format_is_known(&table, FORMAT, findings) {
        return None;
    }
    let file = Fields::open(&table, FILE.name, first_line(text), &FILE, findings);
    let tables = file.tables("socket", findings);
    if let Some((_, span)) = tables.get(MOST_SOCKETS) {
        findings.push(
            Diagnostic::error("too-many", span.clone(), "there are too many sockets")
                .mend(format!("name {MOST_SOCKETS} at most")),
        );
        return None;
    }
    let mut names: Vec<Text> = Vec::new();
    let mut sockets = Vec::new();
    for (table, span) in tables {
        let bare = Fields::bare(table, SOCKET.name, span.clone());
        let name = bare.text("name", findings).and_then(|name| new_name(name, &names, findings));
        let called = name.as_ref().map_or(SOCKET.name.to_owned(), |n| format!("socket `{}`", n.text));
        names.extend(name.clone());
        let fields = Fields::bare(table, called, span);
        demand(&fields, SOCKET.keys, findings);
        // The keys of a kind that is not known cannot be judged.
        let Some(kind) = kind(&fields, findings) else { continue };
        judge_keys(&fields, kind, findings);
        let every = if kind.own_pace { None } else { duration(&fields, EVERY.name, findings) };
        let source = (kind.read)(&fields, findings);
        if let (Some(name), Some(source)) = (name, source) {
            sockets.push(SocketConfig {
                name: name.text,
                every: every.unwrap_or(Duration::from_secs(1)),
                source,
            });
        }
    }
    Some(Config { sockets })
}

/// Reports the keys that must be there and are not.
pub(super) fn demand(fields: &Fields<'_>, keys: &[Key], findings: &mut Findings) {
    for key in keys.iter().filter(|k| k.must && fields.get(k.name).is_none()) {
        let d = Diagnostic::error(
            "missing-key",
            header(fields),
            format!("{} lacks `{}`", fields.name(), key.name),
        )
        .label(key.about);
        findings.push(match (key.name, key.form) {
            ("kind", _) => d.mend(format!("add `kind = …`: {}", all_kinds())),
            (name, Form::Table(_)) => d.mend(format!("add a table [socket.{name}] ({})", key.about)),
            (name, _) => d.mend(format!("add `{name} = …` ({})", key.about)),
        });
    }
}

/// The head of a table: of the rest nobody may see what stands in it.
pub(super) fn header(fields: &Fields<'_>) -> Span {
    let span = fields.span();
    span.start..span.end.min(span.start + "[[socket]]".len())
}

fn judge_keys(fields: &Fields<'_>, kind: &Kind, findings: &mut Findings) {
    let every = (!kind.own_pace).then_some(EVERY.name);
    let all: Vec<&str> =
        SOCKET.keys.iter().chain(kind.keys).chain(kind.quantities).map(|k| k.name).chain(every).collect();
    fields.refuse_unknown(findings, |key| all.contains(&key), || all.clone());
    demand(fields, kind.keys, findings);
    demand(fields, kind.quantities, findings);
}

fn all_kinds() -> String {
    KINDS.iter().map(|k| format!("\"{}\"", k.name)).collect::<Vec<_>>().join(", ")
}

fn new_name(name: Text, names: &[Text], findings: &mut Findings) -> Option<Text> {
    let letters = name.text.chars().count();
    if name.text.trim().is_empty() || letters > LONGEST_NAME || name.text.contains(char::is_control) {
        findings.push(
            Diagnostic::error(
                "bad-name",
                name.span,
                format!("a socket needs a name of 1 to {LONGEST_NAME} letters"),
            )
            .mend("call it by what you call it: \"bench left\""),
        );
        return None;
    }
    if names.iter().any(|n| n.text == name.text) {
        findings.push(
            Diagnostic::error(
                "name-taken",
                name.span,
                format!("another socket is called `{}` already", name.text),
            )
            .mend("give each socket a name of its own"),
        );
        return None;
    }
    Some(name)
}

fn kind(fields: &Fields<'_>, findings: &mut Findings) -> Option<&'static Kind> {
    let said = fields.text("kind", findings)?;
    let known = KINDS.iter().find(|k| k.name == said.text);
    if known.is_none() {
        let message = format!("no meter is heard by way of `{}`", said.text);
        let mut d = Diagnostic::error("unknown-kind", said.span, message);
        if let Some(near) = nearest(&said.text, KINDS.iter().map(|k| k.name)) {
            d = d.mend(format!("did you mean \"{near}\"?"));
        }
        findings.push(d.mend(format!("one of {}", all_kinds())));
    }
    known
}
