//! A writer is killed at random moments; whatever it said was saved is there.
#![allow(missing_docs, clippy::unwrap_used, reason = "a test")]

use records::{NewEntry, Records, Says};
use std::io::{Read, Write};
use std::process::{Command, Stdio};
use std::time::Duration;

/// Tells this test program, started again, that it is the writer, and where it writes.
const WRITER: &str = "RECORDS_WRITER";

/// Adds entries to job 1 without end, saying each number once it is saved.
#[test]
#[ignore = "the writer of the test below, which kills it"]
fn writer() {
    let Some(path) = std::env::var_os(WRITER) else { return };
    let records = Records::open(path.as_ref()).unwrap();
    let at: jiff::ZonedDateTime = "2026-11-25T10:00:00+00:00[UTC]".parse().unwrap();
    if records.job(1).unwrap().is_none() {
        records.new_job(&at, None, None).unwrap();
    }
    let mut out = std::io::stdout().lock();
    let mut next = records.job(1).unwrap().unwrap().log.last() + 1;
    loop {
        let says = Says::Words { words: format!("entry {next}") };
        let entry = NewEntry { says, supersedes: None, at: at.clone(), key: next.to_string() };
        let saved = records.append(1, &entry).unwrap();
        writeln!(out, "\nsaved {saved}").unwrap();
        out.flush().unwrap();
        next = saved + 1;
    }
}

/// Times that the writer is killed.
const KILLS: u64 = 40;

#[test]
fn nothing_that_was_said_to_be_saved_is_lost() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("records.sqlite");
    let program = std::env::current_exe().unwrap();
    // A fixed sequence of waits (a congruential generator, Knuth's MMIX constants), so that a failure can be had again.
    let mut state = 7_u64;
    for round in 0..KILLS {
        state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        let mut child = Command::new(&program)
            .args(["--exact", "writer", "--ignored", "--nocapture"])
            .env(WRITER, &path)
            .stdout(Stdio::piped())
            .spawn()
            .unwrap();
        std::thread::sleep(Duration::from_millis(5 + (state >> 33) % 60));
        child.kill().unwrap();
        child.wait().unwrap();
        let mut said = String::new();
        child.stdout.take().unwrap().read_to_string(&mut said).unwrap();
        // The last line may be cut short by the kill.
        let whole = said.rfind('\n').map_or("", |end| &said[..end]);
        let last_said: u32 = whole
            .lines()
            .filter_map(|l| l.strip_prefix("saved "))
            .next_back()
            .map_or(0, |n| n.parse().unwrap());

        let records = Records::open(&path).unwrap();
        let entries = records.job(1).unwrap().map_or(Vec::new(), |j| j.log.entries().to_vec());
        assert!(entries.len() as u32 >= last_said, "round {round}: {} of {last_said}", entries.len());
        for (entry, number) in entries.iter().zip(1..) {
            assert_eq!(entry.number, number);
            assert_eq!(entry.says, Says::Words { words: format!("entry {number}") });
        }
        assert_eq!(records.check().unwrap().wrong, Vec::<String>::new());
    }
    let records = Records::open(&path).unwrap();
    assert!(records.job(1).unwrap().unwrap().log.last() > KILLS as u32, "the writer hardly wrote");
}
