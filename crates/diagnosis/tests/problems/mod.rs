//! Reads the `ts-*` files into the planner's problem type; also used by the benchmarks.
#![allow(
    missing_docs,
    dead_code,
    clippy::unwrap_used,
    reason = "a test's helper, each user needs a part of it"
)]

use diagnosis::plan::{
    Access, Component, ComponentCheck, Components, Effect, Left, Move, Problem, Proof, Step, Stock,
    Structure, Supply,
};
use serde_json::Value;

pub(crate) struct Loaded {
    pub(crate) id: String,
    pub(crate) problem: Problem,
    pub(crate) names: Vec<String>,
    pub(crate) expected: Value,
}

impl Loaded {
    pub(crate) fn name(&self, step: Move) -> String {
        match step {
            Move::Step(i) => self.names[i].clone(),
            Move::GiveUp => "service".into(),
            other => format!("{other:?}"),
        }
    }

    pub(crate) fn firsts(&self) -> Vec<String> {
        strings(&self.expected["optimal_first_steps"])
    }
}

pub(crate) fn strings(value: &Value) -> Vec<String> {
    value.as_array().unwrap().iter().map(|s| s.as_str().unwrap().to_owned()).collect()
}

pub(crate) fn load(name: &str) -> Loaded {
    load_with_van(name, "")
}

/// `van` lists parts as the file does: `pump+brushes`.
pub(crate) fn load_with_van(name: &str, van: &str) -> Loaded {
    let path = format!("{}/tests/reference/{name}.json", env!("CARGO_MANIFEST_DIR"));
    let file: Value = serde_json::from_str(&std::fs::read_to_string(path).unwrap()).unwrap();
    let instance = &file["instance"];
    let (problem, names) = if file["model"] == "multi" { multi(instance) } else { single(instance, van) };
    Loaded { id: name.to_owned(), problem, names, expected: file["expected"].clone() }
}

fn list(value: &Value) -> &[Value] {
    value.as_array().map_or(&[], Vec::as_slice)
}

fn id(value: &Value) -> String {
    value["id"].as_str().unwrap().to_owned()
}

fn number(value: &Value) -> f64 {
    value.as_f64().unwrap()
}

fn single(instance: &Value, van: &str) -> (Problem, Vec<String>) {
    let faults: Vec<String> = list(&instance["faults"]).iter().map(id).collect();
    let clusters: Vec<String> = list(&instance["clusters"]).iter().map(id).collect();
    let access = |cluster: &Value| Access {
        parent: cluster["parent"].as_str().map(|p| clusters.iter().position(|c| c == p).unwrap()),
        cost: number(&cluster["open"]) + number(&cluster["close"]),
    };
    let parts: Vec<String> =
        instance["order_handling"].as_object().map_or(vec![], |o| o.keys().cloned().collect());
    let step = |value: &Value, effect: Effect| Step {
        cost: number(&value["cost"]),
        open: value["cluster"]
            .as_str()
            .map(|c| clusters.iter().position(|o| o == c).unwrap())
            .into_iter()
            .collect(),
        closed: vec![],
        part: value["part"].as_str().map(|p| parts.iter().position(|o| o == p).unwrap()),
        effect,
    };
    let repair = |action: &Value| {
        let fixed = |fault: &String| action["fixes"][fault].as_f64().unwrap_or(0.0);
        let left = |(suspect, fault)| Left { probability: 1.0 - fixed(fault), suspect };
        step(action, Effect::Repair { left: faults.iter().enumerate().map(left).collect() })
    };
    let check = |test: &Value| {
        let row = |k: usize| faults.iter().map(|f| number(&test["p"][f][k])).collect();
        step(test, Effect::Check { outcomes: (0..list(&test["outcomes"]).len()).map(row).collect() })
    };
    let mut steps: Vec<Step> = list(&instance["actions"]).iter().map(repair).collect();
    steps.extend(list(&instance["tests"]).iter().map(check));
    let mut names: Vec<String> = list(&instance["actions"]).iter().map(id).collect();
    names.extend(list(&instance["tests"]).iter().map(id));
    let supply = |part: &String| {
        if van.split('+').any(|v| v == part) {
            Supply::AtHand
        } else {
            Supply::ToOrder { handling: number(&instance["order_handling"][part]) }
        }
    };
    let problem = Problem {
        suspects: list(&instance["faults"]).iter().map(|f| number(&f["prior"])).collect(),
        access: list(&instance["clusters"]).iter().map(access).collect(),
        steps,
        proof: match instance["system_test_cost"].as_f64() {
            Some(cost) if instance["inside_info"] == false => Proof::SystemTest { cost },
            _ => Proof::AtOnce,
        },
        stock: instance["return_visit_cost"]
            .as_f64()
            .map(|visit| Stock { parts: parts.iter().map(supply).collect(), visit }),
        give_up: instance["service_call"]["cost"].as_f64(),
    };
    (problem, names)
}

fn multi(instance: &Value) -> (Problem, Vec<String>) {
    let ids: Vec<String> = list(&instance["components"]).iter().map(id).collect();
    let index = |name: &str| ids.iter().position(|i| i == name).unwrap();
    let component = |c: &Value| Component {
        fault: number(&c["p_fault"]),
        inspect: c["inspect"].as_f64(),
        repair: number(&c["repair"]),
    };
    let check = |t: &Value| ComponentCheck {
        cost: number(&t["cost"]),
        leak: number(&t["leak"]),
        links: t["link"].as_object().unwrap().iter().map(|(c, p)| (index(c), number(p))).collect(),
    };
    let components = Components {
        components: list(&instance["components"]).iter().map(component).collect(),
        works: structure(&instance["structure"], &index),
        checks: list(&instance["tests"]).iter().map(check).collect(),
        give_up: instance["service_call"]["cost"].as_f64(),
    };
    let mut names = Vec::new();
    for (component, id) in components.components.iter().zip(&ids) {
        if component.inspect.is_some() {
            names.push(format!("inspect:{id}"));
        }
        names.push(format!("repair:{id}"));
    }
    names.extend(list(&instance["tests"]).iter().map(id));
    (components.problem().unwrap(), names)
}

/// `["series", a, b]`, `["parallel", a, b]`, `["kofn", k, a, b, c]`, nested at will.
fn structure(value: &Value, index: &impl Fn(&str) -> usize) -> Structure {
    if let Some(name) = value.as_str() {
        return Structure::Component(index(name));
    }
    let words = list(value);
    let rest = |from: usize| words[from..].iter().map(|w| structure(w, index)).collect::<Vec<_>>();
    match words[0].as_str().unwrap() {
        "series" => Structure::AtLeast { least: words.len() - 1, of: rest(1) },
        "parallel" => Structure::AtLeast { least: 1, of: rest(1) },
        _ => Structure::AtLeast { least: number(&words[1]) as usize, of: rest(2) },
    }
}

/// A problem as a diagnosis hands it on: few suspects above 5 %, checks that hardly ever err, an access tree, repairs that
/// several suspects share, and a system test as proof. Up to 64 checks.
pub(crate) fn after_a_service_test(suspects: usize, seed: u64) -> Problem {
    let mut state = seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) ^ 0xD1B5_4A32_D192_ED03;
    let mut random = move || {
        state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (state >> 33) as f64 / (1_u64 << 31) as f64
    };
    let pick = |random: &mut dyn FnMut() -> f64, below: usize| (random() * below as f64) as usize;
    let weights: Vec<f64> = (0..suspects).map(|s| 0.72_f64.powi(s as i32) * (0.3 + random())).collect();
    let total: f64 = weights.iter().sum();
    // The mains plug, three panels, one of them behind another, and a connector behind that.
    let minutes = [1.0, 2.0 + 3.0 * random(), 6.0 + 6.0 * random(), 10.0 + 6.0 * random(), 2.0, 4.0];
    let parents = [None, Some(0), Some(0), Some(1), Some(2), Some(3)];
    let access: Vec<Access> =
        parents.into_iter().zip(minutes).map(|(parent, cost)| Access { parent, cost }).collect();
    // About three suspects in two are cured by a repair of their own, the others share one.
    let repairs = (2 * suspects).div_ceil(3);
    let cured_by: Vec<usize> =
        (0..suspects).map(|s| if s < repairs { s } else { pick(&mut random, repairs) }).collect();
    let mut steps = Vec::new();
    let mut place = Vec::new();
    for repair in 0..repairs {
        let open = 1 + pick(&mut random, 5);
        place.push(open);
        let sure = if random() < 0.2 { 0.05 } else { 0.0 };
        let left = |suspect: usize| Left {
            probability: if cured_by[suspect] == repair { sure } else { 1.0 },
            suspect,
        };
        let effect = Effect::Repair { left: (0..suspects).map(left).collect() };
        steps.push(Step {
            cost: 20.0 + 100.0 * random() * random(),
            open: vec![open],
            closed: vec![],
            part: None,
            effect,
        });
    }
    let checks = (20 + suspects).min(60).min(128 - repairs);
    for _ in 0..checks {
        let slip = 0.01 + 0.04 * random();
        let count = if random() < 0.25 { 3 } else { 2 };
        let about = pick(&mut random, suspects.min(12));
        let aside = random();
        // A reading at one place tells its own suspect, and some of the others, from the rest.
        let mut shown = |s: usize| {
            if s == about || random() < 0.15 { 1 + pick(&mut random, count - 1) } else { 0 }
        };
        let shown: Vec<usize> = (0..suspects).map(&mut shown).collect();
        let row = |k: usize| {
            let under = |&shown: &usize| if shown == k { 1.0 - slip } else { slip / (count - 1) as f64 };
            shown.iter().map(under).collect()
        };
        let outcomes: Vec<Vec<f64>> = (0..count).map(row).collect();
        // Some from outside, most where the part is.
        let open = if aside < 0.25 { vec![] } else { vec![place[cured_by[about]]] };
        let cost = 1.0 + 7.0 * random() * random();
        steps.push(Step { cost, open, closed: vec![], part: None, effect: Effect::Check { outcomes } });
    }
    Problem {
        suspects: weights.iter().map(|w| w / total).collect(),
        access,
        steps,
        proof: Proof::SystemTest { cost: 10.0 + 5.0 * random() },
        stock: None,
        give_up: Some(250.0),
    }
}
