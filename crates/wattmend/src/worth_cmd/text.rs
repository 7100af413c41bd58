//! The sentence first, then its figures, then what they rest on and how to change it.

use super::Said;
use crate::render::Screen;
use crate::render::wrap::wrap;
use report::finding::words;
use rust_decimal::RoundingStrategy;

/// The whole answer.
pub(super) fn render(said: &Said<'_>, screen: &Screen) -> String {
    let (plate, a, w) = (&said.machine.plate, &said.assumptions, &said.weighed);
    let code = a.currency.code();
    let mut out = wrap("", "  ", &format!("{} {}, {}", plate.maker, plate.model, plate.kind), screen.columns);
    out.push('\n');
    out.push_str(&wrap("", "", &w.says, screen.columns));
    let row = |what: &str, repaired: String, new: String| format!("  {what:<34}{repaired:>12}{new:>12}\n");
    let money = |x: f64| format!("{x:.0} {code}");
    out.push_str("\nFigures\n");
    out.push_str(&row("", "repaired".to_owned(), "new".to_owned()));
    out.push_str(&row(
        "years to come, on average",
        format!("{:.1}", w.years_left),
        format!("{:.1}", w.new_years),
    ));
    let new_cost = a.new_price + a.delivery + a.disposal;
    out.push_str(&row(
        "cost now and what else is due",
        money(w.repair_and_pending),
        format!("{} {code}", new_cost.round_dp_with_strategy(0, RoundingStrategy::MidpointAwayFromZero)),
    ));
    out.push_str(&row("energy and water a year", money(w.old_running_a_year), money(w.new_running_a_year)));
    out.push_str(&row("all of it, a year", money(w.repaired_a_year), money(w.new_a_year)));
    let even = format!("  same cost at a repair of {}\n", money(w.break_even));
    out.push_str(&even);
    let half = format!("half of such machines last {:.1} years more", w.median_years_left);
    out.push_str(&wrap("  ", "    ", &half, screen.columns));
    let chance = format!("chance of another fault within the warranty: {}", words::per_cent(w.another_fault));
    out.push_str(&wrap("  ", "    ", &chance, screen.columns));
    out.push_str("\nWhat this rests on\n");
    for (what, option) in assumed(said) {
        out.push_str(&wrap("  ", "    ", &format!("{what} [{option}]"), screen.columns));
    }
    out
}

fn years(count: f64) -> String {
    if count == 1.0 { "1 year".to_owned() } else { format!("{count} years") }
}

/// What is assumed, each with the option that changes it.
fn assumed(said: &Said<'_>) -> Vec<(String, &'static str)> {
    let a = &said.assumptions;
    let money = |amount| a.currency.format(amount);
    let mut all = vec![
        (format!("the machine is {} old", years(a.age_years)), "--age"),
        (format!("such machines last {} years on average: {}", a.mean_years, a.mean_source), "--life"),
        (format!("new ones last {}", years(a.new_mean_years)), "--new-life"),
        (
            format!("lives spread as a Weibull distribution of shape {}: {}", a.shape, a.shape_source),
            "--shape",
        ),
        (
            format!("{} uses a year; {} are usual: {}", a.uses_a_year, a.usual_uses_a_year, a.uses_source),
            "--uses",
        ),
        (
            format!(
                "a new one costs {}, delivery {}, disposal {}",
                money(a.new_price),
                money(a.delivery),
                money(a.disposal)
            ),
            "--new-price, --delivery, --disposal",
        ),
        (
            format!(
                "energy of a use {} and {} kWh, {} a kWh",
                a.old_running.energy_kwh,
                a.new_running.energy_kwh,
                money(a.energy_price)
            ),
            "--energy, --energy-price",
        ),
        (
            format!(
                "water of a use {} and {} l, {} a cubic metre",
                a.old_running.water_l,
                a.new_running.water_l,
                money(a.water_price)
            ),
            "--water, --water-price",
        ),
        (
            format!("money is discounted at {:.1} % a year: {}", 100.0 * a.discount, a.discount_source),
            "--discount",
        ),
        (
            format!("the repair has a warranty of {}: {}", years(a.warranty_years), a.warranty_source),
            "--warranty",
        ),
    ];
    for p in &a.pending {
        all.push((format!("{} will cost {} in {}", p.what, money(p.cost), years(p.in_years)), "--also"));
    }
    if a.pending.is_empty() {
        all.push(("nothing else was found".to_owned(), "--also"));
    }
    all
}
