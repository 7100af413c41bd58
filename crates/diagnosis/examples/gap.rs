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
    let a: Vec<String> = std::env::args().collect();
    let efforts: Vec<usize> = a[1].split(',').map(|x| x.parse().unwrap()).collect();
    for n in a[2].split(',').map(|x| x.parse::<usize>().unwrap()) {
        let mut sums = vec![[0.0f64; 5]; efforts.len()];
        let cnt = a[3].parse::<f64>().unwrap();
        for seed in 0..a[3].parse::<u64>().unwrap() {
            let p = problems::after_a_service_test(n, seed);
            let r = ratio_rule(&p).unwrap().cost;
            let zero = plan(&p, &Effort { states: 1, gap: 0.0 }).unwrap();
            print!("{n:3} {seed} pc {r:7.2} clair {:7.2}", zero.lower);
            for (i, &states) in efforts.iter().enumerate() {
                let t = cpu();
                let q = plan(&p, &Effort { states, gap: 0.0 }).unwrap();
                let c = cpu() - t;
                let e = &mut sums[i];
                e[0] += c;
                e[1] += q.lower;
                e[2] += q.upper;
                e[3] += 100.0 * q.gap() / q.upper;
                e[4] = e[4].max(c);
                print!(
                    " | {:6} {:5.2}s lo {:7.2} up {:7.2} gap {:5.1}%",
                    q.states,
                    cpu() - t,
                    q.lower,
                    q.upper,
                    100.0 * q.gap() / q.upper
                );
            }
            println!();
        }
        for (i, s) in sums.iter().enumerate() {
            println!(
                "  mean n {n} effort {} cpu {:.3} lo {:.3} up {:.3} gap {:.2}% worst cpu {:.3}",
                efforts[i],
                s[0] / cnt,
                s[1] / cnt,
                s[2] / cnt,
                s[3] / cnt,
                s[4]
            );
        }
    }
}
