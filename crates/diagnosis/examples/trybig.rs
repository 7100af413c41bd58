//! Try.
#![allow(missing_docs, clippy::unwrap_used, reason = "a trial")]
use diagnosis::evidence::*;
use diagnosis::setup::Setup;
use std::time::Instant;
fn main() {
    let args: Vec<String> = std::env::args().collect();
    let text = std::fs::read_to_string(&args[1]).unwrap();
    let machine = machine::read::read(&text, None).machine.unwrap();
    let trace = trace::read::read(std::fs::File::open(&args[2]).unwrap(), &Default::default()).unwrap().0;
    let mut setup = Setup::default();
    setup.limits.likelihoods = args[3].parse().unwrap();
    let e = Evidence { trace: Some(Recording { name: "t".into(), samples: trace.samples, marks: vec![] }), ..Default::default() };
    let t = Instant::now();
    let mut find = diagnosis::Find::new(&machine, &e, &setup).unwrap();
    println!("new {:?}", t.elapsed());
    let t = Instant::now();
    let b = find.beliefs(&e).unwrap();
    println!("beliefs {:?} left {}", t.elapsed(), b.left_out);
    for (c, p) in b.cases.iter().take(6) { println!("{p:.4} {}", c.says(&machine)); }
}
