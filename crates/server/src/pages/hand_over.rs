//! Hand over: the record as a page, what only this stage knows, the act that closes the job, and what is put right after it.

use super::layout::{Layout, page, short_time};
use super::papers;
use super::sheet::title;
use crate::desk::Desk;
use crate::problem::{Problem, answered};
use crate::visit;
use crate::visit::charge;
use crate::visit::closing;
use crate::visit::keep::{self, Fields, Said};
use crate::visit::record::{self, Gathered, Standing, standing};
use crate::who::Who;
use askama::Template;
use axum::extract::{Form, Path, State};
use axum::http::HeaderMap;
use axum::response::Response;
use axum::routing::{get, post};
use axum::{Extension, Router};
use handover::{Claim, Correction, Document, JobRecord, Paper};
use records::{FirmFacts, HandOverFacts, Job, JobId, Records, Says};
use serde_json::json;
use std::collections::HashMap;
use std::sync::Arc;

pub(super) fn routes() -> Router<Arc<Desk>> {
    Router::new()
        .route("/jobs/{id}/hand-over", get(show).post(keep))
        .route("/jobs/{id}/handed-over", post(hand_over))
        .route("/jobs/{id}/correct", post(correct))
}

/// Longest text of a record that is shown in a list of choices, characters.
const IN_A_LIST: usize = 60;

/// The stage on the sheet, which leads to its page.
pub(super) struct FoldView {
    pub(super) line: String,
    pub(super) closed: bool,
    pub(super) ready: bool,
}

impl FoldView {
    pub(super) fn of(job: &Job) -> FoldView {
        let signed = visit::signed(&job.log).is_some_and(|s| !s.overtaken);
        let line = match visit::handed_over(&job.log) {
            Some((by, at)) => format!("Handed over by {by}, {}", short_time(at)),
            None if signed => "safety test signed: ready".to_owned(),
            None => String::new(),
        };
        FoldView { line, closed: job.closed.is_some(), ready: signed }
    }
}

#[derive(Template)]
#[template(path = "hand_over.html")]
struct Page {
    layout: Layout,
    id: JobId,
    name: String,
    over: Option<OverView>,
    erased: String,
    record: Option<RecordView>,
    lacks: Vec<Lack>,
    form: Option<FormView>,
    act: Option<ActView>,
    correct: Option<CorrectView>,
    papers: Vec<PaperView>,
    /// Characters that no font at hand can show on paper.
    unshown: String,
}

/// Who closed the job, and how its log stands.
struct OverView {
    by: String,
    at: String,
    entries: u32,
    head: String,
    /// The first entry that is not as it was written.
    broken_at: Option<u32>,
}

/// The record, with what is said of it in words.
struct RecordView {
    record: JobRecord,
    date: String,
    claim: String,
    passed: bool,
    on: String,
    next_due: String,
    /// What for, how many, what one costs, all.
    lines: Vec<[String; 4]>,
    totals: Vec<(String, String)>,
    /// What is still to be paid; empty: it has no price.
    open: String,
    due: String,
    follow_up: String,
}

/// Something that the record does not say yet, and where it is said.
struct Lack {
    says: String,
    at: String,
    link: &'static str,
}

struct FormView {
    facts: HandOverFacts,
    /// Minutes that are charged while none are typed.
    planned: String,
    currency: String,
    /// Name, what it is called, typed price.
    prices: Vec<(String, String, String)>,
    no_price: String,
    country: String,
    passed: bool,
}

struct ActView {
    may: bool,
    blocked: Option<Problem>,
    /// Who hands over; empty: to be typed.
    who: String,
    name: String,
    after: u32,
    short: &'static str,
}

struct CorrectView {
    choices: Vec<(&'static str, String)>,
    who: String,
    name: String,
}

struct PaperView {
    file: &'static str,
    says: &'static str,
    /// Another paper that it may be set on.
    other: &'static str,
    /// Why there is none.
    lacks: String,
}

impl RecordView {
    fn of(record: JobRecord) -> RecordView {
        let claim = Claim::of(record.proof.as_ref());
        let day = |day: Option<jiff::civil::Date>| {
            day.map_or(String::new(), |d| d.strftime("%-d %B %Y").to_string())
        };
        let (mut lines, mut totals) = (Vec::new(), Vec::new());
        let (mut due, mut open) = (String::new(), String::new());
        if let Some((bill, money)) = record.bill.as_ref().and_then(|b| Some((b, b.money().ok()?))) {
            lines.extend(
                bill.lines.iter().map(|l| {
                    [l.what.clone(), l.quantity.to_string(), money.number(l.one), money.number(l.net)]
                }),
            );
            totals.push(("without tax".to_owned(), money.number(bill.net)));
            let tax = |t: &handover::TaxAmount| {
                (format!("{} on {}", bill.tax_name, money.number(t.base)), money.number(t.tax))
            };
            totals.extend(bill.taxes.iter().map(tax));
            if !bill.rounded_by.is_zero() {
                totals.push(("rounded by".to_owned(), money.number(bill.rounded_by)));
            }
            totals.push(("To be paid".to_owned(), money.format(bill.gross)));
            if !bill.paid.is_zero() {
                let how =
                    if bill.paid_by.is_empty() { String::new() } else { format!(" ({})", bill.paid_by) };
                totals.push((format!("paid already{how}"), money.number(bill.paid)));
                totals.push(("Still open".to_owned(), money.format(bill.open())));
            }
            (due, open) = (day(bill.due), money.format(bill.open()));
        }
        RecordView {
            date: day(record.date),
            passed: claim == Claim::Passed,
            claim: claim.says(),
            on: day(record.proof.as_ref().and_then(|p| p.on)),
            next_due: day(record.proof.as_ref().and_then(|p| p.next_due)),
            lines,
            totals,
            open,
            due,
            follow_up: record
                .follow_up
                .as_ref()
                .map_or(String::new(), |f| format!("{}: {}", f.at.strftime("%-d %B %Y, %H:%M (%Q)"), f.what)),
            record,
        }
    }

    /// What was put right of this, last.
    fn corrected(&self, what: &str) -> Option<&Correction> {
        self.record.corrections.iter().rev().find(|c| c.what == what)
    }
}

/// What the record does not say, with the stage that fills it.
fn lacks(id: JobId, gathered: &Gathered, job: &Job) -> Vec<Lack> {
    let r = &gathered.record;
    let sheet = |fold: &str| format!("/jobs/{id}#{fold}");
    let here = |place: &str| format!("#{place}");
    let signed = visit::signed(&job.log).is_some_and(|s| !s.overtaken);
    let tested = matches!(Claim::of(r.proof.as_ref()), Claim::Passed | Claim::Failed);
    let all = [
        (
            r.firm.party.name.is_empty(),
            "who does the work: no firm is written down",
            "/settings/firm".to_owned(),
            "Your firm",
        ),
        (r.customer.name.is_empty(), "who the customer is", sheet("arrive"), "Arrive"),
        (r.machine.name().is_empty(), "which machine it is", sheet("arrive"), "Arrive"),
        (r.complaint.is_empty(), "what was wrong", sheet("arrive"), "Arrive"),
        (r.found.says.is_empty() && r.found.evidence.is_empty(), "what was found", sheet("find"), "Find"),
        (r.consent.is_none(), "what the customer decided", sheet("agree"), "Agree"),
        (r.done.work.is_empty() && r.done.parts.is_empty(), "what was done", sheet("mend"), "Mend"),
        (r.proof.is_none(), "that it is safe: nothing was tested", sheet("prove"), "Prove"),
        (tested && !signed, "who signed the safety test off", sheet("prove"), "Prove"),
        (r.bill.is_none(), "what it costs", here("price"), "Price"),
        (r.warranty.is_empty(), "what is warranted", here("words"), "Warranty"),
    ];
    let all = all.into_iter().filter(|l| l.0);
    all.map(|(_, says, at, link)| Lack { says: says.to_owned(), at, link }).collect()
}

fn form(gathered: &Gathered, job: &Job, firm: &FirmFacts, currency: String, claim: &Claim) -> FormView {
    let (mut facts, said) = record::facts_of(&job.log);
    if said.is_none() {
        facts.warranty.clone_from(&firm.warranty);
    }
    let typed = charge::typed(&job.log).0;
    let mut prices: Vec<(String, String, String)> = Vec::new();
    for entry in visit::fitted(&job.log) {
        let Says::Fitted { fitted, cleared: false, .. } = &entry.says else { continue };
        let unpriced = gathered.unpriced.iter().find(|u| u.0 == *fitted);
        let price = typed.get(fitted).cloned();
        if (unpriced.is_some() || price.is_some()) && prices.iter().all(|p| p.0 != *fitted) {
            let called = unpriced.map_or(fitted.clone(), |u| u.1.clone());
            prices.push((fitted.clone(), called, price.unwrap_or_default()));
        }
    }
    FormView {
        planned: gathered.planned_minutes.map_or(String::new(), |m| format!("{m}, as planned")),
        no_price: gathered
            .no_price
            .as_ref()
            .map_or(String::new(), |p| format!("No price yet: {}. What to do: {}.", p.message, p.remedy)),
        country: if firm.country.is_empty() { "IE".to_owned() } else { firm.country.clone() },
        passed: *claim == Claim::Passed,
        facts,
        currency,
        prices,
    }
}

fn paper_views(record: &JobRecord, paper: Paper) -> Vec<PaperView> {
    let other = if paper == Paper::A4 { "letter" } else { "a4" };
    let view = |document: Document| {
        let (says, other) = match document {
            Document::Record => ("Full record, PDF", other),
            Document::Customer => ("One page for the customer, PDF", other),
            Document::Lines => ("Invoice lines, CSV", ""),
            Document::Invoice => ("Invoice, UBL", ""),
            Document::Label => ("Label with QR code", ""),
            Document::Calendar => ("Next visit, for a calendar", ""),
        };
        let pdf = matches!(document, Document::Record | Document::Customer);
        // All but the PDFs are made in no time.
        let lacks = if pdf { None } else { document.make(record, paper, &[], jiff::Timestamp::now()).err() };
        PaperView {
            file: document.file_name(),
            says,
            other,
            lacks: lacks.map_or(String::new(), |e| e.to_string()),
        }
    };
    Document::ALL.into_iter().map(view).collect()
}

async fn show(
    State(desk): State<Arc<Desk>>,
    Extension(who): Extension<Who>,
    Path(id): Path<JobId>,
) -> Result<Response, Problem> {
    let job = desk.job(id).await?;
    let (firm, settings, chain) =
        desk.with_records(move |r: &Records| Ok((r.firm()?, r.settings()?, r.verify(id)?))).await?;
    let standing = standing(&desk, &job).await?;
    let currency = charge::currency(&settings).map_or(String::new(), |c| c.code().to_owned());
    let (me, name) = (who.name().unwrap_or_default(), firm.technician.clone());
    let over = visit::handed_over(&job.log).map(|(by, at)| OverView {
        by: by.to_owned(),
        at: short_time(at),
        entries: chain.entries,
        head: chain.head.clone(),
        broken_at: chain.broken_at,
    });
    let mut view = Page {
        layout: Layout::of(&desk, format!("Hand over {}", title(&job)), "today"),
        id,
        name: title(&job),
        over,
        erased: String::new(),
        record: None,
        lacks: Vec::new(),
        form: None,
        act: None,
        correct: None,
        papers: Vec::new(),
        unshown: String::new(),
    };
    let record = match standing {
        Standing::Erased(day) => {
            view.erased = day;
            None
        }
        Standing::HandedOver(record) => {
            view.correct = who.may_sign().then(|| CorrectView {
                choices: closing::correctable(&record)
                    .into_iter()
                    .map(|(what, text)| (what, cut(&text)))
                    .collect(),
                who: me,
                name,
            });
            Some(*record)
        }
        Standing::Draft(gathered) => {
            let claim = Claim::of(gathered.record.proof.as_ref());
            view.lacks = lacks(id, &gathered, &job);
            view.form = Some(form(&gathered, &job, &firm, currency, &claim));
            view.act = Some(ActView {
                may: who.may_sign(),
                blocked: closing::may_be_handed_over(&gathered.record, &job.log).err(),
                who: me,
                name,
                after: gathered.after,
                short: claim.short(),
            });
            Some(gathered.record)
        }
    };
    if let Some(record) = record {
        let fonts = desk.fonts();
        let (record, unshown) = desk
            .work(move || {
                let unshown = handover::unshown(&record, &fonts.for_record(&record).into_files());
                (record, unshown)
            })
            .await?;
        view.unshown = unshown.ok().flatten().unwrap_or_default();
        let paper = papers::paper("", &firm).unwrap_or_default();
        view.papers = paper_views(&record, paper);
        view.record = Some(RecordView::of(record));
    }
    page(&view)
}

fn cut(text: &str) -> String {
    if text.chars().count() <= IN_A_LIST {
        return text.to_owned();
    }
    text.chars().take(IN_A_LIST).chain(['…']).collect()
}

async fn keep(
    State(desk): State<Arc<Desk>>,
    Extension(who): Extension<Who>,
    Path(id): Path<JobId>,
    headers: HeaderMap,
    Form(sent): Form<HashMap<String, String>>,
) -> Response {
    keep::answer(&desk, &who, &headers, id, "/hand-over", Fields(sent), |job, fields| Ok(said(job, fields)))
        .await
}

fn said(job: &Job, fields: &Fields) -> Said {
    let text = |name: &str| fields.text(name).to_owned();
    let hand_over = HandOverFacts {
        found: text("found"),
        work: text("work"),
        minutes: text("minutes"),
        advice: text("advice"),
        warranty: text("warranty"),
        next_due: text("next-due"),
        reason: text("reason"),
        follow_up: text("follow-up"),
        follow_up_what: text("follow-up-what"),
        invoice: text("invoice"),
        due: text("due"),
        country: text("country").to_uppercase(),
        paid: text("paid"),
        paid_by: text("paid-by"),
    };
    let mut said = Vec::new();
    let (mut prices, worth) = charge::typed(&job.log);
    let before = prices.clone();
    prices.extend(fields.beginning("price-"));
    if prices != before {
        said.push((Says::Prices { prices, worth }, None));
    }
    said.push((Says::HandOver { hand_over }, None));
    said
}

/// The act: what is handed over is what stood on the page, so that nobody hands over what changed meanwhile.
async fn hand_over(
    State(desk): State<Arc<Desk>>,
    Extension(who): Extension<Who>,
    Path(id): Path<JobId>,
    headers: HeaderMap,
    Form(sent): Form<HashMap<String, String>>,
) -> Response {
    let fields = Fields(sent);
    let done = async {
        if !fields.ticked("sure") {
            return Err(Problem::refused(
                "the tick is missing",
                "read the record, set the tick below it, and hand over again",
            ));
        }
        let job = desk.job(id).await?;
        let after = fields
            .text("after")
            .parse()
            .map_err(|_| Problem::refused("it is not said which record is handed over", "reload the page"))?;
        let by = who.name().unwrap_or_else(|| fields.text("name").to_owned());
        let key = match fields.text("key") {
            "" => format!("handed over {after}"),
            key => key.to_owned(),
        };
        closing::hand_over(&desk, &job, by, after, key, who.user()).await
    };
    let done = done.await.map(|number| json!({ "saved": number }));
    answered(&headers, done, &format!("/jobs/{id}/hand-over"))
}

/// Something in a record that was handed over is put right; what it says stays with it.
async fn correct(
    State(desk): State<Arc<Desk>>,
    Extension(who): Extension<Who>,
    Path(id): Path<JobId>,
    headers: HeaderMap,
    Form(sent): Form<HashMap<String, String>>,
) -> Response {
    let fields = Fields(sent);
    let what = fields.text("correction").to_owned();
    let stands = async {
        let job = desk.job(id).await?;
        let standing = standing(&desk, &job).await?;
        let all = closing::correctable(standing.record()?);
        Ok::<_, Problem>(all.into_iter().find(|c| c.0 == what).map_or(String::new(), |c| c.1))
    };
    let was = stands.await;
    let signer = who.name();
    let said = |_: &Job, fields: &Fields| {
        let says = Says::Correction {
            correction: what.clone(),
            was: was?,
            now: fields.text("now").to_owned(),
            why: fields.text("why").to_owned(),
            by: signer.unwrap_or_else(|| fields.text("name").to_owned()),
        };
        Ok(vec![(says, None)])
    };
    keep::answer(&desk, &who, &headers, id, "/hand-over", fields, said).await
}
