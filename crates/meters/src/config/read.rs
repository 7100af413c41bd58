//! From TOML to [`Config`], with all errors at once.

use super::{Config, Replay, Simulator, SocketConfig, Source};
use machine::diagnostic::{Diagnostic, Severity, nearest};
use machine::read::fields::{Fields, Findings, Text, document, first_line, format_is_known};
use machine::schema::{Form, Key, Table};
use quantity::Dimension;
use simulator::MeterModel;
use std::path::PathBuf;
use std::time::Duration;

/// Largest configuration that is read, bytes.
pub const LARGEST_FILE: usize = 200_000;

/// The newest format that this program reads.
const FORMAT: i64 = 1;

/// As many sockets as one supply cabinet has; each takes a task and a connection.
const MOST_SOCKETS: usize = 64;

/// A meter slower than this shows no service test.
const SLOWEST_S: f64 = 3600.0;
/// Faster than any meter at a plug.
const FASTEST_S: f64 = 0.02;

const fn must(name: &'static str, form: Form, about: &'static str) -> Key {
    Key { name, form, must: true, about }
}

const fn may(name: &'static str, form: Form, about: &'static str) -> Key {
    Key { name, form, must: false, about }
}

static FILE: Table = Table {
    name: "the file",
    keys: &[
        must("format", Form::Number, "the format of this file"),
        must("socket", Form::Tables(&ANY), "a socket with its meter"),
    ],
};

const NAME: Key = must("name", Form::Text, "what you call the socket");
const KIND: Key = must("kind", Form::Text, "how its meter is heard");

/// Enough to know what else a socket has.
static ANY: Table = Table { name: "[[socket]]", keys: &[NAME, KIND] };

static REPLAY: Table = Table {
    name: "[[socket]]",
    keys: &[
        NAME,
        KIND,
        must("file", Form::Text, "the recording"),
        may("speed", Form::Number, "so many times as fast"),
        may("again", Form::Flag, "from the start again at its end"),
    ],
};

static SIMULATOR: Table = Table {
    name: "[[socket]]",
    keys: &[
        NAME,
        KIND,
        must("machine", Form::Text, "the machine file"),
        may("faults", Form::TextOrTexts, "its faults, as `element=open`"),
        may("meter", Form::Text, "display, fine or logger"),
        may("seed", Form::Number, "which of all machines and moments it is"),
        may("speed", Form::Number, "so many times as fast"),
    ],
};

/// A kind of source: its name in the file, the keys of its socket, and how they are read.
struct Kind {
    name: &'static str,
    keys: &'static Table,
    read: fn(&Fields<'_>, &mut Findings) -> Option<Source>,
}

static KINDS: [Kind; 2] = [
    Kind { name: "replay", keys: &REPLAY, read: replay },
    Kind { name: "simulator", keys: &SIMULATOR, read: simulator },
];

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
    if tables.len() > MOST_SOCKETS {
        findings.push(
            Diagnostic::error("too-many", tables[MOST_SOCKETS].1.clone(), "there are too many sockets")
                .mend(format!("name {MOST_SOCKETS} at most")),
        );
        return None;
    }
    let mut names: Vec<Text> = Vec::new();
    let mut sockets = Vec::new();
    for (table, span) in tables {
        let bare = Fields::bare(table, "[[socket]]", span.clone());
        let name = bare.text("name", findings).and_then(|name| new_name(name, &names, findings));
        let called = name.as_ref().map_or("[[socket]]".to_owned(), |n| format!("socket `{}`", n.text));
        names.extend(name.clone());
        let Some(kind) = kind(&Fields::bare(table, called.clone(), span.clone()), findings) else {
            if bare.get("kind").is_none() {
                // Says what is missing; keys of unknown kinds cannot be judged.
                let missing = Key { ..KIND };
                findings.push(lacks(&called, &missing, span));
            }
            continue;
        };
        let fields = Fields::open(table, called, span, kind.keys, findings);
        let every = duration(&fields, "every", findings).unwrap_or(Duration::from_secs(1));
        let source = (kind.read)(&fields, findings);
        if let (Some(name), Some(source)) = (name, source) {
            sockets.push(SocketConfig { name: name.text, every, source });
        }
    }
    Some(Config { sockets })
}

fn lacks(called: &str, key: &Key, span: std::ops::Range<usize>) -> Diagnostic {
    Diagnostic::error("missing-key", span, format!("{called} lacks `{}`", key.name))
        .label(key.about)
        .mend(format!("add `{} = …`: {}", key.name, kinds()))
}

fn kinds() -> String {
    KINDS.iter().map(|k| format!("\"{}\"", k.name)).collect::<Vec<_>>().join(", ")
}

fn new_name(name: Text, names: &[Text], findings: &mut Findings) -> Option<Text> {
    if name.text.trim().is_empty() || name.text.chars().count() > 60 || name.text.contains(char::is_control) {
        findings.push(
            Diagnostic::error("bad-name", name.span, "a socket needs a name of 1 to 60 letters")
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
        let mut d = Diagnostic::error(
            "unknown-kind",
            said.span,
            format!("no meter is heard by way of `{}`", said.text),
        );
        if let Some(near) = nearest(&said.text, KINDS.iter().map(|k| k.name)) {
            d = d.mend(format!("did you mean \"{near}\"?"));
        }
        findings.push(d.mend(format!("one of {}", kinds())));
    }
    known
}

/// A time under `key` between the fastest and the slowest meter.
fn duration(fields: &Fields<'_>, key: &str, findings: &mut Findings) -> Option<Duration> {
    let text = fields.text(key, findings)?;
    let seconds = text.parse(findings, |t| quantity::parse(t, Dimension::Time))?;
    if !(FASTEST_S..=SLOWEST_S).contains(&seconds) {
        findings.push(
            Diagnostic::error(
                "out-of-range",
                text.span,
                format!("no meter gives a reading every {}", text.text),
            )
            .mend("write between \"0.02 s\" and \"60 min\""),
        );
        return None;
    }
    Some(Duration::from_secs_f64(seconds))
}

/// How much faster than it was something is played.
fn speed(fields: &Fields<'_>, findings: &mut Findings) -> Option<f64> {
    let Some(value) = fields.get("speed") else { return Some(1.0) };
    let speed = fields.number("speed", findings)?;
    if !(0.01..=10_000.0).contains(&speed) {
        findings.push(
            Diagnostic::error("out-of-range", value.span(), "this cannot be played so fast or so slowly")
                .mend("write a number from 0.01 to 10000; 1 is as it was"),
        );
        return None;
    }
    Some(speed)
}

fn path(fields: &Fields<'_>, key: &str, findings: &mut Findings) -> Option<PathBuf> {
    let text = fields.text(key, findings)?;
    if text.text.is_empty() || text.text.contains('\0') {
        findings.push(
            Diagnostic::error("empty", text.span, format!("`{key}` of {} names no file", fields.name()))
                .mend("write its path; one that is not absolute is taken from this file's folder"),
        );
        return None;
    }
    Some(PathBuf::from(text.text))
}

fn replay(fields: &Fields<'_>, findings: &mut Findings) -> Option<Source> {
    let file = path(fields, "file", findings);
    let speed = speed(fields, findings);
    let again = fields.flag("again", findings);
    Some(Source::Replay(Replay { file: file?, speed: speed?, again }))
}

fn simulator(fields: &Fields<'_>, findings: &mut Findings) -> Option<Source> {
    let machine = path(fields, "machine", findings);
    let faults = fields.words_list("faults", findings);
    let meter = meter_model(fields, findings);
    let seed = seed(fields, findings);
    let speed = speed(fields, findings);
    let (machine, meter, seed, speed) = (machine?, meter?, seed?, speed?);
    Some(Source::Simulator(Simulator { machine, faults, meter, seed, speed }))
}

fn meter_model(fields: &Fields<'_>, findings: &mut Findings) -> Option<MeterModel> {
    let Some(text) = fields.text("meter", findings) else { return Some(MeterModel::display()) };
    match text.text.as_str() {
        "display" => Some(MeterModel::display()),
        "fine" => Some(MeterModel::fine()),
        "logger" => Some(MeterModel::logger()),
        other => {
            findings.push(
                Diagnostic::error(
                    "unknown-meter",
                    text.span,
                    format!("no made-up meter is called `{other}`"),
                )
                .mend(
                    "one of \"display\" (whole watts, a second behind), \"fine\" (a bench instrument), \
                           \"logger\" (watts alone, some lost)",
                ),
            );
            None
        }
    }
}

fn seed(fields: &Fields<'_>, findings: &mut Findings) -> Option<u64> {
    let Some(value) = fields.get("seed") else { return Some(1) };
    let seed = fields.number("seed", findings)?;
    // Whole numbers up to here survive as f64.
    if seed.fract() != 0.0 || seed > 9_007_199_254_740_992.0 {
        findings.push(
            Diagnostic::error("out-of-range", value.span(), "a seed is a whole number")
                .mend("write one with up to 15 digits"),
        );
        return None;
    }
    Some(seed as u64)
}
