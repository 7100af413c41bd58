//! What holds for every seed and setting.
#![allow(missing_docs, clippy::unwrap_used, reason = "a test")]

mod support;

use bench::{Bench, Conditions, Hypothesis};
use machine::params::Value;
use proptest::prelude::*;
use quantity::Toleranced;
use simulator::{MeterModel, Operator, Setting, SupplyModel, drawn_within, record, specimen};
use support::machines;

fn meters() -> impl Strategy<Value = MeterModel> {
    (0.1f64..5.0, 0.0f64..2.0, 0.0f64..4.0, 0.0f64..5.0, 0.0f64..0.6, 0.0f64..0.5).prop_map(
        |(every_s, jitter_s, lag_s, quantum_w, drop_share, stuck_share)| MeterModel {
            every_s,
            jitter_s,
            lag_s,
            quantum_w,
            drop_share,
            stuck_share,
            ..MeterModel::display()
        },
    )
}

fn operators() -> impl Strategy<Value = Operator> {
    (0.0f64..5.0, 0.0f64..0.5, 0.0f64..0.5, 0.0f64..0.5, 0.0f64..0.5, 0.0f64..0.5).prop_map(
        |(most, skips, presses_twice, pauses, leaves_and_reenters, unregistered)| Operator {
            reaction_s: (0.0, most),
            skips,
            presses_twice,
            pauses,
            leaves_and_reenters,
            unregistered,
            ..Operator::hurried()
        },
    )
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(48))]

    #[test]
    fn recordings_are_whole_whatever_the_setting(
        which in 0usize..5,
        fault in any::<prop::sample::Index>(),
        second in any::<prop::sample::Index>(),
        meter in meters(),
        operator in operators(),
        volts in 190.0f64..260.0,
        intermittent in prop::option::of(0.0f64..1.0),
        seed in any::<u64>(),
    ) {
        let machine = &machines()[which];
        let faults: Vec<_> = machine.single_faults().collect();
        let hypothesis = Hypothesis::of([*fault.get(&faults), *second.get(&faults)]);
        let setting = Setting {
            meter, operator, intermittent,
            supply: SupplyModel::kitchen(volts),
            ..Setting::kitchen(volts)
        };
        let made = record(&specimen(machine, seed), &hypothesis, &setting, seed);
        prop_assert!(made.samples.windows(2).all(|w| w[0].time_s <= w[1].time_s));
        for s in &made.samples {
            prop_assert!(s.power_w.is_finite() && s.power_w >= 0.0);
            prop_assert!(s.voltage_v.is_none_or(|v| (0.0..300.0).contains(&v)));
            prop_assert!(s.power_factor.is_none_or(|f| (0.0..=1.0).contains(&f)));
        }
        prop_assert!(made.truth.windows(2).all(|w| w[0].end_s == w[1].start_s));
        prop_assert!(made.truth.iter().all(|s| s.end_s >= s.start_s && s.energy_j >= 0.0));
        let end = made.truth.last().unwrap().end_s;
        prop_assert!(made.samples.iter().all(|s| s.time_s <= end + 1e-6));
        prop_assert!(end < 3.0 * 3600.0);
    }

    #[test]
    fn a_specimen_lies_within_its_tolerances(which in 0usize..5, seed in any::<u64>()) {
        let machine = &machines()[which];
        let drawn = specimen(machine, seed);
        let mut moved = 0;
        for (file, real) in machine.parts.iter().zip(&drawn.parts) {
            for param in file.kind.params {
                let spread = file.kind.behaviour.spread(&file.params, param.name);
                let (limits, value) = match (file.params.get(param.name), real.params.get(param.name)) {
                    (Some(Value::Quantity(q)), Some(Value::Quantity(r))) => (drawn_within(q, spread), *r),
                    (Some(Value::Table(q)), Some(Value::Table(r))) => {
                        prop_assert!(q.iter().zip(r).all(|(q, r)| q.0 == r.0));
                        let (_, last) = q[q.len() - 1];
                        let drawn = Toleranced::exact(r[r.len() - 1].1);
                        (drawn_within(&Toleranced::exact(last), spread), drawn)
                    }
                    (Some(Value::RatedAt(q, at)), Some(Value::RatedAt(r, still))) => {
                        prop_assert_eq!(at, still);
                        (drawn_within(q, spread), *r)
                    }
                    (a, b) => {
                        prop_assert_eq!(a, b);
                        continue;
                    }
                };
                let (low, high) = (limits.lower(), limits.upper());
                prop_assert!(low - 1e-9 <= value.nominal && value.nominal <= high + 1e-9,
                    "{} {}: {} not in {low} … {high}", file.id, param.name, value.nominal);
                moved += usize::from(high > low && value.nominal != limits.nominal);
            }
        }
        prop_assert!(moved > 5);
        prop_assert_eq!(format!("{drawn:?}"), format!("{:?}", specimen(machine, seed)));
    }

    #[test]
    fn a_healthy_specimen_passes_its_own_test(which in 0usize..5, seed in any::<u64>()) {
        let drawn = specimen(&machines()[which], seed);
        for p in Bench::new(&drawn).predict(&Hypothesis::healthy(), &Conditions::at(drawn.plate.supply_v)) {
            prop_assert!(!p.timed_out && p.trip.is_none() && p.code.is_none() && p.refused.is_empty(), "{p:?}");
        }
    }
}

#[test]
fn specimens_spread_over_their_tolerance() {
    let machine = support::machine("Tern 81");
    let part = machine.part("tub-probe").unwrap();
    let limits = machine.parts[part].params.quantity("r25");
    let drawn: Vec<f64> =
        (0..400).map(|seed| specimen(&machine, seed).parts[part].params.nominal("r25")).collect();
    let mean = drawn.iter().sum::<f64>() / drawn.len() as f64;
    let spread = (drawn.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / drawn.len() as f64).sqrt();
    // Half rectangular (0.577 of the half-width), half normal cut off at two deviations (0.44 of it).
    let share = spread / limits.plus;
    assert!((mean / limits.nominal - 1.0).abs() < 0.01 && (0.44..0.58).contains(&share), "{mean} {share}");
}
