//! How long it takes to keep a second of samples, and to get many back; bytes on the disk for each sample.
//! Percentiles of a call matter more than its mean (one in 300 folds), so they are printed beside.
#![allow(missing_docs, clippy::unwrap_used, reason = "a bench")]

use criterion::{Criterion, criterion_group, criterion_main};
use jiff::Timestamp;
use records::{Records, Sample, SocketId};
use std::hint::black_box;
use std::path::Path;
use std::time::{Duration, Instant};

fn at(micros: i64) -> Timestamp {
    Timestamp::from_microsecond(1_795_000_000_000_000 + micros).unwrap()
}

/// A made-up washer on a plug-in meter: watts in steps of 0.1 with some noise, volts in 0.1, amperes in 0.001.
fn sample(n: i64, per_second: i64, socket: i64) -> Sample {
    let noise =
        |salt: i64| ((n * 6_364_136_223 + salt * 1_442_695_041 + socket * 97) >> 7).rem_euclid(31) - 15;
    let level = [4, 26, 142, 1830, 38, 310][(n / per_second / 97 % 6) as usize];
    let watts = (level * 10 + noise(1)) as f64 / 10.0;
    let volts = (2310 + noise(2)) as f64 / 10.0;
    let amps = (watts / volts * 1000.0).round() / 1000.0;
    Sample { at: at(n * 1_000_000 / per_second), watts: Some(watts), volts: Some(volts), amps: Some(amps) }
}

fn sockets(records: &Records, count: i64) -> Vec<SocketId> {
    (0..count).map(|n| records.socket(&format!("bench {n}")).unwrap()).collect()
}

/// Calls as the capture makes them; the time of each.
fn captured(records: &Records, count: i64, per_second: i64, calls: i64) -> Vec<Duration> {
    let sockets = sockets(records, count);
    let mut times = Vec::new();
    for call in 0..calls {
        let all: Vec<_> = sockets
            .iter()
            .map(|&s| {
                let of = call * per_second..(call + 1) * per_second;
                (s, of.map(|n| sample(n, per_second, s.number())).collect())
            })
            .collect();
        let begun = Instant::now();
        records.keep_samples(&all).unwrap();
        times.push(begun.elapsed());
    }
    times.sort();
    times
}

fn size(path: &Path) -> u64 {
    std::fs::metadata(path).unwrap().len()
}

fn keeping(c: &mut Criterion) {
    let folder = tempfile::tempdir().unwrap();
    let open = |name: &str| Records::open(&folder.path().join(name)).unwrap();
    for (count, per_second, calls) in [(64, 10, 1500), (8, 1, 1500)] {
        let times = captured(&open(&format!("{count}.sqlite")), count, per_second, calls);
        let of = |share: f64| times[(times.len() as f64 * share) as usize];
        println!(
            "keep_samples, {count} sockets × {per_second}: p50 {:?}, p99 {:?}, longest {:?}",
            of(0.5),
            of(0.99),
            times[times.len() - 1]
        );
    }

    let path = folder.path().join("week.sqlite");
    let records = Records::open(&path).unwrap();
    let socket = sockets(&records, 1)[0];
    let (week, part) = (7 * 24 * 3600, 2100);
    for first in (0..week).step_by(part as usize) {
        let some = (first..(first + part).min(week)).map(|n| sample(n, 1, 1)).collect();
        records.keep_samples(&[(socket, some)]).unwrap();
    }
    // What came last is folded by dropping nothing.
    records.drop_unattached(Timestamp::MIN).unwrap();
    let backup = folder.path().join("backup.sqlite");
    records.backup(&backup).unwrap();
    // Room that the large calls of this bench took up and left free is no part of a sample.
    rusqlite::Connection::open(&backup).unwrap().execute_batch("VACUUM").unwrap();
    println!("a week at one a second: {:.2} bytes a sample", size(&backup) as f64 / f64::from(week as u32));

    let to = at(100_000 * 1_000_000);
    assert_eq!(records.samples(socket, at(0), to).unwrap().len(), 100_000);
    c.bench_function("samples, 100 000", |b| {
        b.iter(|| black_box(records.samples(socket, at(0), to).unwrap()));
    });
    c.bench_function("newest", |b| b.iter(|| black_box(records.newest(socket).unwrap())));
}

criterion_group! { name = benches; config = Criterion::default().sample_size(20); targets = keeping }
criterion_main!(benches);
