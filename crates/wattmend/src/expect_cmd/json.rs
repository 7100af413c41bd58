//! The same for a program to read; keys carry their units and are described in `docs/json.md`.

use super::{Expectation, Row, leaving};
use bench::{Estimate, Hypothesis, Prediction, Trip};
use machine::model::{GoesOn, Machine};
use report::figures::{estimate, rounded};
use serde_json::{Value, json};

/// The whole answer.
pub(super) fn render(e: &Expectation<'_>) -> String {
    let plate = &e.machine.plate;
    let steps: Vec<Value> = e.rows.iter().map(|r| step(e.machine, r)).collect();
    let answer = json!({
        "format": 1,
        "machine": { "kind": plate.kind, "maker": plate.maker, "model": plate.model, "variant": e.variant },
        "conditions": {
            "supply_v": estimate(Estimate { value: e.conditions.supply_v, u: e.conditions.supply_u_v }),
            "supply_measured": e.supply_measured,
            "water_l": e.conditions.water_l,
            "ambient_temperature_c": e.conditions.ambient_c,
            "meter": { "relative": e.conditions.meter.relative, "absolute_w": e.conditions.meter.absolute_w },
        },
        "faults": faults(e.machine, &e.hypothesis),
        "steps": steps,
    });
    format!("{answer:#}\n")
}

/// The faults of a hypothesis.
pub(super) fn faults(machine: &Machine, hypothesis: &Hypothesis) -> Vec<Value> {
    let one = |&(part, mode): &(usize, usize)| {
        let part = &machine.parts[part];
        json!({ "part": part.id, "mode": part.kind.modes[mode].name })
    };
    hypothesis.faults().iter().map(one).collect()
}

fn step(machine: &Machine, row: &Row<'_>) -> Value {
    let goes_on = match &row.step.goes_on {
        GoesOn::ByItself => "by itself",
        GoesOn::Press(what) => what,
    };
    let mut value = json!({
        "step": row.step.id,
        "number": row.number,
        "says": row.step.says,
        "cautions": row.cautions,
        "goes_on": goes_on,
        "caution_after": leaving(row.step),
        "see": row.step.see,
        "hear": row.step.hear,
        "healthy": prediction(machine, &row.healthy),
    });
    if let Some(faulty) = &row.faulty {
        value["with_faults"] = prediction(machine, faulty);
        value["differs"] = json!(row.differs);
    }
    value
}

fn prediction(machine: &Machine, p: &Prediction) -> Value {
    let refused: Vec<&str> = p.refused.iter().map(|&o| machine.outputs[o].name.as_str()).collect();
    json!({
        "power_w": estimate(p.power_w),
        "current_a": estimate(p.current_a),
        "apparent_power_va": rounded(p.apparent_va),
        "power_factor": p.power_factor.map(rounded),
        "speed_rpm": estimate_signed(p.speed_rpm),
        "one_way": p.one_way,
        "water_l": rounded(p.water_l),
        "temperature_rise_k": estimate_signed(p.rise_k),
        "duration_s": rounded(p.lasts_s),
        "timed_out": p.timed_out,
        "seen": p.signs,
        "code": p.code.map(|c| machine.codes[c].id.as_str()),
        "code_shown": p.code_shown,
        "refused": refused,
        "earth_current_a": rounded(p.earth_a),
        "trip": p.trip.as_ref().map(|t| trip(machine, t)),
        "ended": p.ended,
    })
}

fn trip(machine: &Machine, trip: &Trip) -> Value {
    match trip {
        Trip::Residual => json!({ "protection": "residual current" }),
        Trip::Overcurrent(parts) => {
            let parts: Vec<&str> = parts.iter().map(|&p| machine.parts[p].id.as_str()).collect();
            json!({ "protection": "overcurrent", "by_way_of": parts })
        }
    }
}

fn estimate_signed(e: Estimate) -> Value {
    let (low, high) = e.interval();
    json!({ "value": rounded(e.value), "u": rounded(e.u), "low": rounded(low), "high": rounded(high) })
}
