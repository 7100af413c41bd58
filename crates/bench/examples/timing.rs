//! timing
#![allow(clippy::unwrap_used, clippy::print_stdout, reason = "a tool for the project's developers")]
use bench::{Bench, Conditions, Hypothesis};
fn main() {
    let a: Vec<String> = std::env::args().collect();
    let m = machine::read::read(&std::fs::read_to_string(&a[1]).unwrap(), None).machine.unwrap();
    let singles: Vec<_> = m.single_faults().collect();
    let c = Conditions::at(230.0);
    let mut b = Bench::new(&m);
    let t = std::time::Instant::now();
    for &f in &singles {
        std::hint::black_box(b.predict(&Hypothesis::of([f]), &c));
    }
    println!("{} singles: {:?}", singles.len(), t.elapsed());
    let t = std::time::Instant::now();
    let mut n = 0;
    'o: for (i, &f) in singles.iter().enumerate() {
        for &g in &singles[i + 1..] {
            if f.0 == g.0 {
                continue;
            }
            n += 1;
            std::hint::black_box(b.predict(&Hypothesis::of([f, g]), &c));
            if n == 2000 {
                break 'o;
            }
        }
    }
    println!("{n} doubles: {:?}", t.elapsed());
    let nowires: Vec<_> = singles.iter().filter(|f| m.parts[f.0].ends.is_none()).collect();
    println!(
        "without wires: {} modes in {} parts",
        nowires.len(),
        m.parts.iter().filter(|p| p.ends.is_none()).count()
    );
}
