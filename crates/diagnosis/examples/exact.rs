#![allow(missing_docs, clippy::unwrap_used)]
#[path = "../tests/problems/mod.rs"]
mod problems;
use diagnosis::plan::*;
fn cpu() -> f64 {
    std::fs::read_to_string("/proc/self/schedstat")
        .unwrap()
        .split(' ')
        .next()
        .unwrap()
        .parse::<f64>()
        .unwrap()
        * 1e-9
}
fn main() {
    for name in std::env::args().skip(1) {
        let p = problems::load(&name).problem;
        let t = cpu();
        let w = std::time::Instant::now();
        let q = plan(&p, &Effort { states: 50_000_000, gap: 0.0 }).unwrap();
        let rss = std::fs::read_to_string("/proc/self/status")
            .unwrap()
            .lines()
            .find(|l| l.starts_with("VmHWM"))
            .unwrap()
            .to_owned();
        println!(
            "{name} cpu {:.3} wall {:.3} states {} gap {} {rss}",
            cpu() - t,
            w.elapsed().as_secs_f64(),
            q.states,
            q.gap()
        );
    }
}
