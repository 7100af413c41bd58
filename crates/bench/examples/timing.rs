use bench::*;
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
    let args: Vec<String> = std::env::args().collect();
    let check = args.iter().any(|a| a == "check");
    for name in [
        "quaydon-ember-60",
        "brinehaven-gannet-7",
        "saltreach-pilot-12",
        "polwarren-cockle-52",
        "aldermere-tern-81",
    ] {
        if args.len() > 1
            && !args.iter().any(|a| name.contains(a.as_str()))
            && !args.iter().all(|a| a == "check" || a.contains('/'))
        {
            continue;
        }
        let text = std::fs::read_to_string(format!("machines/{name}.toml")).unwrap();
        let m = machine::read::read(&text, None).machine.unwrap();
        let c = Conditions::at(m.plate.supply_v);
        for wires in [false, true] {
            if wires && args.iter().any(|a| a == "nowires") {
                continue;
            }
            let singles: Vec<_> =
                m.single_faults().filter(|f| wires || m.parts[f.0].ends.is_none()).collect();
            let mut hyps: Vec<Hypothesis> = vec![Hypothesis::healthy()];
            hyps.extend(singles.iter().map(|&f| Hypothesis::of([f])));
            for (i, a) in singles.iter().enumerate() {
                for b in &singles[i + 1..] {
                    if a.0 != b.0 {
                        hyps.push(Hypothesis::of([*a, *b]));
                    }
                }
            }
            let mut best = f64::MAX;
            let mut run = 0;
            let mut new = 0.0;
            for _ in 0..std::env::var("N").map_or(5, |n| n.parse().unwrap()) {
                let t = cpu();
                let mut s = Sweep::new(&m, &c);
                new = cpu() - t;
                for h in &hyps {
                    std::hint::black_box(s.predict(h));
                }
                best = best.min(cpu() - t);
                run = s.steps_run();
            }
            println!(
                "{name} wires {wires}: {} modes {} hyps x {} steps: {:.1} ms (new {:.1}), {} run",
                singles.len(),
                hyps.len(),
                m.test.steps.len(),
                best * 1e3,
                new * 1e3,
                run
            );
            if check {
                let mut s = Sweep::new(&m, &c);
                let mut b = Bench::new(&m);
                let mut bad = 0;
                let mut worst = 0f64;
                for h in &hyps {
                    let ids = s.predict(h);
                    for (id, long) in ids.iter().zip(b.predict(h, &c)) {
                        let short = s.get(*id);
                        let rel = |x: f64, y: f64| (x - y).abs() / (1.0 + y.abs());
                        let d = [
                            rel(short.power_w.value, long.power_w.value),
                            rel(short.power_w.u, long.power_w.u),
                            rel(short.current_a.value, long.current_a.value),
                            rel(short.current_a.u, long.current_a.u),
                            rel(short.apparent_va, long.apparent_va),
                            rel(short.power_factor.unwrap_or(-1.), long.power_factor.unwrap_or(-1.)),
                            rel(short.speed_rpm.value, long.speed_rpm.value),
                            rel(short.water_l, long.water_l),
                            rel(short.rise_k.value, long.rise_k.value),
                            rel(short.lasts_s, long.lasts_s),
                            rel(short.earth_a, long.earth_a),
                        ]
                        .into_iter()
                        .fold(0.0, f64::max);
                        let eq = (
                            short.code,
                            short.code_shown,
                            short.timed_out,
                            short.one_way,
                            short.ended,
                            &short.signs,
                            &short.refused,
                            &short.trip,
                        ) == (
                            long.code,
                            long.code_shown,
                            long.timed_out,
                            long.one_way,
                            long.ended,
                            &long.signs,
                            &long.refused,
                            &long.trip,
                        );
                        worst = worst.max(d);
                        if d > 1e-9 || !eq {
                            bad += 1;
                            if bad < 4 {
                                println!("BAD {} {d:e}\n{short:?}\n{long:?}", h.says(&m));
                            }
                        }
                    }
                }
                println!("   bad {bad} worst {worst:e}");
            }
        }
    }
}
