//! Sockets watched in made-up time: readings in their order, loss within its time, presses.
#![allow(missing_docs, clippy::unwrap_used, reason = "a test")]

mod support;

use meters::{News, SocketConfig, try_it, watch, watch_with_presses};
use std::time::Duration;
use support::socket;
use tokio::sync::mpsc::Receiver;
use tokio::time::{Instant, sleep};

const MADE_UP: &str = "kind = \"simulator\"\nmachine = \"machines/aldermere-tern-81.toml\"\nseed = 11\n";

async fn readings(news: &mut Receiver<News>, count: usize) -> Vec<meters::Reading> {
    let mut got = Vec::new();
    while got.len() < count {
        if let News::Reading(reading) = news.recv().await.unwrap() {
            got.push(reading);
        }
    }
    got
}

#[tokio::test(start_paused = true)]
async fn a_simulated_machine_reads_the_same_for_a_seed_and_at_its_own_pace() {
    let mut runs = Vec::new();
    for _ in 0..2 {
        let mut news = watch(socket(MADE_UP));
        let got = readings(&mut news, 200).await;
        let first = got[0].stamped.unwrap();
        let course: Vec<_> =
            got.iter().map(|r| (r.stamped.unwrap().duration_since(first), r.watts, r.volts)).collect();
        runs.push(course);
    }
    assert_eq!(runs[0], runs[1]);
    let whole_s = runs[0][199].0.as_secs_f64();
    assert!((195.0..205.0).contains(&whole_s), "200 readings of one a second span {whole_s} s");
    assert!(runs[0].iter().any(|r| r.1.unwrap() > 20.0), "it walks through its test by itself");
}

#[tokio::test(start_paused = true)]
async fn what_no_socket_can_show_is_refused_from_a_recording_too() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("log.csv");
    std::fs::write(&file, "time s;power W;voltage V\n0;10;230\n1;60000;230\n2;12;2300\n3;13;230\n").unwrap();
    let mut news = watch(socket(&format!("kind = \"replay\"\nfile = '{}'\n", file.display())));
    let mut got = Vec::new();
    while got.len() < 5 {
        got.push(match news.recv().await.unwrap() {
            News::Reading(r) => format!("{:?} {:?}", r.watts, r.volts),
            News::Refused { why } | News::Lost { why } => {
                why.split(" at a socket").next().unwrap().to_owned()
            }
        });
    }
    let expected = [
        "Some(10.0) Some(230.0)",
        "a power of 6.0000e4 W",
        "a voltage of 2.3000e3 V",
        "Some(12.0) None",
        "Some(13.0) Some(230.0)",
    ];
    assert_eq!(got, expected);
}

#[tokio::test(start_paused = true)]
async fn a_simulation_runs_on_after_its_test() {
    let mut news = watch(socket(&format!("{MADE_UP}speed = 10\nfaults = \"element=open\"")));
    let started = Instant::now();
    let got = readings(&mut news, 1000).await;
    assert!(started.elapsed() < Duration::from_secs(105), "1000 readings took {:?}", started.elapsed());
    assert!(got.iter().all(|r| r.watts.unwrap() < 1500.0), "the open element does not heat");
    assert!(got[999].watts.unwrap() < 3.0);
}

#[tokio::test(start_paused = true)]
async fn a_machine_worked_by_hand_waits_for_its_presses() {
    let (mut news, presses) = watch_with_presses(socket(MADE_UP));
    let off = readings(&mut news, 60).await;
    assert!(off.iter().all(|r| r.watts.unwrap() < 3.0), "off before the first press");
    assert!(presses.press());
    let on = readings(&mut news, 10).await;
    assert!(presses.press());
    let first = readings(&mut news, 40).await;
    let mean = |r: &[meters::Reading]| r.iter().map(|r| r.watts.unwrap()).sum::<f64>() / r.len() as f64;
    assert!(mean(&on[3..]) > mean(&off) + 0.5, "switched on: {} after {}", mean(&on[3..]), mean(&off));
    assert!(mean(&first) > mean(&off) + 0.5);
    // Left alone for long, it stays on and in its step.
    drop(presses);
    assert!(mean(&readings(&mut news, 1000).await[900..]) > mean(&off) + 0.5);
}

fn recording(text: &str) -> (tempfile::TempDir, SocketConfig) {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("r.csv");
    std::fs::write(&path, text).unwrap();
    let config = socket(&format!("kind = \"replay\"\nfile = \"{}\"\n", path.display()));
    (folder, config)
}

fn rows(times: impl IntoIterator<Item = u32>) -> String {
    let rows: Vec<String> = times.into_iter().map(|t| format!("{t};{}", 100 + t)).collect();
    format!("time s;power W\n{}\n", rows.join("\n"))
}

#[tokio::test(start_paused = true)]
async fn a_gap_in_a_replay_is_a_lost_meter_within_three_seconds_and_never_zero_watts() {
    let (_folder, config) = recording(&rows((0..10).chain(30..40)));
    let mut news = watch(config);
    let started = Instant::now();
    for t in 0..10 {
        let News::Reading(r) = news.recv().await.unwrap() else { panic!("lost at {t}") };
        assert_eq!(r.watts, Some(100.0 + f64::from(t)));
    }
    let News::Lost { why } = news.recv().await.unwrap() else { panic!("silence") };
    let after = started.elapsed().as_secs_f64() - 9.0;
    assert!((2.9..3.1).contains(&after), "lost {after} s after the last reading");
    assert!(why.contains("no reading for 3 s"), "{why}");
    // Back by itself.
    let News::Reading(r) = news.recv().await.unwrap() else { panic!("still lost") };
    assert_eq!(r.watts, Some(130.0));
}

#[tokio::test(start_paused = true)]
async fn a_slow_recording_is_lost_after_three_of_its_own_periods() {
    let (_folder, config) = recording(&rows((0..20).map(|i| 10 * i)));
    let mut news = watch(config);
    readings(&mut news, 20).await;
    let before = Instant::now();
    let next = news.recv().await.unwrap();
    assert!(matches!(next, News::Lost { .. }), "{next:?}");
    let waited = before.elapsed().as_secs_f64();
    assert!((29.0..31.0).contains(&waited), "{waited} s");
}

#[tokio::test(start_paused = true)]
async fn nothing_is_dropped_for_a_slow_listener() {
    let (_folder, mut config) = recording(&rows(0..2000));
    if let meters::Source::Replay(replay) = &mut config.source {
        replay.speed = 1000.0;
    }
    let mut news = watch(config);
    sleep(Duration::from_mins(1)).await;
    let mut next = 100.0;
    while next < 2100.0 {
        match news.recv().await.unwrap() {
            News::Reading(r) => assert_eq!(r.watts, Some(next)),
            other => panic!("{other:?}"),
        }
        next += 1.0;
    }
}

#[tokio::test(start_paused = true)]
async fn a_source_that_is_not_there_is_lost_at_once_and_tried_again() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("later.csv");
    let config = socket(&format!("kind = \"replay\"\nfile = \"{}\"\n", path.display()));
    let refused = try_it(&config, Duration::from_secs(1)).await.unwrap_err();
    assert!(refused.message.contains("cannot be opened"), "{refused}");
    let mut news = watch(config);
    assert!(matches!(news.recv().await.unwrap(), News::Lost { .. }));
    std::fs::write(&path, rows(0..5)).unwrap();
    let next = news.recv().await.unwrap();
    assert!(matches!(next, News::Reading(_)), "{next:?}");
}

#[tokio::test(start_paused = true)]
async fn trying_shows_messages_beside_what_was_read() {
    let tried = try_it(&socket(MADE_UP), Duration::from_secs(10)).await.unwrap();
    assert_eq!(tried.len(), 5);
    assert!(tried[0].raw.contains('W'), "{:?}", tried[0]);
    assert!(tried[0].reading.as_ref().unwrap().volts.is_some());
}

#[tokio::test(start_paused = true)]
async fn a_growing_file_is_heard_as_it_grows_and_lost_when_it_stops() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("log.csv");
    let mut news =
        watch(socket(&format!("kind = \"growing-file\"\nfile = \"{}\"\nevery = \"1 s\"\n", path.display())));
    let News::Refused { why } = news.recv().await.unwrap() else { panic!("there is no file") };
    assert!(why.contains("not there yet"), "{why}");
    assert!(matches!(news.recv().await.unwrap(), News::Lost { .. }), "told once, then lost");
    std::fs::write(&path, "time;power W;voltage V\n2024-02-29 12:00:00;31.5;230\n").unwrap();
    let News::Reading(r) = news.recv().await.unwrap() else { panic!("its first row") };
    assert_eq!((r.watts, r.volts), (Some(31.5), Some(230.0)));
    assert_eq!(r.stamped.unwrap().as_second(), 1_709_208_000, "by the recorder's clock");
    std::fs::write(&path, "time;power W\n2024-02-29 12:00:01;99999999\n").unwrap();
    let News::Refused { why } = news.recv().await.unwrap() else { panic!("a hundred megawatts") };
    assert!(why.contains("cannot be"), "{why}");
    assert!(matches!(news.recv().await.unwrap(), News::Lost { .. }), "refusals are no readings");
}
