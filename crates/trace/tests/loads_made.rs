#![allow(missing_docs, clippy::unwrap_used, reason = "a test")]
//! Loads found in series made for one difficulty each.

use trace::loads::loads;

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
