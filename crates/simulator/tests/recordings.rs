//! Recordings: the same by seed, true to the bench where they should be, and spoilt by meter and operator as set.
#![allow(missing_docs, clippy::unwrap_used, reason = "a test")]

mod support;

use bench::{Bench, Conditions, Hypothesis, Prediction, Trip};
use machine::model::{GoesOn, Machine};
use simulator::{
    ForeignLoad, MeterModel, Operator, Recording, Setting, Stretch, SupplyModel, household, record, specimen,
};
use support::{exact, exact_meter, machine, machines};
use trace::Sample;

fn in_stretch<'r>(recording: &'r Recording, step: &str) -> Vec<&'r Sample> {
    let at = recording.truth.iter().find(|s| s.step.as_deref() == Some(step)).unwrap();
    recording.samples.iter().filter(|s| (at.start_s..at.end_s).contains(&s.time_s)).collect()
}

fn median(mut watts: Vec<f64>) -> f64 {
    watts.sort_by(f64::total_cmp);
    watts[watts.len() / 2]
}

fn predictions(machine: &Machine, hypothesis: &Hypothesis, volts: f64) -> Vec<Prediction> {
    Bench::new(machine).predict(hypothesis, &Conditions::at(volts))
}

#[test]
fn the_same_seed_gives_the_same_recording_and_another_does_not() {
    for machine in machines() {
        let setting = Setting { operator: Operator::hurried(), ..Setting::kitchen(231.0) };
        let made = |seed| record(&specimen(&machine, seed), &Hypothesis::healthy(), &setting, seed);
        assert_eq!(made(5), made(5));
        assert_ne!(made(5).samples, made(6).samples);
    }
}

#[test]
fn the_meter_leaves_the_course_alone() {
    let machine = machine("Tern 81");
    let made = |meter| record(&machine, &Hypothesis::healthy(), &Setting { meter, ..exact(230.0) }, 3);
    let (fine, logger) = (made(MeterModel::fine()), made(MeterModel::logger()));
    let times = |r: &Recording| r.truth.iter().map(|s| (s.start_s, s.end_s)).collect::<Vec<_>>();
    assert_eq!(times(&fine), times(&logger));
    assert_eq!(fine.seen, logger.seen);
}

#[test]
fn the_truth_is_without_gaps_and_holds_every_step_in_order() {
    for machine in machines() {
        let made = record(&machine, &Hypothesis::healthy(), &exact(230.0), 8);
        assert_eq!(made.truth[0].start_s, 0.0);
        assert!(made.truth.windows(2).all(|w| w[0].end_s == w[1].start_s));
        let steps: Vec<&str> = made.truth.iter().filter_map(|s| s.step.as_deref()).collect();
        let listed: Vec<&str> = machine.test.steps.iter().map(|s| s.id.as_str()).collect();
        assert_eq!(steps, listed);
        assert_eq!(made.marks.iter().map(|m| m.1.as_str()).collect::<Vec<_>>(), listed);
        assert!(made.samples.first().unwrap().power_w < 1e-9 && made.code.is_none());
    }
}

#[test]
fn the_energy_of_the_samples_is_that_of_the_truth() {
    for machine in machines() {
        let setting = Setting { meter: exact_meter(0.2), ..Setting::kitchen(229.0) };
        let made = record(&specimen(&machine, 2), &Hypothesis::healthy(), &setting, 4);
        let pairs = made.samples.windows(2);
        let sampled: f64 =
            pairs.map(|w| (w[1].time_s - w[0].time_s) * 0.5 * (w[0].power_w + w[1].power_w)).sum();
        let truth: f64 = made.truth.iter().map(|s| s.energy_j).sum();
        assert!((sampled / truth - 1.0).abs() < 0.01, "{sampled} {truth}");
    }
}

#[test]
fn the_energy_of_a_recording_is_the_sum_of_its_steps_at_the_bench() {
    // Nothing turns to and fro or runs up for long in these two.
    for (model, within) in [("Pilot 12", 0.03), ("Ember 60", 0.03)] {
        let machine = machine(model);
        let made = record(&machine, &Hypothesis::healthy(), &exact(230.0), 11);
        let bench = predictions(&machine, &Hypothesis::healthy(), 230.0);
        let mut expected = 0.0;
        let mut real = 0.0;
        for stretch in &made.truth {
            if let Some(p) = bench.iter().find(|p| Some(p.step.as_str()) == stretch.step.as_deref()) {
                expected += p.power_w.value * (stretch.end_s - stretch.start_s);
                real += stretch.energy_j;
            }
        }
        assert!((real / expected - 1.0).abs() < within, "{model}: {real} J instead of {expected} J");
    }
}

#[test]
fn a_step_settles_where_the_bench_says() {
    for machine in machines() {
        let specimen = specimen(&machine, 77);
        let made = record(&specimen, &Hypothesis::healthy(), &exact(236.0), 13);
        for (step, p) in machine.test.steps.iter().zip(predictions(&specimen, &Hypothesis::healthy(), 236.0))
        {
            let samples = in_stretch(&made, &step.id);
            // Too short for a door lock to warm up.
            if step.lasts_s < 10.0 && step.until.is_none() {
                continue;
            }
            let to_and_fro = step.drives.iter().any(|d| d.both_ways);
            let end = samples.last().unwrap().time_s;
            // The last quarter of the step; of a drum's pulses what is not pause.
            let from = end - 0.25 * (end - samples[0].time_s);
            let mut watts: Vec<f64> =
                samples.iter().filter(|s| to_and_fro || s.time_s >= from).map(|s| s.power_w).collect();
            if to_and_fro {
                watts.retain(|w| *w > 0.8 * p.power_w.value);
            }
            let found = median(watts);
            let ramps = if step.ramp_s > 0.0 { 0.12 } else { 0.0 };
            let allowed = (0.03 + ramps) * p.power_w.value + 2.0;
            assert!(
                (found - p.power_w.value).abs() < allowed,
                "{} {}: {found} W instead of {} W",
                machine.plate.model,
                step.id,
                p.power_w.value
            );
        }
    }
}

#[test]
fn a_spin_runs_up_and_peaks_above_where_it_settles() {
    let machine = machine("Tern 81");
    let made = record(&machine, &Hypothesis::healthy(), &exact(230.0), 21);
    let spin = in_stretch(&made, "full-spin");
    let start = spin[0].time_s;
    let mean = |from: f64, to: f64| {
        let part: Vec<f64> =
            spin.iter().filter(|s| (from..to).contains(&(s.time_s - start))).map(|s| s.power_w).collect();
        part.iter().sum::<f64>() / part.len() as f64
    };
    // The file: 75 s of run-up, 2 minutes in all.
    assert!(mean(10.0, 20.0) < mean(30.0, 40.0) && mean(30.0, 40.0) < mean(60.0, 70.0));
    assert!(mean(70.0, 80.0) > 1.02 * mean(110.0, 120.0));
}

#[test]
fn a_door_lock_draws_its_cold_watts_first() {
    let machine = machine("Tern 81");
    let made = record(&machine, &Hypothesis::healthy(), &exact(230.0), 2);
    let bolt = in_stretch(&made, "bolt");
    let peak = bolt.iter().map(|s| s.power_w).fold(0.0, f64::max);
    // 230² / 1100 Ω = 48 W and the boards' 4.5 W, from the file.
    assert!((45.0..58.0).contains(&peak), "{peak}");
    assert!(bolt.last().unwrap().power_w < 25.0);
}

#[test]
fn a_motor_without_its_belt_runs_up_as_well() {
    let machine = machine("Tern 81");
    let fault = Hypothesis::parse(&machine, &["belt=off"]).unwrap();
    let made = record(&machine, &fault, &exact(230.0), 21);
    let spin = in_stretch(&made, "full-spin");
    let at = |t: f64| spin.iter().find(|s| s.time_s >= spin[0].time_s + t).unwrap().power_w;
    assert!(at(20.0) < 0.8 * at(110.0) && at(50.0) < at(110.0), "{} {} {}", at(20.0), at(50.0), at(110.0));
}

/// Pulses of a step: stretches of more than `above` watts.
fn pulses(samples: &[&Sample], above: f64) -> usize {
    samples.windows(2).filter(|w| w[0].power_w <= above && w[1].power_w > above).count()
        + usize::from(samples[0].power_w > above)
}

#[test]
fn a_drum_turning_to_and_fro_pauses_between() {
    let machine = machine("Cockle 52");
    let made = record(&machine, &Hypothesis::healthy(), &exact(230.0), 5);
    let step = in_stretch(&made, "to-and-fro");
    let count = pulses(&step, 40.0);
    assert!((3..=9).contains(&count), "{count}");
    let paused = step.iter().filter(|s| s.power_w < 15.0).count() as f64 / step.len() as f64;
    assert!((0.08..0.6).contains(&paused), "{paused}");
}

#[test]
fn a_drum_that_goes_one_way_only_misses_half_of_its_pulses() {
    let machine = machine("Gannet 7");
    let function = machine.functions.iter().position(|f| f.name == "turns").unwrap();
    // A service test with the drum both ways: that function as its only step.
    let mut changed = machine.clone();
    let mut step = changed.test.steps[2].clone();
    step.drives.clone_from(&changed.functions[function].drives);
    step.lasts_s = 120.0;
    changed.test.steps = vec![step.clone()];
    let fault = changed
        .single_faults()
        .map(|f| Hypothesis::of([f]))
        .find(|h| {
            let p = &predictions(&changed, h, 230.0)[0];
            p.one_way && p.refused.is_empty() && h.says(&changed).contains("loom")
                || p.one_way && p.signs.iter().all(|s| *s != "hums")
        })
        .expect("some fault stops one direction");
    let count = |h: &Hypothesis| {
        let made = record(&changed, h, &exact(230.0), 31);
        pulses(&in_stretch(&made, &step.id), 100.0) as f64
    };
    let (healthy, one_way) = (count(&Hypothesis::healthy()), count(&fault));
    assert!(healthy >= 6.0 && (0.35..0.65).contains(&(one_way / healthy)), "{healthy} {one_way}");
}

#[test]
fn a_drum_that_does_not_follow_is_tried_for_as_long_as_its_guard_waits() {
    let machine = machine("Tern 81");
    let fault = Hypothesis::parse(&machine, &["hall=no pulses"])
        .or_else(|_| {
            let part = machine.part("hall").unwrap();
            let mode = machine.parts[part].kind.modes[0].name;
            Hypothesis::parse(&machine, &[format!("hall={mode}")])
        })
        .unwrap();
    let p = predictions(&machine, &fault, 230.0);
    let left = machine.test.steps.iter().position(|s| s.id == "left").unwrap();
    assert!(!p[left].refused.is_empty(), "the guard acts");
    let made = record(&machine, &fault, &exact(230.0), 9);
    let step = in_stretch(&made, "left");
    // The drum takes 14 W at 30 rpm (file) for the guard's 3 s or so, up to three times; then nothing.
    let tried = step.iter().filter(|s| s.power_w > 17.0).count() as f64 * 0.1;
    assert!((2.0..12.0).contains(&tried), "{tried} s");
    assert!(step[step.len() - 20..].iter().all(|s| s.power_w < 17.0));
    assert_eq!(made.code.as_deref(), Some("DRV"));
}

#[test]
fn every_fault_of_every_shipped_machine_records() {
    let mut tripped = 0;
    for machine in machines() {
        let specimen = specimen(&machine, 1);
        let setting = Setting { operator: Operator::hurried(), ..Setting::kitchen(230.0) };
        for (i, fault) in machine.single_faults().enumerate() {
            let hypothesis = Hypothesis::of([fault]);
            let made = record(&specimen, &hypothesis, &setting, i as u64);
            let what = hypothesis.says(&machine);
            assert!(!made.samples.is_empty(), "{what}");
            assert!(made.samples.windows(2).all(|w| w[0].time_s <= w[1].time_s), "{what}");
            assert!(
                made.samples.iter().all(|s| s.power_w.is_finite() && (0.0..20_000.0).contains(&s.power_w)),
                "{what}"
            );
            let trips = predictions(&specimen, &hypothesis, 230.0).iter().any(|p| p.trip.is_some());
            if trips {
                tripped += 1;
                let last = made.samples.last().unwrap();
                assert!(last.power_w == 0.0 && last.voltage_v == Some(0.0), "{what}");
            }
        }
    }
    assert!(tripped > 10, "{tripped}");
}

#[test]
fn a_protection_that_goes_off_ends_all_power() {
    let machine = machine("Tern 81");
    let fault = Hypothesis::parse(&machine, &["element=leak"]).unwrap();
    let bench = predictions(&machine, &fault, 230.0);
    let trip = bench.iter().find(|p| p.trip.is_some()).unwrap();
    assert_eq!(trip.trip, Some(Trip::Residual));
    let made = record(&machine, &fault, &exact(230.0), 6);
    let at = made.truth.iter().find(|s| s.step.as_deref() == Some(trip.step.as_str())).unwrap();
    assert!(made.samples.iter().filter(|s| s.time_s > at.end_s).all(|s| s.power_w == 0.0));
    assert!(made.samples.iter().filter(|s| s.time_s < at.start_s).any(|s| s.power_w > 1.0));
}

#[test]
fn the_meter_samples_and_rounds_as_set() {
    let machine = machine("Pilot 12");
    let meter = MeterModel {
        every_s: 2.0,
        jitter_s: 0.5,
        quantum_w: 2.13,
        drop_share: 0.2,
        stuck_share: 0.0,
        logs_volts: false,
        logs_amps: true,
        ..MeterModel::logger()
    };
    let made = record(&machine, &Hypothesis::healthy(), &Setting { meter, ..Setting::kitchen(230.0) }, 15);
    let end = made.truth.last().unwrap().end_s;
    for s in &made.samples {
        let steps = s.power_w / 2.13;
        assert!((steps - steps.round()).abs() < 1e-9);
        let off = s.time_s - 2.0 * (s.time_s / 2.0).round();
        assert!(off.abs() <= 0.5 + 0.2, "{off}");
        assert!(s.voltage_v.is_none() && s.current_a.is_some());
    }
    let mut offs: Vec<f64> = made.samples.iter().map(|s| s.time_s - 2.0 * (s.time_s / 2.0).round()).collect();
    offs.sort_by(f64::total_cmp);
    assert!(offs[0] < -0.3 && offs[offs.len() - 1] > 0.3);
    // Over several seeds, so that bursts even out.
    let setting = |seed| {
        let meter = MeterModel { every_s: 0.5, drop_share: 0.2, ..MeterModel::logger() };
        record(&machine, &Hypothesis::healthy(), &Setting { meter, ..Setting::kitchen(230.0) }, seed)
    };
    let (mut kept, mut due) = (0.0, 0.0);
    for seed in 0..10 {
        let r = setting(seed);
        kept += r.samples.len() as f64;
        due += r.truth.last().unwrap().end_s / 0.5;
    }
    assert!((1.0 - kept / due - 0.2).abs() < 0.04, "{}", 1.0 - kept / due);
    assert!(end > 0.0);
}

#[test]
fn a_slow_meter_lags_and_a_stuck_one_repeats() {
    let machine = machine("Ember 60");
    let made = |meter| record(&machine, &Hypothesis::healthy(), &Setting { meter, ..exact(230.0) }, 1);
    let slow = made(MeterModel { lag_s: 3.0, ..exact_meter(0.1) });
    let grill = in_stretch(&slow, "grill");
    let (first, last) = (grill[0].time_s, grill[grill.len() - 5].power_w);
    let at = |t: f64| grill.iter().find(|s| s.time_s >= first + t).unwrap().power_w;
    // One time constant after an edge 63 % are there; the edge comes up to 3 s into the step.
    assert!(at(3.0) < 0.7 * last && at(18.0) > 0.95 * last);
    let stuck = made(MeterModel { stuck_share: 0.5, quantum_w: 0.0, ..exact_meter(1.0) });
    let repeats = stuck.samples.windows(2).filter(|w| w[0].power_w == w[1].power_w).count();
    let free = made(exact_meter(1.0));
    let before = free.samples.windows(2).filter(|w| w[0].power_w == w[1].power_w).count();
    assert!(repeats > before, "{repeats} {before}");
}

#[test]
fn the_supply_sags_under_the_heater_by_its_source_resistance() {
    let machine = machine("Ember 60");
    let supply = SupplyModel { source_ohm: 0.8, ..SupplyModel::stiff(230.0) };
    let made = record(&machine, &Hypothesis::healthy(), &Setting { supply, ..exact(230.0) }, 1);
    let grill = in_stretch(&made, "grill");
    let here = grill[grill.len() - 20];
    let (volts, amps) = (here.voltage_v.unwrap(), here.current_a.unwrap());
    assert!((230.0 - 0.8 * amps - volts).abs() < 0.3, "{volts} V, {amps} A");
    // Power falls with the square of the voltage.
    let stiff = predictions(&machine, &Hypothesis::healthy(), 230.0);
    let full = stiff.iter().find(|p| p.step == "grill").unwrap().power_w.value;
    assert!((here.power_w / full - (volts / 230.0).powi(2)).abs() < 0.01, "{here:?} {full}");
}

#[test]
fn the_supply_wanders_and_dips_as_set() {
    let machine = machine("Tern 81");
    let supply = SupplyModel { drift_v: 3.0, dips: true, ..SupplyModel::stiff(230.0) };
    let volts: Vec<f64> = (0..12)
        .flat_map(|seed| {
            let setting = Setting { supply: supply.clone(), ..exact(230.0) };
            record(&machine, &Hypothesis::healthy(), &setting, seed).samples
        })
        .map(|s| s.voltage_v.unwrap())
        .collect();
    let mean = volts.iter().sum::<f64>() / volts.len() as f64;
    let spread = (volts.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / volts.len() as f64).sqrt();
    assert!((mean - 230.0).abs() < 2.0 && (2.0..4.5).contains(&spread), "{mean} {spread}");
    assert!(volts.iter().any(|v| *v < 222.0), "a dip takes 3 to 12 %");
}

fn length_of(stretch: &Stretch) -> f64 {
    stretch.end_s - stretch.start_s
}

#[test]
fn the_operator_does_as_set() {
    let machine = machine("Tern 81");
    let made = |operator: Operator, seed| {
        record(&machine, &Hypothesis::healthy(), &Setting { operator, ..exact(230.0) }, seed)
    };
    let pressed = |r: &Recording| -> Vec<f64> {
        let by_press = |id: &str| {
            machine.step(id).is_some_and(|s| matches!(s.goes_on, GoesOn::Press(_)) && s.until.is_none())
        };
        r.truth.iter().filter(|s| s.step.as_deref().is_some_and(by_press)).map(length_of).collect()
    };
    let careful = made(Operator::careful(), 3);
    let skips = made(Operator { skips: 1.0, ..Operator::careful() }, 3);
    assert!(pressed(&skips).iter().all(|s| *s < 3.0), "{:?}", pressed(&skips));
    let pauses = made(Operator { pauses: 1.0, ..Operator::careful() }, 3);
    assert!(pressed(&pauses).iter().zip(pressed(&careful)).all(|(a, b)| *a > b + 10.0));
    let unregistered = made(Operator { unregistered: 1.0, ..Operator::careful() }, 3);
    assert!(unregistered.marks.len() > careful.marks.len());
    let twice = made(Operator { presses_twice: 1.0, ..Operator::careful() }, 3);
    assert!(pressed(&twice).iter().filter(|s| **s < 0.6).count() >= 3);
    let again = made(Operator { leaves_and_reenters: 0.5, ..Operator::careful() }, 3);
    let recalls = again.truth.iter().filter(|s| s.step.as_deref() == Some("recall")).count();
    assert!(recalls >= 2, "{recalls}");
    assert!(made(Operator::hurried(), 3).marks.is_empty());
}

#[test]
fn a_kettle_on_the_socket_shows() {
    let machine = machine("Tern 81");
    let kettle = ForeignLoad { chance: 1.0, watts: 2000.0, seconds: 60.0 };
    let operator = Operator { foreign_load: Some(kettle), ..Operator::careful() };
    let energy = |operator| {
        let made = record(&machine, &Hypothesis::healthy(), &Setting { operator, ..exact(230.0) }, 4);
        made.truth.iter().map(|s| s.energy_j).sum::<f64>()
    };
    let more = energy(operator) - energy(Operator::careful());
    assert!((more - 120e3).abs() < 2e3, "{more}");
}

#[test]
fn the_operator_sees_what_the_fault_does() {
    let machine = machine("Tern 81");
    let noted = |faults: &[&str], misses| {
        let hypothesis = Hypothesis::parse(&machine, faults).unwrap();
        let operator = Operator { misses, ..Operator::careful() };
        record(&machine, &hypothesis, &Setting { operator, ..exact(230.0) }, 4).seen
    };
    assert!(noted(&[], 0.0).iter().all(|(_, _, yes)| *yes));
    let cold = noted(&["element=open"], 0.0);
    assert!(cold.contains(&("warm".to_owned(), "gets warm".to_owned(), false)));
    assert!(noted(&[], 0.5).iter().any(|(_, _, yes)| !*yes));
}

#[test]
fn a_fault_that_comes_and_goes_shows_for_its_share() {
    let machine = machine("Tern 81");
    let fault = Hypothesis::parse(&machine, &["element=open"]).unwrap();
    let (mut shown, mut all, mut both) = (0.0, 0.0, 0);
    for seed in 0..40 {
        let setting = Setting { intermittent: Some(0.3), ..exact(230.0) };
        let made = record(&machine, &fault, &setting, seed);
        let end = made.truth.last().unwrap().end_s;
        shown += made.shown.iter().map(|(a, b)| b.min(end) - a.min(end)).sum::<f64>();
        all += end;
        let warm = in_stretch(&made, "warm");
        let hot = warm.iter().filter(|s| s.power_w > 1000.0).count();
        both += usize::from(hot > 20 && warm.len() - hot > 60);
    }
    assert!((shown / all - 0.3).abs() < 0.1, "{}", shown / all);
    assert!(both > 3, "it cuts in or out while the heater is on: {both} of 40");
    let always = Setting { intermittent: Some(1.0), ..exact(230.0) };
    let never = Setting { intermittent: Some(0.0), ..exact(230.0) };
    let peak =
        |s: &Setting| record(&machine, &fault, s, 1).samples.iter().map(|s| s.power_w).fold(0.0, f64::max);
    assert!(peak(&always) < 1000.0 && peak(&never) > 1500.0);
}

#[test]
fn a_wire_that_is_intermittent_opens_now_and_then() {
    let machine = machine("Tern 81");
    let wire = machine
        .parts
        .iter()
        .find(|p| p.ends.as_ref().is_some_and(|(a, b)| a == "cutout.2" && b == "element.1"))
        .unwrap();
    let fault = Hypothesis::parse(&machine, &[format!("{}=intermittent", wire.id)]).unwrap();
    let hot = |seed| {
        let made = record(&machine, &fault, &exact(230.0), seed);
        assert!(made.shown.windows(2).all(|w| w[0].1 < w[1].0));
        let warm = in_stretch(&made, "warm");
        warm.iter().filter(|s| s.power_w > 1000.0).count() as f64 / warm.len() as f64
    };
    let shares: Vec<f64> = (0..30).map(hot).collect();
    assert!(shares.iter().any(|s| *s > 0.9) && shares.iter().any(|s| *s < 0.6), "{shares:?}");
}

#[test]
fn days_in_a_household_heat_wash_and_spin() {
    for machine in machines() {
        let setting = Setting { meter: MeterModel::logger(), ..Setting::kitchen(230.0) };
        let healthy = household(&machine, &Hypothesis::healthy(), &setting, 2, 3);
        assert!(healthy.last().unwrap().time_s > 2.0 * 86_400.0 - 60.0);
        let hot = healthy.iter().filter(|s| s.power_w > 1000.0).count();
        // A few minutes a day at the least, a few hours at the most.
        assert!((200..20_000).contains(&hot), "{} {hot}", machine.plate.model);
        assert!(healthy.iter().filter(|s| s.power_w < 3.0).count() > healthy.len() / 2);
    }
    let machine = machine("Tern 81");
    let setting = Setting { meter: MeterModel::logger(), ..Setting::kitchen(230.0) };
    let cold = Hypothesis::parse(&machine, &["element=open"]).unwrap();
    let days = household(&machine, &cold, &setting, 1, 3);
    assert!(days.iter().all(|s| s.power_w < 1200.0));
    let fitful = Setting { intermittent: Some(0.5), ..setting.clone() };
    assert_ne!(household(&machine, &cold, &fitful, 1, 3), days);
    assert_eq!(household(&machine, &cold, &fitful, 1, 3), household(&machine, &cold, &fitful, 1, 3));
}
