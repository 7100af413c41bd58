//! What single faults do to a small machine, step by step.
#![allow(missing_docs, clippy::unwrap_used, reason = "a test")]

mod support;

use bench::{Conditions, Hypothesis, Prediction, Trip, predict};
use machine::model::Machine;
use support::small;

fn run(machine: &Machine, faults: &[&str], volts: f64) -> Vec<Prediction> {
    predict(machine, &Hypothesis::parse(machine, faults).unwrap(), &Conditions::at(volts))
}

fn step<'p>(all: &'p [Prediction], id: &str) -> &'p Prediction {
    all.iter().find(|p| p.step == id).unwrap()
}

fn code<'m>(machine: &'m Machine, p: &Prediction) -> Option<&'m str> {
    p.code.map(|c| machine.codes[c].id.as_str())
}

fn refused(machine: &Machine, p: &Prediction, output: &str) -> bool {
    p.refused.iter().any(|&o| machine.outputs[o].name == output)
}

fn watts(machine: &Machine, faults: &[&str], id: &str) -> f64 {
    step(&run(machine, faults, 230.0), id).power_w.value
}

#[test]
fn healthy_it_passes_its_test() {
    let m = small(&[]);
    assert!(bench::review(&m).is_empty(), "{:?}", bench::review(&m));
    let all = run(&m, &[], 230.0);
    assert!(all.iter().all(|p| p.code.is_none() && p.trip.is_none() && p.refused.is_empty() && !p.timed_out));
    // 2000 W element, 14 W drum, 3 W its inverter, 1 W board, 1 W lock.
    assert!((step(&all, "heat").power_w.value - 2019.0).abs() < 1.0, "{:?}", step(&all, "heat"));
    // 4.5 l at 6 l/min.
    assert!((step(&all, "fill").lasts_s - 45.0).abs() < 0.1);
    // 2000 W for 30 s in 4.5 l and metal of 5 kJ/K: 60 kJ / (4.5 kg × 4184 J/(kg K) + 5000 J/K) = 2.518 K.
    assert!((step(&all, "heat").rise_k.value - 2.518).abs() < 0.001);
}

#[test]
fn a_heating_step_draws_only_the_drum_when_no_current_reaches_the_element() {
    let m = small(&[]);
    let drum_only = watts(&m, &[], "tumble");
    for fault in
        ["element=open", "cutout=open", "board.heat=stuck open", "loom.all.9=open", "loom.all.11=open"]
    {
        let all = run(&m, &[fault], 230.0);
        let heat = step(&all, "heat");
        assert!((heat.power_w.value - drum_only).abs() < 1e-6, "{fault}: {heat:?}");
        assert!(!heat.signs.contains(&"gets warm") && heat.rise_k.value == 0.0, "{fault}");
        assert_eq!(code(&m, heat), None, "{fault}");
    }
}

#[test]
fn an_open_probe_keeps_the_heat_off_and_shows_its_code() {
    let m = small(&[]);
    for fault in ["probe=open", "probe=short", "loom.all.19=open"] {
        let all = run(&m, &[fault], 230.0);
        let heat = step(&all, "heat");
        assert!(refused(&m, heat, "heat"), "{fault}");
        assert!((heat.power_w.value - watts(&m, &[], "tumble")).abs() < 1e-6, "{fault}");
        assert!(!heat.code_shown && step(&all, "report").code_shown, "{fault}");
        assert_eq!(code(&m, step(&all, "report")), Some("E3"), "{fault}");
    }
}

#[test]
fn without_a_level_the_fill_runs_out_of_time_and_heat_is_refused() {
    let m = small(&[]);
    for fault in ["air-hose=blocked", "valve=closed mechanically", "valve=coil open", "level=dead"] {
        let all = run(&m, &[fault], 230.0);
        assert!(step(&all, "fill").timed_out, "{fault}");
        assert_eq!(step(&all, "fill").lasts_s, 60.0, "{fault}");
        assert!(refused(&m, step(&all, "heat"), "heat"), "{fault}");
        assert_eq!(code(&m, step(&all, "report")), Some("E2"), "{fault}");
    }
    // A blocked level hose does not stop the water, a stuck valve does.
    assert!(step(&run(&m, &["air-hose=blocked"], 230.0), "fill").water_l > 5.9);
    assert_eq!(step(&run(&m, &["valve=closed mechanically"], 230.0), "fill").water_l, 0.0);
}

#[test]
fn a_lock_that_never_locks_leaves_everything_behind_it_dead() {
    let m = small(&[]);
    let all = run(&m, &["lock=never locks"], 230.0);
    for id in ["fill", "tumble", "heat"] {
        assert!(step(&all, id).power_w.value < 3.0 && !step(&all, id).signs.contains(&"clicks"), "{id}");
        assert_eq!(code(&m, step(&all, id)), Some("E1"));
    }
    assert!(step(&all, "report").code_shown);
    // It locks and clicks, but the contact does not close.
    let contact = run(&m, &["lock=contact open"], 230.0);
    assert!(step(&contact, "fill").signs.contains(&"clicks") && refused(&m, step(&contact, "fill"), "water"));
    assert!(refused(&m, step(&contact, "tumble"), "drum"));
}

#[test]
fn without_its_belt_the_motor_runs_light_and_the_drum_stands() {
    let m = small(&[]);
    let (healthy, broken) = (run(&m, &[], 230.0), run(&m, &["belt=broken"], 230.0));
    let rest = step(&healthy, "code").power_w.value + 1.0;
    let motor = |all: &[Prediction]| step(all, "tumble").power_w.value - rest;
    // 10 to 60 % of the healthy watts: common practice, no source.
    assert!(
        (0.1..0.6).contains(&(motor(&broken) / motor(&healthy))),
        "{} {}",
        motor(&broken),
        motor(&healthy)
    );
    assert_eq!(step(&broken, "tumble").speed_rpm.value, 0.0);
    assert!(!step(&broken, "tumble").signs.contains(&"drum turns"));
}

#[test]
fn a_welded_relay_heats_whenever_the_lock_feeds_it() {
    let m = small(&[]);
    let all = run(&m, &["board.heat=welded"], 230.0);
    for id in ["fill", "tumble", "heat"] {
        assert!(step(&all, id).power_w.value > 1990.0, "{id}");
    }
    for id in ["code", "report"] {
        assert!(step(&all, id).power_w.value < 3.0, "{id}: the lock's contact is open");
    }
}

#[test]
fn a_leak_trips_the_residual_current_device_where_its_pole_is_live() {
    let m = small(&[]);
    let all = run(&m, &["element=leak"], 230.0);
    assert_eq!(step(&all, "fill").trip, None);
    assert_eq!(step(&all, "heat").trip, Some(Trip::Residual));
    assert!(step(&all, "heat").earth_a > 0.03);
    assert!(step(&all, "report").ended && step(&all, "report").power_w.value == 0.0);
}

#[test]
fn what_trips_as_it_is_switched_on_lets_nothing_click() {
    let text = include_str!("../../../machines/saltreach-pilot-12.toml");
    let m = machine::read::read(text, None).machine.unwrap();
    let healthy = run(&m, &[], 230.0);
    assert!(healthy[0].signs.contains(&"clicks"));
    let short = run(&m, &["mains-filter=short"], 230.0);
    assert_eq!(short[0].signs, ["display dark"]);
    assert!(short.iter().all(|p| p.trip.is_some() && p.ended && p.power_w.value == 0.0));
}

#[test]
fn a_lost_phase_makes_the_motor_jerk_without_turning() {
    let m = small(&[]);
    for fault in ["motor=phase open", "loom.all.15=open", "board.drum=one leg lost"] {
        let all = run(&m, &[fault], 230.0);
        let tumble = step(&all, "tumble");
        assert!(
            tumble.signs.contains(&"jerks") && !tumble.signs.contains(&"drum turns"),
            "{fault}: {tumble:?}"
        );
        assert_eq!(tumble.speed_rpm.value, 0.0);
    }
}

#[test]
fn a_stuck_direction_relay_turns_the_drum_one_way() {
    let (_, text) = support::shipped().into_iter().find(|(name, _)| name.starts_with("polwarren")).unwrap();
    let m = support::read(&text);
    let healthy = run(&m, &[], 230.0);
    assert!(!step(&healthy, "to-and-fro").one_way);
    for pair in [
        ["board.turn-a=stuck at rest", "board.turn-b=stuck at rest"],
        ["board.turn-a=stuck driven", "board.turn-b=stuck driven"],
    ] {
        assert!(step(&run(&m, &pair, 230.0), "to-and-fro").one_way, "{pair:?}");
    }
    // One relay alone joins both ends of the armature: half the time it has no voltage.
    let one = run(&m, &["board.turn-a=stuck at rest"], 230.0);
    assert!(step(&one, "to-and-fro").one_way, "{:?}", step(&one, "to-and-fro"));
}

/// The drum may turn on when a guard stops a step, so the door stays locked.
#[test]
fn what_stops_a_step_leaves_the_door_locked() {
    let m = small(&[("needs = [\"locked\"]\notherwise = \"stops step\"", STOPS_WITHOUT_WATER)]);
    let rest = step(&run(&m, &[], 230.0), "code").power_w.value;
    let all = run(&m, &["level=dead"], 230.0);
    for id in ["tumble", "heat"] {
        let stopped = step(&all, id);
        assert!(refused(&m, stopped, "drum") && !refused(&m, stopped, "bolt"), "{stopped:?}");
        assert!(stopped.signs.contains(&"clicks"), "{stopped:?}");
        // The lock's PTC, 1 W.
        assert!((stopped.power_w.value - rest - 1.0).abs() < 1e-6, "{stopped:?}");
    }
    // All that the board wanted is told, also what it did not come to ask for.
    assert!(refused(&m, step(&all, "heat"), "heat"));
}

/// A guard of the drum that asks for water too.
const STOPS_WITHOUT_WATER: &str = "needs = [\"locked\", \"water-level >= 3 l\"]\notherwise = \"stops step\"";

#[test]
fn a_dark_display_hides_the_code_and_changes_no_reading() {
    let m = small(&[("[part.board]\n", "[part.display]\nkind = \"display\"\n[part.board]\n")]);
    let alone = run(&m, &["probe=open"], 230.0);
    let dark = run(&m, &["probe=open", "display=dark"], 230.0);
    let patchy = run(&m, &["probe=open", "display=segments missing"], 230.0);
    for (id, shown) in [("heat", false), ("report", true)] {
        assert_eq!(step(&alone, id).code_shown, shown);
        assert!(!step(&dark, id).code_shown && step(&dark, id).signs.contains(&"display dark"), "{id}");
        assert_eq!(step(&patchy, id).code_shown, shown);
        assert!(step(&patchy, id).signs.contains(&"figures missing"), "{id}");
        assert_eq!(step(&dark, id).power_w, step(&alone, id).power_w);
    }
    // A dead board lights nothing either.
    assert!(run(&m, &["board=processor"], 230.0).iter().all(|p| p.signs.contains(&"display dark")));
    assert!(run(&m, &[], 230.0).iter().all(|p| !p.signs.contains(&"display dark")));
}

#[test]
fn nobody_enters_the_test_on_dead_keys() {
    let m = small(&[]);
    let rest = step(&run(&m, &[], 230.0), "code").power_w.value;
    for p in run(&m, &["board=user interface"], 230.0) {
        assert!(p.ended && p.signs == ["keys dead"], "{p:?}");
        assert!((p.power_w.value - rest).abs() < 1e-9, "it is on, and obeys nobody: {p:?}");
    }
}

#[test]
fn a_board_that_misreads_shows_as_a_bad_sensor_does_and_the_ohms_are_right() {
    let m = small(&[]);
    let (board, probe) = (run(&m, &["board=sensor input"], 230.0), run(&m, &["probe=open"], 230.0));
    assert_eq!(code(&m, step(&board, "report")), Some("E3"));
    assert_eq!(step(&board, "heat").power_w, step(&probe, "heat").power_w);
    let ohms = |faults: &[&str]| {
        let h = Hypothesis::parse(&m, faults).unwrap();
        bench::ohms_between(&m, &h, ("J6.1", "J6.2"), &["J6".to_owned()]).unwrap()
    };
    assert_eq!(ohms(&["board=sensor input"]), ohms(&[]));
    assert_ne!(ohms(&["probe=open"]), ohms(&[]));
}

/// P ∝ V² for a resistance; 207 … 253 V are 230 V ± 10 %, EN 50160.
#[test]
fn the_element_follows_the_square_of_the_supply() {
    let m = small(&[]);
    let element = |volts: f64| {
        let with = step(&run(&m, &[], volts), "heat").power_w.value;
        with - step(&run(&m, &["element=open"], volts), "heat").power_w.value
    };
    for volts in [207.0, 230.0, 239.0, 253.0] {
        let ratio = element(volts) / (2000.0 * volts * volts / (230.0 * 230.0));
        assert!((ratio - 1.0).abs() < 1e-9, "{volts} V: {ratio}");
    }
}

/// Common practice, no source, but for the arithmetic: a washer that tumbles with 16 W at 52 rpm draws 2216 W and 9.26 A
/// while its element (nominally 2000 W) heats; it spins at 1200 rpm with 390 W once settled. By Ohm's and Joule's laws
/// that is an element of 2200 W and 9.193 A at 239.31 V, 26.03 Ω, and 2032.2 W at 230 V; one of exactly 2000 W at 230 V
/// would give 2165.2 W. Torque on the drum is at most the watts over the angular speed.
///
/// The peak of 417 W at the end of the ramp is no reading of a step, which is taken once the drum has settled: the 27 W
/// are what accelerates the drum, J ω α, and with J = 0.3 kg·m² at 75 % they make 5.13 rpm/s.
#[test]
fn the_common_practice_set_is_reproduced() {
    const VOLTS: f64 = 239.31;
    const SQUARE: f64 = 239.31 * 239.31 / (230.0 * 230.0);
    let near = |value: f64, wanted: f64, tolerance: f64, what: &str| {
        assert!((value - wanted).abs() <= tolerance, "{what}: {value}, wanted {wanted} ± {tolerance}");
    };
    // Watts in the file hold at its 230 V, those of the set at 239.31 V. Board, lock, inverter and drum make 16 W there.
    let at_230 = |watts: f64| watts / SQUARE;
    let (rest, inverter) = (0.5, 3.0);
    let tumbling = format!("\"{} W\"", at_230(16.0) - 2.0 * rest - inverter);
    let spinning = format!("\"{} W\"", at_230(390.0) - 2.0 * rest - inverter);
    let exact = small(&[
        ("2000 W at 230 V", "2032.2 W at 230 V"),
        ("\"1 W\"", "\"0.5 W\""),
        ("\"14 W\"", &tumbling),
        ("\"390 W\"", &spinning),
        ("[[service-test.step]]\nid = \"heat\"", SPIN_STEP),
    ]);
    let all = run(&exact, &[], VOLTS);
    let (tumble, heat, spin) = (step(&all, "tumble"), step(&all, "heat"), step(&all, "spin"));
    near(tumble.power_w.value, 16.0, 1.0, "tumbling, W");
    near(tumble.speed_rpm.value, 52.0, 1.0, "tumbling, rpm");
    near(heat.power_w.value, 2216.0, 1.0, "tumbling and heating, W");
    near(heat.current_a.value, 9.26, 0.01, "tumbling and heating, A");
    near(spin.power_w.value, 390.0, 5.0, "spinning, W");
    near(spin.speed_rpm.value, 1200.0, 10.0, "spinning, rpm");
    let element = heat.power_w.value - tumble.power_w.value;
    near(element, 2200.0, 2.0, "the element, W");
    near(element / VOLTS, 9.193, 0.01, "the element, A");
    near(VOLTS * VOLTS / element, 26.03, 0.06, "the element, Ω");
    near(element / SQUARE, 2032.2, 4.0, "the element at 230 V, W");
    near(element * 30.0 / 1e3, 66.0, 0.05, "its energy in 30 s, kJ");
    let torque = |p: &Prediction| p.power_w.value / (p.speed_rpm.value * std::f64::consts::TAU / 60.0);
    near(torque(tumble), 2.938, 0.0005, "torque, tumbling, N m");
    near(torque(spin), 3.104, 0.0005, "torque, spinning, N m");

    let nominal = run(&small(&[]), &[], VOLTS);
    let element = step(&nominal, "heat").power_w.value - step(&nominal, "tumble").power_w.value;
    near(element, 2165.2, 4.0, "one of exactly 2000 W at 230 V, W");
}

/// A spin put before the heating step of the small machine.
const SPIN_STEP: &str = r#"[[service-test.step]]
id = "spin"
says = "spin"
drives = ["bolt", "drum 1200 rpm right"]
goes-on = "press"
lasts = "60 s"
[[service-test.step]]
id = "heat""#;

/// Common practice, no source, for the watts; the water's heat capacity after IAPWS R6-95: 2200 W for 30 or 60 s on a
/// gallon of water, imperial or US, and no metal.
#[test]
fn a_gallon_of_water_warms_as_it_should() {
    for (litres, seconds, kelvin) in [
        (4.546_09, 30.0, 3.47),
        (4.546_09, 60.0, 6.94),
        (3.785_411_784, 30.0, 4.17),
        (3.785_411_784, 60.0, 8.33),
    ] {
        let m = small(&[
            ("2000 W at 230 V", "2200 W at 230 V"),
            ("class = \"I\"", "class = \"I\"\nheat-capacity = \"1 J/K\""),
            ("drives = [\"bolt\", \"water\"]", "drives = [\"bolt\"]"),
            ("lasts = \"30 s\"", &format!("lasts = \"{seconds} s\"")),
            (">= 3 l", ">= 2 l"),
        ]);
        let conditions = Conditions { water_l: litres, ..Conditions::at(230.0) };
        let all = predict(&m, &Hypothesis::healthy(), &conditions);
        let rise = step(&all, "heat").rise_k.value;
        assert!((rise - kelvin).abs() <= 0.05, "{litres} l, {seconds} s: {rise} K, wanted {kelvin}");
    }
}

/// Common practice, no source: an element of 2200 W at 239.31 V, cold, reads 25.47 Ω ± 0.3.
#[test]
fn an_ohmmeter_reads_the_cold_element() {
    let m = small(&[("2000 W at 230 V", "2032.2 W at 230 V")]);
    let unplugged = ["element.1".to_owned()];
    let reads = |faults: &[&str]| {
        let h = Hypothesis::parse(&m, faults).unwrap();
        bench::ohms_between(&m, &h, ("element.1", "element.2"), &unplugged).unwrap()
    };
    let bench::Ohms::Ohms { value, .. } = reads(&[]) else { panic!("open") };
    assert!((value - 25.47).abs() < 0.3, "{value}");
}
