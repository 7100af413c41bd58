#![allow(missing_docs, clippy::unwrap_used)]
#[path = "../tests/problems/mod.rs"]
mod problems;
use diagnosis::plan::*;
use std::time::Instant;
fn main() {
    let a: Vec<String> = std::env::args().collect();
    let efforts: Vec<usize> = a[1].split(',').map(|x| x.parse().unwrap()).collect();
    for n in a[2].split(',').map(|x| x.parse::<usize>().unwrap()) {
        for seed in 0..a[3].parse::<u64>().unwrap() {
            let p = problems::after_a_service_test(n, seed);
            let r = ratio_rule(&p).unwrap().cost;
            let zero = plan(&p, &Effort { states: 1, gap: 0.0 }).unwrap();
            print!("{n:3} {seed} pc {r:7.2} clair {:7.2}", zero.lower);
            for &states in &efforts {
                let t = Instant::now();
                let q = plan(&p, &Effort { states, gap: 0.0 }).unwrap();
                print!(" | {:6} {:5.2}s lo {:7.2} up {:7.2} gap {:5.1}%", q.states, t.elapsed().as_secs_f64(), q.lower, q.upper, 100.0 * q.gap() / q.upper);
            }
            println!();
        }
    }
}
