//! Try.
#![allow(missing_docs, clippy::unwrap_used, reason = "a trial")]
use diagnosis::evidence::*;
use diagnosis::finding::*;
use diagnosis::setup::Setup;
use std::time::Instant;
fn main() {
    let args: Vec<String> = std::env::args().collect();
    let text = std::fs::read_to_string(&args[1]).unwrap();
    let machine = machine::read::read(&text, None).machine.unwrap();
    let truth = bench::Hypothesis::parse(&machine, &[args[2].as_str()]).unwrap();
    let mut setup = Setup::default();
    if let Some(n) = args.get(3) { setup.limits.likelihoods = n.parse().unwrap(); setup.limits.sets = n.parse().unwrap(); }
    let conditions = bench::Conditions::at(238.0);
    let p = bench::predict(&machine, &truth, &conditions);
    let h = bench::predict(&machine, &bench::Hypothesis::healthy(), &conditions);
    let mut e = Evidence { supply: Some(Supply { volts: 238.0, u_v: 1.0 }), ..Default::default() };
    for (i, (p, _)) in p.iter().zip(&h).enumerate() {
        if machine.test.steps[i].drives.is_empty() { continue; }
        let w = (p.power_w.value * 10.0).round() / 10.0;
        e.entries.push(Entry { clue: Clue::Step(StepReading { step: i, power_w: Some(quantity::Decoded { value: w, resolution: 0.1 }), ..Default::default() }), said: format!("step {}: {w} W", machine.test.steps[i].id), at: None, answers: None });
    }
    let fails: Vec<usize> = Vec::new(); let _ = fails;
    if let Some(code) = p.iter().rev().find_map(|p| p.code) {
        e.entries.push(Entry { clue: Clue::Code(Some(code)), said: format!("code {}", machine.codes[code].id), at: None, answers: None });
    }
    let t = Instant::now();
    let mut find = diagnosis::Find::new(&machine, &e, &setup).unwrap();
    println!("new {:?}", t.elapsed());
    for round in 0..args.get(4).map_or(8, |n| n.parse().unwrap()) {
        let t = Instant::now();
        let b = find.beliefs(&e).unwrap();
        println!("beliefs {:?}: {} cases", t.elapsed(), b.cases.len());
        let t = Instant::now();
        let f = find.finding(&e).unwrap();
        println!("round {round}: {:?} left out {:.1e} healthy {:.4}", t.elapsed(), f.left_out, f.healthy);
        if round == 0 { for s in &f.steps { println!("  {} {:?} {}", machine.test.steps[s.step].id, s.verdict, s.why); } }
        for s in &f.suspects { println!("  {:.4} {} {:?}: {}", s.probability, s.faults.says(&machine), s.sometimes, s.reason); }
        for c in &f.conflicts { println!("  ! {}", c.says); }
        println!("  minutes {:?}", f.minutes_left);
        for n in f.next.iter().take(3) {
            match &n.action {
                Action::Check(c) => { println!("  -> {} | {} min | {} | {}", c.id, c.minutes, c.caution, n.why); for (c, w) in n.reads.iter().take(4) { println!("       {}: {w}", c.says(&machine)); } }
                Action::Mend { says, .. } => println!("  -> MEND {says} {}", n.why),
                Action::HandBack { says, .. } => println!("  -> BACK {says} {}", n.why),
            }
        }
        if let Some(s) = &f.sure { println!("SURE {}", s.says); break; }
        let Some(Action::Check(c)) = f.next.first().map(|n| n.action.clone()) else { break };
        // answer from the truth
        let clue = if let Some(pts) = &c.between {
            let o = bench::ohms_between(&machine, &truth, (&pts[0], &pts[1]), &c.unplugged).unwrap();
            let shown = match o { bench::Ohms::Open => quantity::Reading::OverRange { below_zero: false }, bench::Ohms::Ohms { value, .. } => quantity::Reading::Value(quantity::Decoded { value: (value * 10.0).round() / 10.0, resolution: 0.1 }) };
            Clue::Ohms(OhmsReading { points: [bench::find_node(&machine, &pts[0]).unwrap(), bench::find_node(&machine, &pts[1]).unwrap()], names: pts.clone(), unplugged: c.unplugged.clone(), shown, insulation: false })
        } else if let Some(step) = c.step {
            Clue::Step(StepReading { step, power_w: Some(quantity::Decoded { value: p[step].power_w.value, resolution: 0.1 }), ..Default::default() })
        } else if let Some(rest) = c.id.strip_prefix("hand ") {
            let (part, id) = rest.split_once(' ').unwrap();
            let part = machine.part(part).unwrap();
            let check = machine.parts[part].kind.checks.iter().position(|k| k.id == id).unwrap();
            let mode = truth.faults().iter().find(|f| f.0 == part).map_or("", |f| machine.parts[part].kind.modes[f.1].name);
            Clue::Hand { part, check, yes: machine.parts[part].kind.checks[check].yes_in.contains(&mode) }
        } else {
            let id = c.id.strip_prefix("own ").unwrap();
            let check = machine.checks.iter().position(|k| k.id == id).unwrap();
            let yes = truth.faults().iter().any(|f| machine.checks[check].yes_with.iter().any(|(p, m)| *p == f.0 && m == machine.parts[f.0].kind.modes[f.1].name));
            Clue::Own { check, yes }
        };
        e.entries.push(Entry { said: format!("{} -> {:?}", c.id, clue), clue, at: None, answers: Some(c.id) });
    }
}
