//! The fuzzers' dictionary lists every word of the format. `UPDATE_EXPECTED=1 cargo test -p machine` writes it anew.
#![allow(missing_docs, clippy::unwrap_used, reason = "a test")]

use machine::kind::{self, Takes};
use machine::schema::{self, Form, Table};
use std::collections::BTreeSet;
use std::path::Path;

/// Words that neither a table nor a kind lists: what conditions, drives, guards and wires are written with.
const LOOSE: &[&str] = &[
    " = ",
    " >= ",
    " <= ",
    "not ",
    " plausible",
    " follows within ",
    " rpm right",
    " rpm left",
    " rpm both ways",
    "by itself",
    "keeps off",
    "stops step",
    "ends test",
    "chassis",
    "healthy",
    "[[guard]]",
    "[[code]]",
    "[[check]]",
    "[[service-test.step]]",
    "[service-test]",
    "[machine]",
    "[access]",
    "[part.",
    "[loom.",
    "[function.",
    "230 V 50 Hz",
    " at 230 V",
    " ±10 %",
    "30M",
    "0 l",
    "0R",
    "J1.1",
    "\u{feff}",
    "\r\n",
];

fn keys(table: &Table, words: &mut BTreeSet<String>) {
    for key in table.keys {
        words.insert(key.name.to_owned());
        if let Form::Names(inner) | Form::Table(inner) | Form::Tables(inner) = key.form {
            keys(inner, words);
        }
    }
}

/// A line of libFuzzer's dictionary: what is not printable ASCII as bytes.
fn line(word: &str) -> String {
    let escape = |b: u8| match b {
        b'"' | b'\\' => format!("\\{}", char::from(b)),
        b' '..=b'~' => char::from(b).to_string(),
        _ => format!("\\x{b:02x}"),
    };
    format!("\"{}\"\n", word.bytes().map(escape).collect::<String>())
}

#[test]
fn the_dictionary_lists_every_word_of_the_format() {
    let mut words: BTreeSet<String> = LOOSE.iter().map(|w| (*w).to_owned()).collect();
    keys(&schema::FILE, &mut words);
    for table in [&schema::PART, &schema::OUTPUT, &schema::INPUT] {
        keys(table, &mut words);
    }
    for kind in kind::all() {
        words.insert(kind.name.to_owned());
        words.extend(kind.terminals.iter().map(|t| format!(".{}", t.name)));
        words.extend(kind.modes.iter().map(|m| m.name.to_owned()));
        for param in kind.params {
            words.insert(param.name.to_owned());
            if let Takes::Choice(choices) = param.takes {
                words.extend(choices.iter().map(|c| (*c).to_owned()));
            }
        }
    }
    let wanted: String = words.iter().map(|w| line(w)).collect();
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../fuzz/machine_file.dict");
    if std::env::var_os("UPDATE_EXPECTED").is_some() {
        std::fs::write(&path, &wanted).unwrap();
    }
    let stands = std::fs::read_to_string(&path).unwrap_or_default();
    assert!(
        stands == wanted,
        "fuzz/machine_file.dict is out of date: UPDATE_EXPECTED=1 cargo test -p machine --test dictionary"
    );
}
