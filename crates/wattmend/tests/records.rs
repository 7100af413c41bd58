//! `wattmend records`, as its user runs it.
#![allow(missing_docs, clippy::unwrap_used, reason = "a test")]

use assert_cmd::Command;
use records::{Customer, NewEntry, Records, Says};
use std::path::Path;

fn records(data: &Path, arguments: &[&str]) -> (Option<i32>, String) {
    let output = Command::cargo_bin("wattmend")
        .unwrap()
        .arg("records")
        .args(arguments)
        .arg("--data")
        .arg(data)
        .output()
        .unwrap();
    let text = [output.stdout, output.stderr].concat();
    (output.status.code(), String::from_utf8(text).unwrap())
}

fn filled(data: &Path) {
    std::fs::create_dir_all(data).unwrap();
    let records = Records::open(&data.join("records.sqlite")).unwrap();
    let at: jiff::ZonedDateTime = "2026-11-25T10:00:00+00:00[UTC]".parse().unwrap();
    let customer = Customer { name: "Thessaly Brackwater".to_owned(), ..Customer::default() };
    let job = records.new_job(&at, Some(&customer), None).unwrap();
    records.new_job(&at, Some(&customer), None).unwrap();
    let says = Says::Words { words: "stone cold".to_owned() };
    records.append(job, &NewEntry { says, supersedes: None, at, key: "a".to_owned() }).unwrap();
}

#[test]
fn records_go_out_come_back_and_are_erased() {
    let folder = tempfile::tempdir().unwrap();
    let (data, other) = (folder.path().join("data"), folder.path().join("other"));
    filled(&data);
    let file = |name: &str| folder.path().join(name).display().to_string();
    let done = |data: &Path, arguments: &[&str], says: &str| {
        let (code, text) = records(data, arguments);
        assert!(code == Some(0) && text.contains(says), "{arguments:?}: {text}");
        text
    };
    let refused = |data: &Path, arguments: &[&str], with: i32, says: &str| {
        let (code, text) = records(data, arguments);
        assert!(code == Some(with) && text.contains(says), "{arguments:?}: {code:?} {text}");
    };
    done(&data, &["check"], "All is well: 2 jobs, 1 entries");
    done(&data, &["backup", &file("b.sqlite")], "Backup written");
    refused(&data, &["backup", &file("b.sqlite")], 5, "cannot be made");
    done(&data, &["export", &file("out")], "2 jobs, 1 entries");
    refused(&data, &["export", &file("out")], 5, "already");
    done(&other, &["import", &file("out")], "Imported: 2 jobs");
    refused(&other, &["import", &file("out")], 3, "already");
    done(&other, &["rebuild"], "Worked out anew: 0 jobs");
    refused(&data, &["restore", &file("b.sqlite")], 3, "--replace");
    done(&data, &["restore", &file("b.sqlite"), "--replace"], "kept in");
    done(&data, &["customers", "brackwater"], "1  Thessaly Brackwater  (jobs: 1)");
    let given = done(&data, &["hand-over", "--customer", "1", &file("given")], "1 jobs");
    assert!(given.contains("     2  Thessaly Brackwater  (jobs: 2)\nHand those over too"), "{given}");
    refused(&data, &["hand-over", "--customer", "7", &file("none")], 4, "there is no customer 7");
    refused(&data, &["hand-over", "--job", "7", &file("none")], 4, "there is no job 7");
    refused(&data, &["erase"], 2, "--customer");
    refused(&data, &["erase", "--customer", "1"], 2, "same person: --customer 2");
    refused(&data, &["erase", "--customer", "7", "--yes"], 4, "there is no customer 7");
    let erased = done(&data, &["erase", "--customer", "1", "--yes"], "words of 1 entries");
    assert!(erased.contains("records.sqlite.replaced-1"), "{erased}");
    assert!(erased.contains("To erase those too: wattmend records erase --customer 2 --yes"), "{erased}");
    let erased = done(&data, &["erase", "--customer", "1", "--customer", "2", "--yes"], "in 2 jobs");
    assert!(!erased.contains("most likely"), "{erased}");
    done(&data, &["customers"], "erased on 2");
    refused(&data, &["let-go"], 2, "--older-than");
    done(&data, &["let-go", "--older-than", "90"], "0 samples");
    done(&data, &["let-go"], "older than 90 days");
    refused(&folder.path().join("nowhere"), &["check"], 3, "no records");
}
