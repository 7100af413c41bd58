//! Circuits solved by a general-purpose circuit simulator.
//!
//! Source: ngspice 39 (Debian package `ngspice`), analysis `.ac` for the mains and `.op` for ohmmeter readings. Descriptions,
//! netlists, results and the script that makes the latter from the former lie in `tests/reference/`.
#![allow(missing_docs, clippy::unwrap_used, reason = "a test")]

use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};

use circuit::{BranchId, Complex64, Element, Network, NodeId, Resistance, Supply};
use serde::Deserialize;
use serde::de::DeserializeOwned;

/// The simulator's own convergence and its 10¹⁵ Ω ties leave less than this.
const RELATIVE: f64 = 1e-6;

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Description {
    #[serde(rename = "about")]
    _about: String,
    hertz: f64,
    supply: DescribedSupply,
    branches: Vec<DescribedBranch>,
    resistances: Vec<(String, String)>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct DescribedSupply {
    line: String,
    neutral: String,
    volts: f64,
    source_ohm: f64,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct DescribedBranch {
    name: String,
    from: String,
    to: String,
    ohm: Option<f64>,
    henry: Option<f64>,
    farad: Option<f64>,
    #[serde(default)]
    short: bool,
    #[serde(default)]
    open: bool,
}

#[derive(Deserialize)]
struct Simulated {
    floating: Vec<String>,
    voltage_v: BTreeMap<String, [f64; 2]>,
    current_a: BTreeMap<String, [f64; 2]>,
    supply_current_a: [f64; 2],
    resistance: Vec<SimulatedResistance>,
}

#[derive(Deserialize)]
struct SimulatedResistance {
    from: String,
    to: String,
    ohm: Option<f64>,
}

struct Circuit {
    name: String,
    network: Network,
    nodes: BTreeMap<String, NodeId>,
    branches: BTreeMap<String, BranchId>,
    supply: Supply,
    simulated: Simulated,
}

impl DescribedBranch {
    fn element(&self, hertz: f64) -> Element {
        match *self {
            Self { short: true, .. } => Element::SHORT,
            Self { open: true, .. } => Element::OPEN,
            Self { farad: Some(farad), .. } => Element::capacitor(farad, hertz),
            Self { henry: Some(henry), ohm, .. } => Element::coil(ohm.unwrap(), henry, hertz),
            Self { ohm, .. } => Element::resistor(ohm.unwrap()),
        }
    }
}

fn read<T: DeserializeOwned>(path: &Path) -> T {
    let text = std::fs::read_to_string(path).unwrap_or_else(|error| panic!("{}: {error}", path.display()));
    serde_json::from_str(&text).unwrap_or_else(|error| panic!("{}: {error}", path.display()))
}

fn load(path: &Path) -> Circuit {
    let description: Description = read(path);
    let simulated: Simulated = read(&path.with_extension("result.json"));
    let names: BTreeSet<&String> =
        description.branches.iter().flat_map(|branch| [&branch.from, &branch.to]).collect();
    let nodes: BTreeMap<String, NodeId> =
        (0..).map(NodeId).zip(names).map(|(id, name)| (name.clone(), id)).collect();
    let mut network = Network::new(nodes.len());
    let mut branches = BTreeMap::new();
    for branch in &description.branches {
        let id =
            network.add(nodes[&branch.from], nodes[&branch.to], branch.element(description.hertz)).unwrap();
        assert!(branches.insert(branch.name.clone(), id).is_none(), "two branches called {}", branch.name);
    }
    let DescribedSupply { line, neutral, volts, source_ohm } = description.supply;
    let supply = Supply { line: nodes[&line], neutral: nodes[&neutral], volts, source_ohm };
    assert_eq!(simulated.resistance.len(), description.resistances.len(), "run make.py again");
    Circuit {
        name: path.file_stem().unwrap().display().to_string(),
        network,
        nodes,
        branches,
        supply,
        simulated,
    }
}

fn circuits() -> Vec<Circuit> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/reference");
    let is_description = |path: &PathBuf| {
        let name = path.to_string_lossy();
        name.ends_with(".json") && !name.ends_with(".result.json")
    };
    let mut paths: Vec<_> = std::fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path()).collect();
    paths.retain(is_description);
    paths.sort();
    paths.iter().map(|path| load(path)).collect()
}

/// Equal to `RELATIVE` of the value; what the simulator has at a billionth of the supply is its rounding.
fn assert_near(found: Complex64, [re, im]: [f64; 2], rounding: f64, what: &str) {
    let simulated = Complex64::new(re, im);
    let allowed = RELATIVE * simulated.norm() + rounding;
    assert!((found - simulated).norm() <= allowed, "{what}: {found}, simulator {simulated}");
}

#[test]
fn at_least_ten_circuits_are_compared() {
    assert!(circuits().len() >= 10);
}

#[test]
fn voltages_agree_with_the_simulator() {
    for circuit in circuits() {
        let solution = circuit.network.solve(&circuit.supply).unwrap();
        for (node, simulated) in &circuit.simulated.voltage_v {
            let found = solution.voltage_between(circuit.nodes[node], circuit.supply.neutral).unwrap();
            assert_near(
                found,
                *simulated,
                1e-12 * circuit.supply.volts,
                &format!("{}: voltage of {node}", circuit.name),
            );
        }
        for node in &circuit.simulated.floating {
            let found = solution.voltage_between(circuit.nodes[node], circuit.supply.neutral);
            assert_eq!(found, None, "{}: {node} floats", circuit.name);
        }
        let told = circuit.simulated.voltage_v.len() + circuit.simulated.floating.len();
        assert_eq!(told, circuit.nodes.len(), "{}: run make.py again", circuit.name);
    }
}

#[test]
fn currents_agree_with_the_simulator() {
    for circuit in circuits() {
        let solution = circuit.network.solve(&circuit.supply).unwrap();
        let total =
            Complex64::new(circuit.simulated.supply_current_a[0], circuit.simulated.supply_current_a[1]);
        for (branch, id) in &circuit.branches {
            let simulated = circuit.simulated.current_a[branch];
            let what = format!("{}: current of {branch}", circuit.name);
            // The simulator takes currents from differences of potentials: 1e-13 of the supply current is its noise.
            assert_near(solution.current(*id), simulated, 1e-13 * total.norm() + 1e-14, &what);
        }
        let plug = solution.plug();
        assert_near(plug.current_a.into(), [total.norm(), 0.0], 1e-14, &format!("{}: plug", circuit.name));
        let voltage = circuit.supply.volts - total * circuit.supply.source_ohm;
        let power_w = (voltage * total.conj()).re;
        assert!(
            (plug.power_w - power_w).abs() <= RELATIVE * power_w.abs() + 1e-12,
            "{}: power",
            circuit.name
        );
    }
}

#[test]
fn two_point_resistances_agree_with_the_simulator() {
    for circuit in circuits() {
        for SimulatedResistance { from, to, ohm } in &circuit.simulated.resistance {
            let found = circuit.network.resistance_ohm(circuit.nodes[from], circuit.nodes[to]);
            let what = format!("{}: {from} to {to}: {found:?}, simulator {ohm:?}", circuit.name);
            match (found, ohm) {
                (Resistance::Open, None) => {}
                (Resistance::Ohms(found), Some(ohm)) => {
                    assert!((found - ohm).abs() <= RELATIVE * ohm, "{what}");
                }
                _ => panic!("{what}"),
            }
        }
    }
}
