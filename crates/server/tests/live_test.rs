//! The live service test over the routes, with a made-up meter that speaks as fast as it is asked.
#![allow(missing_docs, clippy::unwrap_used, reason = "a test")]

mod support;

use axum::http::StatusCode;
use bench::Hypothesis;
use jiff::Timestamp;
use meters::News;
use serde_json::Value;
use simulator::{MeterModel, Operator, Setting, record, specimen};
use support::live::{Live, later};

const TERN: &str = include_str!("../../../machines/aldermere-tern-81.toml");

/// A whole test of a washer with this fault, by a careful operator.
fn made_up(fault: &str) -> simulator::Recording {
    let machine = machine::read::read(TERN, None).machine.unwrap();
    let hypothesis = Hypothesis::parse(&machine, &[fault]).unwrap();
    let setting = Setting {
        meter: MeterModel { stuck_share: 0.0, ..MeterModel::display() },
        operator: Operator::careful(),
        ..Setting::kitchen(236.0)
    };
    record(&specimen(&machine, 5), &hypothesis, &setting, 5)
}

#[tokio::test(flavor = "multi_thread")]
async fn a_live_test_finds_the_open_element_first_and_survives_a_restart() {
    let made = made_up("element=open");
    let begin = Timestamp::now();
    let cut = made.truth.iter().find(|s| s.step.as_deref() == Some("warm")).unwrap().end_s - 5.0;
    let bench = Live::new();
    bench.new_job().await;
    bench.says(begin, 0.0, 236.0).await;
    bench.settled(1, begin).await;
    bench.start(1).await;
    let at = |s: &trace::Sample| later(begin, 1.0 + s.time_s);
    let (first, rest) = made.samples.split_at(made.samples.partition_point(|s| s.time_s < cut));
    for sample in first {
        bench.says(at(sample), sample.power_w, sample.voltage_v.unwrap()).await;
    }
    bench.settled(first.len(), begin).await;
    let in_warm = |test: &Value| test["place"]["step"] == "warm" && test["figure"]["verdict"] == "NOTHING";
    let test = bench.event("/api/jobs/1/live", "test", in_warm).await;
    assert!(test["figure"]["look"].as_bool().unwrap());
    assert!(test["band"][0].as_f64().unwrap() > 1500.0, "{test}");
    assert_eq!(test["works_with"], "heat");
    let (_, panel) = bench.get("/jobs/1/live/panel").await;
    assert!(
        panel.contains("heater and slow reversing drum") && panel.contains("keep the back panel on"),
        "{panel}"
    );

    // Killed in mid-test: what was said to be kept is there, and the test is followed on.
    let bench = bench.again();
    bench.event("/api/jobs/1/live", "test", in_warm).await;
    for sample in rest {
        bench.says(at(sample), sample.power_w, sample.voltage_v.unwrap()).await;
    }
    bench.settled(first.len() + rest.len(), begin).await;
    let done = bench.post("/jobs/1/live", "what=end").await;
    assert_eq!(done["ended"], true);
    let finding = bench.json("/api/jobs/1/finding").await;
    assert_eq!(finding["suspects"][0]["faults"]["element"], "open", "{}", finding["suspects"][0]);
    let warm = finding["steps"].as_array().unwrap().iter().find(|s| s["id"] == "warm").unwrap();
    assert_eq!(warm["verdict"], "nothing", "{warm}");
    let trace = bench.json("/api/jobs/1/trace").await;
    assert!(trace["parts"].as_array().unwrap().len() >= 11, "{trace}");
    // Drawn as while it ran.
    let warm = trace["parts"].as_array().unwrap().iter().find(|p| p["step"] == "warm").unwrap();
    assert_eq!(warm["works_with"], "heat", "{warm}");
}

#[tokio::test(flavor = "multi_thread")]
async fn where_a_step_begins_is_set_by_hand_moved_and_taken_back() {
    let made = made_up("element=open");
    let begin = Timestamp::now();
    let cut = made.truth.iter().find(|s| s.step.as_deref() == Some("warm")).unwrap().end_s;
    let bench = Live::new();
    bench.new_job().await;
    bench.says(begin, 0.0, 236.0).await;
    bench.settled(1, begin).await;
    bench.start(1).await;
    let heard: Vec<_> = made.samples.iter().filter(|s| s.time_s < cut).collect();
    for sample in &heard {
        bench.says(later(begin, 1.0 + sample.time_s), sample.power_w, sample.voltage_v.unwrap()).await;
    }
    bench.settled(1 + heard.len(), begin).await;
    let part = |test: &Value, step: &str| {
        let parts = test["parts"].as_array().into_iter().flatten();
        parts
            .filter(|p| p["step"] == step)
            .map(|p| (p["from"].as_f64().unwrap(), p["by_hand"] == true))
            .next_back()
    };
    let set = |step: &str, was: f64, at: Option<f64>| {
        let at = at.map_or(String::new(), |at| at.to_string());
        format!("what=edge&step={step}&was={was}&at={at}")
    };
    let test = bench.event("/api/jobs/1/live", "test", |t| part(t, "right").is_some()).await;
    let (was, by_hand) = part(&test, "right").unwrap();
    assert!(!by_hand);
    // Left and right draw the same: somebody saw it turn over seven seconds later. While it runs, and where it has ended.
    let at = |is: f64| {
        move |t: &Value| part(t, "right").is_some_and(|(from, hand)| hand && (from - is).abs() <= 500.0)
    };
    let saved = bench.post("/jobs/1/live", &set("right", was, Some(was + 7000.0))).await;
    assert!(saved["saved"].is_number(), "{saved}");
    bench.event("/api/jobs/1/live", "test", at(was + 7000.0)).await;
    bench.post("/jobs/1/live", "what=end").await;
    let trace = bench.json("/api/jobs/1/trace").await;
    assert!(at(was + 7000.0)(&trace), "{trace}");
    // Moved again, the older one gives way; earlier than both.
    bench.post("/jobs/1/live", &set("right", was + 7000.0, Some(was - 3000.0))).await;
    let trace = bench.json("/api/jobs/1/trace").await;
    assert!(at(was - 3000.0)(&trace), "{trace}");
    let finding = bench.json("/api/jobs/1/finding").await;
    assert_eq!(finding["suspects"][0]["faults"]["element"], "open", "{}", finding["suspects"][0]);
    // Taken back: as the trace has it.
    bench.post("/jobs/1/live", &set("right", was - 3000.0, None)).await;
    let trace = bench.json("/api/jobs/1/trace").await;
    let (from, by_hand) = part(&trace, "right").unwrap();
    assert!(!by_hand && (from - was).abs() < 6000.0, "{trace}");
    for (refused, says) in [
        (set("right", was, None), "not set by hand"),
        (set("sail", was, Some(was)), "no step"),
        (set("right", was, Some(was + 1e9)), "not in the trace"),
    ] {
        let answer = bench.post("/jobs/1/live", &refused).await;
        assert!(answer["title"].as_str().is_some_and(|t| t.contains(says)), "{refused}: {answer}");
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn after_a_spin_the_guard_counts_and_says_what_comes() {
    let made = made_up("element=open");
    let begin = Timestamp::now();
    let bench = Live::new();
    bench.new_job().await;
    bench.says(begin, 0.0, 236.0).await;
    bench.settled(1, begin).await;
    bench.start(1).await;
    let spin = made.truth.iter().find(|s| s.step.as_deref() == Some("half-spin")).unwrap();
    let mut sent = 0;
    let send = async |from: f64, to: f64| {
        let mut count = 0;
        for sample in made.samples.iter().filter(|s| (from..to).contains(&s.time_s)) {
            bench.says(later(begin, 1.0 + sample.time_s), sample.power_w, sample.voltage_v.unwrap()).await;
            count += 1;
        }
        count
    };
    sent += send(0.0, spin.end_s - 2.0).await;
    bench.settled(sent, begin).await;
    let driven = |t: &Value| t["run_down"]["step"] == "half-spin" && t["run_down"]["until"].is_null();
    let test = bench.event("/api/jobs/1/live", "test", driven).await;
    assert!(test["run_down"]["caution"].as_str().unwrap().contains("opens a valve"), "{test}");
    sent += send(spin.end_s - 2.0, spin.end_s + 12.0).await;
    bench.settled(sent, begin).await;
    let counting = |t: &Value| t["run_down"]["until"].is_number();
    let test = bench.event("/api/jobs/1/live", "test", counting).await;
    let left_s = (test["run_down"]["until"].as_f64().unwrap() - test["at"].as_f64().unwrap()) / 1000.0;
    assert!((15.0..35.0).contains(&left_s), "{left_s}");
    let (_, panel) = bench.get("/jobs/1/live/panel").await;
    assert!(panel.contains("WAIT: the drum still turns") && panel.contains("opens a valve"), "{panel}");
    send(spin.end_s + 12.0, spin.end_s + 45.0).await;
    // The three chambers draw the same: which of them runs cannot be told, that the drum stands by now can.
    let filling = |t: &Value| t["place"]["step"].as_str().is_some_and(|s| s.ends_with("-fill"));
    bench.event("/api/jobs/1/live", "test", |t| filling(t) && t["run_down"].is_null()).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_press_counts_until_the_trace_says_more_and_can_be_taken_back() {
    let bench = Live::new();
    bench.new_job().await;
    let begin = Timestamp::now();
    for n in 0..20_u8 {
        bench.says(later(begin, f64::from(n)), 0.5, 236.0).await;
    }
    bench.settled(20, begin).await;
    bench.start(1).await;
    let is = |step: &'static str| move |t: &Value| t["place"]["step"] == step && t["by_tap"] == true;
    assert_eq!(bench.post("/jobs/1/live", "what=pressed&key=a").await["step"], "recall");
    // Sent twice, kept once.
    let one = bench.post("/jobs/1/live", "what=pressed&step=recall&key=a").await;
    let two = bench.post("/jobs/1/live", "what=pressed&step=recall&key=a").await;
    assert_eq!(one["saved"], two["saved"]);
    bench.event("/api/jobs/1/live", "test", is("recall")).await;
    assert_eq!(bench.post("/jobs/1/live", "what=pressed&key=b").await["step"], "bolt");
    bench.event("/api/jobs/1/live", "test", is("bolt")).await;
    assert!(bench.post("/jobs/1/live", "what=not-taken&key=c").await["saved"].is_number());
    bench.event("/api/jobs/1/live", "test", is("recall")).await;
    assert!(bench.post("/jobs/1/live", "what=is&step=warm&key=d").await["saved"].is_number());
    bench.event("/api/jobs/1/live", "test", is("warm")).await;
    for bad in
        ["what=is&step=nowhere", "what=dance", "what=start&socket=99", "what=attach&socket=1&minutes=soon"]
    {
        let problem = bench.post("/jobs/1/live", bad).await;
        assert!(!problem["remedy"].as_str().unwrap_or_default().is_empty(), "{bad}: {problem}");
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_lost_meter_is_lost_and_not_nothing() {
    let bench = Live::new();
    let begin = Timestamp::now();
    bench.says(begin, 31.0, 238.0).await;
    bench.settled(1, begin).await;
    let path = format!("/api/sockets/{}/live", bench.socket);
    let heard = bench.event(&path, "meter", |m| m["state"] == "heard").await;
    assert_eq!((heard["watts"].as_f64(), heard["volts"].as_f64()), (Some(31.0), Some(238.0)));
    bench.meter.send(News::Lost { why: "pulled out".to_owned() }).await.unwrap();
    let lost = bench.event(&path, "meter", |m| m["state"] == "lost").await;
    assert!(lost["watts"].is_null() && lost["why"] == "pulled out", "{lost}");
    let (_, page) = bench.get("/sockets").await;
    assert!(page.contains("LOST") && page.contains("pulled out") && !page.contains("0 W"), "{page}");
    bench.says(later(begin, 60.0), 30.0, 238.0).await;
    bench.event(&path, "meter", |m| m["state"] == "heard").await;
    let past =
        bench.json(&format!("/api/sockets/{}/samples?from={}", bench.socket, begin.as_millisecond())).await;
    assert_eq!(past["points"].as_array().unwrap().len(), 2);
    assert_eq!(past["gaps"][0][1], "pulled out");
}

#[tokio::test(flavor = "multi_thread")]
async fn what_was_recorded_is_attached_afterwards() {
    let made = made_up("pump=coil open");
    let bench = Live::new();
    bench.post("/new", "file=aldermere-tern-81").await;
    let begin = later(Timestamp::now(), -600.0);
    for sample in &made.samples {
        bench.says(later(begin, sample.time_s), sample.power_w, sample.voltage_v.unwrap()).await;
    }
    bench.settled(made.samples.len(), begin).await;
    let nothing = bench.post("/jobs/1/live", "what=attach&socket=1&minutes=0").await;
    assert!(nothing["remedy"].is_string());
    let attached =
        bench.post("/jobs/1/live", &format!("what=attach&socket={}&minutes=20", bench.socket)).await;
    assert_eq!(attached["samples"].as_u64().unwrap() as usize, made.samples.len(), "{attached}");
    let finding = bench.json("/api/jobs/1/finding").await;
    let empty = finding["steps"].as_array().unwrap().iter().find(|s| s["id"] == "empty").unwrap();
    assert_ne!(empty["verdict"], "as expected", "{empty}");
    // Bounded: no one asks for years at once.
    let (status, _) = bench.get(&format!("/api/sockets/{}/samples?from=0", bench.socket)).await;
    assert_eq!(status, StatusCode::UNPROCESSABLE_ENTITY);
}
