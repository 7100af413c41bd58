//! Writes the networks of shipped machines in steps of their service tests as descriptions for `tests/reference/make.py`.
//!
//! `cargo run -p circuit --example export && (cd crates/circuit/tests/reference && python3 make.py)`
#![allow(clippy::unwrap_used, reason = "a tool for the project's own tests")]

#[path = "../tests/support/steps.rs"]
#[allow(unreachable_pub, missing_docs, reason = "shared with a test")]
mod steps;

use circuit::{Impedance, Wiring};
use serde_json::{Value, json};
use std::path::Path;

fn main() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/reference");
    for (name, tested) in steps::COMPARED {
        for step in tested {
            let path = folder.join(format!("{name}.{step}.json").replace('.', "-").replace("-json", ".json"));
            std::fs::write(&path, serde_json::to_string_pretty(&describe(name, step)).unwrap() + "\n")
                .unwrap();
            println!("{}", path.display());
        }
    }
}

fn describe(name: &str, step: &str) -> Value {
    let machine = steps::load(name);
    let mut wiring = Wiring::new(&machine);
    wiring.assemble(&vec![None; machine.parts.len()], &steps::situations(&machine, step));
    let mut nodes = machine.nodes.clone();
    nodes.push("installation".to_owned());
    let omega = std::f64::consts::TAU * machine.plate.supply_hz;
    let mut branches = Vec::new();
    for (number, branch) in wiring.network().branches().iter().enumerate() {
        let (from, to) = (&nodes[branch.from.0 as usize], &nodes[branch.to.0 as usize]);
        let mut put = |name: String, from: &str, to: &str, (key, value): (&str, Value), more: Option<f64>| {
            let mut entry = json!({"name": name, "from": from, "to": to, key: value});
            if let Some(henry) = more {
                entry["henry"] = json!(henry);
            }
            branches.push(entry);
        };
        let name = format!("b{number}");
        match branch.element.ac {
            Impedance::Open => put(name, from, to, ("open", json!(true)), None),
            Impedance::Short => put(name, from, to, ("short", json!(true)), None),
            Impedance::Ohms(z) if z.im > 0.0 => put(name, from, to, ("ohm", json!(z.re)), Some(z.im / omega)),
            Impedance::Ohms(z) if z.im < 0.0 && z.re == 0.0 => {
                put(name, from, to, ("farad", json!(-1.0 / (omega * z.im))), None);
            }
            Impedance::Ohms(z) if z.im < 0.0 => {
                let middle = format!("{name}-middle");
                put(format!("{name}-r"), from, &middle, ("ohm", json!(z.re)), None);
                put(name, &middle, to, ("farad", json!(-1.0 / (omega * z.im))), None);
            }
            Impedance::Ohms(z) => put(name, from, to, ("ohm", json!(z.re)), None),
        }
    }
    json!({
        "about": format!("{name} in step {step}, written by the example `export`."),
        "hertz": machine.plate.supply_hz,
        "supply": {"line": nodes[machine::model::node::LINE], "neutral": "installation", "volts": 230.0, "source_ohm": 0.0},
        "branches": branches,
        "resistances": [],
    })
}
