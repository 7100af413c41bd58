//! Plain made recordings against hypotheses: an operator's mistake is not a fault, and a fault not a mistake.
#![allow(missing_docs, clippy::unwrap_used, reason = "a test")]

mod made;

use bench::{Conditions, Hypothesis, PredictionId, Sweep};
use diagnosis::align::{AlignError, Aligner, Live, What};
use diagnosis::evidence::Recording;
use machine::model::Machine;
use made::{Maker, faults, machine, run_through, whole_test};
use proptest::prelude::*;

const WASHER: &str = "aldermere-tern-81.toml";

fn step(machine: &Machine, id: &str) -> usize {
    machine.test.steps.iter().position(|s| s.id == id).unwrap()
}

struct Scene<'m> {
    machine: &'m Machine,
    conditions: Conditions,
    sweep: Sweep<'m>,
}

impl<'m> Scene<'m> {
    fn new(machine: &'m Machine) -> Scene<'m> {
        let conditions = Conditions::at(230.0);
        Scene { machine, conditions, sweep: Sweep::new(machine, &conditions) }
    }

    fn ids(&mut self, texts: &[&str]) -> Vec<PredictionId> {
        self.sweep.predict(&faults(self.machine, texts))
    }

    fn aligner(&self, recording: &Recording) -> Aligner {
        Aligner::new(self.machine, recording, &self.conditions).unwrap()
    }

    /// ln P of the recording, under each.
    fn ln(&mut self, recording: &Recording, hypotheses: &[&[&str]]) -> Vec<f64> {
        let mut aligner = self.aligner(recording);
        hypotheses.iter().map(|h| aligner.ln_likelihood(&self.ids(h), &self.sweep)).collect()
    }
}

/// Steps of the truth that lie more than half in a match of the same step.
fn found(aligner: &mut Aligner, ids: &[PredictionId], sweep: &Sweep<'_>, maker: &Maker) -> Vec<usize> {
    let best = aligner.best(ids, sweep);
    let over = |&&(place, from, to): &&(usize, f64, f64)| {
        let of = best.iter().filter(|m| m.what == What::Step(place));
        let seconds: f64 = of.map(|m| (m.end_s.min(to) - m.start_s.max(from)).max(0.0)).sum();
        seconds > 0.5 * (to - from)
    };
    maker.truth.iter().filter(over).map(|t| t.0).collect()
}

#[test]
fn every_step_of_a_healthy_test_is_found() {
    for file in [WASHER, "brinehaven-gannet-7.toml", "quaydon-ember-60.toml", "saltreach-pilot-12.toml"] {
        let machine = machine(file);
        let mut scene = Scene::new(&machine);
        let ids = scene.ids(&[]);
        let maker = whole_test(&scene.sweep, &ids, 1.02, &[], 1);
        let mut aligner = scene.aligner(&maker.recording());
        let found = found(&mut aligner, &ids, &scene.sweep, &maker);
        // The step before and the one after the test's loads draw what a machine at rest draws.
        let missing: Vec<usize> = (1..ids.len() - 1).filter(|s| !found.contains(s)).collect();
        assert!(missing.is_empty(), "{file}: {missing:?}");
    }
}

#[test]
fn a_skipped_step_is_no_fault_and_a_dead_pump_no_skip() {
    let machine = machine(WASHER);
    let mut scene = Scene::new(&machine);
    let (healthy, dead) = (scene.ids(&[]), scene.ids(&["pump=coil open"]));
    let skipped = whole_test(&scene.sweep, &healthy, 1.0, &[step(&machine, "empty")], 2).recording();
    let ln = scene.ln(&skipped, &[&[], &["pump=coil open"], &["element=open"]]);
    assert!(ln[0] > ln[1] && ln[0] > ln[2] + 5.0, "{ln:?}");
    let real = whole_test(&scene.sweep, &dead, 1.0, &[], 2).recording();
    let ln = scene.ln(&real, &[&[], &["pump=coil open"]]);
    assert!(ln[1] > ln[0] + 8.0, "{ln:?}");
}

#[test]
fn a_fault_may_come_and_go_within_a_test() {
    let machine = machine(WASHER);
    let mut scene = Scene::new(&machine);
    let (healthy, dead) = (scene.ids(&[]), scene.ids(&["motor=phase open"]));
    let in_turn = |at: usize| if at.is_multiple_of(2) { dead[at] } else { healthy[at] };
    let either: Vec<PredictionId> = (0..healthy.len()).map(in_turn).collect();
    let recording = whole_test(&scene.sweep, &either, 1.0, &[], 6).recording();
    let whole = scene.ln(&recording, &[&[], &["motor=phase open"]]);
    let mut aligner = scene.aligner(&recording);
    let mut of_either = |a, b| aligner.ln_likelihood_of_either(a, b, &scene.sweep);
    let within = of_either(&dead, &healthy);
    assert!(whole.iter().all(|ln| within > ln + 8.0), "{within} {whole:?}");
    assert!((of_either(&healthy, &dead) - within).abs() < 1e-9);
    assert!((of_either(&healthy, &healthy) - whole[0]).abs() < 1e-9);
}

#[test]
fn a_test_left_and_entered_again_is_no_fault() {
    let machine = machine(WASHER);
    let mut scene = Scene::new(&machine);
    let healthy = scene.ids(&[]);
    let mut maker = Maker::new(3);
    let late: Vec<usize> = (step(&machine, "half-spin")..healthy.len()).collect();
    run_through(&mut maker, &scene.sweep, &healthy, 1.0, &late);
    run_through(&mut maker, &scene.sweep, &healthy, 1.0, &[]);
    let ln = scene.ln(
        &maker.recording(),
        &[&[], &["pump=jammed"], &["element=open"], &["motor=phase open"], &["valve-soak=coil open"]],
    );
    assert!(ln[1..].iter().all(|other| *other < ln[0]), "{ln:?}");
    let mut aligner = scene.aligner(&maker.recording());
    assert_eq!(found(&mut aligner, &healthy, &scene.sweep, &maker).iter().filter(|s| **s == 2).count(), 2);
}

/// Shows this on a display in whole watts, once a second.
fn show(maker: &mut Maker, watts: f64, seconds: usize) {
    for _ in 0..seconds {
        let now_s = maker.now_s();
        maker.samples.push(trace::Sample::new(now_s, watts));
    }
}

/// Off, on, the bolt's click and the drum on its way, left and right at 25 W, on the way up to half speed.
fn up_to_half_speed(maker: &mut Maker) {
    show(maker, 1.0, 20);
    show(maker, 5.0, 22);
    for watts in [13.0, 21.0, 18.0, 15.0, 12.0, 11.0, 18.0, 24.0] {
        show(maker, watts, 1);
    }
    show(maker, 25.0, 54);
    for watts in [26.0, 28.0, 32.0, 40.0, 50.0, 59.0, 67.0, 80.0, 90.0, 104.0, 109.0, 123.0, 127.0] {
        show(maker, watts, 1);
    }
}

/// There the plug is pulled, and the machine is off for so long.
fn unplugged_on_the_way_up(off_s: usize) -> Maker {
    let mut maker = Maker::new(0);
    up_to_half_speed(&mut maker);
    show(&mut maker, 1.0, off_s);
    maker
}

/// The steps of the likeliest alignment, in order of time.
fn steps_seen(scene: &mut Scene<'_>, recording: &Recording, faults: &[&str]) -> Vec<usize> {
    let ids = scene.ids(faults);
    let best = scene.aligner(recording).best(&ids, &scene.sweep);
    best.iter().filter_map(|m| if let What::Step(step) = m.what { Some(step) } else { None }).collect()
}

#[test]
fn a_test_that_ends_with_the_plug_pulled_is_no_dead_machine() {
    let machine = machine(WASHER);
    let mut scene = Scene::new(&machine);
    let recording = unplugged_on_the_way_up(190).recording();
    let ln =
        scene.ln(&recording, &[&[], &["board=supply dead"], &["drive-board=supply dead"], &["fuse=open"]]);
    assert!(ln[1..].iter().all(|other| *other < ln[0] - 3.0), "{ln:?}");
    assert_eq!(steps_seen(&mut scene, &recording, &[]), [0, 1, 2, 3, 4]);
}

#[test]
fn a_machine_that_ran_is_not_dead_however_early_the_recording_ends() {
    let machine = machine(WASHER);
    let mut scene = Scene::new(&machine);
    let mut maker = Maker::new(0);
    up_to_half_speed(&mut maker);
    while maker.samples.len() > 70 {
        maker.samples.pop();
        let ln = scene.ln(&maker.recording(), &[&[], &["board=supply dead"], &["fuse=open"]]);
        assert!(ln[1..].iter().all(|dead| *dead < ln[0]), "{} s: {ln:?}", maker.samples.len());
    }
    // And one that never drew anything is.
    let mut maker = Maker::new(0);
    show(&mut maker, 1.0, 150);
    let ln = scene.ln(&maker.recording(), &[&[], &["board=supply dead"], &["fuse=open"]]);
    assert!(ln[1..].iter().all(|dead| *dead > ln[0] + 3.0), "{ln:?}");
}

/// The first go is not taken for something else before the test because its levels come again.
#[test]
fn after_the_plug_was_pulled_the_test_is_entered_again() {
    let machine = machine(WASHER);
    let mut scene = Scene::new(&machine);
    let healthy = scene.ids(&[]);
    let mut maker = unplugged_on_the_way_up(60);
    run_through(&mut maker, &scene.sweep, &healthy, 1.0, &[]);
    let seen = steps_seen(&mut scene, &maker.recording(), &[]);
    for step in ["left", "right", "half-spin"].map(|id| step(&machine, id)) {
        assert_eq!(seen.iter().filter(|s| **s == step).count(), 2, "{seen:?}");
    }
}

/// The second go, so far, is two turns of a drum of half a minute each: not the step in which it turns both ways, with nothing of
/// the heater.
#[test]
fn a_drum_that_never_rests_is_not_one_that_turns_both_ways() {
    let machine = machine(WASHER);
    let mut scene = Scene::new(&machine);
    let mut maker = unplugged_on_the_way_up(40);
    up_to_half_speed(&mut maker);
    for earlier in 1..=8 {
        maker.samples.pop();
        let seen = steps_seen(&mut scene, &maker.recording(), &["element=open"]);
        assert!(!seen.contains(&step(&machine, "warm")), "{earlier} s before half speed: {seen:?}");
    }
}

#[test]
fn a_kettle_is_shown_as_another_load() {
    let machine = machine(WASHER);
    let mut scene = Scene::new(&machine);
    let healthy = scene.ids(&[]);
    let mut maker = whole_test(&scene.sweep, &healthy, 1.0, &[], 4);
    let spin = maker.truth.iter().find(|t| t.0 == step(&machine, "half-spin")).copied().unwrap();
    maker.beside.push((spin.1 + 10.0, spin.1 + 30.0, 2000.0));
    let kettle = maker.beside.clone();
    maker = Maker::new(4);
    maker.beside = kettle;
    run_through(&mut maker, &scene.sweep, &healthy, 1.0, &[]);
    let mut aligner = scene.aligner(&maker.recording());
    let best = aligner.best(&healthy, &scene.sweep);
    let foreign: Vec<_> = best.iter().filter(|m| m.what == What::Foreign).collect();
    assert_eq!(foreign.len(), 1, "{best:?}");
    assert!((foreign[0].start_s - spin.1 - 10.0).abs() < 3.0, "{foreign:?}");
    let of_step = best.iter().find(|m| m.what == What::Step(step(&machine, "half-spin"))).unwrap();
    let expected = scene.sweep.get(healthy[step(&machine, "half-spin")]).power_w.value;
    assert!((of_step.power_w.unwrap().value - expected).abs() < 3.0, "{of_step:?}");
}

#[test]
fn a_kettle_that_goes_off_with_the_breaker_is_no_step_with_the_heater() {
    let machine = machine("saltreach-pilot-12.toml");
    let mut scene = Scene::new(&machine);
    let mut maker = Maker::new(5);
    maker.hold(1825.0, 11);
    maker.hold(0.0, 75);
    let dead: &[&str] = &["mains-filter=short"];
    let ln = scene.ln(&maker.recording(), &[dead, &["board.heat=welded"], &[]]);
    // One minute of nothing after ten seconds of something: little speaks for either, and much against a sound machine.
    assert!(ln[0] - ln[1] > -2.0 && ln[0] - ln[2] > 5.0, "{ln:?}");
}

#[test]
fn what_a_step_drew_is_shown_beside_what_it_should() {
    let machine = machine(WASHER);
    let mut scene = Scene::new(&machine);
    let healthy = scene.ids(&[]);
    let maker = whole_test(&scene.sweep, &healthy, 0.95, &[], 5);
    let mut aligner = scene.aligner(&maker.recording());
    for m in aligner.best(&healthy, &scene.sweep) {
        let What::Step(place) = m.what else { continue };
        let expected = 0.95 * scene.sweep.get(healthy[place]).power_w.value;
        let got = m.power_w.unwrap();
        assert!((got.value - expected).abs() < 1.0 + 0.02 * expected, "{place}: {got:?} {expected}");
    }
}

/// Two steps that draw the same, one after the other from second 26 on: their boundary does not show.
fn one_level(watts: f64) -> Recording {
    let mut maker = Maker::new(6);
    maker.hold(4.6, 20);
    maker.hold(9.0, 6);
    maker.hold(watts, 60);
    maker.hold(4.6, 20);
    maker.recording()
}

#[test]
fn marks_move_a_boundary_that_power_does_not_show() {
    let machine = machine(WASHER);
    let mut scene = Scene::new(&machine);
    let healthy = scene.ids(&[]);
    let (left, right) = (step(&machine, "left"), step(&machine, "right"));
    let mut recording = one_level(scene.sweep.get(healthy[left]).power_w.value);
    recording.marks = vec![(5.0, 0), (20.0, 1), (26.0, left), (38.0, right)];
    let best = scene.aligner(&recording).best(&healthy, &scene.sweep);
    let start = best.iter().find(|m| m.what == What::Step(right)).map(|m| m.start_s);
    assert!(start.is_some_and(|s| (s - 38.0).abs() <= 4.0), "{best:?}");
    recording.marks[3].0 = 62.0;
    let best = scene.aligner(&recording).best(&healthy, &scene.sweep);
    let start = best.iter().find(|m| m.what == What::Step(right)).map(|m| m.start_s);
    assert!(start.is_some_and(|s| (s - 62.0).abs() <= 4.0), "{best:?}");
}

#[test]
fn an_edge_set_by_hand_is_where_its_step_begins() {
    let machine = machine(WASHER);
    let mut scene = Scene::new(&machine);
    let healthy = scene.ids(&[]);
    let (left, right) = (step(&machine, "left"), step(&machine, "right"));
    let mut recording = one_level(scene.sweep.get(healthy[left]).power_w.value);
    let begins = |recording: &Recording, scene: &mut Scene<'_>, of: usize| {
        let best = scene.aligner(recording).best(&healthy, &scene.sweep);
        best.iter().filter(|m| m.what == What::Step(of)).map(|m| m.start_s).collect::<Vec<f64>>()
    };
    // To the second, also where nothing changes, and against marks of another moment.
    for at_s in [41.3, 50.0, 66.8] {
        recording.edges = vec![(at_s, right)];
        for marks in [vec![], vec![(26.0, left), (55.0, right)]] {
            recording.marks = marks;
            let starts = begins(&recording, &mut scene, right);
            assert!(starts.iter().any(|s| (s - at_s).abs() <= 0.5), "{at_s}: {starts:?}");
        }
    }
    recording.marks.clear();
    // Two of one level, and one at a change that the trace shows: a moment off is at the change.
    recording.edges = vec![(26.3, left), (47.0, right)];
    assert_eq!(begins(&recording, &mut scene, left), [26.0]);
    assert_eq!(begins(&recording, &mut scene, right), [47.0]);
    // What no trace bears out is not believed over everything, and nothing breaks.
    for edges in [vec![(3.0, right)], vec![(103.0, left), (104.0, left)], vec![(-9.0, left), (1e9, right)]] {
        recording.edges = edges;
        assert!(scene.aligner(&recording).ln_likelihood(&healthy, &scene.sweep).is_finite());
    }
}

#[test]
fn the_live_form_follows_the_steps() {
    let machine = machine(WASHER);
    let mut scene = Scene::new(&machine);
    let (healthy, dead) = (scene.ids(&[]), scene.ids(&["element=open"]));
    let maker = whole_test(&scene.sweep, &dead, 1.0, &[], 7);
    let leading = [(0.0, healthy), (0.0, dead)];
    let mut live = Live::new(&machine, &scene.conditions, &leading, &scene.sweep).unwrap();
    let mut right = Vec::new();
    for &sample in &maker.samples {
        let now = live.push(sample).clone();
        let sum = now.steps.iter().sum::<f64>() + now.before + now.pause + now.after;
        assert!(sum == 0.0 || (sum - 1.0).abs() < 1e-9, "{now:?}");
        for &(place, from, to) in &maker.truth {
            let late = 0.7 * to + 0.3 * from;
            if (0.0..1.0).contains(&(sample.time_s - late)) {
                let most = now.steps.iter().copied().fold(0.0, f64::max);
                right.push((place, now.steps[place] == most));
            }
        }
    }
    let wrong: Vec<usize> = right.iter().filter(|r| !r.1).map(|r| r.0).collect();
    assert!(wrong.len() <= 2, "{wrong:?}");
    assert!(live.now().hypotheses[1] > 0.99, "{:?}", live.now());
}

#[test]
fn what_cannot_be_aligned_is_said() {
    let machine = machine(WASHER);
    let conditions = Conditions::at(230.0);
    let empty = Recording { name: "a.csv".to_owned(), ..Recording::default() };
    assert_eq!(
        Aligner::new(&machine, &empty, &conditions).err(),
        Some(AlignError::NoSamples("a.csv".to_owned()))
    );
    let mut bad = empty;
    bad.samples = vec![trace::Sample::new(1.0, 5.0), trace::Sample::new(0.0, 5.0)];
    assert_eq!(
        Aligner::new(&machine, &bad, &conditions).err(),
        Some(AlignError::BadSamples("a.csv".to_owned(), 1))
    );
}

/// All single faults' likelihoods.
fn all_singles(scene: &mut Scene<'_>, recording: &Recording) -> Vec<f64> {
    let mut aligner = scene.aligner(recording);
    let mut hypotheses = vec![Hypothesis::healthy()];
    hypotheses.extend(scene.machine.single_faults().map(|f| Hypothesis::of([f])));
    hypotheses
        .iter()
        .map(|h| {
            let ids = scene.sweep.predict(h);
            aligner.ln_likelihood(&ids, &scene.sweep)
        })
        .collect()
}

#[test]
fn the_clock_does_not_matter_and_the_ceiling_holds() {
    let machine = machine("quaydon-ember-60.toml");
    let mut scene = Scene::new(&machine);
    let ids = scene.ids(&["ring=open"]);
    let recording = whole_test(&scene.sweep, &ids, 1.03, &[1], 8).recording();
    let ln = all_singles(&mut scene, &recording);
    let ceiling = scene.aligner(&recording).ln_ceiling();
    assert!(ln.iter().all(|l| *l <= ceiling && l.is_finite()), "{ceiling} {ln:?}");
    let mut aligner = scene.aligner(&recording);
    assert_eq!(aligner.ln_ceiling_of_seen(), f64::NEG_INFINITY);
    let top = ln.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    for fault in scene.machine.single_faults() {
        let ids = scene.sweep.predict(&Hypothesis::of([fault]));
        aligner.ln_likelihood(&ids, &scene.sweep);
    }
    let of_seen = aligner.ln_ceiling_of_seen();
    assert!((top..=ceiling).contains(&of_seen), "{top} {of_seen} {ceiling}");
    let mut shifted = recording.clone();
    shifted.samples.iter_mut().for_each(|s| s.time_s += 86_400.0);
    for (a, b) in ln.iter().zip(all_singles(&mut scene, &shifted)) {
        assert!((a - b).abs() < 1e-6, "{a} {b}");
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(24))]

    /// No recording makes it fail, and none is likelier than the ceiling.
    #[test]
    fn any_recording_is_taken(
        parts in prop::collection::vec((0.0..4000.0_f64, 1_usize..60), 1..30),
        hole in 0.0..400.0_f64,
    ) {
        let machine = machine("quaydon-ember-60.toml");
        let mut scene = Scene::new(&machine);
        let mut maker = Maker::new(9);
        for &(watts, seconds) in &parts {
            maker.hold(watts, seconds);
        }
        let mut recording = maker.recording();
        let half = recording.samples.len() / 2;
        recording.samples[half..].iter_mut().for_each(|s| s.time_s += hole);
        let ceiling = scene.aligner(&recording).ln_ceiling();
        let ln = scene.ln(&recording, &[&[], &["ring=open"], &["cord=line open"], &["grill=open", "fan=winding open"]]);
        prop_assert!(ln.iter().all(|l| l.is_finite() && *l <= ceiling), "{:?} {}", ln, ceiling);
    }
}
