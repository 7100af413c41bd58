//! What is done about a live test by a tap: each thing once, only by who works on machines, and never to another's test.
#![allow(missing_docs, clippy::unwrap_used, reason = "a test")]

mod support;

use axum::http::StatusCode;
use jiff::{SignedDuration, Timestamp};
use records::{JobId, SocketId, Trace};
use server::{Desk, Door};
use std::sync::Arc;
use support::form;
use support::live::{Live, later};

fn traces(bench: &Live, job: JobId) -> Vec<Trace> {
    bench.desk.records().traces_of(job).unwrap()
}

/// Some minutes of an idle machine that end so long ago, s.
async fn recorded(bench: &Live, ended_s: f64) -> Timestamp {
    let begin = later(Timestamp::now(), -ended_s - 60.0);
    for n in 0..=60_u8 {
        bench.says(later(begin, f64::from(n)), 0.5, 236.0).await;
    }
    bench.settled(61, begin).await;
    begin
}

#[tokio::test(flavor = "multi_thread")]
async fn ending_says_that_the_machine_runs_on_and_how_it_is_left() {
    let bench = Live::new();
    bench.new_job().await;
    recorded(&bench, 0.0).await;
    bench.start(1).await;
    let (_, panel) = bench.get("/jobs/1/live/panel").await;
    assert!(panel.contains("Before: drum empty; soap drawer empty; tap open"), "{panel}");
    bench.post("/jobs/1/live", "what=is&step=warm&key=a").await;
    bench.event("/api/jobs/1/live", "test", |t| t["place"]["step"] == "warm").await;
    let (_, panel) = bench.get("/jobs/1/live/panel").await;
    let (above, _) = panel.split_once("What could it be?").unwrap();
    assert!(above.contains("The machine runs on: this page stops nothing. Turn the dial back"), "{panel}");
    assert!(!panel.contains("Before: drum empty"), "{panel}");
    bench.post("/jobs/1/live", "what=end").await;
    let (_, panel) = bench.get("/jobs/1/live/panel").await;
    let (_, after) = panel.split_once("The test has ended").unwrap();
    assert!(after.contains("This page stops nothing: the machine may run on. Turn the dial back"), "{panel}");
    assert!(after.contains("run the drain programme"), "{panel}");
}

#[tokio::test(flavor = "multi_thread")]
async fn what_is_sent_twice_is_attached_and_taken_away_once() {
    let bench = Live::new();
    bench.new_job().await;
    recorded(&bench, 0.0).await;
    let attach = |minutes: f64| format!("what=attach&socket={}&minutes={minutes}", bench.socket);
    let first = bench.post("/jobs/1/live", &attach(0.5)).await;
    let again = bench.post("/jobs/1/live", &attach(0.5)).await;
    assert_eq!(first, again);
    let other = bench.post("/jobs/1/live", &attach(0.25)).await;
    assert_ne!(first["trace"], other["trace"]);
    let drop = format!("what=drop&trace={}", other["trace"]);
    assert_eq!(bench.post("/jobs/1/live", &drop).await["dropped"], true);
    assert_eq!(bench.post("/jobs/1/live", &drop).await["dropped"], false);
    let left = traces(&bench, 1);
    assert_eq!(left.iter().map(|t| t.id.number()).collect::<Vec<_>>(), [first["trace"].as_i64().unwrap()]);
    // Which one is never guessed, and none of another job is taken.
    assert!(bench.post("/jobs/1/live", "what=drop").await["remedy"].is_string());
    bench.new_job().await;
    let foreign = format!("what=drop&trace={}", first["trace"]);
    assert_eq!(bench.post("/jobs/2/live", &foreign).await["dropped"], false);
    let (_, page) = bench.get("/jobs/1/live/panel").await;
    assert!(page.contains(&format!("name=\"trace\" value=\"{}\"", first["trace"])), "{page}");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_test_goes_on_as_the_same_trace_while_its_socket_is_free() {
    let bench = Live::new();
    bench.new_job().await;
    bench.new_job().await;
    recorded(&bench, 0.0).await;
    let trace = bench.start(1).await;
    bench.says(later(Timestamp::now(), 1.0), 0.5, 236.0).await;
    bench.post("/jobs/1/live", "what=end").await;
    assert_eq!(bench.post("/jobs/1/live", "what=go-on").await["open"], true);
    let now = traces(&bench, 1);
    assert_eq!(now.iter().map(|t| (t.id.number(), t.to)).collect::<Vec<_>>(), [(trace, None)]);
    bench.event("/api/jobs/1/live", "test", |t| t["place"]["is"] == "before").await;
    // Another job has the socket meanwhile.
    bench.post("/jobs/1/live", "what=end").await;
    bench.start(2).await;
    let refused = bench.post("/jobs/1/live", "what=go-on").await;
    assert!(refused["title"].as_str().unwrap().contains("in use for job 2"), "{refused}");
    assert!(traces(&bench, 1)[0].to.is_some());
}

#[tokio::test(flavor = "multi_thread")]
async fn a_test_that_ended_long_ago_is_evidence_and_does_not_go_on() {
    let bench = Live::new();
    bench.new_job().await;
    recorded(&bench, 3600.0).await;
    bench.post("/jobs/1/live", &format!("what=attach&socket={}&minutes=0.5", bench.socket)).await;
    let before = traces(&bench, 1);
    let refused = bench.post("/jobs/1/live", "what=go-on").await;
    assert!(refused["remedy"].as_str().unwrap().contains("start a new test"), "{refused}");
    assert_eq!(traces(&bench, 1), before);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_test_begins_now_even_where_the_meter_was_silent_for_hours() {
    let bench = Live::new();
    bench.new_job().await;
    recorded(&bench, 3.0 * 3600.0).await;
    bench.start(1).await;
    let from = traces(&bench, 1)[0].from;
    let ago = Timestamp::now().duration_since(from);
    assert!(ago < SignedDuration::from_secs(60), "{ago}");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_trace_left_open_is_known_after_a_restart() {
    let bench = Live::new();
    bench.new_job().await;
    bench.new_job().await;
    recorded(&bench, 0.0).await;
    bench.start(1).await;
    let bench = bench.again();
    let (_, page) = bench.get("/sockets").await;
    assert!(page.contains("/jobs/1/live"), "{page}");
    let refused = bench.post("/jobs/2/live", &format!("what=start&socket={}", bench.socket)).await;
    assert!(refused["title"].as_str().unwrap().contains("in use for job 1"), "{refused}");
    assert_eq!(bench.post("/jobs/1/live", "what=end").await["ended"], true);
    bench.start(2).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_trace_that_cannot_be_followed_is_ended_and_no_page_waits_for_it() {
    let bench = Live::new();
    // A job without a machine.
    bench.post("/new", "file=").await;
    recorded(&bench, 0.0).await;
    let socket = SocketId::of(bench.socket);
    bench.desk.records().attach_trace(1, socket, Timestamp::now(), None).unwrap();
    let (status, page) = bench.get("/jobs/1/live").await;
    assert_eq!(status, StatusCode::OK, "{page}");
    assert!(page.contains("The test has ended") && !page.contains("data-to=\"\""), "{page}");
    assert_eq!(bench.get("/api/jobs/1/live").await.0, StatusCode::UNPROCESSABLE_ENTITY);
    bench.post("/jobs/1/live", "what=end").await;
    assert!(traces(&bench, 1)[0].to.is_some());
}

#[tokio::test(flavor = "multi_thread")]
async fn marks_name_who_made_them_and_the_office_makes_none() {
    let mut bench = Live::new();
    bench.new_job().await;
    recorded(&bench, 0.0).await;
    let pass = "kettle barnacle violin";
    let session = async |bench: &Live, path: &str, fields: &[(&str, &str)]| {
        let (_, head, page) = bench.bench.post(path, &form(fields)).await;
        let set = head.get("set-cookie").unwrap_or_else(|| panic!("{page}")).to_str().unwrap();
        set.split(';').next().unwrap().to_owned()
    };
    let ann = [("name", "Ann"), ("role", "technician"), ("passphrase", pass)];
    bench.cookie = session(&bench, "/settings/people", &ann).await;
    bench.post("/settings/people", &form(&[("name", "Odo"), ("role", "office"), ("passphrase", pass)])).await;
    let ann = std::mem::take(&mut bench.cookie);
    let odo = session(&bench, "/login", &[("name", "Odo"), ("passphrase", pass)]).await;

    bench.cookie.clone_from(&odo);
    let start = format!("what=start&socket={}", bench.socket);
    let refused = bench.post("/jobs/1/live", &start).await;
    assert_eq!(refused["status"], 403, "{refused}");
    bench.cookie.clone_from(&ann);
    let trace = bench.start(1).await;
    let pressed = bench.post("/jobs/1/live", "what=pressed&key=a").await;
    let number = u32::try_from(pressed["saved"].as_u64().unwrap()).unwrap();
    assert!(bench.desk.records().authors(1).unwrap().contains(&(number, "Ann".to_owned())));
    bench.cookie = odo;
    for act in ["what=pressed&key=b", "what=not-taken", "what=end", &format!("what=drop&trace={trace}")] {
        let refused = bench.post("/jobs/1/live", act).await;
        assert_eq!(refused["status"], 403, "{act}: {refused}");
    }
    assert_eq!(traces(&bench, 1)[0].to, None);
}

#[test]
fn a_bench_that_cannot_have_its_port_takes_no_meter() {
    let folder = tempfile::tempdir().unwrap();
    let meters = "format = 1\n[[socket]]\nname = \"loft\"\nkind = \"simulator\"\nmachine = \"tern.toml\"\n";
    std::fs::write(folder.path().join("meters.toml"), meters).unwrap();
    std::fs::write(folder.path().join("tern.toml"), include_str!("../../../machines/aldermere-tern-81.toml"))
        .unwrap();
    let taken = std::net::TcpListener::bind("127.0.0.1:0").unwrap();
    let desk = Arc::new(Desk::open(folder.path(), false).unwrap());
    let refused = server::serve(desk.clone(), Door::ThisComputer, taken.local_addr().unwrap(), None, |_| {
        panic!("the port is taken")
    });
    assert!(refused.is_err());
    assert_eq!(desk.records().sockets().unwrap(), []);
}
