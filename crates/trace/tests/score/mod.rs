#![allow(dead_code, reason = "each test file uses its part")]
//! The labelled recordings and the scorer; see tests/data/tracebase/README.md for source, licence and label schema.

use std::fs;
use std::path::Path;

use serde_json::Value;
use trace::loads::{HeaterOn, Loads, loads};

#[derive(Debug, Clone)]
pub(crate) struct Label {
    pub(crate) span: (f64, f64),
    pub(crate) watts: Option<f64>,
    pub(crate) scored: bool,
    pub(crate) group: Option<u64>,
    pub(crate) start_window: (f64, f64),
    pub(crate) end_window: (f64, f64),
    pub(crate) stages: Vec<((f64, f64), f64)>,
}

pub(crate) struct Recording {
    pub(crate) name: String,
    pub(crate) time_s: Vec<f64>,
    pub(crate) power_w: Vec<f64>,
    pub(crate) heater: Vec<Label>,
    pub(crate) spin: Option<(f64, f64, f64)>,
    /// Drain after the final spin: from, to, watts.
    pub(crate) drain: Option<(f64, f64, f64)>,
}

pub(crate) fn number(value: &Value, key: &str) -> f64 {
    value[key].as_f64().unwrap()
}

pub(crate) fn span(value: &Value) -> (f64, f64) {
    (number(value, "start_s"), number(value, "end_s"))
}

pub(crate) fn window(value: &Value, key: &str, at: f64) -> (f64, f64) {
    value[key].as_array().map_or((at, at), |w| (w[0].as_f64().unwrap(), w[1].as_f64().unwrap()))
}

pub(crate) fn label(value: &Value) -> Label {
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

pub(crate) fn recordings() -> Vec<Recording> {
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

pub(crate) fn overlap(a: (f64, f64), b: (f64, f64)) -> f64 {
    let both = (a.1.min(b.1) - a.0.max(b.0)).max(0.0);
    both / (a.1.max(b.1) - a.0.min(b.0)).max(1e-9)
}

#[derive(Debug, Default)]
pub(crate) struct Score {
    pub(crate) right: usize,
    pub(crate) missed: usize,
    pub(crate) invented: usize,
    pub(crate) watts: Vec<f64>,
    pub(crate) edges_in: usize,
    pub(crate) edges: usize,
    pub(crate) spins_right: usize,
    pub(crate) spins_missed: usize,
    pub(crate) spins_invented: usize,
    pub(crate) stages_right: usize,
    pub(crate) stages: usize,
}

impl Score {
    pub(crate) fn f1(&self) -> f64 {
        2.0 * self.right as f64 / (2 * self.right + self.missed + self.invented) as f64
    }

    pub(crate) fn share_within(&self, limit: f64) -> f64 {
        self.watts.iter().filter(|e| e.abs() <= limit).count() as f64 / self.watts.len() as f64
    }

    pub(crate) fn median(&self) -> f64 {
        let mut sorted: Vec<f64> = self.watts.iter().map(|e| e.abs()).collect();
        sorted.sort_by(f64::total_cmp);
        sorted.get(sorted.len() / 2).copied().unwrap_or(f64::NAN)
    }
}

pub(crate) fn shown(f: &HeaterOn) -> (f64, f64) {
    (f.start_s, f.end_s)
}

pub(crate) fn score_heaters(
    score: &mut Score,
    recording: &Recording,
    found: &Loads,
    scale: f64,
    slack_s: f64,
) {
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

pub(crate) fn score_spin(score: &mut Score, recording: &Recording, found: &Loads, scale: f64) {
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

/// What a test makes of a recording before it is scored.
pub(crate) struct Made {
    pub(crate) time_s: Vec<f64>,
    pub(crate) power_w: Vec<f64>,
    /// What labelled watts are to be multiplied by.
    pub(crate) scale: f64,
    /// Rows were taken out so that those left are at least about this far apart, in seconds; 0 for none taken out.
    pub(crate) slack_s: f64,
    /// What labelled times are to be multiplied by, and then moved by, in seconds.
    pub(crate) pace: f64,
    pub(crate) later_s: f64,
    /// What the labelled watts of heaters are to be multiplied by besides.
    pub(crate) heater: f64,
}

impl Made {
    pub(crate) fn plain(recording: &Recording) -> Self {
        Self {
            time_s: recording.time_s.clone(),
            power_w: recording.power_w.clone(),
            scale: 1.0,
            slack_s: 0.0,
            pace: 1.0,
            later_s: 0.0,
            heater: 1.0,
        }
    }

    pub(crate) fn scaled(mut self, scale: f64) -> Self {
        self.power_w.iter_mut().for_each(|p| *p *= scale);
        Self { scale: self.scale * scale, ..self }
    }

    /// Rows at least `step_s` apart.
    pub(crate) fn thinned(self, step_s: f64) -> Self {
        let mut last = f64::NEG_INFINITY;
        let rows = self.time_s.iter().copied().zip(self.power_w.iter().copied());
        let (time_s, power_w) = rows
            .filter(|(t, _)| {
                let keep = step_s == 0.0 || *t - last >= step_s;
                last = if keep { *t } else { last };
                keep
            })
            .unzip();
        Self { time_s, power_w, slack_s: step_s, ..self }
    }
}

/// Labels as far as they can still be seen: three rows on, three rows' break. They say "first row": on the rows left.
pub(crate) fn relabelled(recording: &mut Recording, made: &Made) {
    if made.slack_s > 0.0 {
        let next = |at: f64| made.time_s.get(made.time_s.partition_point(|&t| t < at)).copied().unwrap_or(at);
        for label in &mut recording.heater {
            label.span = (next(label.span.0), next(label.span.1));
            for stage in &mut label.stages {
                stage.0 = (next(stage.0.0), next(stage.0.1));
            }
            label.scored &= label.span.1 - label.span.0 >= 3.0 * made.slack_s;
        }
    }
    let moved = |span: (f64, f64)| (span.0 * made.pace + made.later_s, span.1 * made.pace + made.later_s);
    for label in &mut recording.heater {
        label.span = moved(label.span);
        label.start_window = moved(label.start_window);
        label.end_window = moved(label.end_window);
        label.stages.iter_mut().for_each(|stage| *stage = (moved(stage.0), stage.1 * made.heater));
        label.watts = label.watts.map(|watts| watts * made.heater);
    }
    if let Some(spin) = &mut recording.spin {
        (spin.0, spin.1) = moved((spin.0, spin.1));
    }
}

/// Scores all recordings as `make` makes them and prints one line.
pub(crate) fn score(what: &str, make: impl Fn(&Recording) -> Made) -> Score {
    let mut score = Score::default();
    for mut recording in recordings() {
        let made = make(&recording);
        relabelled(&mut recording, &made);
        let found = loads(&made.time_s, &made.power_w, None);
        score_heaters(&mut score, &recording, &found, made.scale, made.slack_s);
        score_spin(&mut score, &recording, &found, made.scale);
    }
    println!(
        "| {what:32} | {:.3} | {:2} | {:2} | {:.3} | {:.4} | {:3}/{:<3} | {}/{} | {:2} | {} | {} |",
        score.f1(),
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

pub(crate) const HEADING: &str = "| recordings | heater F1 | missed | invented | within 3 % | median error | edges | stages | spins right | missed | invented |";
