#![allow(missing_docs, clippy::unwrap_used, reason = "a test")]
//! Finder held against hand-checked labels of real recordings; see tests/data/tracebase/README.md for source, licence
//! and label schema.

mod score;

use score::{Made, Recording, overlap, recordings, score, shown};
use trace::loads::{Kind, Loads, Spin, loads, runs};

#[test]
fn as_recorded() {
    let score = score("as recorded", Made::plain);
    assert_eq!((score.missed, score.invented), (0, 0));
    assert!(score.share_within(0.03) >= 0.95);
    assert!(score.median() <= 0.01);
    assert_eq!((score.edges_in, score.stages_right), (score.edges, score.stages));
    assert_eq!((score.spins_missed, score.spins_invented), (0, 0));
}

#[test]
fn scaled() {
    let score = score("scaled by 0.3", |r| Made::plain(r).scaled(0.3));
    assert!(score.f1() >= 0.95);
    assert_eq!((score.spins_missed, score.spins_invented), (0, 0));
}

#[test]
fn thinned() {
    let score = score("thinned to 10 s", |r| Made::plain(r).thinned(10.0));
    assert!(score.f1() >= 0.95);
    assert!(score.share_within(0.03) >= 0.95);
    assert_eq!((score.spins_missed, score.spins_invented), (0, 0));
}

#[test]
fn scaled_and_thinned() {
    let score = score("scaled by 0.3, thinned to 10 s", |r| Made::plain(r).scaled(0.3).thinned(10.0));
    assert!(score.f1() >= 0.95);
    assert_eq!((score.spins_missed, score.spins_invented), (0, 0));
}

#[test]
fn nothing_is_found_in_the_quiet_trace() {
    for recording in recordings().iter().filter(|r| r.name.starts_with("quiet")) {
        let found = loads(&recording.time_s, &recording.power_w, None);
        assert!(found.heater_on.is_empty() && found.spins.is_empty(), "{found:?}");
    }
}

/// The rows on the heater taken out and the time closed up.
fn without_heating(recording: &Recording) -> (Vec<f64>, Vec<f64>) {
    let heating =
        |t: f64| recording.heater.iter().any(|l| t >= l.start_window.0 - 1.0 && t <= l.end_window.1 + 1.0);
    let closed_up = |t: f64| -> f64 {
        t - recording.heater.iter().filter(|l| l.span.1 <= t).map(|l| l.span.1 - l.span.0).sum::<f64>()
    };
    let rows = recording.time_s.iter().zip(&recording.power_w).filter(|(t, _)| !heating(**t));
    rows.map(|(&t, &p)| (closed_up(t), p)).unzip()
}

#[test]
fn a_cold_wash_has_no_heater() {
    for recording in recordings().iter().filter(|r| r.name.starts_with("wm_")) {
        let (time_s, power_w) = without_heating(recording);
        let found = loads(&time_s, &power_w, None);
        assert!(found.heater_on.is_empty(), "{}: {:?}", recording.name, found.heater_on);
        assert_eq!(found.spins.len(), 1, "{}", recording.name);
    }
}

#[test]
fn a_constant_load_changes_no_interval() {
    for recording in recordings() {
        let plain = loads(&recording.time_s, &recording.power_w, None);
        let more: Vec<f64> = recording.power_w.iter().map(|p| p + 512.0).collect();
        let over = loads(&recording.time_s, &more, None);
        assert_eq!(plain.heater_on, over.heater_on, "{}", recording.name);
        let spans = |l: &Loads| l.spins.iter().map(|s| (s.start_s, s.peak_s, s.end_s)).collect::<Vec<_>>();
        assert_eq!(spans(&plain), spans(&over), "{}", recording.name);
    }
}

/// Dishwashers, dryers and kettles without their heating: no pump or fan is taken for a heater or a spin.
#[test]
fn pumps_and_fans_are_neither_heater_nor_spin() {
    for recording in recordings().iter().filter(|r| !r.name.starts_with("wm_")) {
        let (time_s, power_w) = without_heating(recording);
        let found = loads(&time_s, &power_w, None);
        assert!(found.heater_on.is_empty() && found.spins.is_empty(), "{}: {found:?}", recording.name);
    }
}

/// The stretch after the final spin that the labels read as the pump: found with its watts, to a meter's step or two.
#[test]
fn the_drain_after_the_final_spin() {
    for recording in recordings() {
        let Some((from, to, watts)) = recording.drain else { continue };
        let found = loads(&recording.time_s, &recording.power_w, None);
        let spun_s = found.spins[0].end_s;
        let drain = found.states.iter().find(|s| s.kind == Kind::Draining && s.start_s >= spun_s);
        println!("{} {from}–{to} {watts} W: {drain:?}", recording.name);
        let drain = drain.unwrap();
        assert!((drain.power_w - watts).abs() <= 5.0);
        assert!(overlap((from, to), (drain.start_s, drain.end_s)) >= 0.5);
    }
}

/// Rinse spins are in the recordings and not labelled: what is found must lie outside what is, be in washing machines only,
/// each of which has some, and not depend on watts.
#[test]
fn spins_between_rinses() {
    for recording in recordings() {
        let found = loads(&recording.time_s, &recording.power_w, None);
        let spans: Vec<_> = found.interim_spins.iter().map(|s| (s.start_s, s.end_s)).collect();
        println!("{}: {spans:?}", recording.name);
        assert_eq!(recording.name.starts_with("wm_"), !spans.is_empty(), "{}", recording.name);
        assert!(spans.len() <= 5, "{}: {spans:?}", recording.name);
        for span in &spans {
            let labelled = recording.heater.iter().map(|l| l.span).chain(recording.spin.map(|s| (s.0, s.1)));
            assert!(labelled.into_iter().all(|l| overlap(l, *span) == 0.0), "{} {span:?}", recording.name);
        }
        let weaker: Vec<f64> = recording.power_w.iter().map(|p| p * 0.25).collect();
        let weaker = loads(&recording.time_s, &weaker, None);
        assert_eq!(spans, weaker.interim_spins.iter().map(|s| (s.start_s, s.end_s)).collect::<Vec<_>>());
        // Each has its run-up: from where it leaves distribution to its peak, before it ends.
        assert_eq!(found.run_ups.len(), found.interim_spins.len() + found.spins.len(), "{}", recording.name);
        for (up, spin) in found.run_ups.iter().zip(found.interim_spins.iter().chain(&found.spins)) {
            assert!(up.start_s < up.end_s && up.end_s < spin.end_s && up.from_w < up.to_w, "{up:?} {spin:?}");
        }
    }
}

/// Parting a recording into runs loses nothing and invents nothing.
#[test]
fn runs_hold_what_the_whole_recording_holds() {
    for recording in recordings() {
        let whole = loads(&recording.time_s, &recording.power_w, None);
        let parted = runs(&recording.time_s, &recording.power_w, None);
        let heater: Vec<_> = parted.iter().flat_map(|r| r.loads.heater_on.clone()).collect();
        let spins: Vec<_> = parted.iter().flat_map(|r| r.loads.spins.clone()).collect();
        assert_eq!(
            heater.iter().map(shown).collect::<Vec<_>>(),
            whole.heater_on.iter().map(shown).collect::<Vec<_>>()
        );
        let spans = |spins: &[Spin]| spins.iter().map(|s| (s.start_s, s.end_s)).collect::<Vec<_>>();
        assert_eq!(spans(&spins), spans(&whole.spins), "{}", recording.name);
    }
}
