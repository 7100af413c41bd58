//! What the meters saw is there again, in order, whatever was folded in between.
#![allow(missing_docs, clippy::unwrap_used, reason = "a test")]

use jiff::{SignedDuration, Timestamp};
use records::{Records, Sample, SocketId};

fn at(micros: i64) -> Timestamp {
    Timestamp::from_microsecond(1_795_000_000_000_000 + micros).unwrap()
}

fn sample(second: i64, watts: f64) -> Sample {
    Sample {
        at: at(second * 1_000_000),
        watts: Some(watts),
        volts: (second % 2 == 0).then_some(231.4),
        amps: None,
    }
}

fn open() -> (tempfile::TempDir, Records) {
    let folder = tempfile::tempdir().unwrap();
    let records = Records::open(&folder.path().join("records.sqlite")).unwrap();
    (folder, records)
}

/// One sample a second for two sockets, in `seconds` calls.
fn captured(records: &Records, seconds: i64) -> (SocketId, SocketId) {
    let (a, b) = (records.socket("bench 1").unwrap(), records.socket("bench 2").unwrap());
    for second in 0..seconds {
        let both = [(a, vec![sample(second, second as f64 / 10.0)]), (b, vec![sample(second, 2000.0)])];
        records.keep_samples(&both).unwrap();
    }
    (a, b)
}

#[test]
fn samples_come_back_in_order_across_fresh_and_packed() {
    let (folder, records) = open();
    let (a, b) = captured(&records, 1000);
    assert_eq!(records.socket("bench 1").unwrap(), a);
    assert_eq!(records.sockets().unwrap().len(), 2);
    let expected: Vec<Sample> = (10..950).map(|s| sample(s, s as f64 / 10.0)).collect();
    assert_eq!(records.samples(a, at(10_000_000), at(950_000_000)).unwrap(), expected);
    assert_eq!(records.newest(b).unwrap(), Some(sample(999, 2000.0)));
    assert_eq!(records.newest(records.socket("new").unwrap()).unwrap(), None);
    drop(records);
    let records = Records::open(&folder.path().join("records.sqlite")).unwrap();
    assert_eq!(records.samples(a, Timestamp::MIN, Timestamp::MAX).unwrap().len(), 1000);
    assert!(records.samples(SocketId::of(99), at(0), at(1)).unwrap_err().message.contains("no socket 99"));
}

#[test]
fn a_clock_that_was_set_back_and_numbers_that_are_none_lose_nothing() {
    let (_folder, records) = open();
    let (a, _) = captured(&records, 700);
    let odd =
        Sample { watts: Some(f64::NAN), volts: Some(f64::INFINITY), amps: Some(-0.5), ..sample(5, 0.0) };
    records.keep_samples(&[(a, vec![odd])]).unwrap();
    let (_, _) = captured(&records, 10);
    let all = records.samples(a, Timestamp::MIN, Timestamp::MAX).unwrap();
    assert_eq!(all.len(), 711);
    assert!(all.is_sorted_by_key(|s| s.at));
    let there: Vec<_> = all.iter().filter(|s| s.at == odd.at).collect();
    assert_eq!(there.len(), 3);
    assert!(there.iter().any(|s| s.watts.is_none() && s.volts.is_none() && s.amps == Some(-0.5)));
}

#[test]
fn a_call_is_kept_whole_or_not_at_all() {
    let (_folder, records) = open();
    let (a, _) = captured(&records, 3);
    let with_unknown = [(a, vec![sample(50, 1.0)]), (SocketId::of(99), vec![sample(50, 1.0)])];
    assert!(records.keep_samples(&with_unknown).is_err());
    assert_eq!(records.newest(a).unwrap(), Some(sample(2, 0.2)));
    let too_many = vec![sample(50, 1.0); 100_001];
    assert!(records.keep_samples(&[(a, too_many)]).unwrap_err().message.contains("100001"));
    records.keep_samples(&[(a, Vec::new())]).unwrap();
    records.keep_samples(&[]).unwrap();
}

#[test]
fn a_trace_can_be_attached_after_the_fact_ended_and_taken_away() {
    let (_folder, records) = open();
    let (a, b) = captured(&records, 30);
    let opened = "2026-11-25T10:00:00+00:00[UTC]".parse().unwrap();
    let job = records.new_job(&opened, None, None).unwrap();
    let later = records.attach_trace(job, a, at(20_000_000), None).unwrap();
    let earlier = records.attach_trace(job, b, at(5_000_000), Some(at(9_000_000))).unwrap();
    let open =
        |socket| records.open_traces(socket).unwrap().iter().map(|t| (t.job, t.id)).collect::<Vec<_>>();
    assert_eq!((open(a), open(b)), (vec![(job, later)], vec![]));
    records.end_trace(later, at(21_000_000)).unwrap();
    assert_eq!(open(a), []);
    records.reopen_trace(later).unwrap();
    assert_eq!((open(a), records.traces_of(job).unwrap()[1].to), (vec![(job, later)], None));
    records.end_trace(later, at(25_000_000)).unwrap();
    let traces = records.traces_of(job).unwrap();
    assert_eq!(traces.iter().map(|t| t.id).collect::<Vec<_>>(), [earlier, later]);
    let samples = |t: &records::Trace| records.samples(t.socket, t.from, t.to.unwrap()).unwrap().len();
    assert_eq!(traces.iter().map(samples).collect::<Vec<_>>(), [4, 5]);
    records.detach_trace(earlier).unwrap();
    assert_eq!(records.traces_of(job).unwrap().len(), 1);
    assert_eq!(records.samples(b, Timestamp::MIN, Timestamp::MAX).unwrap().len(), 30);
    for wrong in [
        records.attach_trace(job + 1, a, at(0), None).err(),
        records.attach_trace(job, SocketId::of(9), at(0), None).err(),
        records.attach_trace(job, a, at(10), Some(at(5))).err(),
        records.end_trace(later, at(0)).err(),
        records.end_trace(earlier, at(99)).err(),
        records.detach_trace(earlier).err(),
        records.reopen_trace(earlier).err(),
    ] {
        assert!(!wrong.unwrap().remedy.is_empty());
    }
}

#[test]
fn gaps_are_kept() {
    let (_folder, records) = open();
    let (a, b) = captured(&records, 3);
    records.keep_gap(a, at(2_500_000), "no answer for 5 s").unwrap();
    let gaps = records.gaps(a, at(0), at(9_000_000)).unwrap();
    assert_eq!(gaps, [records::Gap { from: at(2_500_000), why: "no answer for 5 s".to_owned() }]);
    assert!(records.gaps(b, at(0), at(9_000_000)).unwrap().is_empty());
}

/// Turns one bit of a row of what just came.
fn flip(folder: &tempfile::TempDir, row: i64) {
    let other = rusqlite::Connection::open(folder.path().join("records.sqlite")).unwrap();
    let sql = "SELECT samples FROM fresh WHERE id = ?1";
    let mut bytes: Vec<u8> = other.query_row(sql, [row], |row| row.get(0)).unwrap();
    bytes[20] ^= 1;
    let changed = other.execute("UPDATE fresh SET samples = ?2 WHERE id = ?1", rusqlite::params![row, bytes]);
    assert_eq!(changed, Ok(1));
}

#[test]
fn a_flipped_bit_in_what_just_came_spoils_its_own_call_and_nothing_else() {
    let (folder, records) = open();
    let (a, b) = captured(&records, 10);
    for row in [5, 10] {
        flip(&folder, row);
    }
    let count = |socket| records.samples(socket, Timestamp::MIN, Timestamp::MAX).unwrap().len();
    assert_eq!((count(a), count(b)), (8, 8));
    assert_eq!(records.newest(b).unwrap(), Some(sample(8, 2000.0)));
    // The capture goes on, and what is whole is packed.
    captured(&records, 700);
    assert_eq!((count(a), count(b)), (708, 708));
    let checked = records.check().unwrap();
    assert_eq!(checked.samples, 2 * 708);
    let wrong = checked.wrong;
    assert!(wrong.len() == 2 && wrong[0].contains("row 5") && wrong[1].contains("row 10"), "{wrong:?}");
    assert_eq!(records.drop_unattached(at(20_000_000)).unwrap(), 2 * (8 + 20));
    // What is left out goes out with the rest of nothing.
    let now = "2026-11-25T10:00:00+00:00[UTC]".parse().unwrap();
    assert_eq!(records.export(&folder.path().join("out"), &now).unwrap().samples, 2 * 680);
}

#[test]
fn only_old_samples_of_no_job_are_let_go() {
    let (_folder, records) = open();
    let (a, b) = captured(&records, 400);
    let opened = "2026-11-25T10:00:00+00:00[UTC]".parse().unwrap();
    let job = records.new_job(&opened, None, None).unwrap();
    records.attach_trace(job, a, at(100_000_000), Some(at(150_000_000))).unwrap();
    records.keep_gap(a, at(10_000_000), "unplugged").unwrap();
    records.keep_gap(a, at(120_000_000), "unplugged").unwrap();
    let dropped = records.drop_unattached(at(0) + SignedDuration::from_secs(350)).unwrap();
    assert_eq!(dropped, (350 - 50) + 350);
    assert_eq!(records.samples(a, Timestamp::MIN, Timestamp::MAX).unwrap().len(), 50 + 50);
    assert_eq!(records.samples(b, Timestamp::MIN, Timestamp::MAX).unwrap().len(), 50);
    assert_eq!(records.gaps(a, Timestamp::MIN, Timestamp::MAX).unwrap().len(), 1);
}
