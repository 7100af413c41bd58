#![allow(missing_docs, clippy::unwrap_used, reason = "a test")]
//! What is told while a machine runs holds up to its look-back, and against what is read when the run is over.

use proptest::prelude::*;
use trace::live::{Event, HEATER_S, LOOK_BACK_S, LOOK_BACK_SAMPLES, Live, Now};
use trace::loads::{HeaterOn, runs};
use trace::read::Options;

/// Events, each with the sample at which it was given.
fn told(time_s: &[f64], power_w: &[f64]) -> Vec<(usize, Event)> {
    let mut live = Live::default();
    let pushed = time_s.iter().zip(power_w).enumerate();
    pushed
        .flat_map(|(i, (&t, &p))| live.push(t, p).into_iter().map(move |e| (i, e)).collect::<Vec<_>>())
        .collect()
}

fn at_s(event: &Event) -> f64 {
    match *event {
        Event::Level(step) => step.at_s,
        Event::HeaterOn(heater) => heater.since_s + HEATER_S,
        // Reversing goes by its own rules: three turns, and half a minute without one.
        Event::HeaterOff { at_s, .. } | Event::Reversing(at_s) | Event::Still(at_s) => at_s,
    }
}

/// Whether sample `i` lies within the look-back of a moment.
fn within(time_s: &[f64], i: usize, moment_s: f64) -> bool {
    let since = time_s.partition_point(|&t| t < moment_s);
    time_s[i] - moment_s <= LOOK_BACK_S || i - since.min(i) <= LOOK_BACK_SAMPLES
}

/// What a machine did (kind, seconds, where its wobble begins), its heater's watts, and the time between samples.
type Machine = (Vec<(usize, usize, usize)>, f64, f64);

fn machine() -> impl Strategy<Value = Machine> {
    let stretch = (0_usize..5, 40_usize..200, 0_usize..5);
    let step_s = prop::sample::select(vec![0.1, 0.5, 1.0, 2.0]);
    // The motor stays below what counts as a heater's clear edge.
    (prop::collection::vec(stretch, 1..10), 700.0..2_450.0, step_s)
}

/// Idle, drum, heater with or without the drum, motor; at the end idle, so that the last heater is seen to go off.
fn recording((stretches, heater_w, step_s): &Machine) -> (Vec<f64>, Vec<f64>) {
    let mut power_w = vec![];
    for &(kind, seconds, wobble) in stretches.iter().chain(&[(0, 200, 0)]) {
        for k in 0..(seconds as f64 / step_s) as usize {
            let drum_w = if (k as f64 * step_s) % 20.0 < 12.0 { 0.06 * heater_w } else { 4.0 };
            let w = match kind {
                0 => 3.0,
                1 => drum_w,
                2 => 3.0 + heater_w,
                3 => drum_w + heater_w,
                _ => 0.2 * heater_w,
            };
            power_w.push(w * (1.0 + 0.002 * ((k + wobble) % 5) as f64));
        }
    }
    ((0..power_w.len()).map(|k| k as f64 * step_s).collect(), power_w)
}

proptest! {
    #[test]
    fn nothing_is_taken_back(machine in machine(), cut in 0.0..1.0) {
        let (time_s, power_w) = recording(&machine);
        let n = (time_s.len() as f64 * cut) as usize;
        let mut all = told(&time_s, &power_w);
        all.retain(|(i, _)| *i < n);
        prop_assert_eq!(told(&time_s[..n], &power_w[..n]), all);
    }

    #[test]
    fn events_come_within_the_look_back(machine in machine()) {
        let (time_s, power_w) = recording(&machine);
        for (i, event) in told(&time_s, &power_w) {
            let own_rule = matches!(event, Event::Reversing(_) | Event::Still(_));
            prop_assert!(own_rule || within(&time_s, i, at_s(&event)), "{event:?} at {}", time_s[i]);
        }
    }

    #[test]
    fn power_stays_off_the_level_told_no_longer_than_the_look_back(machine in machine()) {
        let (time_s, power_w) = recording(&machine);
        let levels: Vec<_> = told(&time_s, &power_w)
            .into_iter()
            .filter_map(|(_, e)| if let Event::Level(step) = e { Some(step) } else { None })
            .collect();
        let (mut level, mut next, mut off_since) = (power_w[0], 0, None);
        for i in 1..time_s.len() - 1 {
            while next < levels.len() && levels[next].at_s <= time_s[i] {
                level = levels[next].to_w;
                next += 1;
            }
            let (a, b, c) = (power_w[i - 1], power_w[i], power_w[i + 1]);
            let calm = a.max(b).min(a.min(b).max(c));
            if (calm - level).abs() <= 2.0 * (0.05 * level).max(10.0) {
                off_since = None;
            } else {
                let since_s = *off_since.get_or_insert(time_s[i]);
                prop_assert!(within(&time_s, i, since_s), "{calm} W at {} s, told {level} W", time_s[i]);
            }
        }
    }

    #[test]
    fn heaters_told_are_the_heaters_of_the_finished_run(machine in machine()) {
        let (time_s, power_w) = recording(&machine);
        let found: Vec<HeaterOn> = runs(&time_s, &power_w, None).into_iter().flat_map(|r| r.loads.heater_on).collect();
        let off: Vec<(f64, f64, f64)> = told(&time_s, &power_w)
            .into_iter()
            .filter_map(|(_, e)| match e {
                Event::HeaterOff { heater, at_s } => Some((heater.since_s, at_s, heater.power_w)),
                _ => None,
            })
            .collect();
        let step_s = time_s[1] - time_s[0];
        let slack_s = LOOK_BACK_S.max(LOOK_BACK_SAMPLES as f64 * step_s);
        // By how much the power changes at an edge.
        let edge_w = |at_s: f64| {
            let i = time_s.partition_point(|&t| t < at_s);
            (power_w[(i + 1).min(power_w.len() - 1)] - power_w[i.saturating_sub(2)]).abs()
        };
        let clear = |on: &&HeaterOn| {
            on.end_s - on.start_s >= 30.0 && edge_w(on.start_s) >= 500.0 && edge_w(on.end_s) >= 500.0
        };
        for on in found.iter().filter(clear) {
            let same = off.iter().find(|o| (o.0 - on.start_s).abs() <= slack_s && (o.1 - on.end_s).abs() <= slack_s);
            prop_assert!(same.is_some(), "{on:?} not among {off:?}");
            let watts = same.unwrap().2;
            // What goes on after the heater is taken for what ran beside it once it is known.
            let beside_w = 0.2 * machine.1;
            prop_assert!((watts - on.power_w).abs() < 0.05 * on.power_w + 1.1 * beside_w, "{on:?} told with {watts} W");
        }
        let strongest_w = found.iter().map(|on| on.power_w).fold(0.0, f64::max);
        for told in off.iter().filter(|o| o.1 - o.0 >= 30.0 && o.2 >= 0.5 * strongest_w && !found.is_empty()) {
            let is = found.iter().any(|on| on.start_s - slack_s <= told.0 && told.1 <= on.end_s + slack_s);
            prop_assert!(is, "{told:?} not among {found:?}");
        }
    }

    #[test]
    fn any_samples_are_taken(rows in prop::collection::vec((any::<f64>(), any::<f64>()), 0..200)) {
        let (time_s, power_w): (Vec<f64>, Vec<f64>) = rows.into_iter().unzip();
        let _ = told(&time_s, &power_w);
    }
}

#[test]
fn a_page_reads_what_is_on() {
    let mut live = Live::default();
    let mut at_s = 0.0;
    let mut for_s = |live: &mut Live, seconds: usize, watts: &dyn Fn(usize) -> f64| {
        for k in 0..seconds * 10 {
            live.push(at_s, watts(k));
            at_s = (at_s * 10.0 + 1.0).round() / 10.0;
        }
        live.now()
    };
    assert_eq!(live.now(), Now::Unknown);
    assert!(matches!(for_s(&mut live, 30, &|_| 2.0), Now::Nothing { .. }));
    let drum = |k: usize| if k % 150 < 100 { 180.0 } else { 2.0 };
    assert!(matches!(for_s(&mut live, 60, &drum), Now::Reversing { since_s, turns: 4 } if since_s < 31.0));
    let heated = for_s(&mut live, 12, &|k| 1850.0 + drum(k + 100));
    let Now::Heater { heater, .. } = heated else { panic!("{heated:?}") };
    assert!((89.0..91.0).contains(&heater.since_s) && (heater.power_w - 1850.0).abs() < 20.0, "{heater:?}");
    assert!(
        matches!(for_s(&mut live, 60, &|_| 350.0), Now::Load { power_w, .. } if (power_w - 350.0).abs() < 1.0)
    );
    assert!(matches!(for_s(&mut live, 60, &|_| 1.0), Now::Nothing { .. }));
}

/// Times that never decrease, and watts, as the reader gives them.
fn recordings() -> Vec<(String, Vec<f64>, Vec<f64>)> {
    let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data/tracebase");
    let mut paths: Vec<_> = std::fs::read_dir(folder).unwrap().map(|e| e.unwrap().path()).collect();
    paths.retain(|p| p.extension().is_some_and(|e| e == "csv"));
    paths.sort();
    let read = |path: &std::path::PathBuf| {
        let (trace, _) = trace::read::read(std::fs::File::open(path).unwrap(), &Options::default()).unwrap();
        let (time_s, power_w) = trace.samples.iter().map(|s| (s.time_s, s.power_w)).unzip();
        (path.file_stem().unwrap().to_string_lossy().into_owned(), time_s, power_w)
    };
    paths.iter().map(read).collect()
}

/// Real machines: part averages at edges, one to eight seconds between samples, gaps. Start and end within 15 s: two of the
/// longest steps.
#[test]
fn heaters_of_real_machines_are_told_while_they_run() {
    let (mut all, mut same, mut told_all, mut told_right) = (0, 0, 0, 0);
    for (name, time_s, power_w) in recordings() {
        let found: Vec<HeaterOn> =
            runs(&time_s, &power_w, None).into_iter().flat_map(|r| r.loads.heater_on).collect();
        let off: Vec<(f64, f64)> = told(&time_s, &power_w)
            .into_iter()
            .filter_map(|(_, e)| {
                if let Event::HeaterOff { heater, at_s } = e { Some((heater.since_s, at_s)) } else { None }
            })
            .collect();
        for on in found.iter().filter(|on| on.end_s - on.start_s >= 30.0) {
            all += 1;
            let near = |o: &&(f64, f64)| (o.0 - on.start_s).abs() <= 15.0 && (o.1 - on.end_s).abs() <= 15.0;
            if off.iter().any(|o| near(&o)) { same += 1 } else { println!("{name}: {on:?} not in {off:?}") }
        }
        for o in &off {
            told_all += 1;
            let is = found.iter().any(|on| on.start_s <= o.0 + 15.0 && o.1 <= on.end_s + 15.0);
            if is { told_right += 1 } else { println!("{name}: told {o:?}, is none") }
        }
    }
    println!("{same} of {all} told, {told_right} of {told_all} right");
    assert!(
        same * 100 >= 90 * all && told_right * 100 >= 90 * told_all,
        "{same} of {all}, {told_right} of {told_all}"
    );
}
