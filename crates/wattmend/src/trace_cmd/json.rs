//! A recording as JSON; `docs/trace-json.md` says what the keys mean.

use super::{Found, Recording, wave, words};
use serde_json::{Value, json};
use std::fmt::Write;
use trace::analysis::{Analysis, Disturbance, Doubt, Ended, Part, Read, Trouble};
use trace::loads::{HeaterOn, RunUp, Spin};
use trace::measures::{Reversals, SourceResistance, main_power_w};
use trace::read::{Remark, Stretch};

/// One object, or a list of them for several files.
pub(super) fn render(found: &[Found]) -> String {
    let one = |found: &Found| match found {
        Found::Recording(recording) => object(recording),
        Found::Wave(wave) => wave::json(wave),
    };
    if let [only] = found {
        return one(only);
    }
    let objects: Vec<String> = found.iter().map(one).collect();
    format!("[\n{}]\n", objects.join(",\n"))
}

/// Built line by line: a year has so many states that a tree of values would take more memory than the analysis.
struct Object(String);

impl Object {
    fn one(&mut self, key: &str, value: &Value) {
        // Writing into a String cannot fail.
        let _ = write!(self.0, ",\n\"{key}\": {value}");
    }

    fn list(&mut self, key: &str, values: impl Iterator<Item = Value>) {
        let _ = write!(self.0, ",\n\"{key}\": [");
        for (at, value) in values.enumerate() {
            let _ = write!(self.0, "{}\n  {value}", if at > 0 { "," } else { "" });
        }
        self.0.push(']');
    }
}

fn object(recording: &Recording) -> String {
    let (summary, found) = (&recording.summary, &recording.analysis);
    let mut out = Object("{\n\"format\": 1".to_owned());
    out.one("file", &json!(recording.name));
    out.one("samples", &json!(found.samples));
    out.one("start_unix_s", &json!(summary.start_unix_s));
    out.one("start_s", &json!(found.span_s.map(|s| rounded(s.0))));
    out.one("end_s", &json!(found.span_s.map(|s| rounded(s.1))));
    out.one("step_s", &json!(rounded(summary.step_s)));
    out.one("resolution_w", &json!(summary.quantum_w.map(rounded)));
    out.one("energy_wh", &json!(rounded(found.energy_wh)));
    out.one("peak_w", &json!(rounded(found.peak_w)));
    out.one("standby_w", &json!(found.standby_w.map(rounded)));
    out.one("source_resistance_ohm", &json!(found.source.as_ref().map(|s| rounded(s.ohm))));
    out.one("source_resistance", &json!(found.source.as_ref().map(source)));
    out.one("gaps_count", &json!(summary.gaps.count));
    out.list("gaps", summary.gaps.first.iter().map(stretch));
    out.one("skipped_count", &json!(summary.skipped.count + summary.backward.count));
    out.list("skipped", summary.skipped.first.iter().chain(&summary.backward.first).map(remark));
    out.list("missing", summary.missing.first.iter().map(remark));
    out.list("contradictions", summary.contradictions.first.iter().map(remark));
    out.list("stuck", summary.stuck.first.iter().map(stretch));
    out.one("duplicates_count", &json!(summary.duplicates.count));
    let runs = &found.runs;
    out.list("states", found.parts().map(|p| part(&p)));
    let heater_on = runs.iter().flat_map(|r| {
        r.run
            .loads
            .heater_on
            .iter()
            .zip(&r.resistance_u_ohm)
            .zip(&r.doubts)
            .map(|((h, u), d)| heating(h, *u, d))
    });
    out.list("heater_on", heater_on);
    let all = |r: &Read, from: usize, count: usize| {
        r.run.loads.spins_and_run_ups().skip(from).take(count).map(|(s, up)| spin(s, up)).collect::<Vec<_>>()
    };
    let interim = |r: &Read| r.run.loads.interim_spins.len();
    out.list("spins", runs.iter().flat_map(|r| all(r, interim(r), usize::MAX)));
    out.list("interim_spins", runs.iter().flat_map(|r| all(r, 0, interim(r))));
    out.list("run_ups", runs.iter().flat_map(|r| r.run.loads.run_ups.iter().map(run_up)));
    out.list("runs", runs.iter().enumerate().map(|(place, r)| run(place, r, found)));
    out.one("disturbances_count", &json!(found.disturbances_count));
    out.list("disturbances", found.disturbances.iter().map(disturbance));
    out.list("warnings", words::warnings(recording).into_iter().map(Value::from));
    out.0.push_str("\n}\n");
    out.0
}

fn stretch(s: &Stretch) -> Value {
    json!({ "start_s": rounded(s.start_s), "end_s": rounded(s.end_s), "line": s.line })
}

fn remark(r: &Remark) -> Value {
    json!({ "line": r.line, "why": r.why })
}

fn part(p: &Part<'_>) -> Value {
    json!({
        "start_s": rounded(p.start_s),
        "end_s": rounded(p.end_s),
        "power_w": p.state.map(|s| rounded(s.power_w)),
        "kind": words::key(p.state.map(|s| s.kind)),
        "from_w": p.state.and_then(|s| s.ramp_w).map(|r| rounded(r.0)),
        "to_w": p.state.and_then(|s| s.ramp_w).map(|r| rounded(r.1)),
    })
}

fn heating(h: &HeaterOn, u_ohm: Option<f64>, doubts: &[Doubt]) -> Value {
    let stages = h.stages.iter().map(|s| {
        json!({ "start_s": rounded(s.start_s), "end_s": rounded(s.end_s), "power_w": rounded(s.power_w) })
    });
    json!({
        "start_s": rounded(h.start_s),
        "end_s": rounded(h.end_s),
        "power_w": rounded(h.power_w),
        "resistance_ohm": h.resistance_ohm.map(rounded),
        "resistance_u_ohm": u_ohm.map(rounded),
        "stages": stages.collect::<Vec<_>>(),
        "notes": words::doubts(doubts),
    })
}

fn spin(s: &Spin, up: Option<&RunUp>) -> Value {
    json!({
        "start_s": rounded(s.start_s),
        "peak_s": rounded(s.peak_s),
        "end_s": rounded(s.end_s),
        "peak_w": rounded(s.peak_w),
        "plateau_w": rounded(s.plateau_w),
        "time_to_peak_s": rounded(s.peak_s - s.start_s),
        "run_up": up.map(run_up),
    })
}

fn run_up(up: &RunUp) -> Value {
    json!({
        "start_s": rounded(up.start_s),
        "end_s": rounded(up.end_s),
        "from_w": rounded(up.from_w),
        "to_w": rounded(up.to_w),
        "straight": rounded(up.straight),
    })
}

fn run(place: usize, r: &Read, found: &Analysis) -> Value {
    let heater_on = &r.run.loads.heater_on;
    let spun_s = r.run.loads.spins.iter().map(|s| s.end_s - s.start_s).sum::<f64>();
    let differences = found.differences.iter().filter(|d| d.run() == place).map(words::difference);
    let disturbed = found.disturbances.iter().filter(|d| d.run == Some(place)).map(words::disturbance);
    json!({
        "start_s": rounded(r.run.start_s),
        "end_s": rounded(r.run.end_s),
        "energy_wh": rounded(r.energy_wh),
        "peak_w": rounded(r.peak_w),
        "peak_s": rounded(r.peak_s),
        "heated_s": rounded(heater_on.iter().map(|h| h.end_s - h.start_s).sum::<f64>()),
        "heater_w": main_power_w(heater_on).map(rounded),
        "spun_s": rounded(spun_s),
        "unfinished": r.unfinished,
        "longest_gap_s": rounded(r.longest_gap_s),
        "lowest_v": r.lowest_v.map(rounded),
        "reversals": r.reversals.as_ref().map(reversals),
        "differences": differences.chain(disturbed).collect::<Vec<_>>(),
    })
}

fn reversals(r: &Reversals) -> Value {
    json!({
        "turns": r.turns,
        "on_s": rounded(r.on_s),
        "pause_s": rounded(r.pause_s),
        "duty": rounded(r.duty),
        "symmetry": r.symmetry.map(rounded),
        "on_by_turns_s": r.on_by_turns_s.map(|(less, more)| [rounded(less), rounded(more)]),
    })
}

fn disturbance(d: &Disturbance) -> Value {
    let (kind, lowest_v, reference_v) = match d.trouble {
        Trouble::Dip { lowest_v, reference_v } => ("dip", Some(lowest_v), Some(reference_v)),
        Trouble::Interruption { reference_v } => ("interruption", None, Some(reference_v)),
        Trouble::NoPower => ("no_power", None, None),
        Trouble::NoSamples => ("no_samples", None, None),
    };
    let ended = d.ended.iter().map(|e| match e {
        Ended::Heater => "heater",
        Ended::Spin => "spin",
        Ended::Run => "run",
    });
    json!({
        "kind": kind,
        "start_s": rounded(d.start_s),
        "end_s": rounded(d.end_s),
        "lowest_v": lowest_v.map(rounded),
        "reference_v": reference_v.map(rounded),
        "run": d.run,
        "with_heater": d.with_heater,
        "ended": ended.collect::<Vec<_>>(),
    })
}

fn source(s: &SourceResistance) -> Value {
    json!({ "ohm": rounded(s.ohm), "u_ohm": rounded(s.uncertainty_ohm), "edges": s.edges })
}

/// To a thousandth: finer than any meter's clock, watts or ohms here.
fn rounded(x: f64) -> f64 {
    let thousandths = (x * 1e3).round() / 1e3;
    if thousandths.is_finite() { thousandths } else { x }
}
