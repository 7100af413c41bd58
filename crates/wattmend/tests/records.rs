//! `wattmend records`, as its user runs it.
#![allow(missing_docs, clippy::unwrap_used, reason = "a test")]

use assert_cmd::Command;
use records::{Customer, NewEntry, Records, Says};
use std::path::Path;

fn records(data: &Path, arguments: &[&str]) -> (bool, String) {
    let output = Command::cargo_bin("wattmend")
        .unwrap()
        .arg("records")
        .args(arguments)
        .arg("--data")
        .arg(data)
        .output()
        .unwrap();
    let text = [output.stdout, output.stderr].concat();
    (output.status.success(), String::from_utf8(text).unwrap())
}

fn filled(data: &Path) {
    std::fs::create_dir_all(data).unwrap();
    let records = Records::open(&data.join("records.sqlite")).unwrap();
    let at: jiff::ZonedDateTime = "2026-11-25T10:00:00+00:00[UTC]".parse().unwrap();
    let customer = Customer { name: "Thessaly Brackwater".to_owned(), ..Customer::default() };
    let job = records.new_job(&at, Some(&customer), None).unwrap();
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
        let (ok, text) = records(data, arguments);
        assert!(ok && text.contains(says), "{arguments:?}: {text}");
    };
    let refused = |data: &Path, arguments: &[&str], says: &str| {
        let (ok, text) = records(data, arguments);
        assert!(!ok && text.contains(says), "{arguments:?}: {text}");
    };
    done(&data, &["check"], "All is well: 1 jobs, 1 entries");
    done(&data, &["backup", &file("b.sqlite")], "Backup written");
    done(&data, &["export", &file("out")], "1 jobs, 1 entries");
    refused(&data, &["export", &file("out")], "already");
    done(&other, &["import", &file("out")], "Imported: 1 jobs");
    refused(&other, &["import", &file("out")], "already");
    done(&other, &["rebuild"], "Worked out anew: 0 jobs");
    refused(&data, &["restore", &file("b.sqlite")], "--replace");
    done(&data, &["restore", &file("b.sqlite"), "--replace"], "kept in");
    done(&data, &["customers", "brackwater"], "1  Thessaly Brackwater  (jobs: 1)");
    done(&data, &["hand-over", "--customer", "1", &file("given")], "1 jobs");
    refused(&data, &["erase"], "--customer");
    refused(&data, &["erase", "--customer", "1"], "--yes");
    done(&data, &["erase", "--customer", "1", "--yes"], "words of 1 entries");
    done(&data, &["customers"], "erased on 2");
    refused(&data, &["let-go"], "--older-than");
    done(&data, &["let-go", "--older-than", "90"], "0 samples");
    done(&data, &["let-go"], "older than 90 days");
    refused(&folder.path().join("nowhere"), &["check"], "no records");
}
