#![allow(missing_docs, clippy::unwrap_used, reason = "a test")]
//! Loads found in series made for one difficulty each.

use trace::loads::{Kind, Loads, State, loads};

/// One row a second: each stretch a length in seconds and a power in watts.
fn made(stretches: &[(usize, f64)]) -> (Vec<f64>, Vec<f64>) {
    let power_w: Vec<f64> = stretches.iter().flat_map(|&(n, w)| std::iter::repeat_n(w, n)).collect();
    ((0..power_w.len()).map(|i| i as f64).collect(), power_w)
}

fn drum(turns: usize, on_w: f64) -> Vec<(usize, f64)> {
    (0..turns).flat_map(|_| [(10, on_w + 4.0), (5, 4.0)]).collect()
}

#[test]
fn a_heater_under_a_reversing_drum_keeps_its_own_watts() {
    let heated = drum(30, 200.0).into_iter().map(|(n, w)| (n, w + 1990.0));
    let stretches: Vec<_> = drum(12, 200.0).into_iter().chain(heated).chain(drum(12, 200.0)).collect();
    let (time_s, power_w) = made(&stretches);
    let found = loads(&time_s, &power_w, Some(230.0)).heater_on;
    assert_eq!(found.len(), 1, "{found:?}");
    assert_eq!((found[0].start_s, found[0].end_s), (180.0, 630.0));
    assert!((found[0].power_w - 1990.0).abs() < 1.0, "{found:?}");
    assert!((found[0].resistance_ohm.unwrap() - 230.0 * 230.0 / 1990.0).abs() < 0.02);
}

#[test]
fn the_smaller_of_two_elements_is_a_stage() {
    let (time_s, power_w) = made(&[
        (60, 0.0),
        (100, 100.0),
        (200, 2000.0),
        (120, 733.0),
        (200, 2000.0),
        (150, 733.0),
        (100, 100.0),
        (60, 0.0),
    ]);
    let found = loads(&time_s, &power_w, None).heater_on;
    assert_eq!(found.len(), 1, "{found:?}");
    let stages: Vec<_> = found[0].stages.iter().map(|s| (s.start_s, s.end_s, s.power_w)).collect();
    assert_eq!(
        stages,
        [(160.0, 360.0, 1900.0), (360.0, 480.0, 633.0), (480.0, 680.0, 1900.0), (680.0, 830.0, 633.0)]
    );
}

#[test]
fn single_rows_gone_wrong_are_neither_heater_nor_break() {
    let (time_s, mut power_w) = made(&[(200, 2.0), (300, 2000.0), (200, 2.0)]);
    power_w[100] = 2800.0;
    power_w[350] = 0.0;
    let found = loads(&time_s, &power_w, None).heater_on;
    assert_eq!(
        found.iter().map(|h| (h.start_s, h.end_s, h.power_w)).collect::<Vec<_>>(),
        [(200.0, 500.0, 1998.0)]
    );
}

#[test]
fn a_motor_that_peaks_over_half_a_heater_is_no_heater() {
    let mut stretches = drum(30, 180.0);
    stretches.splice(0..0, [(60, 4.0), (300, 1800.0)]);
    stretches.extend([(30, 80.0), (3, 400.0), (8, 1100.0), (120, 420.0), (60, 4.0)]);
    let (time_s, power_w) = made(&stretches);
    let found = loads(&time_s, &power_w, None);
    assert_eq!(found.heater_on.len(), 1, "{:?}", found.heater_on);
    assert_eq!(found.spins.len(), 1);
    assert_eq!((found.spins[0].peak_w, found.spins[0].plateau_w), (1100.0, 420.0));
}

fn ramps(found: &Loads) -> Vec<State> {
    found.states.iter().filter(|s| matches!(s.kind, Kind::RunUp | Kind::RunDown)).copied().collect()
}

/// A load that climbs for two minutes and falls in one and a half, 3 W of wobble on it.
#[test]
fn a_straight_ramp_is_a_state_and_a_stair_is_none() {
    let line = |rows: usize, from_w: f64, to_w: f64| {
        (0..rows).map(move |k| from_w + (to_w - from_w) * k as f64 / (rows - 1) as f64)
    };
    let mut power_w = vec![2.0; 60];
    power_w.extend(line(200, 100.0, 100.0).chain(line(120, 100.0, 400.0)));
    power_w.extend(line(200, 400.0, 400.0).chain(line(90, 400.0, 100.0)).chain(line(100, 100.0, 100.0)));
    power_w.extend([2.0; 60]);
    power_w.iter_mut().enumerate().for_each(|(k, w)| *w += [0.0, 3.0, 1.0][k % 3]);
    let time_s: Vec<f64> = (0..power_w.len()).map(|i| i as f64).collect();
    let found = ramps(&loads(&time_s, &power_w, None));
    assert_eq!(found.iter().map(|s| s.kind).collect::<Vec<_>>(), [Kind::RunUp, Kind::RunDown]);
    for (ramp, (start_s, end_s, from_w, to_w)) in
        found.iter().zip([(260.0, 380.0, 100.0, 400.0), (580.0, 670.0, 400.0, 100.0)])
    {
        let (from, to) = ramp.ramp_w.unwrap();
        assert!((ramp.start_s - start_s).abs() <= 6.0 && (ramp.end_s - end_s).abs() <= 6.0, "{ramp:?}");
        assert!((from - from_w).abs() <= 20.0 && (to - to_w).abs() <= 20.0, "{ramp:?}");
    }
    let stair: Vec<_> = (1..=5).map(|k| (60, 80.0 * f64::from(k))).collect();
    let (time_s, power_w) = made(&[vec![(60, 2.0)], stair, vec![(60, 2.0)]].concat());
    assert_eq!(ramps(&loads(&time_s, &power_w, None)), []);
}

#[test]
fn the_run_up_of_a_spin_is_a_state_before_it() {
    let mut stretches = drum(30, 150.0);
    stretches.extend([(20, 4.0), (40, 90.0)]);
    stretches.extend((0..30).map(|k| (1, 90.0 + 7.0 * f64::from(k))));
    stretches.extend([(120, 293.0), (60, 4.0)]);
    let (time_s, power_w) = made(&stretches);
    let found = loads(&time_s, &power_w, None);
    let [up, spin] = found
        .states
        .windows(2)
        .find(|pair| pair[1].kind == Kind::Spinning)
        .map(|pair| [pair[0], pair[1]])
        .unwrap();
    assert_eq!((up.kind, up.end_s), (Kind::RunUp, spin.start_s));
    assert_eq!((up.start_s, spin.end_s), (found.spins[0].start_s, found.spins[0].end_s));
    assert!((up.end_s - up.start_s - 28.0).abs() <= 6.0, "{up:?}");
    let (from_w, to_w) = up.ramp_w.unwrap();
    assert!((from_w - 90.0).abs() < 15.0 && (to_w - 293.0).abs() < 10.0, "{up:?}");
    assert!(found.run_ups[0].straight > 0.8, "{:?}", found.run_ups);
    // One step instead of a ramp: no state of its own.
    let mut stretches = drum(30, 150.0);
    stretches.extend([(20, 4.0), (40, 90.0), (120, 293.0), (60, 4.0)]);
    let (time_s, power_w) = made(&stretches);
    let found = loads(&time_s, &power_w, None);
    assert_eq!((found.spins.len(), ramps(&found).len()), (1, 0));
}
