//! The same for a program; keys carry their units and are described in `docs/find-json.md`.

use super::words;
use crate::figures::{estimate, rounded};
use bench::{Conditions, Estimate, Hypothesis};
use diagnosis::belief::Case;
use diagnosis::check::{Check, Power};
use diagnosis::evidence::Evidence;
use diagnosis::finding::{Action, Conflict, Finding, Next, StepVerdict, Suspect};
use machine::model::{Machine, PanelId};
use serde_json::{Map, Value, json};

/// A finding with what it was found from.
#[derive(Clone, Copy, Debug)]
pub struct Found<'a> {
    /// The machine.
    pub machine: &'a Machine,
    /// The variant that it was read as.
    pub variant: Option<&'a str>,
    /// What was known.
    pub evidence: &'a Evidence,
    /// Supply, water and meter as they were taken.
    pub conditions: &'a Conditions,
    /// What was said of the recording while it was read.
    pub remarks: &'a [String],
    /// What was found.
    pub finding: &'a Finding,
}

/// The whole answer.
pub fn render(found: &Found<'_>) -> Value {
    let (machine, finding) = (found.machine, found.finding);
    let plate = &machine.plate;
    let c = found.conditions;
    let entries: Vec<Value> = found
        .evidence
        .entries
        .iter()
        .map(|e| json!({ "said": e.said, "taken": words::clue(machine, &e.clue), "at": e.at, "answers": e.answers }))
        .collect();
    json!({
        "format": 1,
        "machine": { "kind": plate.kind, "maker": plate.maker, "model": plate.model, "variant": found.variant },
        "conditions": {
            "supply_v": estimate(Estimate { value: c.supply_v, u: c.supply_u_v }),
            "water_l": c.water_l,
            "ambient_temperature_c": c.ambient_c,
            "meter": { "relative": c.meter.relative, "absolute_w": c.meter.absolute_w },
        },
        "evidence": entries,
        "recording": found.evidence.trace.as_ref().map(|t| json!({
            "file": t.name, "samples": t.samples.len(), "remarks": found.remarks,
        })),
        "declined": found.evidence.declined,
        "steps": finding.steps.iter().map(|s| step(machine, s)).collect::<Vec<_>>(),
        "suspects": finding.suspects.iter().map(|s| suspect(machine, s)).collect::<Vec<_>>(),
        "healthy": rounded(finding.healthy),
        "healthy_reason": finding.healthy_reason,
        "others": rounded(finding.others),
        "left_out": rounded(finding.left_out),
        "conflicts": finding.conflicts.iter().map(|c| conflict(found, c)).collect::<Vec<_>>(),
        "next": finding.next.iter().map(|n| next(machine, n)).collect::<Vec<_>>(),
        "sure": finding.sure.as_ref().map(|s| json!({
            "faults": faults(machine, &s.faults), "probability": rounded(s.probability), "says": s.says,
        })),
        "minutes_left": finding.minutes_left.map(|(least, most)| json!({
            "at_least": rounded(least), "at_most": rounded(most),
        })),
    })
}

/// By part: its mode.
pub fn faults(machine: &Machine, hypothesis: &Hypothesis) -> Value {
    let one = |&(part, mode): &(usize, usize)| {
        let part = &machine.parts[part];
        (part.id.clone(), json!(part.kind.modes[mode].name))
    };
    Value::Object(hypothesis.faults().iter().map(one).collect::<Map<_, _>>())
}

fn suspect(machine: &Machine, s: &Suspect) -> Value {
    let sometimes: Vec<&str> = s
        .sometimes
        .iter()
        .filter_map(|&i| s.faults.faults().get(i))
        .map(|f| machine.parts[f.0].id.as_str())
        .collect();
    json!({
        "faults": faults(machine, &s.faults),
        "sometimes": sometimes,
        "probability": rounded(s.probability),
        "reason": s.reason,
    })
}

fn step(machine: &Machine, s: &StepVerdict) -> Value {
    let verdict = words::verdict(s.verdict).to_lowercase();
    json!({
        "id": machine.test.steps[s.step].id,
        "start_s": s.start_s.map(rounded),
        "end_s": s.end_s.map(rounded),
        "expected": { "power_w": estimate(s.expected_w) },
        "measured": s.measured_w.map(|m| json!({ "power_w": estimate(m) })),
        "verdict": verdict,
        "why": s.why,
    })
}

fn conflict(found: &Found<'_>, c: &Conflict) -> Value {
    let said = c.entry.and_then(|e| found.evidence.entries.get(e)).map(|e| e.said.as_str());
    json!({ "entry": c.entry.map(|e| e + 1), "said": said, "says": c.says })
}

fn next(machine: &Machine, n: &Next) -> Value {
    let mut value = match &n.action {
        Action::Check(check) => of_check(machine, check),
        Action::Mend { part, says, minutes, access, caution } => json!({
            "id": format!("mend {}", machine.parts[*part].id),
            "kind": "mend",
            "part": machine.parts[*part].id,
            "says": says,
            "minutes": rounded(*minutes),
            "access": panels(machine, access),
            "caution": caution,
        }),
        Action::HandBack { says, minutes, caution } => json!({
            "id": "hand back",
            "kind": "hand back",
            "says": says,
            "minutes": rounded(*minutes),
            "access": [],
            "caution": caution,
        }),
    };
    let reads: Map<String, Value> =
        n.reads.iter().map(|(case, words)| (name(machine, case), json!(words))).collect();
    value["reads"] = Value::Object(reads);
    value["minutes_left"] = json!({ "at_least": rounded(n.lower), "at_most": rounded(n.upper) });
    value["why"] = json!(n.why);
    value
}

/// A check in the form that a program can carry out and answer.
pub fn of_check(machine: &Machine, check: &Check) -> Value {
    let power = match check.power {
        Power::Dead => "dead",
        Power::Closed => "closed",
        Power::Live => "live",
    };
    json!({
        "id": check.id,
        "kind": words::kind(check.kind),
        "says": check.says,
        "between": check.between,
        "unplugged": check.unplugged,
        "step": check.step.map(|s| machine.test.steps[s].id.as_str()),
        "instrument": words::instrument(check.instrument),
        "minutes": rounded(check.minutes),
        "access": panels(machine, &check.access),
        "power": power,
        "caution": check.caution,
    })
}

/// Names of panels.
pub fn panels<'m>(machine: &'m Machine, access: &[PanelId]) -> Vec<&'m str> {
    access.iter().map(|&p| machine.panels[p].name.as_str()).collect()
}

/// `element=open`, as `--fault` takes it; several joined by " + ", `healthy` for none, and what shows only sometimes
/// says so.
fn name(machine: &Machine, case: &Case) -> String {
    let one = |(i, &(part, mode)): (usize, &(usize, usize))| {
        let part = &machine.parts[part];
        let sometimes = if case.sometimes.contains(&i) { " sometimes" } else { "" };
        format!("{}={}{sometimes}", part.id, part.kind.modes[mode].name)
    };
    let all: Vec<String> = case.faults.faults().iter().enumerate().map(one).collect();
    if all.is_empty() { "healthy".to_owned() } else { all.join(" + ") }
}
