//! Reads `reference/machine-modes.json`; also used by the benchmarks.
#![allow(
    missing_docs,
    dead_code,
    clippy::unwrap_used,
    reason = "a test's helper, each user needs a part of it"
)]

use diagnosis::hypotheses::{Fault, Hypothesis, Item, Limits, Part, Posterior, Prior, posterior};
use diagnosis::network::{Discrete, Variable};
use serde_json::Value;

pub(crate) struct Machine {
    pub(crate) seed: u64,
    parts: Vec<Part>,
    checks: Vec<Check>,
    /// Index of a check, and whether it was abnormal.
    observed: Vec<(usize, bool)>,
    pub(crate) expected_evidence: f64,
    /// For each part the posterior of its modes.
    pub(crate) expected: Vec<Vec<f64>>,
    /// What the library took, best of five.
    pub(crate) seconds: f64,
}

struct Check {
    leak: f64,
    links: Vec<(Fault, f64)>,
}

impl Check {
    fn normal(&self, is_there: impl Fn(Fault) -> bool) -> f64 {
        let there = self.links.iter().filter(|l| is_there(l.0));
        there.fold(1.0 - self.leak, |normal, l| normal * (1.0 - l.1))
    }
}

pub(crate) fn load() -> Vec<Machine> {
    let path = format!("{}/tests/reference/machine-modes.json", env!("CARGO_MANIFEST_DIR"));
    let file: Value = serde_json::from_str(&std::fs::read_to_string(path).unwrap()).unwrap();
    file["cases"].as_array().unwrap().iter().map(machine).collect()
}

fn list(value: &Value) -> &[Value] {
    value.as_array().unwrap()
}

fn number(value: &Value) -> f64 {
    value.as_f64().unwrap()
}

fn machine(case: &Value) -> Machine {
    let index = |value: &Value| value.as_u64().unwrap() as usize;
    let link = |l: &Value| (Fault { part: index(&l["part"]), mode: index(&l["mode"]) }, number(&l["link"]));
    let check =
        |c: &Value| Check { leak: number(&c["leak"]), links: list(&c["links"]).iter().map(link).collect() };
    let numbers = |v: &Value| list(v).iter().map(number).collect::<Vec<f64>>();
    let expected = &case["expected"];
    Machine {
        seed: case["seed"].as_u64().unwrap(),
        parts: list(&case["parts"]).iter().map(|p| Part { modes: numbers(p) }).collect(),
        checks: list(&case["checks"]).iter().map(check).collect(),
        observed: case["observed"]
            .as_object()
            .unwrap()
            .iter()
            .map(|(check, state)| (check.parse().unwrap(), index(state) == 1))
            .collect(),
        expected_evidence: number(&expected["evidence"]),
        expected: list(&expected["posterior"]).iter().map(numbers).collect(),
        seconds: number(&expected["seconds"]),
    }
}

impl Machine {
    /// Each observed check is an item of evidence.
    pub(crate) fn posterior(&self, limits: &Limits) -> Posterior {
        let prior = Prior::new(&self.parts, vec![]).unwrap();
        let item = |o: &(usize, bool)| Item::new(self.checks[o.0].links.iter().map(|l| l.0), 0.0);
        let items: Vec<Item> = self.observed.iter().map(item).collect();
        let likelihood = |item: usize, hypothesis: &Hypothesis| {
            let (check, abnormal) = self.observed[item];
            let normal = self.checks[check].normal(|f| hypothesis.faults.contains(&f));
            if abnormal { (1.0 - normal).ln() } else { normal.ln() }
        };
        posterior(&prior, likelihood, &items, limits).unwrap()
    }

    /// One variable for each part, sound first, then one for each check.
    pub(crate) fn discrete(&self) -> Discrete {
        let part = |p: &Part| {
            let sound = 1.0 - p.modes.iter().sum::<f64>();
            let table = std::iter::once(sound).chain(p.modes.iter().copied()).collect();
            Variable { states: p.modes.len() + 1, parents: vec![], table }
        };
        let mut variables: Vec<Variable> = self.parts.iter().map(part).collect();
        for check in &self.checks {
            let mut parents: Vec<usize> = check.links.iter().map(|l| l.0.part).collect();
            parents.dedup();
            let states: Vec<usize> = parents.iter().map(|&p| self.parts[p].modes.len() + 1).collect();
            let mut table = Vec::new();
            for row in 0..states.iter().product::<usize>() {
                let mut rest = row;
                let mut digits = vec![0; parents.len()];
                for (digit, states) in digits.iter_mut().zip(&states).rev() {
                    (*digit, rest) = (rest % states, rest / states);
                }
                let is_there = |f: Fault| {
                    parents.iter().zip(&digits).any(|(&part, &d)| part == f.part && d == f.mode + 1)
                };
                let normal = check.normal(is_there);
                table.extend([normal, 1.0 - normal]);
            }
            variables.push(Variable { states: 2, parents, table });
        }
        Discrete::new(variables).unwrap()
    }

    pub(crate) fn evidence(&self) -> Vec<(usize, usize)> {
        self.observed.iter().map(|o| (self.parts.len() + o.0, usize::from(o.1))).collect()
    }
}
