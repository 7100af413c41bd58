//! Networks against outside values; each file in `reference/` names its source.
#![allow(missing_docs, clippy::unwrap_used, reason = "a test")]

use std::collections::HashMap;

use diagnosis::network::{Discrete, Link, NetworkError, NoisyOr, Observed, TwoLayer, Variable};
use serde_json::Value;

fn load(name: &str) -> Value {
    let path = format!("{}/tests/reference/{name}.json", env!("CARGO_MANIFEST_DIR"));
    serde_json::from_str(&std::fs::read_to_string(path).unwrap()).unwrap()
}

fn numbers(value: &Value) -> Vec<f64> {
    value.as_array().unwrap().iter().map(|x| x.as_f64().unwrap()).collect()
}

fn two_layer(instance: &Value) -> TwoLayer {
    let check = |t: &Value| NoisyOr {
        leak: t["leak"].as_f64().unwrap(),
        links: numbers(&t["parents"])
            .iter()
            .zip(numbers(&t["link"]))
            .map(|(&fault, probability)| Link { fault: fault as usize, probability })
            .collect(),
    };
    TwoLayer::new(
        numbers(&instance["prior"]),
        instance["tests"].as_array().unwrap().iter().map(check).collect(),
    )
    .unwrap()
}

fn observed(value: &Value) -> Vec<Observed> {
    let one = |(check, state): (&String, &Value)| Observed {
        check: check.parse().unwrap(),
        abnormal: state.as_i64().unwrap() == 1,
    };
    value.as_object().unwrap().iter().map(one).collect()
}

fn assert_close(got: f64, expected: f64, tolerance: f64, what: &str) {
    assert!((got - expected).abs() <= tolerance, "{what}: {got}, expected {expected}");
}

/// bn-04: four faults, five checks, printed to 14 decimals.
#[test]
fn small_noisy_or_by_hand() {
    let file = load("bn-04-noisyor-small");
    let network = two_layer(&file["instance"]);
    for case in file["expected"]["cases"].as_array().unwrap() {
        let answer = network.posterior(&observed(&case["observed"])).unwrap();
        assert_close(answer.evidence, case["p_evidence"].as_f64().unwrap(), 1e-15, "P(e)");
        for (got, expected) in answer.faults.iter().zip(numbers(&case["posterior"])) {
            assert_close(*got, expected, 5e-14, "posterior");
        }
    }
}

/// bn-05 … bn-07 against the printed 14 decimals, and against 20 digits to a relative 1e-12.
#[test]
fn sixty_faults_keep_twelve_digits() {
    let digits = load("decimal-posteriors");
    for name in ["bn-05-local-60x120", "bn-06-spread-60x120", "bn-07-spread-14-abnormal"] {
        let file = load(name);
        let answer =
            two_layer(&file["instance"]).posterior(&observed(&file["instance"]["observed"])).unwrap();
        for (got, expected) in answer.faults.iter().zip(numbers(&file["expected"]["posterior"])) {
            assert_close(*got, expected, 1e-13, name);
        }
        let exact = &digits["networks"][name];
        let parse = |v: &Value| v.as_str().unwrap().parse::<f64>().unwrap();
        let evidence = parse(&exact["evidence"]);
        assert_close(answer.evidence, evidence, 1e-12 * evidence, name);
        for (got, expected) in answer.faults.iter().zip(exact["posterior"].as_array().unwrap()) {
            assert_close(*got, parse(expected), 1e-12 * parse(expected), name);
        }
    }
}

/// Twenty random machine-like networks, posteriors by a general-purpose library (see `machine_like.py`).
#[test]
fn machine_like_networks_agree_with_a_general_purpose_library() {
    let file = load("machine-like");
    assert_eq!(file["cases"].as_array().unwrap().len(), 20);
    for case in file["cases"].as_array().unwrap() {
        let what = format!("seed {}", case["seed"]);
        let answer = two_layer(case).posterior(&observed(&case["observed"])).unwrap();
        let expected = &case["expected"];
        assert_close(answer.evidence, expected["evidence"].as_f64().unwrap(), 1e-9, &what);
        for (got, expected) in answer.faults.iter().zip(numbers(&expected["posterior"])) {
            assert_close(*got, expected, 1e-9, &what);
        }
        let answer = as_discrete(case).posterior(&pairs(case)).unwrap();
        for (got, expected) in answer.variables.iter().zip(numbers(&expected["posterior"])) {
            assert_close(got[1], expected, 1e-9, &what);
        }
    }
}

/// The same network spelt out as plain tables: our two engines and the library must all agree.
fn as_discrete(case: &Value) -> Discrete {
    let prior = numbers(&case["prior"]);
    let mut variables: Vec<Variable> =
        prior.iter().map(|p| Variable { states: 2, parents: vec![], table: vec![1.0 - p, *p] }).collect();
    for test in case["tests"].as_array().unwrap() {
        let parents: Vec<usize> = numbers(&test["parents"]).iter().map(|&p| p as usize).collect();
        let link = numbers(&test["link"]);
        let mut table = Vec::new();
        for row in 0..1_usize << parents.len() {
            let present = |k: usize| row >> (parents.len() - 1 - k) & 1 == 1;
            let off: f64 = (0..link.len()).filter(|&k| present(k)).map(|k| 1.0 - link[k]).product();
            let normal = (1.0 - test["leak"].as_f64().unwrap()) * off;
            table.extend([normal, 1.0 - normal]);
        }
        variables.push(Variable { states: 2, parents, table });
    }
    Discrete::new(variables).unwrap()
}

fn pairs(case: &Value) -> Vec<(usize, usize)> {
    let faults = case["prior"].as_array().unwrap().len();
    observed(&case["observed"]).iter().map(|o| (faults + o.check, usize::from(o.abnormal))).collect()
}

/// bn-01: Lauritzen & Spiegelhalter 1988.
#[test]
fn asia() {
    let file = load("bn-01-asia");
    let nodes = file["instance"]["nodes"].as_object().unwrap();
    let names: Vec<&String> = nodes.keys().collect();
    let index = |name: &str| names.iter().position(|n| *n == name).unwrap();
    let variable = |node: &Value| {
        let parents: Vec<usize> =
            node["parents"].as_array().unwrap().iter().map(|p| index(p.as_str().unwrap())).collect();
        let yes = &node["p_yes_given_parents(bits in parent order)"];
        let rows = 0..1_usize << parents.len();
        let key = |row: usize| {
            (0..parents.len())
                .map(|k| if row >> (parents.len() - 1 - k) & 1 == 1 { '1' } else { '0' })
                .collect::<String>()
        };
        let table = rows.flat_map(|row| {
            let p = yes[key(row)].as_f64().unwrap();
            [1.0 - p, p]
        });
        let table = table.collect();
        Variable { states: 2, parents, table }
    };
    let network = Discrete::new(nodes.values().map(variable).collect()).unwrap();
    for case in file["expected"]["cases"].as_array().unwrap() {
        let evidence: Vec<_> = case["evidence"]
            .as_object()
            .unwrap()
            .iter()
            .map(|(n, s)| (index(n), s.as_i64().unwrap() as usize))
            .collect();
        let answer = network.posterior(&evidence).unwrap();
        assert_close(answer.evidence, case["p_evidence"].as_f64().unwrap(), 1e-12, "P(e)");
        for (name, p) in case["p_yes"].as_object().unwrap() {
            assert_close(answer.variables[index(name)][1], p.as_f64().unwrap(), 1e-12, name);
        }
    }
}

/// What a BIF file says, as far as this one needs it read.
struct Bif {
    names: HashMap<String, usize>,
    states: Vec<Vec<String>>,
    network: Discrete,
}

fn read_bif(name: &str) -> Bif {
    let path = format!("{}/tests/reference/{name}", env!("CARGO_MANIFEST_DIR"));
    let text =
        std::fs::read_to_string(path).unwrap().replace([',', ';', '(', ')', '{', '}', '[', ']', '|'], " ");
    let mut names = HashMap::new();
    let mut states: Vec<Vec<String>> = Vec::new();
    let mut variables: Vec<Variable> = Vec::new();
    let mut current = 0;
    for line in text.lines() {
        let words: Vec<&str> = line.split_whitespace().collect();
        match words.as_slice() {
            ["variable", name] => {
                names.insert((*name).to_owned(), states.len());
            }
            ["type", "discrete", _, own @ ..] => {
                states.push(own.iter().map(|s| (*s).to_owned()).collect());
                variables.push(Variable { states: own.len(), parents: vec![], table: vec![] });
            }
            ["probability", own, parents @ ..] => {
                current = names[*own];
                variables[current].parents = parents.iter().map(|p| names[*p]).collect();
                let rows: usize = variables[current].parents.iter().map(|&p| states[p].len()).product();
                variables[current].table = vec![f64::NAN; rows * states[current].len()];
            }
            ["table", values @ ..] => {
                variables[current].table = values.iter().map(|v| v.parse().unwrap()).collect();
            }
            [] | ["network", ..] => {}
            row => {
                let (parents, width) = (variables[current].parents.clone(), states[current].len());
                let index = parents.iter().zip(row).fold(0, |index, (&p, state)| {
                    index * states[p].len() + states[p].iter().position(|s| s == state).unwrap()
                });
                let values = row[parents.len()..].iter().map(|v| v.parse::<f64>().unwrap());
                variables[current].table.splice(index * width..(index + 1) * width, values);
            }
        }
    }
    Bif { names, states, network: Discrete::new(variables).unwrap() }
}

/// bn-02: a real printer troubleshooter with 76 nodes; P(e) is known to a relative 1e-6.
#[test]
fn printer_troubleshooter() {
    let bif = read_bif("win95pts.bif");
    let state = |name: &str, state: &str| {
        let variable = bif.names[name];
        (variable, bif.states[variable].iter().position(|s| s == state).unwrap())
    };
    for case in load("bn-02-win95pts")["expected"]["cases"].as_array().unwrap() {
        let evidence: Vec<_> = case["evidence"]
            .as_object()
            .unwrap()
            .iter()
            .map(|(n, s)| state(n, s.as_str().unwrap()))
            .collect();
        let answer = bif.network.posterior(&evidence).unwrap();
        let expected = case["p_evidence"].as_f64().unwrap();
        assert_close(answer.evidence, expected, 1e-6 * expected, "P(e)");
        for (name, row) in case["posterior_roots"].as_object().unwrap() {
            for (label, p) in row.as_object().unwrap() {
                let (variable, index) = state(name, label);
                assert_close(answer.variables[variable][index], p.as_f64().unwrap(), 1e-9, name);
            }
        }
    }
}

/// The same check observed twice, and a fault that no evidence reaches.
#[test]
fn refusals_and_untouched_faults() {
    let links = vec![Link { fault: 0, probability: 0.9 }];
    let network = TwoLayer::new(vec![0.1, 0.03], vec![NoisyOr { leak: 0.0, links }]).unwrap();
    let seen = Observed { check: 0, abnormal: true };
    assert!(matches!(network.posterior(&[seen, seen]), Err(NetworkError::BadReference { .. })));
    let answer = network.posterior(&[seen]).unwrap();
    assert_eq!(answer.faults, [1.0, 0.03]);
    let missing = TwoLayer::new(
        vec![0.1],
        vec![NoisyOr { leak: 0.0, links: vec![Link { fault: 1, probability: 0.5 }] }],
    );
    assert!(matches!(missing, Err(NetworkError::BadReference { .. })));
    let silent = TwoLayer::new(vec![0.0], vec![NoisyOr { leak: 0.0, links: vec![] }]).unwrap();
    assert_eq!(silent.posterior(&[seen]), Err(NetworkError::Impossible));
}
