//! A job's log, and the evidence file that is written from it.

use crate::entry::{Entry, Says};
use serde_json::Value;
use std::ops::Range;

/// All entries of a job, oldest first.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Log {
    entries: Vec<Entry>,
}

/// An evidence file as text, and which entry of the log each stretch of it comes from.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct EvidenceText {
    /// The file (docs/evidence-file.md).
    pub toml: String,
    /// For each `[[evidence]]`, in order: its bytes and the number of its entry in the log.
    pub places: Vec<(Range<usize>, u32)>,
}

impl Log {
    /// The log of these entries, oldest first.
    pub fn of(entries: Vec<Entry>) -> Log {
        Log { entries }
    }

    /// All entries, also those that were superseded.
    pub fn entries(&self) -> &[Entry] {
        &self.entries
    }

    /// Number of the newest entry; 0 where there is none.
    pub fn last(&self) -> u32 {
        self.entries.last().map_or(0, |e| e.number)
    }

    /// The entries that no other supersedes, and that say something.
    pub fn standing(&self) -> impl Iterator<Item = &Entry> {
        self.entries.iter().filter(|e| e.says != (Says::Nothing {}) && self.superseded_by(e.number).is_none())
    }

    /// The entry that supersedes this one.
    pub fn superseded_by(&self, number: u32) -> Option<&Entry> {
        self.entries.iter().find(|e| e.supersedes == Some(number))
    }

    /// The supply as it was read last.
    pub fn supply(&self) -> Option<&str> {
        self.standing()
            .filter_map(|e| if let Says::Supply { supply } = &e.says { Some(supply.as_str()) } else { None })
            .last()
    }

    /// Water in the machine as it was said last.
    pub fn water(&self) -> Option<&str> {
        self.standing()
            .filter_map(|e| if let Says::Water { water } = &e.says { Some(water.as_str()) } else { None })
            .last()
    }

    /// What the customer says, word for word, as it was written last.
    pub fn words(&self) -> Option<&str> {
        self.standing()
            .filter_map(|e| if let Says::Words { words } = &e.says { Some(words.as_str()) } else { None })
            .last()
    }

    /// Was this caution read and ticked, and not unticked since?
    pub fn is_ticked(&self, text: &str) -> bool {
        let ticks = self.standing().filter_map(|e| match &e.says {
            Says::Caution { caution, ticked } if caution == text => Some(*ticked),
            _ => None,
        });
        ticks.last().unwrap_or(false)
    }

    /// The evidence file of this log. All corrections stay in it; the entries named in `leave_out` do not, nor does what
    /// supersedes them.
    pub fn evidence_file(&self, machine: &str, leave_out: &[u32]) -> EvidenceText {
        let mut toml = String::from("format = 1\n");
        let mut line = |key: &str, value: Option<&str>| {
            if let Some(value) = value.filter(|v| !v.is_empty()) {
                toml.push_str(&format!("{key} = {}\n", quoted(value)));
            }
        };
        line("machine", Some(machine));
        line("note", self.words());
        line("supply", self.supply());
        line("water", self.water());
        let mut places: Vec<(Range<usize>, u32)> = Vec::new();
        for entry in &self.entries {
            let old = entry.supersedes;
            let old_place = old.and_then(|old| places.iter().position(|p| p.1 == old));
            if leave_out.contains(&entry.number) || !entry.says.is_evidence() {
                continue;
            }
            // What puts right an entry that is not in the file says something by itself, unless that was left out.
            let of_evidence =
                old.is_some_and(|old| self.entries.iter().any(|e| e.number == old && e.says.is_evidence()));
            if old.is_some() && old_place.is_none() && (of_evidence || entry.says == (Says::Nothing {})) {
                continue;
            }
            toml.push('\n');
            let start = toml.len();
            toml.push_str("[[evidence]]\n");
            toml.push_str(&keys(&entry.says));
            if let Some(place) = old_place {
                toml.push_str(&format!("supersedes = {}\n", place + 1));
            }
            toml.push_str(&format!("at = {}\n", quoted(&entry.at)));
            places.push((start..toml.len(), entry.number));
        }
        EvidenceText { toml, places }
    }
}

/// The keys of an entry, as TOML.
fn keys(says: &Says) -> String {
    let Ok(Value::Object(object)) = serde_json::to_value(says) else { return String::new() };
    let value = |value: &Value| match value {
        Value::String(text) => quoted(text),
        Value::Array(all) => {
            let all: Vec<String> = all.iter().map(|v| quoted(v.as_str().unwrap_or_default())).collect();
            format!("[{}]", all.join(", "))
        }
        other => other.to_string(),
    };
    let lines: Vec<String> = object.iter().map(|(key, v)| format!("{key} = {}\n", value(v))).collect();
    lines.concat()
}

/// A basic string of TOML.
fn quoted(text: &str) -> String {
    let mut out = String::from("\"");
    for c in text.chars() {
        match c {
            '"' | '\\' => out.extend(['\\', c]),
            '\n' => out.push_str("\\n"),
            '\t' => out.push_str("\\t"),
            c if c.is_control() => out.push_str(&format!("\\u{:04X}", u32::from(c))),
            c => out.push(c),
        }
    }
    out.push('"');
    out
}

#[cfg(test)]
mod tests {
    use super::{Log, quoted};
    use crate::entry::{Entry, Says};

    fn entry(number: u32, says: Says, supersedes: Option<u32>) -> Entry {
        Entry { number, at: "2026-11-25T10:00:00+00:00[UTC]".to_owned(), says, supersedes }
    }

    #[test]
    fn numbers_are_those_of_the_file_and_corrections_stay() {
        let check =
            |answer: &str| Says::Check { check: "ohms a.1 a.2".to_owned(), answer: answer.to_owned() };
        let log = Log::of(vec![
            entry(1, Says::Words { words: "it \"stinks\"".to_owned() }, None),
            entry(2, Says::Supply { supply: "238 V".to_owned() }, None),
            entry(3, check("OL"), None),
            entry(4, Says::Supply { supply: "231 V".to_owned() }, None),
            entry(5, check("26R4"), Some(3)),
            entry(6, Says::Nothing {}, Some(5)),
        ]);
        let file = log.evidence_file("Tern", &[]);
        assert!(file.toml.starts_with(
            "format = 1\nmachine = \"Tern\"\nnote = \"it \\\"stinks\\\"\"\nsupply = \"231 V\"\n"
        ));
        assert_eq!(file.toml.matches("supersedes = ").count(), 2);
        assert!(file.toml.contains("answer = \"26R4\"\nsupersedes = 1\n"), "{}", file.toml);
        assert!(file.toml.contains("[[evidence]]\nsupersedes = 2\n"), "{}", file.toml);
        assert_eq!(file.places.iter().map(|p| p.1).collect::<Vec<_>>(), [3, 5, 6]);
        assert!(file.toml[file.places[0].0.clone()].starts_with("[[evidence]]\ncheck"));
        assert_eq!(log.standing().count(), 3);
        let without = log.evidence_file("", &[3]);
        assert!(without.places.is_empty(), "{}", without.toml);
    }

    #[test]
    fn no_character_breaks_out_of_a_string() {
        assert_eq!(quoted("a\"\\\n\u{7f}\u{1}é"), "\"a\\\"\\\\\\n\\u007F\\u0001é\"");
    }
}
