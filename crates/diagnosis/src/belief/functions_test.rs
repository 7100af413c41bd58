//! Ordinary use of every machine that ships: it goes well when all is sound, and what fails is complained of.

use super::{Goes, as_steps, goes};
use bench::{Conditions, Hypothesis, Sweep};
use machine::model::Machine;

fn shipped() -> Vec<(String, Machine)> {
    let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/../../machines");
    let mut all: Vec<(String, Machine)> = std::fs::read_dir(folder)
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .filter(|path| path.extension().is_some_and(|e| e == "toml"))
        .map(|path| {
            let text = std::fs::read_to_string(&path).unwrap();
            let name = path.file_stem().unwrap().to_string_lossy().into_owned();
            (name, machine::read::read(&text, None).machine.unwrap())
        })
        .collect();
    all.sort_by(|a, b| a.0.cmp(&b.0));
    all
}

#[test]
fn every_function_of_a_sound_machine_works() {
    for (name, machine) in shipped() {
        let conditions = Conditions::at(machine.plate.supply_v);
        let mut sweep = Sweep::with_apart(&machine, &conditions, as_steps(&machine));
        for (place, function) in machine.functions.iter().enumerate() {
            let id = sweep.predict_apart(&Hypothesis::healthy(), place).unwrap();
            let p = sweep.get(id);
            println!("{name} {}: {:.0} s, {:.0} K, {:?}", function.name, p.lasts_s, p.rise_k.value, p.signs);
            let well =
                !p.timed_out && p.refused.is_empty() && p.trip.is_none() && !p.ended && p.code.is_none();
            assert!(well, "{name} {}: {p:?}", function.name);
        }
    }
}

/// Loads that the board or the wiring touches in a function, and that have no part in it.
const BESIDE: [(&str, &str, &[&str]); 8] = [
    // They hang on a net that is switched, and carry no current that does anything.
    ("brinehaven-gannet-7", "starts", &["run-capacitor"]),
    ("polwarren-cockle-52", "locks", &["motor", "protector", "belt", "drum"]),
    ("polwarren-cockle-52", "fills", &["motor", "protector", "belt", "drum"]),
    ("quaydon-ember-60", "preheats", &["grill", "cooling-duct"]),
    ("quaydon-ember-60", "bakes-below", &["grill", "ring", "fan", "cooling-duct"]),
    ("quaydon-ember-60", "grills", &["bottom", "ring", "fan", "cooling-duct"]),
    // Cooling air keeps the cabinet cool; a cabinet that gets hot is not modelled.
    ("quaydon-ember-60", "circulates", &["bottom", "grill", "cooling-duct"]),
    // With a dry drum it ends at once: how well the air dries is judged by `dries`.
    ("brinehaven-gannet-7", "ends-when-dry", &["fluff-filter", "condenser", "duct"]),
];

/// What a function is for: no wire, and no switch of the board.
fn is_a_load(machine: &Machine, part: usize) -> bool {
    machine.parts[part].ends.is_none() && machine.outputs.iter().all(|o| o.part != part)
}

#[test]
fn every_part_of_a_function_can_be_why_it_fails() {
    let mut silent: Vec<(String, String, String)> = Vec::new();
    for (name, machine) in shipped() {
        let conditions = Conditions::at(machine.plate.supply_v);
        let mut sweep = Sweep::with_apart(&machine, &conditions, as_steps(&machine));
        for (place, function) in machine.functions.iter().enumerate() {
            let healthy = sweep.predict_apart(&Hypothesis::healthy(), place).unwrap();
            let parts: Vec<usize> = sweep.took_part(healthy).filter(|&p| is_a_load(&machine, p)).collect();
            for part in parts {
                let faults: Vec<_> = machine.single_faults().filter(|f| f.0 == part).collect();
                let mut explains = |&fault: &(usize, usize)| {
                    let now = sweep.predict_apart(&Hypothesis::of([fault]), place).unwrap();
                    goes(sweep.get(now), sweep.get(healthy)) != Goes::Well
                };
                if !faults.is_empty() && !faults.iter().any(&mut explains) {
                    silent.push((name.clone(), function.name.clone(), machine.parts[part].id.clone()));
                }
            }
        }
    }
    let beside = BESIDE.iter().flat_map(|&(machine, function, parts)| {
        parts.iter().map(move |part| (machine.to_owned(), function.to_owned(), (*part).to_owned()))
    });
    let (mut expected, mut found): (Vec<_>, Vec<_>) = (beside.collect(), silent);
    expected.sort();
    found.sort();
    assert_eq!(
        found, expected,
        "functions that these parts can spoil unseen, or that no longer need an exception"
    );
}
