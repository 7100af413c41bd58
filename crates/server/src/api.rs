//! The same for programs, as JSON; refusals are problem details (RFC 9457). And what a typed answer would mean, asked by the
//! page before it is sent.

use crate::desk::Desk;
use crate::pages::test::{compared, conditions};
use crate::problem::{ForPrograms, Problem};
use crate::say::{self, Form as Said};
use crate::visit::check as of_visit;
use crate::visit::closing::{may_be_corrected, may_be_handed_over};
use crate::visit::record::{Standing, standing};
use crate::who::Who;
use crate::worked_out::{self, WorkedOut};
use axum::extract::rejection::JsonRejection;
use axum::extract::{DefaultBodyLimit, Form, Path, State};
use axum::http::{HeaderValue, StatusCode, header};
use axum::response::{IntoResponse, Response};
use axum::routing::{get, post};
use axum::{Extension, Json, Router};
use bench::Hypothesis;
use machine::diagnostic::Severity;
use machine::model::Machine;
use quantity::{Dimension, Reading, parse_reading};
use records::{Customer, Entry, Job, JobId, Log, NewEntry, Records, Says};
use report::finding::json::Found;
use report::finding::{self, words};
use serde::Deserialize;
use serde_json::{Value, json};
use std::sync::Arc;

type Answer = Result<Response, ForPrograms>;

pub(crate) fn routes() -> Router<Arc<Desk>> {
    Router::new()
        .route("/api/openapi.json", get(async || document()))
        .route("/api/machines", get(machines))
        .route("/api/machines/check", post(check).layer(DefaultBodyLimit::max(LARGEST_JSON)))
        .route("/api/jobs", get(jobs).post(new_job))
        .route("/api/jobs/{id}", get(job))
        .route("/api/jobs/{id}/evidence", get(evidence).post(add))
        .route("/api/jobs/{id}/finding", get(what_was_found))
        .route("/api/jobs/{id}/record", get(record))
        .route("/api/jobs/{id}/hand-over", post(hand_over))
        .route("/jobs/{id}/interpret", post(interpret))
}

/// What programs may ask, as OpenAPI 3.1. Kept by hand; `tests/api_document.rs` holds it against the routes.
const DOCUMENT: &str = include_str!("../assets/openapi.json");

fn document() -> Response {
    ([(header::CONTENT_TYPE, HeaderValue::from_static("application/json"))], DOCUMENT).into_response()
}

async fn machines(State(desk): State<Arc<Desk>>) -> Answer {
    let shared = desk.clone();
    let files = desk.work(move || shared.library.files()).await?;
    let one = |f: crate::library::MachineFile| {
        let plate = f.machine.as_ref().map(|m| &m.plate);
        json!({
            "file": f.name, "own": f.own, "usable": plate.is_some(), "kind": plate.map(|p| &p.kind),
            "maker": plate.map(|p| &p.maker), "model": plate.map(|p| &p.model),
            "variants": plate.map(|p| &p.variants),
        })
    };
    Ok(Json(json!({ "machines": files.into_iter().map(one).collect::<Vec<_>>() })).into_response())
}

/// A machine file as JSON: two bytes for one, where much is escaped.
const LARGEST_JSON: usize = 2 * machine::read::LARGEST_FILE + 100_000;

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct ToCheck {
    /// Text of a machine file.
    text: String,
}

/// What is wrong in the text of a machine file; `found` has the keys of docs/json.md.
async fn check(State(desk): State<Arc<Desk>>, sent: Result<Json<ToCheck>, JsonRejection>) -> Answer {
    let text = json_body(sent)?.text;
    let body = desk
        .work(move || {
            let (_, found) = bench::check(&text);
            let errors = found.iter().filter(|d| d.severity == Severity::Error).count();
            let listed: Vec<Value> = found.iter().map(|d| report::diagnostic::json(&text, d)).collect();
            json!({ "errors": errors, "warnings": found.len() - errors, "found": listed })
        })
        .await?;
    Ok(Json(body).into_response())
}

async fn jobs(State(desk): State<Arc<Desk>>) -> Answer {
    let (all, over) = desk.with_records(|r| Ok((r.jobs("")?, r.jobs_handed_over("")?))).await?;
    let one = |j: &records::JobLine| {
        json!({
            "id": j.id, "opened": j.opened, "customer": j.customer, "machine": j.machine, "words": j.words,
            "readings": j.readings, "next": j.derived, "handed_over": j.closed,
        })
    };
    let over: Vec<Value> = over.iter().map(one).collect();
    let body = json!({ "jobs": all.iter().map(one).collect::<Vec<_>>(), "handed_over": over });
    Ok(Json(body).into_response())
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct NewJob {
    /// Name of a machine file.
    machine: Option<String>,
    /// Its variant.
    variant: Option<String>,
    customer: Option<String>,
}

async fn new_job(
    State(desk): State<Arc<Desk>>,
    Extension(who): Extension<Who>,
    sent: Result<Json<NewJob>, JsonRejection>,
) -> Answer {
    let sent = json_body(sent)?;
    if sent.customer.is_some() && !who.may_name_customers() {
        return Err(crate::guard::not_yours().into());
    }
    let variant = sent.variant.unwrap_or_default();
    let machine = match &sent.machine {
        Some(file) => Some(crate::pages::new_job::machine_of(&desk, file, &variant, "")?),
        None => None,
    };
    let customer =
        sent.customer.map(|name| Customer { name: name.chars().take(200).collect(), ..Customer::default() });
    let at = jiff::ZonedDateTime::now();
    let id = desk.with_records(move |r| r.new_job(&at, customer.as_ref(), machine.as_ref())).await?;
    Ok((StatusCode::CREATED, Json(json!({ "id": id }))).into_response())
}

async fn job(State(desk): State<Arc<Desk>>, Path(id): Path<JobId>) -> Answer {
    let job = desk.job(id).await?;
    let machine = job.machine.as_ref().map(|m| {
        json!({ "maker": m.maker, "model": m.model, "variant": m.variant, "serial": m.serial, "file": m.file_name })
    });
    let customer =
        job.customer.as_ref().map(|c| json!({ "name": c.name, "phone": c.phone, "address": c.address }));
    let body = json!({
        "id": job.id, "opened": job.opened, "customer": customer, "machine": machine, "entries": job.log.last(),
        "handed_over": job.closed,
    });
    Ok(Json(body).into_response())
}

async fn evidence(State(desk): State<Arc<Desk>>, Path(id): Path<JobId>) -> Answer {
    let job = desk.job(id).await?;
    let authors = desk.with_records(move |r| r.authors(id)).await?;
    let one = |e: &Entry| {
        let superseded_by = job.log.superseded_by(e.number).map(|s| s.number);
        let by = authors.iter().find(|(number, _)| *number == e.number).map(|(_, name)| name);
        json!({
            "number": e.number, "at": e.at, "by": by, "says": e.says, "supersedes": e.supersedes,
            "superseded_by": superseded_by,
        })
    };
    Ok(Json(json!({ "evidence": job.log.entries().iter().map(one).collect::<Vec<_>>() })).into_response())
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Added {
    /// What the entry says, with the keys of the evidence file.
    says: Says,
    supersedes: Option<u32>,
    /// Names the entry for good: sent twice, it is kept once.
    key: Option<String>,
}

async fn add(
    State(desk): State<Arc<Desk>>,
    Extension(who): Extension<Who>,
    Path(id): Path<JobId>,
    sent: Result<Json<Added>, JsonRejection>,
) -> Answer {
    let sent = json_body(sent)?;
    let job = desk.job(id).await?;
    say::may_say(&who, &sent.says, &job, sent.supersedes)?;
    let machine = desk.machine_of(&job)?;
    let says = sent.says.clone();
    let settings = desk.with_records(Records::settings).await?;
    may_be_corrected(&desk, &job, &says).await?;
    desk.work(move || {
        let machine = machine.as_deref();
        if of_visit::is_of_visit(&says) || matches!(says, Says::Correction { .. } | Says::HandedOver { .. }) {
            return of_visit::understood(machine, &job, &settings, &says);
        }
        understood(machine, &says)?;
        // That a part was mended is evidence; that the machine works with it was seen with it on the mains.
        machine.map_or(Ok(()), |machine| of_visit::may_have_run(machine, &job, &settings, &says))
    })
    .await??;
    let at = jiff::ZonedDateTime::now();
    let key = sent.key.unwrap_or_else(|| at.to_string());
    let entry = NewEntry { says: sent.says, supersedes: sent.supersedes, at, key };
    let number = desk.with_records(move |r| r.append_by(id, &entry, who.user())).await?;
    Ok((StatusCode::CREATED, Json(json!({ "saved": number }))).into_response())
}

/// The record as it was handed over, or as it would be now.
async fn record(State(desk): State<Arc<Desk>>, Path(id): Path<JobId>) -> Answer {
    let job = desk.job(id).await?;
    let standing = standing(&desk, &job).await?;
    let blocked = match &standing {
        Standing::Draft(gathered) => may_be_handed_over(&gathered.record, &job.log).err(),
        _ => None,
    };
    let record = standing.record()?;
    let record = serde_json::to_value(record)
        .map_err(|e| Problem::ours(format!("the record cannot be written: {e}")))?;
    let body = json!({
        "handed_over": job.closed, "after": job.log.last(), "blocked": blocked.map(|b| b.message),
        "record": record,
    });
    Ok(Json(body).into_response())
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct ToHandOver {
    /// Number of the last entry that who hands over has seen.
    after: u32,
    /// Who hands over; where the bench knows people, it is who asks.
    by: Option<String>,
    key: Option<String>,
}

async fn hand_over(
    State(desk): State<Arc<Desk>>,
    Extension(who): Extension<Who>,
    Path(id): Path<JobId>,
    sent: Result<Json<ToHandOver>, JsonRejection>,
) -> Answer {
    let ToHandOver { after, by, key } = json_body(sent)?;
    let job = desk.job(id).await?;
    let by = who.name().or(by).unwrap_or_default();
    let key = key.unwrap_or_else(|| format!("handed over {after}"));
    let number = crate::visit::closing::hand_over(&desk, &job, by, after, key, who.user()).await?;
    Ok((StatusCode::CREATED, Json(json!({ "saved": number }))).into_response())
}

/// Does the machine file understand it?
fn understood(machine: Option<&Machine>, says: &Says) -> Result<(), Problem> {
    if *says == (Says::Nothing {}) || matches!(says, Says::Words { .. } | Says::Caution { .. }) {
        return Ok(());
    }
    let machine = machine
        .ok_or_else(|| Problem::refused("this job has no machine file yet", "match the machine first"))?;
    let log = Log::of(vec![Entry { number: 1, at: String::new(), says: says.clone(), supersedes: None }]);
    let text = log.evidence_file("", &[]);
    diagnosis::evidence::read(machine, &text.toml).map(drop).map_err(|found| {
        let first = found.first();
        Problem::refused(
            first.map_or("it is not understood", |d| d.message.as_str()),
            first.map_or(String::new(), |d| d.remedies.join("; or ")),
        )
    })
}

pub(crate) fn json_body<T>(sent: Result<Json<T>, JsonRejection>) -> Result<T, Problem> {
    sent.map(|Json(body)| body).map_err(|e| Problem {
        status: e.status(),
        message: e.body_text(),
        remedy: "see /api/openapi.json".to_owned(),
    })
}

async fn what_was_found(State(desk): State<Arc<Desk>>, Path(id): Path<JobId>) -> Answer {
    let job = desk.job(id).await?;
    let Some(found) = worked_out::worked_out(&desk, &job).await? else {
        return Err(
            Problem::refused("there is nothing to go by yet", "match the machine and add an entry").into()
        );
    };
    let variant = job.machine.as_ref().map(|m| m.variant.as_str()).filter(|v| !v.is_empty());
    Ok(Json(as_json(&found, variant)).into_response())
}

/// A finding, as docs/find-json.md has it.
fn as_json(found: &WorkedOut, variant: Option<&str>) -> Value {
    finding::json::render(&Found {
        machine: &found.machine,
        variant: variant.or_else(|| found.machine.plate.variants.first().map(String::as_str)),
        evidence: &found.evidence,
        conditions: &found.conditions,
        remarks: &[],
        finding: &found.finding,
    })
}

/// What a typed answer would mean: understood or not, in one sentence and a few lines.
async fn interpret(State(desk): State<Arc<Desk>>, Path(id): Path<JobId>, Form(said): Form<Said>) -> Answer {
    let job = desk.job(id).await?;
    let Some(machine) = desk.machine_of(&job)? else { return Ok(Json(json!({})).into_response()) };
    let (at_work, sent) = (machine.clone(), said.clone());
    let settings = desk.with_records(Records::settings).await?;
    let units = crate::setup::units(&settings.units);
    let says = desk.work(move || say::says(Some(&at_work), &sent, units)).await??;
    let body = match &says {
        Says::Reading { .. } => step_in_words(&desk, machine, &job, &said, &settings).await?,
        Says::Check { .. } => what_it_means(worked_out::what_if(&desk, &job, &says).await?),
        _ => json!({}),
    };
    Ok(Json(in_their_language(&desk, body)).into_response())
}

/// What the script of a page shows, in the language of the pages.
fn in_their_language(desk: &Desk, mut body: Value) -> Value {
    let spoken = desk.language.now();
    let say = |text: &mut Value| {
        if let Some(said) = text.as_str().and_then(|t| spoken.book.say(t)) {
            *text = said.into();
        }
    };
    if let Some(says) = body.get_mut("says") {
        say(says);
    }
    if let Some(lines) = body.get_mut("lines").and_then(Value::as_array_mut) {
        lines.iter_mut().for_each(say);
    }
    body
}

async fn step_in_words(
    desk: &Arc<Desk>,
    machine: Arc<Machine>,
    job: &Job,
    said: &Said,
    settings: &records::Settings,
) -> Result<Value, Problem> {
    let Ok(Reading::Value(watts)) = parse_reading(&said.watts, Dimension::Power) else {
        return Ok(json!({}));
    };
    let conditions = conditions(&machine, job, settings);
    let step = said.step.clone();
    let compared = desk.work(move || compared(&machine, &conditions, &step, watts.value)).await?;
    Ok(compared.map_or(json!({}), |(says, look)| json!({ "says": says, "look": look })))
}

/// Most suspects that are named.
const NAMED: usize = 4;

fn what_it_means(what_if: Option<worked_out::WhatIf>) -> Value {
    let Some(what_if) = what_if else { return json!({}) };
    let Some(after) = what_if.after else {
        return json!({ "says": what_if.taken, "lines": [] });
    };
    let (machine, finding) = (&what_if.before.machine, &what_if.before.finding);
    let before = |faults: &Hypothesis, sometimes: &[usize]| {
        if faults.faults().is_empty() {
            return Some(finding.healthy);
        }
        let known = finding.suspects.iter().find(|s| s.faults == *faults && s.sometimes == sometimes);
        known.map(|s| s.probability)
    };
    let line = |(case, p): &(diagnosis::belief::Case, f64)| {
        let was = before(&case.faults, &case.sometimes).map_or("hardly".to_owned(), words::per_cent);
        let name =
            if case.faults.faults().is_empty() { "nothing wrong".to_owned() } else { case.says(machine) };
        format!("{name}: {} (was {was})", words::per_cent(*p))
    };
    let lines: Vec<String> = after.cases.iter().take(NAMED).map(line).collect();
    json!({ "says": format!("Taken as {}. Then:", what_if.taken), "lines": lines })
}
