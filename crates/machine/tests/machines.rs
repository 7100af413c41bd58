//! Every machine and every starting file that ships is read here, so that none can rot.

#![allow(missing_docs, clippy::unwrap_used, reason = "a test")]

use machine::diagnostic::line_column;
use machine::kind::Role;
use machine::model::{Class, GoesOn, Machine};
use machine::read::read;
use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};

const MACHINES: &str = "../../machines";
const TEMPLATES: &str = "src/templates";

/// The inverter washer, against which the benchmark runs.
const LARGEST: &str = "aldermere-tern-81.toml";

fn files(folder: &str) -> Vec<PathBuf> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join(folder);
    let mut found: Vec<PathBuf> = fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path()).collect();
    found.retain(|path| path.extension().is_some_and(|e| e == "toml"));
    found.sort();
    found
}

/// Reads a file; every finding, also a warning, fails the test with its line.
fn load(path: &Path, variant: Option<&str>) -> Machine {
    let text = fs::read_to_string(path).unwrap();
    let outcome = read(&text, variant);
    let found: Vec<String> = outcome
        .diagnostics
        .iter()
        .map(|d| format!("{}:{:?}: {}", path.display(), line_column(&text, d.span.start), d.message))
        .collect();
    assert!(found.is_empty(), "{}", found.join("\n"));
    outcome.machine.unwrap()
}

fn named(name: &str) -> Machine {
    load(&Path::new(env!("CARGO_MANIFEST_DIR")).join(MACHINES).join(name), None)
}

fn file_name(path: &Path) -> String {
    path.file_name().unwrap().to_string_lossy().into_owned()
}

fn all_files() -> Vec<PathBuf> {
    files(MACHINES).into_iter().chain(files(TEMPLATES)).collect()
}

/// Parts that stand in the file as such: neither wires nor the board's outputs.
fn own_parts(machine: &Machine) -> usize {
    machine.parts.iter().filter(|p| p.ends.is_none() && !p.id.contains('.')).count()
}

fn modes_besides_wires(machine: &Machine) -> usize {
    machine.parts.iter().filter(|p| p.ends.is_none()).map(|p| p.kind.modes.len()).sum()
}

#[test]
fn five_machines_and_five_starting_files_ship() {
    let kinds: Vec<String> = files(MACHINES).iter().map(|p| load(p, None).plate.kind).collect();
    assert_eq!(kinds, ["washing machine", "tumble dryer", "washing machine", "oven", "dishwasher"]);
    let names: Vec<String> = files(TEMPLATES).iter().map(|p| file_name(p)).collect();
    assert_eq!(
        names,
        [
            "dishwasher.toml",
            "oven.toml",
            "tumble-dryer.toml",
            "washing-machine-brushed.toml",
            "washing-machine-inverter.toml"
        ]
    );
}

#[test]
fn the_inverter_washer_is_the_largest() {
    let sizes: Vec<(String, usize, usize)> = files(MACHINES)
        .iter()
        .map(|p| (file_name(p), load(p, None)))
        .map(|(name, m)| (name, own_parts(&m), modes_besides_wires(&m)))
        .collect();
    let (_, parts, modes) = sizes.iter().find(|s| s.0 == LARGEST).unwrap();
    assert!(*parts >= 25, "{parts} parts");
    assert!(*modes >= 70, "{modes} fault modes");
    for (name, other_parts, other_modes) in &sizes {
        assert!(other_parts <= parts && other_modes <= modes, "{name} is larger");
    }
}

#[test]
fn a_machine_is_named_after_its_maker_and_model() {
    for path in files(MACHINES) {
        let plate = load(&path, None).plate;
        let name = format!("{} {}.toml", plate.maker, plate.model).to_lowercase().replace(' ', "-");
        assert_eq!(name, file_name(&path));
    }
}

#[test]
fn every_variant_reads_and_differs_only_in_what_it_names() {
    let brushed = files(MACHINES).into_iter().find(|p| file_name(p).starts_with("polwarren")).unwrap();
    let plain = load(&brushed, None);
    let hot = load(&brushed, Some("Cockle 52 H"));
    assert!(plain.part("valve-hot").is_none());
    let ids = |m: &Machine| m.parts.iter().map(|p| p.id.clone()).collect::<BTreeSet<_>>();
    let more: Vec<String> = ids(&hot).difference(&ids(&plain)).cloned().collect();
    assert_eq!(more, ["loom.water.3", "loom.water.6", "valve-hot"]);
    // The output for hot water drives nothing in the machine that has no such valve.
    let of_hot = |m: &Machine| {
        let hot = m.part("board.hot").unwrap();
        m.single_faults().filter(|f| f.0 == hot).count()
    };
    assert!(of_hot(&plain) == 0 && of_hot(&hot) > 0);
}

#[test]
fn a_part_is_not_suspected_of_what_it_cannot_have() {
    for path in all_files() {
        let machine = load(&path, None);
        for (part, mode) in machine.single_faults() {
            let part = &machine.parts[part];
            let name = part.kind.modes[mode].name;
            assert!(
                part.kind.behaviour.applies(&part.params, name),
                "{}: {} {name}",
                path.display(),
                part.id
            );
        }
        for part in machine.parts.iter().filter(|p| p.kind.name == "heating element") {
            // What does not apply leaves its share to the other modes.
            let total: f64 = part.rates.iter().sum();
            assert!((total - part.kind.rate.percent).abs() < 1e-9, "{}: {}", path.display(), part.id);
            let one_rod = part.kind.modes.iter().position(|m| m.name == "one rod open").unwrap();
            assert_eq!(part.rates[one_rod] > 0.0, part.params.get("second-rod").is_some());
        }
    }
}

#[test]
fn each_single_fault_names_a_part_and_a_mode_once() {
    for path in all_files() {
        let machine = load(&path, None);
        let mut seen = BTreeSet::new();
        for (part, mode) in machine.single_faults() {
            let part = &machine.parts[part];
            let mode = &part.kind.modes[mode];
            assert!(
                part.kind.mode(mode.name).is_some() && !mode.says.is_empty(),
                "{} {}",
                part.id,
                mode.name
            );
            assert!(seen.insert((part.id.clone(), mode.name)), "{} {} twice", part.id, mode.name);
        }
        assert!(seen.len() > 100, "{}: only {} faults", path.display(), seen.len());
    }
}

#[test]
fn machines_are_complete() {
    for path in files(MACHINES) {
        let (name, machine) = (file_name(&path), load(&path, None));
        assert!(machine.plate.rated_w.is_some() && machine.plate.class == Class::I, "{name}: plate");
        assert!(
            machine.panels.len() >= 5 && machine.panels.iter().any(|p| !p.after.is_empty()),
            "{name}: access"
        );
        assert!(machine.panels.iter().any(|p| !p.caution.is_empty()), "{name}: no panel with a caution");
        assert!(!machine.guards.is_empty() && !machine.checks.is_empty(), "{name}: guards, own checks");
        assert!(
            machine.functions.iter().all(|f| !f.complaints.is_empty() && !f.drives.is_empty()),
            "{name}: functions"
        );
        assert!(machine.codes.iter().all(|c| !c.lamps.is_empty()), "{name}: a code without lamps");
        assert!(machine.test.steps.iter().any(|s| s.shows_code), "{name}: no step shows the code");
        assert!(machine.test.steps.iter().any(|s| !s.caution.is_empty()), "{name}: no step with a caution");
        assert!(
            machine.test.steps.iter().any(|s| s.then.is_some()) || machine.plate.kind == "dishwasher",
            "{name}: then"
        );
        assert!(
            !machine.test.before.is_empty() && !machine.test.leave.is_empty(),
            "{name}: before and after the test"
        );
        let to_order = machine.parts.iter().filter(|p| p.ends.is_none());
        assert!(to_order.clone().all(|p| !p.order.is_empty()), "{name}: a part without an order code");
        let earths = machine.parts.iter().flat_map(|p| p.kind.terminals.iter().zip(&p.terminals));
        assert!(
            earths.clone().filter(|(t, _)| t.role == Role::Earth).all(|(t, at)| at.is_some() || !t.must),
            "{name}: earth"
        );
        if machine.plate.kind == "washing machine" {
            assert!(
                (8..=14).contains(&machine.test.steps.len()),
                "{name}: {} steps",
                machine.test.steps.len()
            );
        }
    }
}

#[test]
fn every_code_can_come_about() {
    for path in files(MACHINES) {
        let machine = load(&path, None);
        let named: BTreeSet<usize> =
            machine.guards.iter().flat_map(|g| g.needs.iter().filter_map(|(_, code)| *code)).collect();
        assert_eq!(named.len(), machine.codes.len(), "{}: a code that no guard sets", path.display());
    }
}

#[test]
fn no_two_machines_share_their_test_order_codes_or_codes() {
    let machines: Vec<Machine> = files(MACHINES).iter().map(|p| load(p, None)).collect();
    for (at, one) in machines.iter().enumerate() {
        for other in &machines[at + 1..] {
            let steps = |m: &Machine| m.test.steps.iter().map(|s| s.id.clone()).collect::<Vec<_>>();
            assert_ne!(steps(one), steps(other));
            assert_ne!(one.test.enter, other.test.enter);
            let orders = |m: &Machine| m.parts.iter().map(|p| p.order.clone()).collect::<BTreeSet<_>>();
            assert!(orders(one).is_disjoint(&orders(other)), "{} and {}", one.plate.model, other.plate.model);
            let codes = |m: &Machine| m.codes.iter().map(|c| c.id.clone()).collect::<BTreeSet<_>>();
            assert!(codes(one).is_disjoint(&codes(other)), "{} and {}", one.plate.model, other.plate.model);
        }
    }
}

/// A spin that the next step cuts into must tell how long to wait.
#[test]
fn every_spin_that_ends_by_a_press_says_how_long_the_drum_runs_on() {
    for path in all_files() {
        for step in load(&path, None).test.steps {
            let fast = step.drives.iter().any(|d| d.rpm.abs() > 400.0);
            if fast && matches!(step.goes_on, GoesOn::Press(_)) {
                assert!(step.then.is_some_and(|t| t.run_down_s > 10.0), "{} {}", path.display(), step.id);
            }
        }
    }
}

#[test]
fn a_starting_file_is_short_and_says_what_to_look_for() {
    let smallest = files(MACHINES).iter().map(|p| own_parts(&load(p, None))).min().unwrap();
    for path in files(TEMPLATES) {
        let text = fs::read_to_string(&path).unwrap();
        let comments = text.lines().filter(|l| l.contains('#')).count();
        assert!(text.lines().count() <= 270, "{}: {} lines", path.display(), text.lines().count());
        assert!(comments >= 25, "{}: {comments} comments", path.display());
        assert!(text.contains("MAKER") && text.contains("HOW TO ENTER"), "{}", path.display());
        assert!(own_parts(&load(&path, None)) <= smallest.max(22), "{}", path.display());
    }
}

/// Rated power of the heaters by what the files say of them: no more than the plate allows together, and nothing where
/// nothing heats. (The oven's three elements together are rated at more than its plate.)
#[test]
fn the_heating_is_that_of_the_heaters_within_the_plate() {
    assert_eq!(named("aldermere-tern-81.toml").heating_w(), 1780.0);
    let mut oven = named("quaydon-ember-60.toml");
    assert_eq!(oven.heating_w(), 3300.0);
    oven.plate.rated_w = Some(9000.0);
    assert_eq!(oven.heating_w(), 1120.0 + 2050.0 + 1980.0);
    oven.plate.rated_w = None;
    assert_eq!(oven.heating_w(), 2050.0);
    oven.parts.retain(|p| p.kind.name != "heating element");
    assert_eq!(oven.heating_w(), 0.0);
}

#[test]
fn every_hazard_on_the_way_to_a_step_is_told() {
    let washer = named(LARGEST);
    let at = |id: &str| washer.test.steps.iter().position(|s| s.id == id).unwrap();
    assert_eq!(washer.test.on_the_way(at("half-spin")), "");
    let warm = washer.test.on_the_way(at("warm"));
    assert!(
        warm.starts_with("After half-spin: ") && warm.ends_with("Wait until: the drum stands."),
        "{warm}"
    );
}

#[test]
fn a_part_is_named_once_with_its_kind() {
    let washer = named(LARGEST);
    let words = |id: &str| washer.parts[washer.part(id).unwrap()].in_words();
    assert_eq!(words("element"), "element (heating element)");
    assert!(words("loom.tub.1").starts_with("wire "), "{}", words("loom.tub.1"));
}
