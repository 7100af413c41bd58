//! Machines larger than those shipped, and a clock for benchmarks on a busy computer.
#![allow(
    dead_code,
    unreachable_pub,
    clippy::unwrap_used,
    reason = "each benchmark takes from it what it needs"
)]

use machine::model::Machine;
use std::sync::OnceLock;
use std::time::{Duration, Instant};

/// Time for which this thread has had a core, so that a busy machine measures like an idle one. Linux tells it (to some
/// milliseconds); elsewhere it is the time that has gone by.
pub fn core_time() -> Duration {
    static START: OnceLock<Instant> = OnceLock::new();
    let on_core = std::fs::read_to_string("/proc/thread-self/schedstat").ok();
    let nanoseconds = on_core.and_then(|text| text.split(' ').next()?.parse().ok());
    nanoseconds.map_or_else(|| START.get_or_init(Instant::now).elapsed(), Duration::from_nanos)
}

/// The largest shipped machine with so many further inlet valves, each behind a triac of its own, all open in the step
/// that fills through the soak chamber.
pub fn with_further_valves(count: usize) -> Machine {
    let mut text = include_str!("../../../machines/aldermere-tern-81.toml").to_owned();
    let mut insert_before = |mark: &str, lines: &dyn Fn(usize) -> String| {
        assert_eq!(text.matches(mark).count(), 1, "`{mark}`");
        let new: String = (1..=count).map(lines).collect();
        text = text.replace(mark, &(new + mark));
    };
    insert_before("[part.drawer-hose]", &|n| {
        format!(
            "[part.valve-{n}]\nkind = \"inlet valve\"\ncoil = \"3k6 ±12 %\"\nflow = \"1 l/min ±15 %\"\n\
             through = \"inlet-hose\"\nbehind = \"lid\"\n\n"
        )
    });
    insert_before("empty = { triac", &|n| format!("more-{n} = {{ triac = [\"A1.3\", \"A9.{n}\"] }}\n"));
    insert_before("\"A7.1 = level.plus\"", &|n| {
        format!("\"A9.{n} = valve-{n}.1\", \"valve-{n}.2 = valve-neutral\",\n")
    });
    let more = (1..=count).map(|n| format!("\"more-{n}\""));
    let drives: Vec<String> = ["\"bolt\"", "\"soak\""].map(str::to_owned).into_iter().chain(more).collect();
    let drives = format!("drives = [{}]", drives.join(", "));
    machine::read::read(&text.replace("drives = [\"bolt\", \"soak\"]", &drives), None).machine.unwrap()
}
