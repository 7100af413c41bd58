//! smoke
#![allow(clippy::unwrap_used, clippy::print_stdout, reason = "a tool for the project's developers")]
fn main() {
    let a: Vec<String> = std::env::args().collect();
    let text = std::fs::read_to_string(&a[1]).unwrap();
    let out = machine::read::read(&text, None);
    for d in &out.diagnostics {
        println!(
            "{:?} {} {:?} {} {:?}",
            d.severity,
            d.rule,
            machine::diagnostic::line_column(&text, d.span.start),
            d.message,
            d.remedies
        );
    }
    let Some(m) = out.machine else { return };
    for d in bench::review(&m) {
        println!(
            "{:?} {} {:?} {} {:?}",
            d.severity,
            d.rule,
            machine::diagnostic::line_column(&text, d.span.start),
            d.message,
            d.remedies
        );
    }
    println!("{} parts {} modes {} nodes", m.parts.len(), m.single_faults().count(), m.nodes.len());
    let h = bench::Hypothesis::parse(&m, &a[2..]).unwrap();
    for p in bench::predict(&m, &h, &bench::Conditions::at(230.0)) {
        println!(
            "{:8} {:7.1}±{:.1} W {:.3} A pf {:.2} {:.0} rpm {}ow {:.2} l {:.2} K {:.0}s to:{} ref{:?} code{:?} {:?} trip{:?} e{:.4}",
            p.step,
            p.power_w.value,
            p.power_w.u,
            p.current_a.value,
            p.power_factor.unwrap_or(0.0),
            p.speed_rpm.value,
            p.one_way,
            p.water_l,
            p.rise_k.value,
            p.lasts_s,
            p.timed_out,
            p.refused,
            p.code,
            p.signs,
            p.trip,
            p.earth_a
        );
    }
}
