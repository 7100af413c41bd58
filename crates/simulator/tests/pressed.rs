//! A test worked by hand: what was shown stays true while more is pressed.
#![allow(missing_docs, clippy::unwrap_used, reason = "a test")]

use bench::Hypothesis;
use machine::model::Machine;
use simulator::{Setting, pressed, specimen};

fn machine(name: &str) -> Machine {
    let path = format!("{}/../../machines/{name}.toml", env!("CARGO_MANIFEST_DIR"));
    machine::read::read(&std::fs::read_to_string(path).unwrap(), None).machine.unwrap()
}

#[test]
fn presses_and_time_to_come_change_nothing_before_them() {
    for name in ["aldermere-tern-81", "brinehaven-gannet-7", "polwarren-cockle-52", "quaydon-ember-60"] {
        let machine = specimen(&machine(name), 3);
        let setting = Setting::kitchen(machine.plate.supply_v);
        let healthy = Hypothesis::healthy();
        let presses = [5.3, 14.1, 31.9, 55.2, 56.0, 90.4, 130.7, 171.3, 260.2, 300.0];
        let whole = pressed(&machine, &healthy, &setting, &presses, 600.0, 3);
        assert!((599.0..=600.0).contains(&whole.samples.last().unwrap().time_s), "{name}");
        for (count, until_s) in [(0, 100.0), (1, 100.0), (2, 100.0), (4, 200.0), (7, 200.0), (10, 310.0)] {
            let part = pressed(&machine, &healthy, &setting, &presses[..count], until_s, 3);
            let before_s = presses.get(count).copied().unwrap_or(until_s).min(until_s);
            let of = |r: &simulator::Recording| -> Vec<_> {
                r.samples.iter().copied().filter(|s| s.time_s < before_s).collect()
            };
            assert_eq!(of(&part), of(&whole), "{name} after {count} presses");
        }
    }
}

#[test]
fn it_is_off_until_pressed_and_then_goes_through_its_steps() {
    let machine = specimen(&machine("aldermere-tern-81"), 3);
    let setting = Setting::kitchen(machine.plate.supply_v);
    let presses: Vec<f64> = (1..60).map(|i| f64::from(i) * 20.0).collect();
    let made = pressed(&machine, &Hypothesis::healthy(), &setting, &presses, 1200.0, 3);
    assert_eq!((made.truth[0].step.clone(), made.truth[0].end_s), (None, 20.0));
    let played: Vec<&str> = made.truth.iter().filter_map(|s| s.step.as_deref()).collect();
    let steps: Vec<&str> = machine.test.steps.iter().map(|s| s.id.as_str()).collect();
    assert_eq!(played, steps);
    assert!(made.truth.windows(2).all(|w| (w[0].end_s - w[1].start_s).abs() < 1e-6), "without gaps");
}
