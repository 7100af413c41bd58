//! Speed of the cut and of the loads on the labelled recordings, tiled.
fn main() {
    let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data/tracebase");
    let (mut time_s, mut power_w) = (Vec::new(), Vec::new());
    let mut at = 0.0;
    let mut runs = Vec::new();
    let mut names: Vec<_> = std::fs::read_dir(folder).unwrap().map(|e| e.unwrap().path()).collect();
    names.sort();
    for path in names.iter().filter(|p| p.extension().is_some_and(|e| e == "csv")) {
        let from = time_s.len();
        for line in std::fs::read_to_string(path).unwrap().lines().skip(1) {
            let (t, p) = line.split_once(',').unwrap();
            time_s.push(at + t.parse::<f64>().unwrap());
            power_w.push(p.parse::<f64>().unwrap());
        }
        at = time_s.last().unwrap() + 1.0;
        runs.push(from..time_s.len());
    }
    let started = std::time::Instant::now();
    for _ in 0..10 {
        for run in &runs {
            std::hint::black_box(trace::loads::loads(&time_s[run.clone()], &power_w[run.clone()], None));
        }
    }
    let s = started.elapsed().as_secs_f64();
    println!("loads: {:.2} M samples/s", 10.0 * time_s.len() as f64 / s / 1e6);
    let series: Vec<f64> = power_w.iter().copied().cycle().take(100_000).collect();
    for charge in [
        trace::cut::Charge::least_squares(trace::cut::Charge::of(&series).penalty),
        trace::cut::Charge::least_squares(20_000.0),
        trace::cut::Charge::of(&series),
    ] {
        let started = std::time::Instant::now();
        let cut = trace::cut::cut(&series, charge);
        println!(
            "cut of 100000, {charge:?}: {:.1} ms, {} segments",
            started.elapsed().as_secs_f64() * 1e3,
            cut.ends.len()
        );
    }
}
