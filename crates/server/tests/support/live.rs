//! A bench with a made-up meter on a socket, which speaks as fast as it is asked.
#![allow(dead_code, unreachable_pub, reason = "each test uses what it needs")]

use crate::support::{Bench, HOST};
use axum::body::Body;
use axum::http::{Request, StatusCode, header};
use futures_util::StreamExt;
use jiff::{SignedDuration, Timestamp};
use meters::{News, Reading};
use serde_json::Value;
use server::{Desk, plug};
use std::sync::Arc;
use std::time::Duration;
use tokio::sync::mpsc;
use tower::ServiceExt;

pub struct Live {
    pub bench: Bench,
    pub desk: Arc<Desk>,
    pub meter: mpsc::Sender<News>,
    pub socket: i64,
    /// Who asks.
    pub cookie: String,
}

impl Live {
    pub fn new() -> Live {
        Live::over(tempfile::tempdir().unwrap())
    }

    fn over(folder: tempfile::TempDir) -> Live {
        let (bench, desk) = Bench::over(folder);
        let (meter, news) = mpsc::channel(64);
        let socket = plug(&desk, "quay 3", news).unwrap().number();
        Live { bench, desk, meter, socket, cookie: String::new() }
    }

    /// The same folder opened again, as after a crash.
    pub fn again(self) -> Live {
        let Bench { routes, folder } = self.bench;
        drop((routes, self.desk, self.meter));
        Live::over(folder)
    }

    pub async fn json(&self, path: &str) -> Value {
        let (status, body) = self.get(path).await;
        assert_eq!(status, StatusCode::OK, "{path}: {body}");
        serde_json::from_str(&body).unwrap()
    }

    pub async fn get(&self, path: &str) -> (StatusCode, String) {
        let request = Request::get(path).header(header::HOST, HOST).header(header::COOKIE, &self.cookie);
        let (status, _, body) = self.bench.ask(request.body(Body::empty()).unwrap()).await;
        (status, body)
    }

    /// As a script of a page sends it.
    pub async fn post(&self, path: &str, form: &str) -> Value {
        let request = Request::post(path)
            .header(header::HOST, HOST)
            .header(header::COOKIE, &self.cookie)
            .header(header::ACCEPT, "application/json")
            .header(header::CONTENT_TYPE, "application/x-www-form-urlencoded")
            .body(Body::from(form.to_owned()))
            .unwrap();
        let (_, _, body) = self.bench.ask(request).await;
        serde_json::from_str(&body).unwrap_or(Value::Null)
    }

    pub async fn new_job(&self) {
        self.post("/new", "file=aldermere-tern-81&complaint=washes+cold").await;
    }

    /// The test of a job is followed on the bench's socket; the number of its trace.
    pub async fn start(&self, job: u8) -> i64 {
        let started =
            self.post(&format!("/jobs/{job}/live"), &format!("what=start&socket={}", self.socket)).await;
        started["trace"].as_i64().unwrap_or_else(|| panic!("{started}"))
    }

    /// The events of a stream until one of this name passes the test; fails after a while.
    pub async fn event(&self, path: &str, name: &str, is: impl Fn(&Value) -> bool) -> Value {
        let request = Request::get(path).header(header::HOST, HOST).header(header::COOKIE, &self.cookie);
        let request = request.body(Body::empty()).unwrap();
        let answer = self.bench.routes.clone().oneshot(request).await.unwrap();
        assert_eq!(answer.status(), StatusCode::OK);
        let mut body = answer.into_body().into_data_stream();
        let mut text = String::new();
        let mut last = Value::Null;
        let wait = async {
            loop {
                text.push_str(std::str::from_utf8(&body.next().await.unwrap().unwrap()).unwrap());
                while let Some((event, rest)) = text.split_once("\n\n") {
                    let line = |key: &str| {
                        event.lines().find_map(|l| l.strip_prefix(key)).unwrap_or_default().trim().to_owned()
                    };
                    let data = serde_json::from_str(&line("data:")).unwrap_or(Value::Null);
                    if line("event:") == name {
                        if is(&data) {
                            return data;
                        }
                        last = data;
                    }
                    let rest = rest.to_owned();
                    text = rest;
                }
            }
        };
        let told = tokio::time::timeout(Duration::from_mins(1), wait).await;
        told.unwrap_or_else(|_| panic!("no such {name} event; the last was {last}"))
    }

    pub async fn says(&self, at: Timestamp, watts: f64, volts: f64) {
        let reading = Reading {
            arrived: at,
            stamped: None,
            watts: Some(watts),
            volts: Some(volts),
            amps: None,
            power_factor: None,
            hertz: None,
            energy_j: None,
        };
        self.meter.send(News::Reading(reading)).await.unwrap();
    }

    /// Waits until what was sent is read and on the disk.
    pub async fn settled(&self, samples: usize, from: Timestamp) {
        for _ in 0..100 {
            let path = format!(
                "/api/sockets/{}/samples?from={}&pieces=4000",
                self.socket,
                from.as_millisecond() - 1
            );
            if self.json(&path).await["points"].as_array().unwrap().len() >= samples {
                return;
            }
            tokio::time::sleep(Duration::from_millis(50)).await;
        }
        panic!("the samples did not come");
    }
}

pub fn later(at: Timestamp, seconds: f64) -> Timestamp {
    at.checked_add(SignedDuration::from_millis((seconds * 1000.0) as i64)).unwrap()
}
