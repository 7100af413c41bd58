//! A job on one sheet: its seven stages as folds, in order down the page.

use super::agree::AgreeView;
use super::arrive::Arrive;
use super::attached::{self, AttachedView};
use super::find::{Field, FindView};
use super::hand_over::FoldView;
use super::layout::{Layout, page};
use super::mend::{Around, MendView};
use super::new_job::machine_of;
use super::prove::ProveView;
use super::test::TestView;
use crate::desk::Desk;
use crate::probes;
use crate::problem::{Problem, answered};
use crate::say::{self, Form as Said};
use crate::setup::units;
use crate::who::Who;
use crate::worked_out::{WorkedOut, worked_out};
use askama::Template;
use axum::extract::{Form, Path, Query, State};
use axum::http::{HeaderMap, HeaderValue, header};
use axum::response::{IntoResponse, Redirect, Response};
use axum::routing::{get, post};
use axum::{Extension, Router};
use records::{Customer, JobId};
use serde::Deserialize;
use serde_json::json;
use std::sync::Arc;
use std::time::Duration;

pub(super) fn routes() -> Router<Arc<Desk>> {
    Router::new()
        .route("/jobs/{id}", get(sheet))
        .route("/jobs/{id}/before", get(before))
        .route("/jobs/{id}/find", get(find))
        .route("/jobs/{id}/test", get(test))
        .route("/jobs/{id}/say", post(say))
        .route("/jobs/{id}/customer", post(customer))
        .route("/jobs/{id}/machine", post(machine))
        .route("/jobs/{id}/wiring.svg", get(wiring))
        .route("/jobs/{id}/evidence.toml", get(evidence))
}

/// Longest that a sheet waits for what its log means.
const PATIENCE: Duration = Duration::from_millis(250);

#[derive(Template)]
#[template(path = "sheet.html")]
struct Sheet {
    layout: Layout,
    id: JobId,
    name: String,
    who: String,
    arrive: Arrive,
    test: Option<TestView>,
    find: FindView,
    agree: AgreeView,
    mend: MendView,
    prove: ProveView,
    hand_over: FoldView,
    attached: Vec<AttachedView>,
    /// What it means is still being worked out.
    pending: bool,
    /// Entries that the machine file does not understand.
    left_out: Vec<(u32, String)>,
}

/// What the sheet is called: "Tern 81 · does not heat".
pub(super) fn title(job: &records::Job) -> String {
    let machine = job.machine.as_ref().map_or(String::new(), |m| format!("{} {}", m.maker, m.model));
    match machine.trim() {
        "" => format!("Job {}", job.id),
        machine => machine.to_owned(),
    }
}

async fn sheet(
    State(desk): State<Arc<Desk>>,
    Extension(who): Extension<Who>,
    Path(id): Path<JobId>,
) -> Result<Response, Problem> {
    let job = desk.job(id).await?;
    let found = at_once(&desk, &job).await?;
    // A machine file with errors is said in its place; the rest of the sheet stands.
    let machine = desk.machine_of(&job).ok().flatten();
    let (settings, stock) = desk.with_records(|r| Ok((r.settings()?, r.stock()?))).await?;
    let around = Around::of(&desk, &job, machine.as_ref()).await?;
    let authors = desk.with_records(move |r| r.authors(id)).await?;
    let pending = found.is_none();
    let (found, trouble) = match found {
        Some(Ok(found)) => (found, None),
        Some(Err(problem)) => (None, Some(problem)),
        None => (None, None),
    };
    let test = match &machine {
        Some(machine) => Some(TestView::of(&desk, machine.clone(), &job, &settings, found.as_deref()).await?),
        None => None,
    };
    page(&Sheet {
        layout: Layout::of(&desk, title(&job), "today"),
        id,
        name: title(&job),
        who: job.customer.as_ref().map_or(String::new(), |c| c.name.clone()),
        arrive: Arrive::of(machine.as_deref(), &job, found.as_deref(), units(&settings.units)),
        find: FindView::of(&job, machine.as_deref(), found.as_deref(), trouble, &authors, &settings)
            .pending(pending),
        agree: AgreeView::of(&job, found.as_deref(), &settings, &stock, pending),
        mend: MendView::of(&job, machine.as_deref(), found.as_deref(), &around),
        prove: ProveView::of(&desk, machine, &job, &settings, &who).await?,
        hand_over: FoldView::of(&job),
        left_out: found.map_or(Vec::new(), |f| f.left_out.clone()),
        test,
        attached: attached::of_job(&desk, id).await?,
        pending,
    })
}

/// What the log means, if that is known or soon will be; else it is worked out while the sheet stands open.
async fn at_once(
    desk: &Arc<Desk>,
    job: &records::Job,
) -> Result<Option<Result<Option<Arc<WorkedOut>>, Problem>>, Problem> {
    let (desk, job) = (desk.clone(), job.clone());
    // A task of its own: it goes on when the page does not wait for it.
    let task = tokio::spawn(async move { worked_out(&desk, &job).await });
    match tokio::time::timeout(PATIENCE, task).await {
        Ok(done) => done.map(Some).map_err(|_| Problem::ours("this could not be worked out")),
        Err(_) => Ok(None),
    }
}

#[derive(Template)]
#[template(path = "find.html")]
struct FindPart {
    id: JobId,
    find: FindView,
}

/// The fold Find alone, for a page that is open already.
async fn find(State(desk): State<Arc<Desk>>, Path(id): Path<JobId>) -> Result<Response, Problem> {
    let job = desk.job(id).await?;
    let machine = desk.machine_of(&job).ok().flatten();
    let (found, trouble) = match worked_out(&desk, &job).await {
        Ok(found) => (found, None),
        Err(problem) => (None, Some(problem)),
    };
    let authors = desk.with_records(move |r| r.authors(id)).await?;
    let settings = desk.with_records(records::Records::settings).await?;
    let find = FindView::of(&job, machine.as_deref(), found.as_deref(), trouble, &authors, &settings);
    page(&FindPart { id, find })
}

#[derive(Template)]
#[template(path = "before.html")]
struct BeforePart {
    id: JobId,
    arrive: Arrive,
}

/// What is likely before the visit, alone.
async fn before(State(desk): State<Arc<Desk>>, Path(id): Path<JobId>) -> Result<Response, Problem> {
    let job = desk.job(id).await?;
    let machine = desk.machine_of(&job).ok().flatten();
    let found = worked_out(&desk, &job).await.ok().flatten();
    let settings = desk.with_records(records::Records::settings).await?;
    let arrive = Arrive::of(machine.as_deref(), &job, found.as_deref(), units(&settings.units));
    page(&BeforePart { id, arrive })
}

#[derive(Template)]
#[template(path = "test.html")]
struct TestPart {
    id: JobId,
    test: TestView,
}

/// The fold Test alone.
async fn test(State(desk): State<Arc<Desk>>, Path(id): Path<JobId>) -> Result<Response, Problem> {
    let job = desk.job(id).await?;
    let machine = desk.machine_of(&job)?.ok_or_else(|| Problem::not_there("machine file in this job"))?;
    let settings = desk.with_records(records::Records::settings).await?;
    let found = worked_out(&desk, &job).await.ok().flatten();
    let test = TestView::of(&desk, machine, &job, &settings, found.as_deref()).await?;
    page(&TestPart { id, test })
}

/// An entry for the log. A script gets its number; a form without script goes back to its fold.
async fn say(
    State(desk): State<Arc<Desk>>,
    Extension(who): Extension<Who>,
    Path(id): Path<JobId>,
    headers: HeaderMap,
    Form(said): Form<Said>,
) -> Response {
    let kept = async { say::keep(&desk, &desk.job(id).await?, &said, &who).await }.await;
    let fold = match said.what.as_str() {
        "check" => "find",
        "step" | "saw" => "test",
        _ => "arrive",
    };
    answered(&headers, kept.map(|number| json!({ "saved": number })), &format!("/jobs/{id}#{fold}"))
}

#[derive(Deserialize, Default)]
#[serde(default)]
struct Caller {
    name: String,
    phone: String,
    address: String,
}

async fn customer(
    State(desk): State<Arc<Desk>>,
    Path(id): Path<JobId>,
    Form(who): Form<Caller>,
) -> Result<Redirect, Problem> {
    let short = |text: &str| text.trim().chars().take(300).collect::<String>();
    let customer =
        Customer { name: short(&who.name), phone: short(&who.phone), address: short(&who.address) };
    desk.with_records(move |r| r.set_customer(id, &customer)).await?;
    Ok(Redirect::to(&format!("/jobs/{id}#arrive")))
}

#[derive(Deserialize, Default)]
#[serde(default)]
struct Matched {
    file: String,
    variant: String,
    serial: String,
}

async fn machine(
    State(desk): State<Arc<Desk>>,
    Path(id): Path<JobId>,
    Form(matched): Form<Matched>,
) -> Result<Redirect, Problem> {
    let machine = machine_of(&desk, &matched.file, matched.variant.trim(), &matched.serial)?;
    desk.with_records(move |r| r.set_machine(id, &machine)).await?;
    Ok(Redirect::to(&format!("/jobs/{id}#arrive")))
}

#[derive(Deserialize)]
struct Points {
    #[serde(default)]
    a: String,
    #[serde(default)]
    b: String,
}

async fn wiring(
    State(desk): State<Arc<Desk>>,
    Path(id): Path<JobId>,
    Query(points): Query<Points>,
) -> Result<Response, Problem> {
    let job = desk.job(id).await?;
    let machine = desk.machine_of(&job)?.ok_or_else(|| Problem::not_there("machine file in this job"))?;
    let points = [points.a, points.b];
    Ok(svg(desk.work(move || probes::between(&machine, &points)).await?))
}

/// A drawing: its own style is inside it, and nothing else may be.
pub(super) fn svg(text: String) -> Response {
    let value = HeaderValue::from_static;
    let headers = [
        (header::CONTENT_TYPE, value("image/svg+xml")),
        (header::CONTENT_SECURITY_POLICY, value("default-src 'none'; style-src 'unsafe-inline'")),
    ];
    (headers, text).into_response()
}

/// The log as an evidence file, for `wattmend find` and for keeping.
async fn evidence(State(desk): State<Arc<Desk>>, Path(id): Path<JobId>) -> Result<Response, Problem> {
    let job = desk.job(id).await?;
    let text = job.log.evidence_file(&title(&job), &[]).toml;
    Ok(([(header::CONTENT_TYPE, HeaderValue::from_static("text/plain; charset=utf-8"))], text)
        .into_response())
}
