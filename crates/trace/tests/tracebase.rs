#![allow(missing_docs, clippy::unwrap_used, reason = "a test")]
//! Finder held against hand-checked labels of real recordings; see tests/data/tracebase/README.md for source, licence
//! and label schema.

use std::fs;
use std::path::Path;

use serde_json::Value;
use trace::loads::{HeaterOn, Kind, Loads, Spin, loads, runs};

#[derive(Debug, Clone)]
struct Label {
    span: (f64, f64),
    watts: Option<f64>,
    scored: bool,
    group: Option<u64>,
    start_window: (f64, f64),
    end_window: (f64, f64),
    stages: Vec<((f64, f64), f64)>,
}

struct Recording {
    name: String,
    time_s: Vec<f64>,
    power_w: Vec<f64>,
    heater: Vec<Label>,
    spin: Option<(f64, f64, f64)>,
    /// Drain after the final spin: from, to, watts.
    drain: Option<(f64, f64, f64)>,
}

fn number(value: &Value, key: &str) -> f64 {
    value[key].as_f64().unwrap()
}

fn span(value: &Value) -> (f64, f64) {
    (number(value, "start_s"), number(value, "end_s"))
}

fn window(value: &Value, key: &str, at: f64) -> (f64, f64) {
    value[key].as_array().map_or((at, at), |w| (w[0].as_f64().unwrap(), w[1].as_f64().unwrap()))
}

fn label(value: &Value) -> Label {
    let (start, end) = span(value);
    let stages = value["stages"].as_array().into_iter().flatten();
    Label {
        span: (start, end),
        watts: value["watts"].as_f64(),
        scored: value["scored"].as_bool().unwrap_or(true),
        group: value["group"].as_u64(),
        start_window: window(value, "start_window", start),
        end_window: window(value, "end_window", end),
        stages: stages.map(|s| (span(s), number(s, "watts"))).collect(),
    }
}

fn recordings() -> Vec<Recording> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data/tracebase");
    let mut names: Vec<_> = fs::read_dir(&folder).unwrap().map(|e| e.unwrap().path()).collect();
    names.retain(|p| p.extension().is_some_and(|e| e == "json"));
    names.sort();
    names
        .iter()
        .map(|path| {
            let labels: Value = serde_json::from_str(&fs::read_to_string(path).unwrap()).unwrap();
            let table = fs::read_to_string(path.with_extension("csv")).unwrap();
            let rows = table.lines().skip(1).map(|line| line.split_once(',').unwrap());
            let (time_s, power_w) =
                rows.map(|(t, p)| (t.parse::<f64>().unwrap(), p.parse::<f64>().unwrap())).unzip();
            let spin = labels["spin"].as_array().unwrap().first();
            Recording {
                name: path.file_stem().unwrap().to_string_lossy().into_owned(),
                time_s,
                power_w,
                heater: labels["heater"].as_array().unwrap().iter().map(label).collect(),
                drain: spin.and(labels["drain"].as_array().unwrap().first()).map(|d| {
                    let (from, to) = span(d);
                    (from, to, number(d, "total_w"))
                }),
                spin: spin.map(|s| (number(s, "start_s"), number(s, "end_s"), number(s, "plateau_w"))),
            }
        })
        .collect()
}

fn overlap(a: (f64, f64), b: (f64, f64)) -> f64 {
    let both = (a.1.min(b.1) - a.0.max(b.0)).max(0.0);
    both / (a.1.max(b.1) - a.0.min(b.0)).max(1e-9)
}

#[derive(Debug, Default)]
struct Score {
    right: usize,
    missed: usize,
    invented: usize,
    watts: Vec<f64>,
    edges_in: usize,
    edges: usize,
    spins_right: usize,
    spins_missed: usize,
    spins_invented: usize,
    stages_right: usize,
    stages: usize,
}

impl Score {
    fn f1(&self) -> f64 {
        2.0 * self.right as f64 / (2 * self.right + self.missed + self.invented) as f64
    }

    fn share_within(&self, limit: f64) -> f64 {
        self.watts.iter().filter(|e| e.abs() <= limit).count() as f64 / self.watts.len() as f64
    }

    fn median(&self) -> f64 {
        let mut sorted: Vec<f64> = self.watts.iter().map(|e| e.abs()).collect();
        sorted.sort_by(f64::total_cmp);
        sorted[sorted.len() / 2]
    }
}

fn shown(f: &HeaterOn) -> (f64, f64) {
    (f.start_s, f.end_s)
}

fn score_heaters(score: &mut Score, recording: &Recording, found: &Loads, scale: f64, slack_s: f64) {
    let mut used = vec![false; found.heater_on.len()];
    let mut done = vec![false; recording.heater.len()];
    for (k, label) in recording.heater.iter().enumerate() {
        let best = (0..used.len()).filter(|&i| !used[i]).max_by(|&a, &b| {
            overlap(label.span, shown(&found.heater_on[a]))
                .total_cmp(&overlap(label.span, shown(&found.heater_on[b])))
        });
        let Some(i) = best.filter(|&i| overlap(label.span, shown(&found.heater_on[i])) >= 0.8) else {
            continue;
        };
        (used[i], done[k]) = (true, true);
        if label.scored {
            score.right += 1;
            let on = &found.heater_on[i];
            if let Some(watts) = label.watts {
                let error = on.power_w / (watts * scale) - 1.0;
                score.watts.push(error);
                if error.abs() > 0.02 {
                    println!(
                        "{} {:?}: {:.0} W, label {:.0} W ({:+.1} %)",
                        recording.name,
                        label.span,
                        on.power_w,
                        watts * scale,
                        error * 100.0
                    );
                }
            }
            let inside = [(on.start_s, label.start_window), (on.end_s, label.end_window)];
            let count = inside.iter().filter(|(at, w)| *at >= w.0 - slack_s && *at <= w.1 + slack_s).count();
            if count < 2 && slack_s == 0.0 {
                println!("{} {:?}: edges {:?}", recording.name, label, shown(on));
            }
            score.edges += 2;
            score.edges_in += count;
            score.stages += label.stages.len();
            for (span, watts) in &label.stages {
                let hit = on.stages.iter().any(|s| {
                    overlap(*span, (s.start_s, s.end_s)) >= 0.8
                        && (s.power_w / (watts * scale) - 1.0).abs() <= 0.03
                });
                score.stages_right += usize::from(hit);
            }
        }
    }
    // A phase broken for 10 s or less may be found as one.
    for k in 0..done.len() {
        let label = &recording.heater[k];
        if done[k] && label.group.is_none() {
            continue;
        }
        let group: Vec<usize> = (0..done.len())
            .filter(|&j| label.group.is_some() && recording.heater[j].group == label.group)
            .collect();
        if group.is_empty() || group.iter().all(|&j| done[j]) {
            continue;
        }
        let whole = (recording.heater[group[0]].span.0, recording.heater[group[group.len() - 1]].span.1);
        let hit = (0..used.len()).find(|&i| overlap(whole, shown(&found.heater_on[i])) >= 0.8);
        if let Some(i) = hit {
            used[i] = true;
            for &j in &group {
                if !done[j] && recording.heater[j].scored {
                    score.right += 1;
                }
                done[j] = true;
            }
        }
    }
    for (k, label) in recording.heater.iter().enumerate() {
        if !done[k] && label.scored {
            score.missed += 1;
            println!("{} missed {:?}", recording.name, label.span);
        }
    }
    for (i, on) in found.heater_on.iter().enumerate() {
        let excused = recording.heater.iter().any(|l| !l.scored && overlap(l.span, shown(on)) > 0.0);
        if !used[i] && !excused {
            score.invented += 1;
            println!("{} invented {:?} {:.0} W", recording.name, shown(on), on.power_w);
        }
    }
}

fn score_spin(score: &mut Score, recording: &Recording, found: &Loads, scale: f64) {
    match (recording.spin, found.spins.first()) {
        (Some((start, end, plateau)), Some(spin))
            if overlap((start, end), (spin.start_s, spin.end_s)) >= 0.8 =>
        {
            score.spins_right += 1;
            if (spin.plateau_w / (plateau * scale) - 1.0).abs() > 0.05 {
                println!(
                    "{} spin plateau {:.0} W, label {:.0} W",
                    recording.name,
                    spin.plateau_w,
                    plateau * scale
                );
            }
        }
        (Some((start, end, _)), spin) => {
            score.spins_missed += 1;
            println!("{} spin missed {start}–{end}: {spin:?}", recording.name);
        }
        (None, Some(spin)) => {
            score.spins_invented += 1;
            println!("{} spin invented {spin:?}", recording.name);
        }
        (None, None) => {}
    }
}

/// Scores all recordings scaled, and thinned to rows at least `thin_s` apart.
fn score(scale: f64, thin_s: f64) -> Score {
    let mut score = Score::default();
    for mut recording in recordings() {
        let (mut time_s, mut power_w, mut last) = (Vec::new(), Vec::new(), f64::NEG_INFINITY);
        for (&t, &p) in recording.time_s.iter().zip(&recording.power_w) {
            if thin_s == 0.0 || t - last >= thin_s {
                time_s.push(t);
                power_w.push(p * scale);
                last = t;
            }
        }
        if thin_s > 0.0 {
            // As far as the labels can still be seen: three rows on, three rows' break.
            // Labels say "first row": on the rows that are left.
            let next = |at: f64| time_s.get(time_s.partition_point(|&t| t < at)).copied().unwrap_or(at);
            for label in &mut recording.heater {
                label.span = (next(label.span.0), next(label.span.1));
                for stage in &mut label.stages {
                    stage.0 = (next(stage.0.0), next(stage.0.1));
                }
                label.scored &= label.span.1 - label.span.0 >= 3.0 * thin_s;
            }
        }
        let found = loads(&time_s, &power_w, None);
        score_heaters(&mut score, &recording, &found, scale, thin_s);
        score_spin(&mut score, &recording, &found, scale);
        if recording.name.starts_with("quiet") {
            assert!(found.heater_on.is_empty() && found.spins.is_empty(), "{found:?}");
        }
    }
    println!(
        "scale {scale}, thinned {thin_s} s: F1 {:.3} ({} right, {} missed, {} invented), watts within 3 % {:.3}, median {:.4}, \
         edges in window {}/{}, stages {}/{}, spins {} right {} missed {} invented",
        score.f1(),
        score.right,
        score.missed,
        score.invented,
        score.share_within(0.03),
        score.median(),
        score.edges_in,
        score.edges,
        score.stages_right,
        score.stages,
        score.spins_right,
        score.spins_missed,
        score.spins_invented
    );
    score
}

#[test]
fn as_recorded() {
    let score = score(1.0, 0.0);
    assert_eq!((score.missed, score.invented), (0, 0));
    assert!(score.share_within(0.03) >= 0.95);
    assert!(score.median() <= 0.01);
    assert_eq!((score.edges_in, score.stages_right), (score.edges, score.stages));
    assert_eq!((score.spins_missed, score.spins_invented), (0, 0));
}

#[test]
fn scaled() {
    let score = score(0.3, 0.0);
    assert!(score.f1() >= 0.95);
    assert_eq!((score.spins_missed, score.spins_invented), (0, 0));
}

#[test]
fn thinned() {
    let score = score(1.0, 10.0);
    assert!(score.f1() >= 0.95);
    assert!(score.share_within(0.03) >= 0.95);
    assert_eq!((score.spins_missed, score.spins_invented), (0, 0));
}

#[test]
fn scaled_and_thinned() {
    let score = score(0.3, 10.0);
    assert!(score.f1() >= 0.95);
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
        let drain = found.states.iter().find(|s| s.kind == Kind::Draining);
        println!("{} {from}–{to} {watts} W: {drain:?}", recording.name);
        let drain = drain.unwrap();
        assert!((drain.power_w - watts).abs() <= 5.0);
        assert!(overlap((from, to), (drain.start_s, drain.end_s)) >= 0.5);
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
