//! A full bench: 64 sockets at ten readings a second, 20 pages that listen, and somebody who goes from page to page.
//! Takes two minutes, so it is run by hand (docs/performance.md):
//! `cargo test --release -p server --test load -- --ignored --nocapture`.
#![allow(missing_docs, clippy::unwrap_used, reason = "a test")]

use jiff::Timestamp;
use meters::{News, Reading};
use server::{Desk, Door, plug, routes};
use std::net::SocketAddr;
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};
use tokio::io::{AsyncBufReadExt, AsyncReadExt, AsyncWriteExt, BufReader};
use tokio::net::TcpStream;
use tokio::sync::mpsc;

const SOCKETS: usize = 64;
const LISTENERS: usize = 20;
const EVERY: Duration = Duration::from_millis(100);

fn seconds() -> u64 {
    std::env::var("LOAD_SECONDS").ok().and_then(|s| s.parse().ok()).unwrap_or(120)
}

fn resident_mb() -> f64 {
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let line = status.lines().find(|l| l.starts_with("VmRSS:")).unwrap_or("VmRSS: 0 kB");
    line.split_whitespace().nth(1).unwrap().parse::<f64>().unwrap() / 1024.0
}

async fn ask(at: SocketAddr, path: &str) -> TcpStream {
    let mut stream = TcpStream::connect(at).await.unwrap();
    let request = format!("GET {path} HTTP/1.1\r\nHost: localhost\r\nConnection: close\r\n\r\n");
    stream.write_all(request.as_bytes()).await.unwrap();
    stream
}

/// Notes the delays of all points that a listener hears, ms.
async fn listen(at: SocketAddr, socket: i64, delays: Arc<Mutex<Vec<f64>>>) {
    let mut lines = BufReader::new(ask(at, &format!("/api/sockets/{socket}/live")).await).lines();
    let mut points = false;
    while let Ok(Some(line)) = lines.next_line().await {
        if let Some(name) = line.strip_prefix("event:") {
            points = name.trim() == "points";
        } else if let Some(data) = line.strip_prefix("data:").filter(|_| points) {
            let now = Timestamp::now().as_microsecond() as f64 / 1000.0;
            let all: Vec<(f64, f64)> = serde_json::from_str(data.trim()).unwrap();
            delays.lock().unwrap().extend(all.iter().map(|p| now - p.0));
        }
    }
}

fn share(sorted: &[f64], p: f64) -> f64 {
    sorted[((sorted.len() - 1) as f64 * p).round() as usize]
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
#[ignore = "takes two minutes"]
async fn a_full_bench_loses_no_sample_and_answers_in_time() {
    let folder = tempfile::tempdir().unwrap();
    let desk = Arc::new(Desk::open(folder.path(), false).unwrap());
    server::scenario(desk.records(), &server::now()).unwrap();
    let mut meters = Vec::new();
    for n in 0..SOCKETS {
        let (meter, news) = mpsc::channel(256);
        meters.push((plug(&desk, &format!("socket {n:02}"), news).unwrap(), meter));
    }
    let listener = tokio::net::TcpListener::bind("127.0.0.1:0").await.unwrap();
    let at = listener.local_addr().unwrap();
    let serving =
        tokio::spawn(axum::serve(listener, routes(desk.clone(), Door::ThisComputer, false)).into_future());
    let delays = Arc::new(Mutex::new(Vec::new()));
    let ears: Vec<_> = (0..LISTENERS)
        .map(|n| tokio::spawn(listen(at, meters[n % SOCKETS].0.number(), delays.clone())))
        .collect();
    let begin = Timestamp::now();
    let end = Instant::now() + Duration::from_secs(seconds());
    let feed = {
        let meters = meters.clone();
        tokio::spawn(async move {
            let mut ticks = tokio::time::interval(EVERY);
            let mut sent = 0_usize;
            while Instant::now() < end {
                ticks.tick().await;
                for (n, (_, meter)) in meters.iter().enumerate() {
                    let watts = 5.0 + ((sent + 7 * n) % 300) as f64;
                    let reading = Reading {
                        arrived: Timestamp::now(),
                        stamped: None,
                        watts: Some(watts),
                        volts: Some(235.0),
                        amps: Some(watts / 235.0),
                        power_factor: None,
                        hertz: None,
                        energy_j: None,
                    };
                    meter.send(News::Reading(reading)).await.unwrap();
                }
                sent += 1;
            }
            sent
        })
    };
    let mut took = Vec::new();
    let mut resident = Vec::new();
    let paths = ["/", "/jobs/4", "/jobs/2", "/sockets", "/machines", "/jobs/4/find", "/api/sockets"];
    for (n, path) in paths.iter().cycle().enumerate() {
        if Instant::now() >= end {
            break;
        }
        let began = Instant::now();
        let mut answer = Vec::new();
        ask(at, path).await.read_to_end(&mut answer).await.unwrap();
        assert!(answer.starts_with(b"HTTP/1.1 200"), "{path}");
        took.push(began.elapsed().as_secs_f64() * 1000.0);
        if n % 50 == 0 {
            resident.push(resident_mb());
        }
        tokio::time::sleep(Duration::from_millis(80)).await;
    }
    let sent = feed.await.unwrap();
    tokio::time::sleep(Duration::from_secs(2)).await;
    let to = Timestamp::now();
    for (id, _) in &meters {
        let kept = desk.records().samples(*id, begin, to).unwrap().len();
        assert_eq!(kept, sent, "of socket {}", id.number());
    }
    serving.abort();
    let mut delays = delays.lock().unwrap().clone();
    delays.sort_by(f64::total_cmp);
    ears.iter().for_each(tokio::task::JoinHandle::abort);
    took.sort_by(f64::total_cmp);
    println!(
        "{SOCKETS} sockets × {sent} samples kept, none lost; {} points heard by {LISTENERS} listeners: \
         p99 {:.0} ms after they came, longest {:.0} ms",
        delays.len(),
        share(&delays, 0.99),
        share(&delays, 1.0)
    );
    println!(
        "{} pages: median {:.1} ms, p99 {:.1} ms, longest {:.1} ms",
        took.len(),
        share(&took, 0.5),
        share(&took, 0.99),
        share(&took, 1.0)
    );
    println!("resident, MB: {resident:.0?}");
}
