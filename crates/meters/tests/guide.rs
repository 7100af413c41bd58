//! `docs/meters.md`: every file in it is good, and every kind of source has one.
#![allow(missing_docs, clippy::unwrap_used, reason = "a test")]

mod support;

use meters::{Config, Source, try_it};
use std::path::Path;
use std::time::Duration;

fn blocks() -> Vec<String> {
    let guide = std::fs::read_to_string(Path::new(support::ROOT).join("docs/meters.md")).unwrap();
    let blocks = guide.split("```toml\n").skip(1).map(|b| b.split("```").next().unwrap().to_owned());
    blocks.collect()
}

#[test]
fn every_file_in_the_guide_is_good_and_every_kind_has_one() {
    let mut kinds = Vec::new();
    for block in blocks() {
        let config = Config::read(&block).unwrap_or_else(|found| panic!("{block}\n{found:?}"));
        kinds.extend(config.sockets.iter().map(|s| match &s.source {
            Source::Mqtt(_) => "mqtt",
            Source::Modbus(m) => match m.wire {
                meters::Wire::Tcp { .. } => "modbus-tcp",
                meters::Wire::Serial(_) => "modbus-rtu",
            },
            Source::Scpi(_) => "scpi",
            Source::SerialLines(_) => "serial-lines",
            Source::HttpJson(_) => "http-json",
            Source::GrowingFile(_) => "growing-file",
            Source::Replay(_) => "replay",
            Source::Simulator(_) => "simulator",
        }));
    }
    let all = [
        "mqtt",
        "modbus-tcp",
        "modbus-rtu",
        "scpi",
        "serial-lines",
        "http-json",
        "growing-file",
        "replay",
        "simulator",
    ];
    assert_eq!(kinds, all);
}

#[tokio::test(start_paused = true)]
async fn the_files_of_the_guide_that_need_no_meter_give_readings() {
    for block in blocks() {
        let config = Config::read(&block).unwrap().in_folder(&Path::new(support::ROOT).join("docs"));
        let socket = &config.sockets[0];
        if matches!(socket.source, Source::Replay(_) | Source::Simulator(_)) {
            let tried = try_it(socket, Duration::from_secs(20)).await.unwrap();
            assert!(tried.iter().all(|t| t.reading.is_ok()), "{tried:?}");
        }
    }
}
