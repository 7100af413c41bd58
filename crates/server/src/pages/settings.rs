//! Settings: instruments that are owned, what work costs, whose limits the safety test keeps, units and language.

use super::layout::{Layout, page};
use crate::desk::Desk;
use crate::problem::Problem;
use crate::setup::{INSTRUMENTS, Known, units};
use crate::spoken::Spoken;
use crate::visit;
use crate::visit::keep::Fields;
use crate::who::Who;
use askama::Template;
use axum::extract::{Form, State};
use axum::response::{Redirect, Response};
use axum::routing::{get, post};
use axum::{Extension, Router};
use quantity::{Dimension, Lengths, Temperatures, Units, Volumes, parse};
use records::{Charges, ChosenUnits, Instrument, Records, Settings, TesterFacts};
use std::collections::HashMap;
use std::sync::Arc;

pub(super) fn routes() -> Router<Arc<Desk>> {
    Router::new().route("/settings", get(show).post(keep)).route("/settings/units", post(keep_units))
}

#[derive(Template)]
#[template(path = "settings.html")]
struct Page {
    layout: Layout,
    instruments: Vec<Owned>,
    rate: String,
    part: String,
    currency: String,
    charges: Charges,
    /// Key and name of the standards of the safety test, and which one is chosen.
    standards: Vec<(String, String, bool)>,
    tester: TesterFacts,
    units: Units,
    language: Arc<Spoken>,
    records: String,
    /// Who is logged in.
    who: Option<String>,
}

struct Owned {
    key: &'static str,
    name: &'static str,
    at_hand: bool,
    relative: String,
    absolute: String,
    unit: &'static str,
    due: String,
}

async fn show(State(desk): State<Arc<Desk>>, Extension(who): Extension<Who>) -> Result<Response, Problem> {
    let settings = desk.with_records(Records::settings).await?;
    let units = units(&settings.units);
    let owned = |known: &Known| {
        let limits = known.owned(&settings);
        let (relative, absolute) = limits.unwrap_or((known.relative, known.absolute));
        let absolute = (units.number(absolute, known.measures) * 1e6).round() / 1e6;
        Owned {
            key: known.key,
            name: known.name,
            at_hand: limits.is_some(),
            relative: format!("{}", (relative * 1e6).round() / 1e4),
            absolute: format!("{absolute}"),
            unit: units.symbol(known.measures),
            due: known.kept(&settings).map_or(String::new(), |i| i.due.clone()),
        }
    };
    let money = |minor: Option<i64>| minor.map_or(String::new(), |m| format!("{}.{:02}", m / 100, m % 100));
    let chosen = if settings.standard.is_empty() { "en" } else { settings.standard.as_str() };
    let standards = safety::standards().iter().filter(|s| s.after_repair);
    let standards =
        standards.map(|s| (s.key.clone(), format!("{}, {}", s.name, s.edition), s.key == chosen)).collect();
    page(&Page {
        layout: Layout::of(&desk, "Settings", "settings"),
        instruments: INSTRUMENTS.iter().map(owned).collect(),
        rate: money(settings.rate_minor),
        part: money(settings.part_minor),
        currency: settings.currency,
        charges: settings.charges,
        standards,
        tester: settings.tester,
        units,
        language: desk.language.now(),
        who: who.name(),
        records: desk.records().path().display().to_string(),
    })
}

async fn keep(
    State(desk): State<Arc<Desk>>,
    Form(sent): Form<HashMap<String, String>>,
) -> Result<Redirect, Problem> {
    let sent = Fields(sent);
    let text = |key: &str| sent.text(key);
    let mut instruments = Vec::new();
    for known in INSTRUMENTS.iter().filter(|k| sent.ticked(k.key)) {
        let relative = limit(known.name, text(&format!("{}-relative", known.key)), 50.0)? / 100.0;
        let absolute = text(&format!("{}-absolute", known.key));
        let absolute = limit_beside(known, absolute, text(&format!("{}-unit", known.key)))?;
        let due = due(known.name, text(&format!("{}-due", known.key)))?;
        instruments.push(Instrument { name: known.key.to_owned(), relative, absolute, due });
    }
    let settings = Settings {
        instruments: Some(instruments),
        rate_minor: money("the labour rate", text("rate"))?,
        part_minor: money("the price of a part", text("part"))?,
        currency: text("currency").to_uppercase(),
        charges: Charges {
            minimum: text("minimum").to_owned(),
            travel: text("travel").to_owned(),
            mark_up: text("mark-up").to_owned(),
            tax_name: text("tax-name").chars().take(30).collect(),
            tax: text("tax").to_owned(),
            labour_tax: text("labour-tax").to_owned(),
            cash_step: text("cash-step").to_owned(),
            half_even: text("rounding") == "half-even",
        },
        standard: text("standard").to_owned(),
        tester: super::prove::tester(&sent),
        units: ChosenUnits::default(),
    };
    // A rate is needed for a quote and not here; all else is read as a quote would read it.
    visit::charge::prices(&Settings { rate_minor: Some(1), ..settings.clone() })?;
    visit::proof::standard(&settings.standard)?;
    visit::proof::tester(&settings.tester)?;
    desk.with_records(move |r| {
        // Units are chosen in a form of their own; what cannot be read any more is written anew.
        let units = r.settings().unwrap_or_default().units;
        r.keep_settings(&Settings { units, ..settings })
    })
    .await?;
    Ok(Redirect::to("/settings"))
}

async fn keep_units(
    State(desk): State<Arc<Desk>>,
    Form(sent): Form<HashMap<String, String>>,
) -> Result<Redirect, Problem> {
    let sent = Fields(sent);
    let chosen = |name: &str, known: &[&str]| {
        let unit = sent.text(name);
        if known.contains(&unit) {
            return Ok(unit.to_owned());
        }
        let message = format!("`{unit}` is no unit of {name} that can be chosen");
        Err(Problem::refused(message, "choose one of the list"))
    };
    let units = ChosenUnits {
        temperature: chosen("temperature", &["", "°F"])?,
        volume: chosen("volume", &["", "US gal", "imp gal"])?,
        length: chosen("length", &["", "ft"])?,
    };
    desk.with_records(move |r| {
        let settings = r.settings()?;
        r.keep_settings(&Settings { units, ..settings })
    })
    .await?;
    Ok(Redirect::to("/settings#units"))
}

/// A limit of error beside the share of the reading, in the unit that stood beside its field; kept in the base unit.
fn limit_beside(known: &Known, text: &str, unit: &str) -> Result<f64, Problem> {
    let number = limit(known.name, text, 1e6)?;
    let base = known.measures.base_unit();
    if unit.is_empty() || unit == base {
        return Ok(number);
    }
    parse(&format!("{number} {unit}"), known.measures)
        .map_err(|e| Problem::refused(format!("{}: {}", known.name, e.message), e.remedy))
}

/// A limit of error: a plain number, point or comma.
fn limit(name: &str, text: &str, most: f64) -> Result<f64, Problem> {
    let value = if text.is_empty() { Some(0.0) } else { parse(text, Dimension::Ratio).ok() };
    value.filter(|v| (0.0..=most).contains(v)).ok_or_else(|| {
        Problem::refused(
            format!("{name}: `{text}` is no limit of error"),
            format!("give a number from 0 to {most}"),
        )
    })
}

/// When an instrument is to be calibrated again.
fn due(name: &str, text: &str) -> Result<String, Problem> {
    if text.is_empty() || text.parse::<jiff::civil::Date>().is_ok() {
        return Ok(text.to_owned());
    }
    Err(Problem::refused(
        format!("{name}: calibrated again on `{text}` is no date"),
        "write year, month and day: 2027-03-01",
    ))
}

/// An amount of money in minor units.
fn money(name: &str, text: &str) -> Result<Option<i64>, Problem> {
    if text.is_empty() {
        return Ok(None);
    }
    let refused = || {
        Problem::refused(
            format!("{name}: `{text}` is no amount"),
            "write for instance 62 or 62.50; thousands without a mark",
        )
    };
    let (whole, cents) = text.split_once(['.', ',']).unwrap_or((text, ""));
    let digits = |t: &str| t.bytes().all(|b| b.is_ascii_digit());
    if whole.is_empty() || whole.len() > 7 || cents.len() > 2 || !digits(whole) || !digits(cents) {
        return Err(refused());
    }
    let major: i64 = whole.parse().map_err(|_| refused())?;
    let minor: i64 = format!("{cents:0<2}").parse().map_err(|_| refused())?;
    Ok(Some(100 * major + minor))
}

#[cfg(test)]
mod tests {
    use super::money;

    #[test]
    fn money_is_exact() {
        for (text, minor) in [("62", 6200), ("62.5", 6250), ("62,05", 6205), ("0", 0)] {
            assert_eq!(money("x", text).unwrap(), Some(minor), "{text}");
        }
        for text in ["-1", "1,000.50", "much", ".5", "1.234", "99999999"] {
            assert!(money("x", text).is_err(), "{text}");
        }
    }
}
