//! `languages/wattmend.pot` against the program: every phrase of templates and scripts, and the texts that pages take from the
//! source, stand in it. `UPDATE_EXPECTED=1` renews it.
#![allow(missing_docs, clippy::unwrap_used, reason = "a test")]

mod support;

use language::read;
use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};
use support::{script, source, template};

fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../..").canonicalize().unwrap()
}

/// Files under a folder that end so, in the order of their names; not the people and machines of the demo.
fn files(folder: &str, ending: &str) -> Vec<PathBuf> {
    let mut found = Vec::new();
    let mut folders = vec![root().join(folder)];
    while let Some(folder) = folders.pop() {
        for entry in std::fs::read_dir(folder).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                folders.push(path);
            } else if path.to_str().unwrap().ends_with(ending) && !path.ends_with("src/demo.rs") {
                found.push(path);
            }
        }
    }
    found.sort();
    found
}

/// Source whose texts stand on pages.
const SOURCE: [&str; 15] = [
    "crates/server/src",
    "crates/diagnosis/src/next",
    "crates/diagnosis/src/find.rs",
    "crates/diagnosis/src/check.rs",
    "crates/diagnosis/src/reasons.rs",
    "crates/diagnosis/src/verdicts.rs",
    "crates/report/src/finding/words.rs",
    "crates/safety/src/report.rs",
    "crates/safety/src/test.rs",
    "crates/safety/src/lib.rs",
    "crates/safety/src/advice.rs",
    "crates/safety/src/judge.rs",
    "crates/machine/src/caution.rs",
    "crates/machine/src/templates.rs",
    "crates/safety/src/plan.rs",
];

/// Source in which a single word may stand on a page.
const WORDS: [&str; 3] =
    ["crates/report/src/finding/words.rs", "crates/server/src/setup.rs", "crates/records/src/users.rs"];

/// Each phrase with the files that it stands in.
fn phrases() -> BTreeMap<String, BTreeSet<String>> {
    let mut all: BTreeMap<String, BTreeSet<String>> = BTreeMap::new();
    let mut put = |path: &Path, found: BTreeSet<String>| {
        let path = path.strip_prefix(root()).unwrap().to_str().unwrap().replace('\\', "/");
        for phrase in found {
            all.entry(phrase).or_default().insert(path.clone());
        }
    };
    for path in files("crates/server/templates", ".html") {
        put(&path, template::phrases(&std::fs::read_to_string(&path).unwrap()));
    }
    for path in files("crates/server/assets", ".js") {
        put(&path, script::phrases(&std::fs::read_to_string(&path).unwrap()));
    }
    for path in WORDS {
        let path = root().join(path);
        put(&path, source::words(&std::fs::read_to_string(&path).unwrap()));
    }
    for place in SOURCE {
        let path = root().join(place);
        let paths = if path.is_dir() { files(place, ".rs") } else { vec![path] };
        for path in paths {
            put(&path, source::phrases(&std::fs::read_to_string(&path).unwrap()));
        }
    }
    all
}

const HEADER: &str = "# Phrases of Wattmend, to be translated. Made from templates, scripts and source; do not edit by hand.
# This file is distributed under the same licence as Wattmend: MIT or Apache-2.0.
#
# A number in braces, {1}, stands for a name or a figure: keep each, in any order. What is left empty stays English.
msgid \"\"
msgstr \"\"
\"Project-Id-Version: wattmend\\n\"
\"Language: \\n\"
\"MIME-Version: 1.0\\n\"
\"Content-Type: text/plain; charset=UTF-8\\n\"
\"Content-Transfer-Encoding: 8bit\\n\"
";

fn as_file() -> String {
    let mut out = HEADER.to_owned();
    for (phrase, places) in phrases() {
        let phrase = phrase.replace('\\', "\\\\").replace('"', "\\\"");
        let places: Vec<String> = places.into_iter().collect();
        out.push_str(&format!("\n#: {}\nmsgid \"{phrase}\"\nmsgstr \"\"\n", places.join(" ")));
    }
    out
}

#[test]
fn the_template_has_every_phrase_of_the_program() {
    let path = root().join("languages/wattmend.pot");
    let made = as_file();
    if std::env::var_os("UPDATE_EXPECTED").is_some() {
        std::fs::write(&path, &made).unwrap();
    }
    let kept = std::fs::read_to_string(&path).unwrap();
    assert!(made == kept, "languages/wattmend.pot is behind the program: renew it with UPDATE_EXPECTED=1");
    let file = read(kept.as_bytes()).unwrap_or_else(|e| panic!("{e}"));
    assert_eq!(file.language, None);
    assert!(file.phrases.len() > 500);
}

/// What the program does not say, no language file need say.
#[test]
fn files_of_the_program_have_only_phrases_of_it() {
    let known = phrases();
    for path in files("languages", ".po") {
        let file = read(&std::fs::read(&path).unwrap()).unwrap_or_else(|e| panic!("{}: {e}", path.display()));
        assert!(file.language.is_some());
        for phrase in file.phrases {
            assert!(known.contains_key(&phrase.id), "{} line {}: {}", path.display(), phrase.line, phrase.id);
        }
    }
}

#[test]
fn phrases_of_a_template_in_all_their_forms() {
    let found = template::phrases(
        "{% extends \"base.html\" %}<h1>{{ a }}, the file</h1>\n<p{% if x %} class=\"No phrase\"{% endif %} title=\"Say {{ b }}{{ c }}\">Saved{% if e > 0 %}, but {{ e \
         }} to mend{% else %} whole{% endif %}.</p><p>Before: {% for b in all %}{% if !loop.first %}; {% endif %}{{ b }}{% endfor %}.</p>\
         {% for l in lines %}<li>{{ l }} W</li> and {% endfor %}<code>no phrase</code><textarea>no {{ phrase }}</textarea>\
         <input value=\"no phrase\" placeholder=\"a, b &amp; c\"><p translate=\"no\">no phrase <b title=\"no phrase\">none</b> none</p><br translate=\"no\"><b>{{ d }}</b> · <i>{% if y %}so{% endif %}</i>",
    );
    let found: Vec<&str> = found.iter().map(String::as_str).collect();
    assert_eq!(
        found,
        [
            "Before: {1}.",
            "Saved whole.",
            "Saved, but {1} to mend.",
            "Say {1}",
            "a, b & c",
            "and",
            "so",
            "{1} W",
            "{1}, the file",
        ]
    );
}

#[test]
fn phrases_of_scripts_and_source() {
    let found =
        script::phrases("say(t(\"{1} not yet \\\"sent\\\"\", n)); at(\"no\"); x.t(\"no\"); put(t(\"LOST\"))");
    assert_eq!(found.into_iter().collect::<Vec<_>>(), ["LOST", "{1} not yet \"sent\""]);
    let found = source::phrases(
        "// \"not this one\"\nlet a = format!(\"step {}: {why} of {n:.0}{unit}\"); let b = '\"'; let c = \"word\";\nlet d = \"goes on \\\n   here\"; \
         #[doc = \"nor this one\"]\nlet e = \"SELECT value FROM x\";\n#[cfg(test)] mod t { \"and not this\" }",
    );
    assert_eq!(found.into_iter().collect::<Vec<_>>(), ["goes on here", "step {1}: {2} of {3}"]);
}
