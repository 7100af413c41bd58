//! `machine check`: one bad file a rule, with what is printed about it beside it.
#![allow(missing_docs, clippy::unwrap_used, reason = "a test")]

mod support;

use std::path::PathBuf;
use support::{machines, same_as, wattmend};

fn bad_files() -> Vec<PathBuf> {
    let entries = std::fs::read_dir(machines().join("bad")).unwrap();
    let mut files: Vec<PathBuf> = entries.map(|e| e.unwrap().path()).collect();
    files.retain(|f| f.extension().is_some_and(|e| e == "toml"));
    files.sort();
    files
}

#[test]
fn every_bad_file_is_refused_with_the_stored_words() {
    let files = bad_files();
    assert!(files.len() >= 20, "only {} bad files found", files.len());
    for file in files {
        let name = format!("bad/{}", file.file_name().unwrap().to_str().unwrap());
        let printed = wattmend(&["machine", "check", &name]);
        assert_eq!(printed.code, 3, "{name}");
        same_as(&file.with_extension("expected"), &printed.out);
    }
}

#[test]
fn a_file_named_after_its_rule_is_refused_by_that_rule() {
    for rule in [
        "unknown-key",
        "dangling-terminal",
        "dangling-pin",
        "dangling-net",
        "unknown-part",
        "unknown-terminal",
        "unreachable-load",
        "short",
        "unknown-code",
        "unknown-input",
        "idle-step",
        "missing-earth",
        "newer-format",
        "missing-key",
        "unknown-kind",
        "unknown-panel",
    ] {
        let printed = wattmend(&["machine", "check", &format!("bad/{rule}.toml")]);
        assert!(printed.out.contains(&format!("error[{rule}]")), "{rule}:\n{}", printed.out);
    }
}

#[test]
fn all_errors_of_a_file_come_at_once() {
    let printed = wattmend(&["machine", "check", "bad/many.toml"]);
    assert!(
        printed.out.ends_with("5 errors in bad/many.toml. The machine was not loaded.\n"),
        "{}",
        printed.out
    );
}

#[test]
fn a_good_file_passes() {
    let printed = wattmend(&["machine", "check", "good/small.toml"]);
    assert_eq!((printed.code, printed.out.as_str()), (0, "good/small.toml: nothing to mend.\n"));
}

#[test]
fn one_bad_file_does_not_hide_the_others() {
    let printed = wattmend(&["machine", "check", "nowhere.toml", "good/small.toml", "bad/short.toml"]);
    assert_eq!(printed.code, 3);
    assert!(printed.out.contains("there is no file nowhere.toml"));
    assert!(printed.out.contains("good/small.toml: nothing to mend."));
    assert!(printed.out.contains("error[short]"));
}

#[test]
fn what_is_no_text_is_refused_kindly() {
    let folder = tempfile::tempdir().unwrap();
    let latin = folder.path().join("latin.toml");
    std::fs::write(&latin, b"format = 1\nmodel = \"M\xfcller\"\n").unwrap();
    let large = folder.path().join("large.toml");
    std::fs::write(&large, vec![b'#'; machine::read::LARGEST_FILE + 1]).unwrap();
    for (path, words) in [
        (latin.as_path(), "is not UTF-8 text (line 2, byte 11 in it)"),
        (large.as_path(), "is larger than any machine file"),
        (folder.path(), "is a folder"),
    ] {
        let printed = wattmend(&["machine", "check", path.to_str().unwrap()]);
        assert_eq!(printed.code, 3);
        assert!(printed.out.contains(words), "{}", printed.out);
    }
}

#[test]
fn json_says_the_same() {
    let printed = wattmend(&["machine", "check", "--json", "bad/many.toml", "good/small.toml"]);
    assert_eq!(printed.code, 3);
    let answer: serde_json::Value = serde_json::from_str(&printed.out).unwrap();
    assert_eq!(answer["files"][0]["errors"], 5);
    assert_eq!(answer["files"][0]["found"][0]["rule"], "unknown-key");
    assert_eq!(answer["files"][0]["found"][0]["line"], 24);
    assert_eq!(answer["files"][0]["found"][0]["text"], "behnid");
    assert_eq!(answer["files"][1]["errors"], 0);
}
