#![allow(missing_docs, clippy::unwrap_used, reason = "a test")]
//! What must not change what is found: how often a row stands there, when the recording began, in which unit it is
//! written, what else runs all the time, and whether it comes sample by sample.

mod score;

use proptest::prelude::*;
use score::recordings;
use trace::loads::{Change, Loads, Stream, loads, runs};
use trace::read::{Options, read};

/// Start and end of heater intervals, interim spins and the final spin.
type Spans = [Vec<(f64, f64)>; 3];

fn spans(found: &Loads) -> Spans {
    [
        found.heater_on.iter().map(|h| (h.start_s, h.end_s)).collect(),
        found.interim_spins.iter().map(|s| (s.start_s, s.end_s)).collect(),
        found.spins.iter().map(|s| (s.start_s, s.end_s)).collect(),
    ]
}

fn moved(spans: &Spans, by_s: f64) -> Spans {
    spans.clone().map(|all| all.into_iter().map(|(a, b)| (a + by_s, b + by_s)).collect())
}

/// A wash, its watts and seconds drawn: fill, heating under a turning drum, wash, spin between rinses, final spin.
fn wash() -> impl Strategy<Value = (Vec<f64>, Vec<f64>)> {
    let powers = (900.0..3000.0_f64, 60.0..180.0_f64, 2.0..30.0_f64);
    let times = (200_usize..900, 6_usize..14, 4_usize..15, 60_usize..200, 80_usize..300);
    (powers, times, 1.3..3.0_f64).prop_map(|(powers, times, faster)| {
        let (heater_w, turn_w, pump_w) = powers;
        let (heated, on, pause, interim, last) = times;
        let mut w = vec![2.0; 100];
        let drum = |w: &mut Vec<f64>, rows: usize, base: f64| {
            for k in 0..rows {
                w.push(base + 3.0 + if k % (on + pause) < on { turn_w } else { 0.0 });
            }
        };
        let spin = |w: &mut Vec<f64>, rows: usize, top: f64| {
            w.extend(std::iter::repeat_n(0.6 * turn_w + 3.0, 45));
            w.extend((0..20).map(|k| 0.6 * turn_w + (top - 0.6 * turn_w) * f64::from(k) / 19.0));
            w.extend(std::iter::repeat_n(top, rows));
            w.extend(std::iter::repeat_n(pump_w, 50));
        };
        drum(&mut w, 15 * (on + pause), 0.0);
        drum(&mut w, heated, heater_w);
        drum(&mut w, 15 * (on + pause), 0.0);
        w.extend(std::iter::repeat_n(pump_w, 60));
        spin(&mut w, interim, turn_w * faster);
        drum(&mut w, 10 * (on + pause), 0.0);
        spin(&mut w, last, turn_w * faster * 1.2);
        w.extend([2.0; 100]);
        ((0..w.len()).map(|i| i as f64).collect(), w)
    })
}

fn close(a: &Spans, b: &Spans, slack_s: f64) -> bool {
    a.iter().zip(b).all(|(a, b)| {
        a.len() == b.len()
            && a.iter().zip(b).all(|(a, b)| (a.0 - b.0).abs() <= slack_s && (a.1 - b.1).abs() <= slack_s)
    })
}

/// Half-way rows put between rows no further apart than `most_s`.
fn with_midpoints(time_s: &[f64], power_w: &[f64], most_s: f64) -> (Vec<f64>, Vec<f64>) {
    let (mut t, mut p) = (Vec::new(), Vec::new());
    for i in 0..time_s.len() {
        t.push(time_s[i]);
        p.push(power_w[i]);
        let Some(next) = time_s.get(i + 1) else { break };
        if *next > time_s[i] && next - time_s[i] <= most_s {
            t.push(f64::midpoint(time_s[i], *next));
            p.push(f64::midpoint(power_w[i], power_w[i + 1]));
        }
    }
    (t, p)
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(48))]

    #[test]
    fn a_wash_is_found_whole((time_s, power_w) in wash()) {
        let found = spans(&loads(&time_s, &power_w, None));
        prop_assert_eq!([found[0].len(), found[1].len(), found[2].len()], [1, 1, 1], "{:?}", found);
    }

    #[test]
    fn a_row_half_way_moves_an_edge_by_a_row_at_most((time_s, power_w) in wash()) {
        let plain = spans(&loads(&time_s, &power_w, None));
        let (t, p) = with_midpoints(&time_s, &power_w, 1.0);
        let dense = spans(&loads(&t, &p, None));
        // From where a spin between rinses rises is read off ramps, which more rows can part otherwise; its end is an edge.
        let ends = |found: &Spans| {
            [found[0].clone(), found[1].iter().map(|s| (s.1, s.1)).collect(), found[2].clone()]
        };
        prop_assert!(close(&ends(&plain), &ends(&dense), 2.0), "{:?} {:?}", plain, dense);
    }

    #[test]
    fn rows_that_stand_there_twice_change_nothing((time_s, power_w) in wash()) {
        let plain = loads(&time_s, &power_w, None);
        let twice = |v: &[f64]| v.iter().flat_map(|x| [*x, *x]).collect::<Vec<_>>();
        prop_assert_eq!(plain, loads(&twice(&time_s), &twice(&power_w), None));
    }

    #[test]
    fn a_later_start_moves_all_times((time_s, power_w) in wash(), by in 1_u32..1_000_000) {
        let by_s = f64::from(by);
        let later: Vec<f64> = time_s.iter().map(|t| t + by_s).collect();
        let (now, then) = (loads(&time_s, &power_w, None), loads(&later, &power_w, None));
        prop_assert_eq!(moved(&spans(&now), by_s), spans(&then));
    }

    #[test]
    fn a_constant_load_changes_no_interval((time_s, power_w) in wash(), watts in 1_u32..4000) {
        let over: Vec<f64> = power_w.iter().map(|p| p + f64::from(watts)).collect();
        let (plain, over) = (loads(&time_s, &power_w, None), loads(&time_s, &over, None));
        prop_assert_eq!(spans(&plain), spans(&over));
        let states = |l: &Loads| l.states.iter().map(|s| (s.start_s, s.end_s, s.kind)).collect::<Vec<_>>();
        prop_assert_eq!(states(&plain), states(&over));
        for (a, b) in plain.heater_on.iter().zip(&over.heater_on) {
            prop_assert!((a.power_w - b.power_w).abs() <= 1e-6);
        }
    }

    /// Powers of two: no digit changes.
    #[test]
    fn a_stronger_machine_has_the_same_intervals((time_s, power_w) in wash(), twice in 0_i32..3) {
        let factor = 2_f64.powi(twice);
        let scaled: Vec<f64> = power_w.iter().map(|p| p * factor).collect();
        prop_assert_eq!(spans(&loads(&time_s, &power_w, None)), spans(&loads(&time_s, &scaled, None)));
    }
}

fn table(heading: &str, time_s: &[f64], power_w: &[f64], per_unit: f64) -> String {
    let rows = time_s.iter().zip(power_w).map(|(t, p)| format!("{t};{}\n", p / per_unit));
    std::iter::once(format!("{heading}\n")).chain(rows).collect()
}

#[test]
fn kilowatts_are_watts() {
    for recording in recordings() {
        let found = |heading: &str, per_unit: f64| {
            let text = table(heading, &recording.time_s, &recording.power_w, per_unit);
            let (trace, _) = read(text.as_bytes(), &Options::default()).unwrap();
            let time_s: Vec<f64> = trace.samples.iter().map(|s| s.time_s).collect();
            let power_w: Vec<f64> = trace.samples.iter().map(|s| s.power_w).collect();
            spans(&loads(&time_s, &power_w, None))
        };
        assert_eq!(
            found("time (s);power (W)", 1.0),
            found("time (s);power (kW)", 1000.0),
            "{}",
            recording.name
        );
    }
}

#[test]
fn rows_half_way_between_real_ones_move_edges_within_the_sampling_window() {
    for recording in recordings() {
        let mut steps: Vec<f64> =
            recording.time_s.windows(2).map(|w| w[1] - w[0]).filter(|d| *d > 0.0).collect();
        steps.sort_by(f64::total_cmp);
        let step_s = steps[steps.len() / 2];
        let plain = spans(&loads(&recording.time_s, &recording.power_w, None));
        let (t, p) = with_midpoints(&recording.time_s, &recording.power_w, 1.5 * step_s);
        let dense = spans(&loads(&t, &p, None));
        assert!(
            close(&[plain[0].clone(), vec![], vec![]], &[dense[0].clone(), vec![], vec![]], 2.0 * step_s),
            "{} {plain:?} {dense:?}",
            recording.name
        );
        assert_eq!(plain[2].len(), dense[2].len(), "{}", recording.name);
    }
}

/// All recordings one after the other, an hour apart: what a socket sends in a week.
#[test]
fn a_week_streamed_is_the_week_as_a_whole() {
    let (mut time_s, mut power_w, mut at) = (Vec::new(), Vec::new(), 0.0);
    for recording in recordings() {
        time_s.extend(recording.time_s.iter().map(|t| t + at));
        power_w.extend(&recording.power_w);
        at = time_s.last().unwrap() + 3600.0;
    }
    let mut stream = Stream::new(Some(230.0));
    let mut found = Vec::new();
    for (&t, &p) in time_s.iter().zip(&power_w) {
        if let Some(Change::Ended(run)) = stream.push(t, p) {
            found.push(*run);
        }
    }
    found.extend(stream.finish());
    assert_eq!(found, runs(&time_s, &power_w, Some(230.0)));
    assert!(found.len() >= 20, "{}", found.len());
}
