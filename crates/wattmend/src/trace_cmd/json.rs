//! A recording as JSON; `docs/trace-json.md` says what the keys mean.

use super::{Recording, word};
use serde_json::{Value, json};
use std::fmt::Write;
use trace::analysis::Read;
use trace::loads::{HeaterOn, Spin, State};
use trace::measures::{Reversals, SourceResistance};
use trace::read::{Remark, Stretch};

/// One object, or a list of them for several files.
pub(super) fn render(recordings: &[Recording]) -> String {
    if let [only] = recordings {
        return object(only);
    }
    let objects: Vec<String> = recordings.iter().map(object).collect();
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
    out.list("states", runs.iter().flat_map(|r| r.run.loads.states.iter().map(state)));
    out.list(
        "heater_on",
        runs.iter().flat_map(|r| r.run.loads.heater_on.iter().zip(&r.resistance_u_ohm).map(heating)),
    );
    out.list("spins", runs.iter().flat_map(|r| r.run.loads.spins.iter().map(spin)));
    out.list("runs", runs.iter().map(run));
    out.list("warnings", recording.warnings().into_iter().map(Value::from));
    out.0.push_str("\n}\n");
    out.0
}

fn stretch(s: &Stretch) -> Value {
    json!({ "start_s": rounded(s.start_s), "end_s": rounded(s.end_s), "line": s.line })
}

fn remark(r: &Remark) -> Value {
    json!({ "line": r.line, "why": r.why })
}

fn state(s: &State) -> Value {
    json!({
        "start_s": rounded(s.start_s),
        "end_s": rounded(s.end_s),
        "power_w": rounded(s.power_w),
        "kind": word(s.kind),
    })
}

fn heating((h, u_ohm): (&HeaterOn, &Option<f64>)) -> Value {
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
    })
}

fn spin(s: &Spin) -> Value {
    json!({
        "start_s": rounded(s.start_s),
        "peak_s": rounded(s.peak_s),
        "end_s": rounded(s.end_s),
        "peak_w": rounded(s.peak_w),
        "plateau_w": rounded(s.plateau_w),
    })
}

fn run(r: &Read) -> Value {
    json!({
        "start_s": rounded(r.run.start_s),
        "end_s": rounded(r.run.end_s),
        "longest_gap_s": rounded(r.longest_gap_s),
        "lowest_v": r.lowest_v.map(rounded),
        "reversals": r.reversals.as_ref().map(reversals),
    })
}

fn reversals(r: &Reversals) -> Value {
    json!({
        "turns": r.turns,
        "on_s": rounded(r.on_s),
        "pause_s": rounded(r.pause_s),
        "duty": rounded(r.duty),
        "symmetry": rounded(r.symmetry),
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
