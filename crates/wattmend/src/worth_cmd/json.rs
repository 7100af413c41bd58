//! The same for a program; `docs/json.md` describes the keys. Amounts that are paid are decimal texts, those that are
//! expected are numbers.

use super::Said;
use report::figures::rounded;
use serde_json::{Value, json};
use worth::{Running, Tilt};

/// The whole answer.
pub(super) fn render(said: &Said<'_>) -> Value {
    let (plate, a, w) = (&said.machine.plate, &said.assumptions, &said.weighed);
    let number = |amount| a.currency.number(amount);
    let running = |r: Running| json!({ "energy_kwh": rounded(r.energy_kwh), "water_l": rounded(r.water_l) });
    let pending: Vec<Value> = a
        .pending
        .iter()
        .map(|p| json!({ "what": p.what, "cost": number(p.cost), "in_years": rounded(p.in_years) }))
        .collect();
    json!({
        "format": 1,
        "machine": { "kind": plate.kind, "maker": plate.maker, "model": plate.model },
        "currency": a.currency.code(),
        "says": w.says,
        "tilt": match w.tilt { Tilt::Repair => "repair", Tilt::Even => "even", Tilt::Replace => "replace" },
        "years_left": rounded(w.years_left),
        "median_years_left": rounded(w.median_years_left),
        "new_years": rounded(w.new_years),
        "repair_and_pending": rounded(w.repair_and_pending),
        "repaired_a_year": rounded(w.repaired_a_year),
        "new_a_year": rounded(w.new_a_year),
        "old_running_a_year": rounded(w.old_running_a_year),
        "new_running_a_year": rounded(w.new_running_a_year),
        "break_even": rounded(w.break_even),
        "another_fault": rounded(w.another_fault),
        "assumptions": {
            "repair": number(a.repair),
            "repair_low": a.repair_range.map(|r| number(r.0)),
            "repair_high": a.repair_range.map(|r| number(r.1)),
            "age_years": rounded(a.age_years),
            "mean_years": rounded(a.mean_years),
            "mean_source": a.mean_source,
            "new_mean_years": rounded(a.new_mean_years),
            "shape": rounded(a.shape),
            "shape_source": a.shape_source,
            "uses_a_year": rounded(a.uses_a_year),
            "usual_uses_a_year": rounded(a.usual_uses_a_year),
            "uses_source": a.uses_source,
            "new_price": number(a.new_price),
            "delivery": number(a.delivery),
            "disposal": number(a.disposal),
            "old_running": running(a.old_running),
            "new_running": running(a.new_running),
            "energy_price": a.energy_price.to_string(),
            "water_price": a.water_price.to_string(),
            "discount": rounded(a.discount),
            "discount_source": a.discount_source,
            "warranty_years": rounded(a.warranty_years),
            "warranty_source": a.warranty_source,
            "pending": pending,
        },
    })
}
