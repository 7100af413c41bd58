//! What holds of every machine under every fault.
#![allow(missing_docs, clippy::unwrap_used, reason = "a test")]

mod support;

use bench::{Bench, Conditions, Hypothesis, Ohms, Prediction, ohms_between, predict};
use machine::model::Machine;
use proptest::prelude::*;
use std::collections::BTreeMap;
use std::sync::LazyLock;

static MACHINES: LazyLock<Vec<Machine>> =
    LazyLock::new(|| support::shipped().iter().map(|(_, text)| support::read(text)).collect());

fn any_machine() -> impl Strategy<Value = &'static Machine> {
    (0..MACHINES.len()).prop_map(|i| &MACHINES[i])
}

fn faults(machine: &Machine, picks: &[prop::sample::Index]) -> Hypothesis {
    let all: Vec<_> = machine.single_faults().collect();
    Hypothesis::of(picks.iter().map(|i| *i.get(&all)))
}

fn finite(p: &Prediction) -> bool {
    [p.power_w, p.current_a, p.speed_rpm, p.rise_k].iter().all(|e| e.value.is_finite() && e.u.is_finite() && e.u >= 0.0)
        && [p.apparent_va, p.water_l, p.lasts_s, p.earth_a].iter().all(|x| x.is_finite() && *x >= 0.0)
        && p.power_factor.is_none_or(|f| (0.0..=1.0 + 1e-9).contains(&f))
        // An active power above the apparent one would be energy from nowhere.
        && p.power_w.value <= p.apparent_va * (1.0 + 1e-9) + 1e-9
        && p.power_w.value >= -1e-9
}

#[test]
fn every_single_fault_of_every_machine_predicts_finite_readings() {
    for machine in MACHINES.iter() {
        let mut bench = Bench::new(machine);
        let conditions = Conditions::at(machine.plate.supply_v);
        for fault in machine.single_faults() {
            let hypothesis = Hypothesis::of([fault]);
            let predictions = bench.predict(&hypothesis, &conditions);
            assert_eq!(predictions.len(), machine.test.steps.len());
            for p in &predictions {
                assert!(finite(p), "{} {}: {p:?}", machine.plate.model, hypothesis.says(machine));
            }
        }
    }
}

/// Predictions by names instead of indices.
fn by_name(machine: &Machine, hypothesis: &Hypothesis) -> BTreeMap<String, String> {
    let round = |x: f64| format!("{x:.6e}");
    predict(machine, hypothesis, &Conditions::at(machine.plate.supply_v))
        .into_iter()
        .map(|p| {
            let mut refused: Vec<&str> =
                p.refused.iter().map(|&o| machine.outputs[o].name.as_str()).collect();
            refused.sort_unstable();
            let reads = format!(
                "{} {} {} {} {} {} {} {refused:?} {:?} {} {:?} {} {}",
                round(p.power_w.value),
                round(p.power_w.u),
                round(p.current_a.value),
                round(p.speed_rpm.value),
                round(p.water_l),
                round(p.rise_k.value),
                round(p.lasts_s),
                p.code.map(|c| machine.codes[c].id.clone()),
                p.code_shown,
                p.signs,
                p.trip.is_some(),
                p.one_way,
            );
            (p.step, reads)
        })
        .collect()
}

/// The machine with its entries in another order: tables sorted by a seeded key (top-level order of tables is free in
/// TOML, arrays of tables keep theirs where order means something), and the wires of each loom reversed or rotated.
fn shuffled(text: &str, seed: u64) -> String {
    let document: toml::Table = toml::from_str(text).unwrap();
    let key =
        |name: &str| name.bytes().fold(seed | 1, |h, b| (h ^ u64::from(b)).wrapping_mul(0x0100_0000_01b3));
    let mut blocks: Vec<(u64, String)> = Vec::new();
    for (name, value) in &document {
        for (sub, rendered) in match (name.as_str(), value) {
            ("part" | "loom" | "function", toml::Value::Table(entries)) => entries
                .iter()
                .map(|(k, v)| {
                    (k.clone(), toml::to_string(&nested(name, k, reordered(v.clone(), seed))).unwrap())
                })
                .collect::<Vec<_>>(),
            _ => vec![(
                String::new(),
                toml::to_string(&toml::Table::from_iter([(name.clone(), value.clone())])).unwrap(),
            )],
        } {
            // Bare keys such as `format` must come before any table.
            let first = u64::from(value.is_table() || value.is_array());
            blocks.push((first * (1 + (key(&format!("{name}.{sub}")) >> 1)), rendered));
        }
    }
    blocks.sort();
    blocks.into_iter().map(|(_, text)| text).collect::<Vec<_>>().join("\n")
}

fn nested(table: &str, entry: &str, value: toml::Value) -> toml::Table {
    toml::Table::from_iter([(
        table.to_owned(),
        toml::Value::Table(toml::Table::from_iter([(entry.to_owned(), value)])),
    )])
}

fn reordered(mut value: toml::Value, seed: u64) -> toml::Value {
    if let Some(wires) = value.get_mut("wires").and_then(toml::Value::as_array_mut) {
        let by = seed as usize % wires.len();
        wires.rotate_left(by);
    }
    value
}

/// The same fault in a machine whose file has another order: parts by name, wires by their ends.
fn same_fault(of: &Machine, (part, mode): (usize, usize), to: &Machine) -> (usize, usize) {
    let old = &of.parts[part];
    let new = match &old.ends {
        Some(ends) => to.parts.iter().position(|p| p.ends.as_ref() == Some(ends)).unwrap(),
        None => to.part(&old.id).unwrap(),
    };
    (new, mode)
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(48))]

    #[test]
    fn the_order_of_the_file_does_not_matter(which in 0..5usize, seed in any::<u64>(), pick in any::<prop::sample::Index>()) {
        let (_, text) = &support::shipped()[which];
        let original = &MACHINES[which];
        let other = support::read(&shuffled(text, seed));
        let all: Vec<_> = original.single_faults().collect();
        let fault = *pick.get(&all);
        let here = by_name(original, &Hypothesis::of([fault]));
        let there = by_name(&other, &Hypothesis::of([same_fault(original, fault, &other)]));
        prop_assert_eq!(here, there);
    }

    #[test]
    fn a_kept_bench_predicts_as_a_new_one(machine in any_machine(), picks in prop::collection::vec(prop::collection::vec(any::<prop::sample::Index>(), 0..3), 1..8), volts in 200.0..255.0f64) {
        let mut kept = Bench::new(machine);
        let conditions = Conditions::at(volts);
        for pick in picks {
            let hypothesis = faults(machine, &pick);
            prop_assert_eq!(kept.predict(&hypothesis, &conditions), predict(machine, &hypothesis, &conditions));
        }
    }

    #[test]
    fn two_faults_predict_finite_readings(machine in any_machine(), picks in prop::collection::vec(any::<prop::sample::Index>(), 2..4)) {
        for p in predict(machine, &faults(machine, &picks), &Conditions::at(230.0)) {
            prop_assert!(finite(&p), "{:?}", p);
        }
    }

    #[test]
    fn an_ohmmeter_reads_the_same_with_its_probes_exchanged(machine in any_machine(), a in any::<prop::sample::Index>(), b in any::<prop::sample::Index>(), picks in prop::collection::vec(any::<prop::sample::Index>(), 0..3)) {
        let (a, b) = (a.get(&machine.nodes), b.get(&machine.nodes));
        let h = faults(machine, &picks);
        let there = ohms_between(machine, &h, (a, b), &[]).unwrap();
        let back = ohms_between(machine, &h, (b, a), &[]).unwrap();
        match (there, back) {
            (Ohms::Open, Ohms::Open) => {}
            (Ohms::Ohms { value: x, .. }, Ohms::Ohms { value: y, .. }) => prop_assert!((x - y).abs() <= 1e-9 * (1.0 + x), "{x} {y}"),
            other => prop_assert!(false, "{other:?}"),
        }
    }

    /// Rayleigh's monotonicity law: taking a path away never lowers a resistance.
    #[test]
    fn unplugging_never_lowers_a_resistance(machine in any_machine(), a in any::<prop::sample::Index>(), b in any::<prop::sample::Index>(), plug in any::<prop::sample::Index>()) {
        let (a, b) = (a.get(&machine.nodes), b.get(&machine.nodes));
        let names: Vec<&str> = machine.unpluggable().collect();
        let unplugged = [plug.get(&names).to_string()];
        let ohms = |with: &[String]| match ohms_between(machine, &Hypothesis::healthy(), (a, b), with).unwrap() {
            Ohms::Open => f64::INFINITY,
            Ohms::Ohms { value, .. } => value,
        };
        prop_assert!(ohms(&unplugged) >= ohms(&[]) * (1.0 - 1e-9) - 1e-9);
    }
}

/// Of a sound machine with the plug pulled, line and neutral are insulated from the metal (EN 50678 asks for 1 MΩ in class
/// I, 0.3 MΩ with heating elements; from memory), and the metal is joined to the plug's earth pin (at most 0.3 Ω plus the
/// cord; from memory).
#[test]
fn a_sound_machine_is_insulated_and_earthed_once_the_plug_is_pulled() {
    for (file, text) in support::shipped() {
        let machine = support::read(&text);
        let ohms = |a, b| ohms_between(&machine, &Hypothesis::healthy(), (a, b), &[]).unwrap();
        for pole in ["@line", "@neutral"] {
            match ohms(pole, "chassis") {
                Ohms::Open => {}
                Ohms::Ohms { value, .. } => assert!(value > 0.3e6, "{file}: {pole} to the metal: {value} Ω"),
            }
        }
        match ohms("@earth", "chassis") {
            Ohms::Ohms { value, .. } => assert!(value < 0.5, "{file}: earth pin to the metal: {value} Ω"),
            Ohms::Open => panic!("{file}: the metal is not earthed"),
        }
    }
}
