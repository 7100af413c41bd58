//! timing
use bench::*;
fn main() {
    let a: Vec<String> = std::env::args().collect();
    let m = machine::read::read(&std::fs::read_to_string(&a[1]).unwrap(), None).machine.unwrap();
    let wires = a.len() > 2;
    let singles: Vec<_> = m.single_faults().filter(|f| wires || m.parts[f.0].ends.is_none()).collect();
    let c = Conditions::at(230.0);
    let t = std::time::Instant::now();
    let mut s = Sweep::new(&m, &c);
    println!("new {:?}", t.elapsed());
    for &f in &singles { s.predict(&Hypothesis::of([f])); }
    println!("{} singles: {:?} runs {}", singles.len(), t.elapsed(), s.steps_run());
    let mut n = 0;
    for (i, &f) in singles.iter().enumerate() { for &g in &singles[i+1..] { if f.0 == g.0 { continue; } n += 1; std::hint::black_box(s.predict(&Hypothesis::of([f, g]))); } }
    println!("{n} doubles: {:?} runs {}", t.elapsed(), s.steps_run());
    if a.len() > 3 {
    let mut b = Bench::new(&m); let mut bad = 0;
    for (i, &f) in singles.iter().enumerate() { for &g in &singles[i..] { if f.0 == g.0 && f != g { continue; } let h = Hypothesis::of([f, g]); let ids = s.predict(&h); let d = b.predict(&h, &c); for (x, y) in ids.iter().zip(&d) { let x = s.get(*x); if (x.power_w.value - y.power_w.value).abs() > 1e-6 * (1.0 + y.power_w.value) || x.code != y.code || x.signs != y.signs || x.refused != y.refused || (x.water_l - y.water_l).abs() > 1e-9 { bad += 1; if bad < 15 { println!("{} {} {} vs {} {:?} {:?} {:?} {:?} w {} {}", h.says(&m), x.step, x.power_w.value, y.power_w.value, x.code, y.code, x.signs, y.signs, x.water_l, y.water_l); } break; } } } }
    println!("bad {bad}");
    }
}
