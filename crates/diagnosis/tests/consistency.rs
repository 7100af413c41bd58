//! Model-based diagnosis against outside values; each file in `reference/` names its source.
#![allow(missing_docs, clippy::unwrap_used, reason = "a test")]

use std::collections::BTreeMap;

use diagnosis::consistency::{
    Component, ConsistencyError, Relation, System, hitting_sets, minimal_posterior,
};
use proptest::prelude::*;
use serde_json::Value;

struct Loaded {
    system: System,
    components: Vec<String>,
    signals: Vec<String>,
}

fn load(name: &str) -> (Loaded, Value) {
    let path = format!("{}/tests/reference/{name}.json", env!("CARGO_MANIFEST_DIR"));
    let file: Value = serde_json::from_str(&std::fs::read_to_string(path).unwrap()).unwrap();
    let instance = &file["instance"];
    let gates: Vec<(String, Relation, Vec<String>, String)> = match instance["components"].as_str() {
        Some(text) => text.split(", ").map(arithmetic).collect(),
        None => instance["gates"].as_array().unwrap().iter().map(gate).collect(),
    };
    let mut signals: Vec<String> = gates.iter().flat_map(|g| g.2.iter().chain([&g.3]).cloned()).collect();
    signals.sort();
    signals.dedup();
    let index = |name: &String| signals.iter().position(|s| s == name).unwrap();
    let known: Vec<(usize, i64)> = ["inputs", "observations"]
        .iter()
        .flat_map(|key| instance[key].as_object().unwrap())
        .map(|(signal, value)| (index(signal), value.as_i64().unwrap()))
        .collect();
    let component = |g: &(String, Relation, Vec<String>, String)| Component {
        relation: g.1,
        inputs: g.2.iter().map(index).collect(),
        output: index(&g.3),
    };
    let system = System::new(signals.len(), gates.iter().map(component).collect(), &known).unwrap();
    (
        Loaded { system, components: gates.into_iter().map(|g| g.0).collect(), signals },
        file["expected"].clone(),
    )
}

/// `M1: X=A*C` or `A1: F=X+Y`.
fn arithmetic(text: &str) -> (String, Relation, Vec<String>, String) {
    let (name, rest) = text.split_once(": ").unwrap();
    let (output, term) = rest.split_once('=').unwrap();
    let relation = if term.contains('*') { Relation::Product } else { Relation::Sum };
    (name.into(), relation, term.split(['*', '+']).map(str::to_owned).collect(), output.into())
}

fn gate(gate: &Value) -> (String, Relation, Vec<String>, String) {
    let text = |v: &Value| v.as_str().unwrap().to_owned();
    let relation = match gate["kind"].as_str().unwrap() {
        "and" => Relation::And,
        "or" => Relation::Or,
        "xor" => Relation::Xor,
        "nand" => Relation::Nand,
        other => panic!("gate {other}"),
    };
    (
        text(&gate["id"]),
        relation,
        gate["inputs"].as_array().unwrap().iter().map(text).collect(),
        text(&gate["output"]),
    )
}

impl Loaded {
    fn members(&self, set: u64) -> Vec<String> {
        let mut names: Vec<String> = self
            .components
            .iter()
            .enumerate()
            .filter(|(i, _)| set >> i & 1 == 1)
            .map(|(_, n)| n.clone())
            .collect();
        names.sort();
        names
    }

    fn sorted(&self, sets: &[u64]) -> Vec<Vec<String>> {
        let mut all: Vec<Vec<String>> = sets.iter().map(|&s| self.members(s)).collect();
        all.sort();
        all
    }
}

fn assert_map(expected: &Value, got: &BTreeMap<String, f64>, what: &str) {
    for (key, p) in expected.as_object().unwrap() {
        let got = got.get(key).copied().unwrap_or(0.0);
        assert!((got - p.as_f64().unwrap()).abs() <= 1e-12, "{what} {key}: {got}, expected {p}");
    }
}

#[test]
fn reference_systems() {
    for name in
        ["md-01-polybox", "md-02-polybox-after-X", "md-03-full-adder", "md-04-c17", "md-05-two-bit-adder"]
    {
        let (loaded, expected) = load(name);
        let minimal = loaded.system.minimal().unwrap();
        let sets = |key: &str| -> Vec<Vec<String>> { serde_json::from_value(expected[key].clone()).unwrap() };
        assert_eq!(loaded.sorted(&minimal.conflicts), sets("minimal_conflicts"), "{name}");
        assert_eq!(loaded.sorted(&minimal.diagnoses), sets("minimal_diagnoses"), "{name}");

        let priors = vec![expected["prior_p"].as_f64().unwrap(); loaded.components.len()];
        let posterior = loaded.system.posterior(&minimal, &priors).unwrap();
        assert_eq!(posterior.len() as u64, expected["n_diagnoses"].as_u64().unwrap(), "{name}");
        let named =
            |list: &[(u64, f64)]| list.iter().map(|&(s, p)| (loaded.members(s).join("+"), p)).collect();
        assert_map(&expected["posterior_all_consistent"], &named(&posterior), name);
        assert_map(&expected["posterior_minimal_only"], &named(&minimal_posterior(&minimal, &priors)), name);
        let marginal =
            |i: usize| posterior.iter().filter(|(s, _)| s >> i & 1 == 1).map(|(_, p)| p).sum::<f64>();
        let marginals = loaded.components.iter().enumerate().map(|(i, n)| (n.clone(), marginal(i))).collect();
        assert_map(&expected["component_marginals_all_consistent"], &marginals, name);

        let probes = loaded.system.probes(&posterior).unwrap();
        let entropies = probes.iter().map(|p| (loaded.signals[p.signal].clone(), p.entropy)).collect();
        assert_map(&expected["probe_split_entropy_bits"], &entropies, name);
        for probe in &probes {
            let label = |v: &Option<i64>| v.map_or("unpredicted".into(), |v| v.to_string());
            let values = probe.values.iter().map(|(v, p)| (label(v), *p)).collect();
            assert_map(&expected["probe_value_distribution"][&loaded.signals[probe.signal]], &values, name);
        }
        let best = &loaded.signals[probes[0].signal];
        let list = expected["best_probes_by_split_entropy"].as_array();
        let fits =
            list.map_or(expected["best_probe_by_split_entropy"] == **best, |l| l.iter().any(|b| b == best));
        assert!(fits, "{name}: measure {best} first");
    }
}

proptest! {
    /// Minimal hitting sets, the long way: every subset that hits all and none of whose members can be spared.
    #[test]
    fn hitting_sets_equal_trying_all_subsets(sets in prop::collection::vec(1_u64..256, 0..7)) {
        let hits = |h: u64| sets.iter().all(|s| s & h != 0);
        let spare = |h: u64| (0..8).any(|i| h >> i & 1 == 1 && hits(h & !(1 << i)));
        let expected: Vec<u64> = (0..256).filter(|&h| hits(h) && !spare(h)).collect();
        prop_assert_eq!(hitting_sets(&sets), expected);
    }

    /// Minimal diagnoses of random gate networks, the long way.
    #[test]
    fn diagnoses_equal_trying_all_sets(
        gates in prop::collection::vec((0_usize..5, 0_usize..100, 0_usize..100), 1..8),
        values in 0_u32..256,
        seen in prop::collection::vec(any::<bool>(), 8),
    ) {
        const INPUTS: usize = 3;
        let relations = [Relation::And, Relation::Or, Relation::Nand, Relation::Nor, Relation::Xor];
        let components: Vec<Component> = gates
            .iter()
            .enumerate()
            .map(|(i, &(kind, a, b))| Component {
                relation: relations[kind],
                inputs: vec![a % (INPUTS + i), b % (INPUTS + i)],
                output: INPUTS + i,
            })
            .collect();
        let bit = |i: usize| i64::from(values >> (i % 8) & 1);
        let mut known: Vec<(usize, i64)> = (0..INPUTS).map(|i| (i, bit(i))).collect();
        known.extend((0..gates.len()).filter(|&i| seen[i]).map(|i| (INPUTS + i, bit(INPUTS + i))));
        let system = System::new(INPUTS + gates.len(), components, &known).unwrap();
        let possible: Vec<u64> = (0..1_u64 << gates.len()).filter(|&s| possible_the_long_way(&gates, &known, s)).collect();
        let minimal = |s: &u64| possible.iter().all(|p| p == s || p & s != *p);
        let expected: Vec<u64> = possible.iter().copied().filter(minimal).collect();
        prop_assert_eq!(system.minimal().unwrap().diagnoses, expected);
    }
}

/// Tries every output of every broken gate.
fn possible_the_long_way(gates: &[(usize, usize, usize)], known: &[(usize, i64)], broken: u64) -> bool {
    (0..1_u64 << gates.len()).any(|free| {
        let mut values: Vec<i64> = known.iter().take(3).map(|k| k.1).collect();
        for (i, &(kind, a, b)) in gates.iter().enumerate() {
            let (a, b) = (values[a % (3 + i)], values[b % (3 + i)]);
            let works = [a & b, a | b, 1 - (a & b), 1 - (a | b), a ^ b][kind];
            values.push(if broken >> i & 1 == 1 { i64::from(free >> i & 1 == 1) } else { works });
        }
        known.iter().all(|&(signal, value)| values[signal] == value)
    })
}

#[test]
fn refusals() {
    let and = |inputs: Vec<usize>| Component { relation: Relation::And, inputs, output: 1 };
    let bad = |r: Result<System, ConsistencyError>| matches!(r, Err(ConsistencyError::BadSignal { .. }));
    assert!(bad(System::new(2, vec![and(vec![])], &[])));
    assert!(bad(System::new(2, vec![and(vec![5])], &[])));
    assert!(bad(System::new(2, vec![and(vec![0])], &[(0, 7)])));
    let twice = System::new(2, vec![and(vec![0])], &[(0, 1), (0, 0)]);
    assert!(matches!(twice, Err(ConsistencyError::Contradiction)));
    let system = System::new(2, vec![and(vec![0])], &[(0, 1), (1, 0)]).unwrap();
    let minimal = system.minimal().unwrap();
    assert_eq!(minimal.diagnoses, [1]);
    assert_eq!(system.posterior(&minimal, &[0.0]), Err(ConsistencyError::BadPrior));
}
