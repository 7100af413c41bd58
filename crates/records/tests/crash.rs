//! A writer is killed at random moments while it captures samples and adds entries; whatever it said was kept is there.
//! This shows what the death of the program does. What the loss of power does, `synchronous=FULL` answers for, and the disk.
#![allow(missing_docs, clippy::unwrap_used, reason = "a test")]

use jiff::Timestamp;
use records::{NewEntry, Records, Sample, Says, SocketId};
use std::io::{BufRead, BufReader, Read, Write};
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::Duration;

/// Tells this test program, started again, that it is the writer, and where it writes.
const WRITER: &str = "RECORDS_WRITER";
/// Times that the writer is killed.
const KILLS: u64 = 200;
/// Sockets that are captured.
const SOCKETS: i64 = 4;

fn at(second: i64) -> Timestamp {
    Timestamp::from_second(1_795_000_000 + second).unwrap()
}

/// What every socket shows in that second.
fn samples(second: i64) -> Vec<(SocketId, Vec<Sample>)> {
    let one = |socket: i64| {
        let watts = Some((second * 10 + socket) as f64);
        (SocketId::of(socket), vec![Sample { at: at(second), watts, volts: Some(231.0), amps: None }])
    };
    (1..=SOCKETS).map(one).collect()
}

/// Captures samples and adds an entry to job 1 after every fourth second, without end, saying what is kept once it is.
#[test]
#[ignore = "the writer of the test below, which kills it"]
fn writer() {
    let Some(path) = std::env::var_os(WRITER) else { return };
    let records = Records::open(path.as_ref()).unwrap();
    let now: jiff::ZonedDateTime = "2026-11-25T10:00:00+00:00[UTC]".parse().unwrap();
    for socket in 1..=SOCKETS {
        records.socket(&format!("bench {socket}")).unwrap();
    }
    if records.job(1).unwrap().is_none() {
        records.new_job(&now, None, None).unwrap();
    }
    let mut out = std::io::stdout().lock();
    let mut say = |what: &str, number: i64| {
        writeln!(out, "\n{what} {number}").unwrap();
        out.flush().unwrap();
    };
    let newest = records.newest(SocketId::of(SOCKETS)).unwrap();
    let mut second = newest.map_or(0, |s| s.at.as_second() - at(0).as_second() + 1);
    let mut entry = i64::from(records.job(1).unwrap().unwrap().log.last()) + 1;
    loop {
        records.keep_samples(&samples(second)).unwrap();
        say("second", second);
        second += 1;
        if second % 4 == 0 {
            let says = Says::Words { words: format!("entry {entry}") };
            let new = NewEntry { says, supersedes: None, at: now.clone(), key: entry.to_string() };
            assert_eq!(i64::from(records.append(1, &new).unwrap()), entry);
            say("entry", entry);
            entry += 1;
        }
    }
}

/// Starts a writer, kills it a while after it began to write, and gives the last second and entry that it said it kept.
fn killed_after(path: &Path, wait: Duration) -> (i64, i64) {
    let mut child = Command::new(std::env::current_exe().unwrap())
        .args(["--exact", "writer", "--ignored", "--nocapture"])
        .env(WRITER, path)
        .stdout(Stdio::piped())
        .spawn()
        .unwrap();
    let mut out = BufReader::new(child.stdout.take().unwrap());
    let mut said = String::new();
    // Waits for the first of what is kept, so that a slow start does not eat the time; every eighth time the start is killed.
    while !wait.is_zero() && !said.contains("second ") && out.read_line(&mut said).unwrap() > 0 {}
    std::thread::sleep(wait);
    child.kill().unwrap();
    child.wait().unwrap();
    out.read_to_string(&mut said).unwrap();
    // The last line may be cut short by the kill.
    let whole = said.rfind('\n').map_or("", |end| &said[..end]);
    let last = |what: &str| {
        let mut numbers = whole.lines().filter_map(|l| l.strip_prefix(what)).filter_map(|n| n.parse().ok());
        numbers.next_back().unwrap_or(-1)
    };
    (last("second "), last("entry "))
}

#[test]
fn nothing_that_was_said_to_be_kept_is_lost() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("records.sqlite");
    // A fixed sequence of waits (a congruential generator, Knuth's MMIX constants), so that a failure can be had again.
    let mut state = 7_u64;
    let (mut seconds, mut entries) = (0, 0);
    for round in 0..KILLS {
        state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        let wait = if round % 8 == 7 { 0 } else { (state >> 33) % 40 };
        let (second, entry) = killed_after(&path, Duration::from_millis(wait));

        let records = Records::open(&path).unwrap();
        let log = records.job(1).unwrap().map_or(Vec::new(), |j| j.log.entries().to_vec());
        assert!(log.len() as i64 >= entry.max(entries), "round {round}: {} entries of {entry}", log.len());
        for (entry, number) in log.iter().zip(1..) {
            assert_eq!(entry.number, number);
            assert_eq!(entry.says, Says::Words { words: format!("entry {number}") });
        }
        let mut kept = 0;
        for socket in records.sockets().unwrap() {
            let all = records.samples(socket.id, Timestamp::MIN, Timestamp::MAX).unwrap();
            for (sample, n) in all.iter().zip(0..) {
                assert_eq!((sample.at, sample.watts), (at(n), Some((n * 10 + socket.id.number()) as f64)));
            }
            kept = all.len() as i64;
            assert!(kept > second.max(seconds - 1), "round {round}: {kept} samples, said {second}");
        }
        // At most what was under way, and not yet said, is gone or there.
        assert!(second < 0 || kept <= second + 2, "round {round}: {kept} samples, said {second}");
        (seconds, entries) = (kept, log.len() as i64);
        assert_eq!(records.check().unwrap().wrong, Vec::<String>::new(), "round {round}");
    }
    assert!(
        seconds > KILLS as i64 && entries > KILLS as i64 / 8,
        "the writer hardly wrote: {seconds}, {entries}"
    );
}
