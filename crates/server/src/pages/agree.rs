//! Agree: what it may cost, whether it is worth it, and what the customer decides.

use super::layout::{page, short_time};
use crate::desk::Desk;
use crate::problem::Problem;
use crate::setup::setup;
use crate::visit;
use crate::visit::charge::{self, Priced};
use crate::visit::keep::{self, Fields, Said};
use crate::who::Who;
use crate::worked_out::{WorkedOut, worked_out};
use askama::Template;
use axum::extract::{Form, Path, State};
use axum::http::HeaderMap;
use axum::response::Response;
use axum::routing::get;
use axum::{Extension, Router};
use diagnosis::finding::Suspect;
use machine::kind::Mend;
use machine::model::PartId;
use records::{Job, JobId, Says, Settings, Signature, StockPart};
use report::finding::words;
use std::collections::{BTreeMap, HashMap};
use std::sync::Arc;
use worth::{Assumptions, EDITABLE, Quote, TaxLine, Weighed};

pub(super) fn routes() -> Router<Arc<Desk>> {
    Router::new().route("/jobs/{id}/agree", get(show).post(keep))
}

/// Most cases that are listed.
const LISTED: usize = 8;

pub(super) struct AgreeView {
    /// The fold in one line.
    pub(super) line: String,
    pub(super) open: bool,
    pub(super) needs: String,
    pub(super) trouble: Option<Problem>,
    pub(super) decision: Option<DecisionView>,
    pub(super) quote: Option<QuoteView>,
    /// Who the customer is, as far as known: to begin with.
    pub(super) name: String,
}

pub(super) struct DecisionView {
    pub(super) entry: u32,
    pub(super) agreed: bool,
    pub(super) offer: String,
    pub(super) name: String,
    pub(super) why: String,
    pub(super) at: String,
    /// Path of the signature; empty where none was drawn.
    pub(super) signature: String,
}

pub(super) struct QuoteView {
    pub(super) range: String,
    pub(super) covers: String,
    pub(super) sure: bool,
    pub(super) cases: Vec<CaseView>,
    /// The likeliest, line by line.
    pub(super) lines: Vec<(String, String)>,
    pub(super) notes: Vec<String>,
    pub(super) currency: &'static str,
    pub(super) parts: Vec<PriceField>,
    pub(super) worth: Option<WorthView>,
    pub(super) worth_trouble: String,
    /// The assumptions that nobody else can know, then all others.
    pub(super) first: Vec<AssumedField>,
    pub(super) others: Vec<AssumedField>,
    pub(super) also: String,
    pub(super) sources: Vec<String>,
    pub(super) offer: String,
    /// Parts that the offer is about.
    pub(super) offered: String,
}

pub(super) struct CaseView {
    pub(super) figure: String,
    pub(super) amount: String,
    pub(super) what: String,
    pub(super) outside: bool,
}

pub(super) struct PriceField {
    pub(super) part: String,
    pub(super) says: String,
    pub(super) typed: String,
    /// What is taken while nothing is typed.
    pub(super) guess: String,
}

pub(super) struct AssumedField {
    pub(super) name: &'static str,
    pub(super) says: &'static str,
    pub(super) unit: String,
    pub(super) typed: String,
    pub(super) usual: String,
}

pub(super) struct WorthView {
    pub(super) says: String,
    /// What, of the repaired, of a new one.
    pub(super) rows: Vec<(&'static str, String, String)>,
    pub(super) notes: Vec<String>,
    /// Lengths of the two bars, of 100.
    pub(super) bars: [u32; 2],
}

impl AgreeView {
    pub(super) fn of(
        job: &Job,
        found: Option<&WorkedOut>,
        settings: &Settings,
        stock: &[StockPart],
        pending: bool,
    ) -> AgreeView {
        let decision = decision(job);
        let touched = visit::fitted(&job.log).next().is_some() || visit::mended(&job.log).is_some();
        let (mut quote, mut trouble, mut needs) = (None, None, String::new());
        match found {
            _ if pending => "Working out what it could be …".clone_into(&mut needs),
            _ if touched => {
                "It was worked on since: what Find says now prices nothing any more.".clone_into(&mut needs);
            }
            None => {
                "A price needs a suspect: say what fails, under Arrive or Find.".clone_into(&mut needs);
            }
            Some(found) => match charge::priced(found, &job.log, settings, stock) {
                Ok(priced) => quote = Some(quote_view(found, job, settings, &priced)),
                Err(problem) => trouble = Some(problem),
            },
        }
        let line = match (&decision, &quote) {
            (Some(d), _) if d.agreed => format!("agreed: {}", d.offer),
            (Some(d), _) => format!("declined: {}", d.why),
            (None, Some(q)) => q.range.clone(),
            (None, None) if trouble.is_some() => "needs your prices".to_owned(),
            (None, None) => String::new(),
        };
        AgreeView {
            line,
            open: decision.is_none() && quote.as_ref().is_some_and(|q| q.sure),
            needs,
            trouble,
            decision,
            quote,
            name: job.customer.as_ref().map_or(String::new(), |c| c.name.clone()),
        }
    }
}

fn decision(job: &Job) -> Option<DecisionView> {
    let entry = visit::decided(&job.log)?;
    let Says::Decided { offer, name, agreed, why, signature, .. } = &entry.says else { return None };
    Some(DecisionView {
        entry: entry.number,
        agreed: *agreed,
        offer: offer.clone(),
        name: name.clone(),
        why: why.clone().unwrap_or_default(),
        at: short_time(&entry.at),
        signature: signature.as_ref().map_or(String::new(), |s| s.path().to_owned()),
    })
}

fn quote_view(found: &WorkedOut, job: &Job, settings: &Settings, priced: &Priced) -> QuoteView {
    let (q, prices) = (&priced.quotation, &priced.prices);
    let currency = prices.currency;
    let case = |(p, quote): &(f64, Quote)| CaseView {
        figure: words::per_cent(*p),
        amount: currency.format(quote.gross),
        what: quote.what.clone(),
        outside: quote.gross < q.low || quote.gross > q.high,
    };
    let taxed = if prices.tax.parts.is_zero() && prices.tax.labour.is_zero() {
        String::new()
    } else {
        format!(" with {}", prices.tax.name)
    };
    let range = format!("{}{taxed}", q.says(currency));
    let likeliest = q.likeliest();
    let what = likeliest.map_or("", |l| l.what.as_str());
    let offer =
        if q.low == q.high { format!("{range}: {what}") } else { format!("{range}: most likely to {what}") };
    let of_offer = |s: &&Suspect| {
        let faults = s.faults.faults();
        worth::repair(&found.machine, faults, &setup(settings).costs, &priced.parts, 0).what == what
    };
    let offered = found.finding.suspects.iter().find(of_offer).map_or(Vec::new(), parts_of);
    let (typed_parts, typed) = charge::typed(&job.log);
    let mut worth_trouble = String::new();
    let mut worth = None;
    let (mut fields, mut sources) = (Vec::new(), Vec::new());
    match charge::assumptions(&found.machine, q, currency, &typed) {
        Ok(assumed) => {
            fields = assumed_fields(&assumed, &typed);
            sources = vec![
                format!("Mean life: {}", assumed.mean_source),
                format!("Shape of the distribution: {}", assumed.shape_source),
            ];
            match charge::weighed(&assumed, &typed) {
                Ok(weighed) => worth = weighed.map(|w| worth_view(&assumed, &w)),
                Err(problem) => worth_trouble = format!("{}; {}", problem.message, problem.remedy),
            }
        }
        Err(problem) => worth_trouble = format!("{}; {}", problem.message, problem.remedy),
    }
    let others = fields.split_off(fields.len().min(2));
    QuoteView {
        covers: words::per_cent(q.covers),
        sure: found.finding.sure.is_some(),
        cases: q.quotes.iter().take(LISTED).map(case).collect(),
        lines: likeliest.map_or(Vec::new(), |quote| lines(quote, priced)),
        notes: notes(priced),
        currency: currency.code(),
        parts: price_fields(found, &typed_parts, priced),
        worth,
        worth_trouble,
        first: fields,
        others,
        also: typed.get("also").cloned().unwrap_or_default(),
        sources,
        offered: offered.iter().map(|&p| found.machine.parts[p].id.as_str()).collect::<Vec<_>>().join(" "),
        offer,
        range,
    }
}

fn parts_of(suspect: &Suspect) -> Vec<PartId> {
    suspect.faults.faults().iter().map(|f| f.0).collect()
}

fn lines(quote: &Quote, priced: &Priced) -> Vec<(String, String)> {
    let (prices, currency) = (&priced.prices, priced.prices.currency);
    let mut all: Vec<(String, String)> = Vec::new();
    all.extend(quote.lines.iter().map(|line| (line.says(), currency.number(line.net))));
    let tax = |t: &TaxLine| (t.says(&prices.tax.name, currency), currency.number(t.tax));
    all.extend(quote.taxes.iter().map(tax));
    if !quote.rounded_by.is_zero() {
        all.push((
            format!("rounded to {}", currency.number(prices.cash_step)),
            currency.number(quote.rounded_by),
        ));
    }
    all.push((format!("to pay, {}", currency.code()), currency.number(quote.gross)));
    all
}

fn notes(priced: &Priced) -> Vec<String> {
    let prices = &priced.prices;
    let mut all = vec![format!(
        "Every line is rounded to the smallest coin, tax once on the sum; {}.",
        prices.rounding.says()
    )];
    if !prices.minimum_labour.is_zero() {
        all.push(format!("Labour costs at least {}.", prices.currency.format(prices.minimum_labour)));
    }
    all
}

/// What a part costs while nothing is typed, and where that comes from.
fn guess(priced: &Priced, id: PartId) -> String {
    let (price, guessed) = priced.parts.of(id);
    format!(
        "{}, {}",
        priced.prices.currency.number(price),
        if guessed { "guessed" } else { "the van's list" }
    )
}

/// A field for the price of each part that a suspect may need, likeliest first.
fn price_fields(found: &WorkedOut, typed: &BTreeMap<String, String>, priced: &Priced) -> Vec<PriceField> {
    let machine = &found.machine;
    let mut needed: Vec<PartId> = Vec::new();
    for suspect in found.finding.suspects.iter().take(LISTED) {
        for &(part, mode) in suspect.faults.faults() {
            let fits = machine.parts[part].kind.modes[mode].mend == Mend::Fit;
            if fits && !needed.contains(&part) {
                needed.push(part);
            }
        }
    }
    let field = |id: PartId| {
        let part = &machine.parts[id];
        let order = if part.order.is_empty() { String::new() } else { format!(", {}", part.order) };
        PriceField {
            typed: typed.get(&part.id).cloned().unwrap_or_default(),
            guess: guess(priced, id),
            says: format!("{}{order}", part.id),
            part: part.id.clone(),
        }
    };
    needed.into_iter().map(field).collect()
}

fn assumed_fields(all: &Assumptions, typed: &BTreeMap<String, String>) -> Vec<AssumedField> {
    let field = |e: &worth::Editable| AssumedField {
        name: e.name,
        says: e.says,
        unit: e.unit.to_owned(),
        typed: typed.get(e.name).cloned().unwrap_or_default(),
        usual: all.get(e.name).filter(|v| v != "0").unwrap_or_default(),
    };
    EDITABLE.iter().map(field).collect()
}

fn worth_view(a: &Assumptions, w: &Weighed) -> WorthView {
    let code = a.currency.code();
    let money = |x: f64| format!("{x:.0} {code}");
    let most = w.repaired_a_year.max(w.new_a_year).max(1e-9);
    let new_cost = a.new_price + a.delivery + a.disposal;
    WorthView {
        says: w.says.clone(),
        rows: vec![
            ("years to come, on average", format!("{:.1}", w.years_left), format!("{:.1}", w.new_years)),
            ("cost now and what else is due", money(w.repair_and_pending), format!("{new_cost:.0} {code}")),
            ("energy and water a year", money(w.old_running_a_year), money(w.new_running_a_year)),
            ("all of it, a year", money(w.repaired_a_year), money(w.new_a_year)),
        ],
        notes: vec![
            format!("Both cost the same at a repair of {}.", money(w.break_even)),
            format!("Half of such machines last {:.1} years more.", w.median_years_left),
        ],
        bars: [w.repaired_a_year, w.new_a_year].map(|x| (100.0 * x / most).round().clamp(0.0, 100.0) as u32),
    }
}

#[derive(Template)]
#[template(path = "agree.html")]
struct AgreePart {
    id: JobId,
    agree: AgreeView,
}

/// The fold alone.
async fn show(State(desk): State<Arc<Desk>>, Path(id): Path<JobId>) -> Result<Response, Problem> {
    let job = desk.job(id).await?;
    let (settings, stock) = desk.with_records(|r| Ok((r.settings()?, r.stock()?))).await?;
    let found = worked_out(&desk, &job).await.ok().flatten();
    page(&AgreePart { id, agree: AgreeView::of(&job, found.as_deref(), &settings, &stock, false) })
}

async fn keep(
    State(desk): State<Arc<Desk>>,
    Extension(who): Extension<Who>,
    Path(id): Path<JobId>,
    headers: HeaderMap,
    Form(sent): Form<HashMap<String, String>>,
) -> Response {
    keep::answer(&desk, &who, &headers, id, "#agree", Fields(sent), said).await
}

fn said(_job: &Job, fields: &Fields) -> Result<Said, Problem> {
    match fields.text("what") {
        "prices" => {
            let prices = fields.beginning("price-").collect();
            let worth = fields.beginning("assume-").collect();
            Ok(vec![(Says::Prices { prices, worth }, None)])
        }
        "decide" => decided(fields).map(|says| vec![(says, None)]),
        other => Err(Problem::refused(
            format!("`{other}` is nothing that can be agreed"),
            "reload the page and say it again",
        )),
    }
}

/// Agreed needs the tick, declined the reason: which button was pressed says which is meant.
fn decided(fields: &Fields) -> Result<Says, Problem> {
    let agreed = fields.text("decision") == "agreed";
    if agreed && !fields.ticked("tick") {
        return Err(Problem::refused(
            worth::ConsentError::NotTicked.to_string(),
            "let the customer set the tick, or write down why it was declined",
        ));
    }
    let signature = match fields.text("signature") {
        "" => None,
        path => {
            let refused = |e: records::NoSignature| Problem::refused(e.to_string(), "clear the pad");
            Some(Signature::try_from(path.to_owned()).map_err(refused)?)
        }
    };
    let why = Some(fields.text("why").to_owned()).filter(|_| !agreed);
    Ok(Says::Decided {
        offer: fields.text("offer").to_owned(),
        name: fields.text("name").to_owned(),
        agreed,
        why,
        signature,
        parts: fields.text("parts").split_whitespace().map(str::to_owned).collect(),
    })
}
