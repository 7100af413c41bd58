#![allow(clippy::unwrap_used, reason = "a test")]

use super::{Analyser, Analysis, Ended, Supply, Trouble, analyse};
use crate::Sample;
use crate::loads::Kind;
use crate::measures::Difference;

/// A wash, seconds and watts: turning, heater with the drum turning on it, turning, spin; the mains has 0.4 Ω.
fn wash(from_s: f64) -> Vec<Sample> {
    let turning = |i: usize| if i % 20 < 10 { 150.0 } else { 5.0 };
    let power = |i: usize| match i {
        ..120 | 2420.. => 2.0,
        700..1300 => 2000.0 + turning(i),
        2000..2300 => 350.0,
        _ => turning(i),
    };
    (0..2540)
        .map(|i| {
            let p = power(i);
            let amps = p / 236.0;
            Sample {
                voltage_v: Some(240.0 - 0.4 * amps),
                current_a: Some(amps),
                ..Sample::new(from_s + i as f64, p)
            }
        })
        .collect()
}

#[test]
fn a_wash_is_read_with_ohms_and_source() {
    let found = analyse(&wash(0.0), None);
    assert_eq!(found.runs.len(), 1);
    let on = &found.runs[0].run.loads.heater_on;
    assert_eq!(on.iter().map(|h| (h.start_s, h.end_s)).collect::<Vec<_>>(), [(700.0, 1300.0)]);
    assert!((on[0].power_w - 2000.0).abs() < 10.0, "{}", on[0].power_w);
    let source = found.source.unwrap();
    assert!((source.ohm - 0.4).abs() < 0.02, "{source:?}");
    assert_eq!(found.runs[0].run.loads.spins.len(), 1);
    let states = &found.runs[0].run.loads.states;
    assert!(states.iter().any(|s| s.kind == Kind::Reversing));
    assert!(states.windows(2).all(|p| p[0].end_s == p[1].start_s), "{states:?}");
}

#[test]
fn ohms_come_from_the_stated_supply_where_no_volts_are_logged() {
    let bare: Vec<Sample> = wash(0.0).iter().map(|s| Sample::new(s.time_s, s.power_w)).collect();
    let found = analyse(&bare, Some(Supply { volts: 240.0, u_v: 2.4 }));
    let on = &found.runs[0].run.loads.heater_on[0];
    assert!((on.resistance_ohm.unwrap() - 28.8).abs() < 0.2);
    assert!(found.runs[0].resistance_u_ohm[0].unwrap() > 0.5);
    assert_eq!(found.source, None);
}

#[test]
fn days_apart_are_runs_and_pushing_one_by_one_gives_each_when_it_ends() {
    let mut samples = wash(0.0);
    samples.extend((2540..9000).map(|t| Sample::new(f64::from(t), 2.0)));
    samples.extend(wash(9000.0));
    let mut analyser = Analyser::new(None);
    let ended: Vec<f64> =
        samples.iter().filter_map(|s| analyser.push(*s).map(|read| read.run.start_s)).collect();
    assert_eq!(ended.len(), 1);
    let (all, _) = analyser.finish();
    assert_eq!(all, analyse(&samples, None));
    let apart: Vec<f64> = all.runs.iter().map(|r| r.run.loads.heater_on[0].start_s).collect();
    assert_eq!(apart, [700.0, 9700.0]);
}

#[test]
fn a_cold_wash_among_warm_ones_is_pointed_out() {
    let mut samples = Vec::new();
    for run in 0..4 {
        let from = f64::from(run) * 10_000.0;
        for mut s in wash(from) {
            let i = s.time_s - from;
            if run == 2 && (800.0..1300.0).contains(&i) {
                s.power_w -= 2000.0;
            }
            samples.push(s);
        }
    }
    let found = analyse(&samples, None);
    assert_eq!(found.runs.len(), 4);
    assert!(
        matches!(found.differences[..], [Difference::HeatedLess { run: 2, .. }]),
        "{:?}",
        found.differences
    );
}

#[test]
fn nothing_is_nothing() {
    let found = analyse(&[], None);
    assert_eq!((found.samples, found.runs.len(), found.energy_wh), (0, 0, 0.0));
}

/// What a meter that reads in steps of 0.1 W shows beside a steady 0.1 W less.
fn ripple(i: usize) -> f64 {
    0.1 * (i % 3) as f64
}

/// Four washes 10,000 s apart, the third changed by `change`, which is told the second of the wash; none leaves a sample
/// out.
fn third_of_four(change: impl Fn(usize, Sample) -> Option<Sample>) -> Analysis {
    let mut samples = Vec::new();
    for run in 0..4 {
        let from_s = f64::from(run) * 10_000.0;
        let wash = wash(from_s).into_iter().enumerate();
        samples.extend(wash.filter_map(|(i, s)| if run == 2 { change(i, s) } else { Some(s) }));
    }
    analyse(&samples, None)
}

/// What ended with the only disturbance, which is in the third run.
fn only(found: &Analysis, is: impl Fn(Trouble) -> bool) -> &[Ended] {
    let [only] = &found.disturbances[..] else { panic!("{:?}", found.disturbances) };
    assert!(is(only.trouble) && only.run == Some(2), "{only:?}");
    &only.ended
}

#[test]
fn a_dip_just_before_the_heater_cut_out_is_told() {
    let found = third_of_four(|i, s| {
        let heating = (800..1300).contains(&i);
        let dip = (799..801).contains(&i);
        let power_w = s.power_w - if heating { 2000.0 } else { 0.0 };
        Some(Sample { power_w, voltage_v: if dip { Some(178.0) } else { s.voltage_v }, ..s })
    });
    let ended = only(
        &found,
        |t| matches!(t, Trouble::Dip { lowest_v: 178.0, reference_v } if (236.0..240.0).contains(&reference_v)),
    );
    assert_eq!(ended, [Ended::Heater]);
    assert!(
        matches!(found.differences[..], [Difference::HeatedLess { run: 2, .. }]),
        "{:?}",
        found.differences
    );
}

#[test]
fn a_dip_of_no_consequence_is_listed_with_none() {
    let found = third_of_four(|i, s| {
        Some(Sample { voltage_v: if i == 900 { Some(200.0) } else { s.voltage_v }, ..s })
    });
    assert_eq!(only(&found, |t| matches!(t, Trouble::Dip { lowest_v: 200.0, .. })), []);
    assert_eq!((found.disturbances[0].start_s, found.disturbances[0].end_s), (20_900.0, 20_901.0));
}

#[test]
fn power_at_exactly_nothing_while_the_meter_goes_on_is_an_interruption() {
    let bare = |i, s: Sample| {
        let power_w = if (900..960).contains(&i) { 0.0 } else { s.power_w + ripple(i) };
        Some(Sample { power_w, voltage_v: None, ..s })
    };
    let found = third_of_four(bare);
    assert_eq!(only(&found, |t| t == Trouble::NoPower), [Ended::Heater]);
    assert_eq!((found.disturbances[0].start_s, found.disturbances[0].end_s), (20_900.0, 20_960.0));
    // A machine that is off when it is done is no trouble.
    let off = third_of_four(|i, s| {
        Some(Sample { power_w: if i >= 2420 { 0.0 } else { s.power_w + ripple(i) }, ..s })
    });
    assert_eq!(off.disturbances, []);
}

#[test]
fn power_that_goes_under_load_and_stays_away_ended_the_run() {
    let found = third_of_four(|i, s| {
        Some(Sample { power_w: if i >= 1000 { 0.0 } else { s.power_w + ripple(i) }, voltage_v: None, ..s })
    });
    assert_eq!(only(&found, |t| t == Trouble::NoPower), [Ended::Heater, Ended::Run]);
    let shorter = found.differences.iter().any(|d| matches!(d, Difference::Shorter { run: 2, .. }));
    assert!(shorter, "{:?}", found.differences);
}

#[test]
fn volts_at_nothing_are_an_interruption_and_told_once() {
    let found = third_of_four(|i, s| {
        let out = (900..930).contains(&i);
        Some(if out { Sample { power_w: 0.0, voltage_v: Some(0.0), ..s } } else { s })
    });
    assert_eq!(only(&found, |t| matches!(t, Trouble::Interruption { .. })), [Ended::Heater]);
}

#[test]
fn samples_that_stay_away_while_it_heats_are_told_and_a_short_gap_in_the_wash_is_not() {
    let found = third_of_four(|i, s| {
        let cold = Sample { power_w: s.power_w - if (1000..1300).contains(&i) { 2000.0 } else { 0.0 }, ..s };
        (!(970..1000).contains(&i) && !(400..420).contains(&i)).then_some(cold)
    });
    assert_eq!(only(&found, |t| t == Trouble::NoSamples), [Ended::Heater]);
    assert!(found.gaps.contains(&(20_969.0, 21_000.0)) && found.gaps.contains(&(20_399.0, 20_420.0)));
}

#[test]
fn the_sag_of_the_machines_own_heater_on_a_weak_supply_is_told_from_a_dip() {
    let samples: Vec<Sample> = wash(0.0)
        .iter()
        .map(|s| Sample { voltage_v: Some(240.0 - 3.5 * s.current_a.unwrap()), ..*s })
        .collect();
    let found = analyse(&samples, None);
    assert!(!found.disturbances.is_empty() && found.disturbances[0].with_heater, "{:?}", found.disturbances);
    assert_eq!(found.disturbances[0].start_s, 700.0);
}

#[test]
fn standby_near_the_meters_step_that_reads_0_now_and_then_is_no_interruption() {
    let found = third_of_four(|i, s| {
        let off = i > 2000 && i % 50 < 5;
        let power_w = if s.power_w > 10.0 {
            s.power_w.round()
        } else if off {
            0.0
        } else {
            2.0
        };
        Some(Sample { power_w, voltage_v: None, ..s })
    });
    assert_eq!(found.disturbances, []);
}

#[test]
fn a_spin_that_was_given_up_and_a_run_that_broke_off_stand_out() {
    let spin = third_of_four(|i, s| {
        let given_up = (2080..2300).contains(&i);
        Some(Sample { power_w: if given_up { 5.0 } else { s.power_w }, ..s })
    });
    let told =
        |d: &Difference| matches!(d, Difference::SpunLess { run: 2, .. } | Difference::NoSpin { run: 2 });
    assert!(spin.differences.iter().any(told), "{:?}", spin.differences);
    // The meter lost the mains with the machine, and neither came back before the next wash.
    let off = third_of_four(|i, s| (i < 1000).then_some(s));
    assert_eq!(only(&off, |t| t == Trouble::NoSamples), [Ended::Heater, Ended::Run]);
}

#[test]
fn a_recording_that_ends_in_a_run_says_nothing_of_what_was_still_to_come() {
    let mut samples = Vec::new();
    for run in 0..4 {
        let from_s = f64::from(run) * 10_000.0;
        samples.extend(wash(from_s).into_iter().take(if run == 3 { 1000 } else { 2540 }));
    }
    let found = analyse(&samples, None);
    assert_eq!(found.runs.iter().map(|r| r.unfinished).collect::<Vec<_>>(), [false, false, false, true]);
    assert_eq!(found.differences, []);
}

#[test]
fn volts_stand_beside_their_rows_in_every_run_also_where_the_first_are_missing() {
    let found =
        third_of_four(|i, s| Some(Sample { voltage_v: if i < 500 { None } else { s.voltage_v }, ..s }));
    let source = found.source.unwrap();
    assert!((source.ohm - 0.4).abs() < 0.002 && source.edges == 8, "{source:?}");
    // 2000 W at 240 V − 0.4 Ω·8.5 A.
    for read in &found.runs {
        let ohm = read.run.loads.heater_on[0].resistance_ohm.unwrap();
        assert!((ohm - 236.5 * 236.5 / 2000.0).abs() < 0.3, "{ohm}");
    }
}
