//! Whatever can be wrong with a shipped machine can be found out: each fault of each part is told from healthy by a step
//! of the service test, by an ohmmeter at the part, or by a check of its kind or of the file.
#![allow(missing_docs, clippy::unwrap_used, reason = "a test")]

mod support;

use bench::{Conditions, Hypothesis, Ohms, Prediction, ohms_between, predict};
use machine::model::{Machine, NodeId, PartId, node};

/// What a person with a plug-in meter tells apart: 2 W and 3 %, half a dozen turns, a third of a litre, two seconds.
fn step_tells(healthy: &Prediction, faulty: &Prediction) -> bool {
    let apart = |a: f64, b: f64, least: f64, share: f64| (a - b).abs() > least.max(share * a.abs());
    let code = |p: &Prediction| p.code.filter(|_| p.code_shown);
    apart(healthy.power_w.value, faulty.power_w.value, 2.0, 0.03)
        || apart(healthy.current_a.value, faulty.current_a.value, 0.02, 0.03)
        || apart(healthy.speed_rpm.value, faulty.speed_rpm.value, 6.0, 0.05)
        || apart(healthy.water_l, faulty.water_l, 0.3, 0.05)
        || apart(healthy.lasts_s, faulty.lasts_s, 2.0, 0.05)
        || code(healthy) != code(faulty)
        || (&healthy.signs, &healthy.trip) != (&faulty.signs, &faulty.trip)
        || (healthy.one_way, healthy.timed_out, healthy.ended)
            != (faulty.one_way, faulty.timed_out, faulty.ended)
}

/// The names that open every joint at these nodes.
fn joints_at(machine: &Machine, nodes: &[NodeId]) -> Vec<String> {
    let here = machine.joints.iter().filter(|j| nodes.contains(&j.inner) || nodes.contains(&j.outer));
    let mut names: Vec<String> = here.map(|j| j.opens_with.clone()).collect();
    names.sort();
    names.dedup();
    names
}

/// Does an ohmmeter tell, between two terminals of the part or from one of them to the cabinet: with the part alone, with
/// all plugged, or with one end open, as a wire is followed?
fn ohms_tell(machine: &Machine, part: PartId, fault: &Hypothesis) -> bool {
    let own: Vec<NodeId> = machine.parts[part].terminals.iter().flatten().copied().collect();
    let ways: Vec<Vec<String>> =
        [&own[..], &[]].into_iter().chain(own.chunks(1)).map(|open| joints_at(machine, open)).collect();
    let mut ends = own.clone();
    // The metal, and the pins of the pulled plug.
    ends.extend([node::CHASSIS, node::LINE, node::NEUTRAL, node::EARTH]);
    let differs = |a: NodeId, b: NodeId, open: &[String]| {
        let read = |h: &Hypothesis| {
            let names = (machine.nodes[a].as_str(), machine.nodes[b].as_str());
            ohms_between(machine, h, names, open).unwrap()
        };
        match (read(&Hypothesis::healthy()), read(fault)) {
            (Ohms::Open, Ohms::Open) => false,
            (Ohms::Ohms { value: x, u: ux }, Ohms::Ohms { value: y, u: uy }) => {
                (x - y).abs() > (2.0 * ux.hypot(uy)).max(0.01 * x)
            }
            _ => true,
        }
    };
    ways.iter()
        .any(|open| ends.iter().enumerate().any(|(i, &a)| ends[..i].iter().any(|&b| differs(a, b, open))))
}

fn check_tells(machine: &Machine, part: PartId, mode: &str) -> bool {
    let of_kind = machine.parts[part].kind.checks.iter();
    let of_file = machine.checks.iter();
    of_kind.clone().any(|c| c.yes_in.contains(&mode) != c.yes_in.contains(&""))
        || of_file
            .clone()
            .any(|c| c.yes_with.iter().any(|(p, m)| *p == part && m == mode) != c.yes_when_healthy)
}

#[test]
fn every_fault_of_every_shipped_machine_can_be_told() {
    let mut untold = Vec::new();
    for (file, text) in support::shipped() {
        let machine = support::read(&text);
        // Dry, and with the cup of water that a test may ask for.
        let dry = Conditions::at(machine.plate.supply_v);
        let both = [dry, Conditions { water_l: 0.8, ..dry }];
        let predict = |h: &Hypothesis| both.map(|c| predict(&machine, h, &c)).concat();
        let healthy = predict(&Hypothesis::healthy());
        for (part, mode) in machine.single_faults() {
            let name = machine.parts[part].kind.modes[mode].name;
            let fault = Hypothesis::of([(part, mode)]);
            let told = check_tells(&machine, part, name)
                || healthy.iter().zip(&predict(&fault)).any(|(h, f)| step_tells(h, f))
                || ohms_tell(&machine, part, &fault);
            if !told {
                untold.push(format!("{file}: {}: {name}", machine.parts[part].id));
            }
        }
    }
    assert!(untold.is_empty(), "nothing tells these from healthy: {untold:?}");
}
