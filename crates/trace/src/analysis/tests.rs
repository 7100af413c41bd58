#![allow(clippy::unwrap_used, reason = "a test")]

use super::{Analyser, Supply, analyse};
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
