//! The evidence file: TOML in, [`Evidence`] out, with all errors at once; the format stands in `docs/evidence-file.md`.

use super::{Answer, At, Clue, Entry, Evidence, Listener, Mark, NotUnderstood, TraceFile};
use machine::diagnostic::{Diagnostic, Severity};
use machine::model::Machine;
use machine::read::fields::{Fields, Findings, Text, as_text, document, first_line, format_is_known};
use machine::schema::{Form, Table, may, must};
use toml::de::DeValue;

/// Largest file that is read, bytes; a job's evidence takes some kB.
pub const LARGEST_FILE: usize = 1_000_000;

/// The newest format that this program reads.
const FORMAT: i64 = 1;

/// Most cycles of a long recording that are believed.
const MOST_CYCLES: f64 = 1e6;

/// What an evidence file holds.
#[derive(Clone, Debug, PartialEq)]
pub struct EvidenceFile {
    /// All but the recording.
    pub evidence: Evidence,
    /// The recording, still to be read.
    pub trace: Option<TraceFile>,
}

static FILE: Table = Table {
    name: "the file",
    keys: &[
        must("format", Form::Number, "the format of this file"),
        may("machine", Form::Text, "the machine, for a person"),
        may("supply", Form::Quantity("voltage"), "the supply while the machine drew power"),
        may("water", Form::Quantity("volume"), "water in the machine at the start of the service test"),
        may("trace", Form::Text, "a recording of the service test"),
        may("note", Form::Text, "free words"),
        may("mark", Form::Tables(&MARK), "moments that the operator noted"),
        may("evidence", Form::Tables(&ENTRY), "the entries, oldest first"),
    ],
};

static MARK: Table = Table {
    name: "[[mark]]",
    keys: &[
        must("at", Form::Text, "when, by the recording's clock or after its first sample"),
        must("step", Form::Text, "the step that began then"),
        may("edge", Form::Flag, "set by hand on the trace, and believed"),
    ],
};

static ENTRY: Table = Table {
    name: "[[evidence]]",
    keys: &[
        may("complaint", Form::Text, "what the customer says fails"),
        may("works", Form::Text, "a function that works"),
        may("code", Form::Text, "the code, or none"),
        may("lamps", Form::TextOrTexts, "the lamps that are lit"),
        may("reading", Form::Text, "ohms between two points, or what a step read"),
        may("saw", Form::Text, "what was seen, heard or felt in a step"),
        may("check", Form::Text, "the id of a check"),
        may("mended", Form::Text, "a part that was mended or changed"),
        may("function", Form::Text, "a function, in a long recording"),
        may("unplugged", Form::TextOrTexts, "what was off"),
        may("instrument", Form::Text, "multimeter or insulation tester"),
        may("answer", Form::Text, "the answer"),
        may("cured", Form::Flag, "does the machine work now?"),
        may("worked", Form::Number, "times it worked"),
        may("failed", Form::Number, "times it did not"),
        may("supersedes", Form::Number, "the entry that this one puts right"),
        may("at", Form::Text, "when"),
        may("note", Form::Text, "free words"),
    ],
};

/// What an entry can say, with the keys that go with it and with nothing else.
const SAYS: [(&str, &[&str]); 9] = [
    ("complaint", &[]),
    ("works", &[]),
    ("code", &[]),
    ("lamps", &[]),
    ("reading", &["unplugged", "instrument"]),
    ("saw", &["answer"]),
    ("check", &["answer"]),
    ("mended", &["cured"]),
    ("function", &["worked", "failed"]),
];

/// Reads an evidence file.
///
/// # Errors
/// All of them, in the order of the file.
pub fn read(machine: &Machine, toml: &str) -> Result<EvidenceFile, Vec<Diagnostic>> {
    let mut findings = Findings::default();
    let file = read_into(machine, toml, &mut findings);
    let found = findings.in_order(toml);
    match file {
        Some(file) if found.iter().all(|d| d.severity != Severity::Error) => Ok(file),
        _ => Err(found),
    }
}

fn read_into(machine: &Machine, toml: &str, findings: &mut Findings) -> Option<EvidenceFile> {
    if toml.len() > LARGEST_FILE {
        findings.push(
            Diagnostic::error("too-large", 0..1, format!("the file has {} bytes", toml.len()))
                .mend(format!("an evidence file may have {LARGEST_FILE} bytes; is this one?")),
        );
        return None;
    }
    let table = document(toml, findings);
    if !format_is_known(&table, FORMAT, findings) {
        return None;
    }
    let file = Fields::open(&table, FILE.name, first_line(toml), &FILE, findings);
    let listener = Listener::new(machine);
    let mut evidence = Evidence::default();
    if let Some(text) = file.text("supply", findings) {
        evidence.supply = heard(&text, listener.supply(&text.text), findings);
    }
    if let Some(text) = file.text("water", findings) {
        evidence.water_l = heard(&text, listener.water(&text.text), findings).unwrap_or(0.0);
    }
    for key in ["machine", "note"] {
        file.text(key, findings);
    }
    let trace = trace_file(&file, &listener, findings);
    entries(&file, &listener, &mut evidence, findings);
    Some(EvidenceFile { evidence, trace })
}

/// The value, or a finding at the offending words.
fn heard<T>(text: &Text, result: Result<T, NotUnderstood>, findings: &mut Findings) -> Option<T> {
    result.map_err(|e| findings.push(finding(text, &e))).ok()
}

fn finding(text: &Text, e: &NotUnderstood) -> Diagnostic {
    let span = e.span.as_ref().map_or_else(|| text.span.clone(), |s| text.part(s));
    Diagnostic::error(e.rule, span, e.message.clone()).mend(e.remedy.clone())
}

fn trace_file(file: &Fields<'_>, listener: &Listener<'_>, findings: &mut Findings) -> Option<TraceFile> {
    let path = file.text("trace", findings);
    let mut marks = Vec::new();
    for (table, span) in file.tables("mark", findings) {
        let fields = Fields::open(table, MARK.name, span.clone(), &MARK, findings);
        if path.is_none() {
            findings.push(
                Diagnostic::error(
                    "mark-without-trace",
                    span.clone(),
                    "a mark belongs to a recording, and none is named",
                )
                .mend("add `trace = \"recording.csv\"` at the top, or take the mark out"),
            );
        }
        let at = moment(&fields, "at", findings);
        let at = at.and_then(|t| heard(&t, At::parse(&t.text), findings));
        let step = fields.text("step", findings);
        let step = step.and_then(|t| heard(&t, listener.step_named(&t.text), findings));
        let edge = fields.flag("edge", findings);
        if let (Some(at), Some(step)) = (at, step) {
            marks.push(Mark { at, step, edge, span });
        }
    }
    let path = path?;
    if path.text.trim().is_empty() {
        findings.push(
            Diagnostic::error("empty", path.span.clone(), "the recording has no name")
                .mend("name the file, or take the line out"),
        );
    }
    Some(TraceFile { path: path.text, span: path.span, marks })
}

/// A time: a text, or one of TOML's own.
fn moment(fields: &Fields<'_>, key: &str, findings: &mut Findings) -> Option<Text> {
    let value = fields.get(key)?;
    match value.get_ref() {
        DeValue::Datetime(time) => Some(Text { text: time.to_string(), span: value.span() }),
        _ => fields.text(key, findings),
    }
}

/// An entry of the file, and where what it says stands.
struct Numbered {
    /// Its own place, or that of the entry which it puts right: a correction counts from when the first was made.
    place: usize,
    superseded_by: Option<usize>,
}

fn entries(file: &Fields<'_>, listener: &Listener<'_>, evidence: &mut Evidence, findings: &mut Findings) {
    let mut all: Vec<Numbered> = Vec::new();
    let mut places: Vec<Option<Said>> = Vec::new();
    for (at, (table, span)) in file.tables("evidence", findings).into_iter().enumerate() {
        let fields = Fields::open(table, format!("entry {} of [[evidence]]", at + 1), span, &ENTRY, findings);
        let old = supersedes(&fields, &all, findings);
        let says = what_it_says(&fields, old.is_some(), findings);
        let said = says.and_then(|says| entry(&fields, says, listener, findings));
        let place = old.map_or(at, |old| all[old].place);
        if let Some(old) = old {
            all[old].superseded_by = Some(at);
        }
        all.push(Numbered { place, superseded_by: None });
        places.push(None);
        places[place] = said;
    }
    for said in places.into_iter().flatten() {
        match said {
            Said::Entries(entries) => evidence.entries.extend(entries),
            Said::Declines(id) => evidence.declined.push(id),
        }
    }
}

/// The earlier entry that this one puts right, by its number from 0.
fn supersedes(fields: &Fields<'_>, before: &[Numbered], findings: &mut Findings) -> Option<usize> {
    let number = fields.number("supersedes", findings)?;
    let span = fields.get("supersedes").map_or_else(|| fields.span(), toml::Spanned::span);
    if !(number.fract() == 0.0 && number >= 1.0 && number <= before.len() as f64) {
        let remedy = match before.len() {
            0 => "this is the first entry: take the key out".to_owned(),
            n => format!("entries are counted from 1 in the order of the file: give 1 to {n}"),
        };
        findings.push(
            Diagnostic::error(
                "no-earlier-entry",
                span,
                format!("there is no entry {number} before this one"),
            )
            .mend(remedy),
        );
        return None;
    }
    let old = number as usize - 1;
    if let Some(by) = before[old].superseded_by {
        findings.push(
            Diagnostic::error(
                "superseded-twice",
                span,
                format!("entry {number} was put right by entry {} already", by + 1),
            )
            .mend(format!("write `supersedes = {}`", by + 1)),
        );
        return None;
    }
    Some(old)
}

/// The one key that says what the entry is; none where it only takes an earlier one back.
fn what_it_says(fields: &Fields<'_>, takes_back: bool, findings: &mut Findings) -> Option<&'static str> {
    let said: Vec<&str> = SAYS.iter().map(|s| s.0).filter(|key| fields.get(key).is_some()).collect();
    let all = || SAYS.map(|s| s.0).join(", ");
    let [says] = said[..] else {
        let span =
            said.get(1).and_then(|key| fields.get(key)).map_or_else(|| fields.span(), toml::Spanned::span);
        if said.len() > 1 {
            findings.push(
                Diagnostic::error(
                    "two-in-one",
                    span,
                    format!("{} says {}", fields.name(), said.join(" and ")),
                )
                .mend("write an [[evidence]] of its own for each"),
            );
        } else if !takes_back && fields.get("supersedes").is_none() {
            findings.push(
                Diagnostic::error("says-nothing", span, format!("{} says nothing", fields.name()))
                    .mend(format!("give one of: {}", all())),
            );
        }
        return None;
    };
    let here = SAYS.iter().find(|s| s.0 == says).map_or(&[][..], |s| s.1);
    let mut strange: Vec<&str> =
        SAYS.iter().flat_map(|s| s.1).copied().filter(|key| !here.contains(key)).collect();
    strange.dedup();
    for key in strange {
        if let Some(value) = fields.get(key) {
            let with: Vec<&str> = SAYS.iter().filter(|s| s.1.contains(&key)).map(|s| s.0).collect();
            findings.push(
                Diagnostic::error(
                    "does-not-belong",
                    value.span(),
                    format!("`{key}` goes with `{}`, not with `{says}`", with.join("` or `")),
                )
                .mend("take it out, or give it an [[evidence]] of its own"),
            );
        }
    }
    Some(says)
}

enum Said {
    /// The entry; several where a step said more than one thing.
    Entries(Vec<Entry>),
    /// The check with this id is not to be asked again.
    Declines(String),
}

fn entry(fields: &Fields<'_>, says: &str, listener: &Listener<'_>, findings: &mut Findings) -> Option<Said> {
    let at = moment(fields, "at", findings).map(|t| t.text);
    fields.text("note", findings);
    if says == "check" {
        return check(fields, at.as_deref(), listener, findings);
    }
    let (clue, said) = match says {
        "complaint" => {
            let text = fields.text(says, findings)?;
            (heard(&text, listener.complaint(&text.text), findings)?, text.text)
        }
        "works" => {
            let text = fields.text(says, findings)?;
            (heard(&text, listener.works(&text.text), findings)?, format!("{} works", text.text))
        }
        "code" => {
            let text = fields.text(says, findings)?;
            (heard(&text, listener.code(&text.text), findings)?, format!("code {}", text.text))
        }
        "lamps" => lamps(fields, listener, findings)?,
        "reading" => {
            let (clues, said) = reading(fields, listener, findings)?;
            let answers = clues.first().and_then(|c| c.check_id(listener.machine()));
            return Some(Said::Entries(Entry::of_one(clues, &said, at.as_deref(), answers.as_deref())));
        }
        "saw" => saw(fields, listener, findings)?,
        "mended" => {
            let text = fields.text(says, findings)?;
            let cured = fields.get("cured").map(|_| fields.flag("cured", findings));
            let said = match cured {
                Some(true) => format!("{} mended: the machine works", text.text),
                Some(false) => format!("{} mended: no change", text.text),
                None => format!("{} mended", text.text),
            };
            (heard(&text, listener.mended(&text.text, cured), findings)?, said)
        }
        _ => cycles(fields, listener, findings)?,
    };
    Some(Said::Entries(vec![Entry { clue, said, at, answers: None }]))
}

fn lamps(fields: &Fields<'_>, listener: &Listener<'_>, findings: &mut Findings) -> Option<(Clue, String)> {
    let value = fields.get("lamps")?;
    let texts = fields.texts("lamps", findings);
    let lit: Vec<&str> = texts.iter().map(|t| t.text.as_str()).collect();
    let said = if lit.is_empty() { "no lamp".to_owned() } else { format!("lamps {}", lit.join(", ")) };
    let whole = Text { text: String::new(), span: value.span() };
    Some((heard(&whole, listener.lamps(&lit), findings)?, said))
}

fn reading(
    fields: &Fields<'_>,
    listener: &Listener<'_>,
    findings: &mut Findings,
) -> Option<(Vec<Clue>, String)> {
    let text = fields.text("reading", findings)?;
    let unplugged = fields.texts("unplugged", findings);
    let instrument = fields.text("instrument", findings);
    let clues = heard(&text, listener.reading(&text.text), findings)?;
    let [Clue::Ohms(ohms)] = &clues[..] else {
        for key in ["unplugged", "instrument"] {
            if let Some(value) = fields.get(key) {
                findings.push(
                    Diagnostic::error(
                        "does-not-belong",
                        value.span(),
                        format!("`{key}` goes with ohms, not with a step"),
                    )
                    .mend("take it out"),
                );
            }
        }
        return Some((clues, text.text));
    };
    let mut ohms = ohms.clone();
    for name in &unplugged {
        let name = heard(name, listener.unpluggable(&name.text), findings)?;
        if !ohms.unplugged.contains(&name) {
            ohms.unplugged.push(name);
        }
    }
    if let Some(instrument) = instrument {
        match instrument.text.as_str() {
            "insulation tester" | "insulation" => ohms.insulation = true,
            "multimeter" => ohms.insulation = false,
            other => findings.push(
                Diagnostic::error(
                    "unknown-instrument",
                    instrument.span,
                    format!("ohms are not read with a `{other}`"),
                )
                .mend("write \"multimeter\" or \"insulation tester\""),
            ),
        }
    }
    let off = unplugged.iter().map(|t| t.text.as_str()).collect::<Vec<_>>().join(", ");
    let said = if off.is_empty() { text.text } else { format!("{} ({off} off)", text.text) };
    Some((vec![Clue::Ohms(ohms)], said))
}

/// An answer: a text, or true and false for yes and no.
fn answer(fields: &Fields<'_>, findings: &mut Findings) -> Option<Text> {
    let value = fields.get("answer")?;
    if let DeValue::Boolean(yes) = value.get_ref() {
        return Some(Text { text: if *yes { "yes" } else { "no" }.to_owned(), span: value.span() });
    }
    let text = as_text(value);
    if text.is_none() {
        let wanted = "text in quotation marks: \"yes\", \"26R4\", \"could not\"";
        fields.wrong_form(findings, "answer", value, wanted);
    }
    text
}

fn saw(fields: &Fields<'_>, listener: &Listener<'_>, findings: &mut Findings) -> Option<(Clue, String)> {
    let text = fields.text("saw", findings)?;
    if fields.get("answer").is_none() {
        return Some((heard(&text, listener.saw(&text.text, None), findings)?, text.text));
    }
    let given = answer(fields, findings)?;
    match listener.saw(&text.text, Some(&given.text)) {
        Ok(clue) => Some((clue, format!("{} = {}", text.text, given.text))),
        // Without a place in the observation, the answer is to blame.
        Err(e) => {
            let blamed = if e.span.is_some() { &text } else { &given };
            findings.push(finding(blamed, &e));
            None
        }
    }
}

fn check(
    fields: &Fields<'_>,
    at: Option<&str>,
    listener: &Listener<'_>,
    findings: &mut Findings,
) -> Option<Said> {
    let id = fields.text("check", findings)?;
    let asked = heard(&id, listener.asked(&id.text), findings);
    if fields.get("answer").is_none() {
        findings.push(
            Diagnostic::error("missing-key", id.span.clone(), "the check has no answer")
                .mend("add `answer = \"yes\"`, a reading, or \"could not\""),
        );
        return None;
    }
    let given = answer(fields, findings)?;
    let id = id.text.split_whitespace().collect::<Vec<_>>().join(" ");
    match heard(&given, listener.answer(asked?, &given.text), findings)? {
        Answer::Declined => Some(Said::Declines(id)),
        Answer::Says(clues) => {
            let said = format!("{id}: {}", given.text);
            Some(Said::Entries(Entry::of_one(clues, &said, at, Some(&id))))
        }
    }
}

fn cycles(fields: &Fields<'_>, listener: &Listener<'_>, findings: &mut Findings) -> Option<(Clue, String)> {
    let text = fields.text("function", findings)?;
    let mut count = |key: &str| {
        let Some(value) = fields.get(key) else {
            findings.push(
                Diagnostic::error(
                    "missing-key",
                    text.span.clone(),
                    format!("{} lacks `{key}`", fields.name()),
                )
                .mend("add `worked = …` and `failed = …`, how often it did and did not"),
            );
            return None;
        };
        let number = fields.number(key, findings)?;
        if number.fract() != 0.0 || number > MOST_CYCLES {
            findings.push(
                Diagnostic::error("out-of-reach", value.span(), format!("`{key}` is a count"))
                    .mend(format!("give a whole number, 0 to {MOST_CYCLES}")),
            );
            return None;
        }
        Some(number as u32)
    };
    let (worked, failed) = (count("worked"), count("failed"));
    let function = listener.works(&text.text).is_ok();
    let (worked, failed) = match (worked, failed) {
        (Some(w), Some(f)) => (w, f),
        // The name is judged all the same.
        _ if !function => (0, 0),
        _ => return None,
    };
    let clue = heard(&text, listener.cycles(&text.text, worked, failed), findings)?;
    Some((clue, format!("{}: worked {worked} times, failed {failed} times", text.text)))
}
