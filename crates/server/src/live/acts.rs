//! What is done about a live test by a tap: started, marked, put right, ended, attached afterwards; on pages and by programs.

use super::follow::Place;
use super::running::{Running, Tests};
use crate::desk::Desk;
use crate::problem::{ForPrograms, Problem};
use axum::extract::rejection::JsonRejection;
use axum::extract::{Form, Path, State};
use axum::http::{HeaderMap, header};
use axum::response::{IntoResponse, Redirect, Response};
use axum::routing::post;
use axum::{Json, Router};
use jiff::{SignedDuration, Timestamp};
use records::{Job, JobId, NewEntry, Says, SocketId};
use serde::Deserialize;
use serde_json::{Value, json};
use std::sync::Arc;

/// Longest stretch that can be attached afterwards, minutes.
const LONGEST_MIN: f64 = 24.0 * 60.0;
/// A test begins with what was read so long before, s: the ribbon then shows how the machine stood.
const BEFORE_S: i64 = 5;

pub(crate) fn routes() -> Router<Arc<Desk>> {
    Router::new()
        .route(
            "/sockets/{id}/press",
            post(async |State(desk): State<Arc<Desk>>, Path(id): Path<i64>, headers: HeaderMap| {
                press(&desk, SocketId::of(id), &headers)
            }),
        )
        .route(
            "/sockets/{id}/by-itself",
            post(async |State(desk): State<Arc<Desk>>, Path(id): Path<i64>, headers: HeaderMap| {
                by_itself(&desk, SocketId::of(id), &headers)
            }),
        )
}

/// What is done.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub(crate) struct Act {
    /// start, attach, pressed, not-taken, is, end, go-on, drop.
    what: String,
    /// Number of the socket, for start and attach.
    socket: String,
    /// How much of what was recorded, for attach.
    minutes: String,
    /// Key of a step, for pressed and is.
    step: String,
    /// When, in milliseconds since 1970 on the clock of the samples; empty: now.
    at: String,
    /// Names it for good: sent twice, it is done once.
    key: String,
}

/// From a form of a page.
pub(crate) async fn act(
    State(desk): State<Arc<Desk>>,
    Path(id): Path<JobId>,
    headers: HeaderMap,
    Form(act): Form<Act>,
) -> Response {
    let by_script =
        headers.get(header::ACCEPT).and_then(|v| v.to_str().ok()).is_some_and(|a| a.contains("json"));
    match done(&desk, id, &act).await {
        Ok(body) if by_script => Json(body).into_response(),
        Ok(_) => {
            let to =
                if act.what == "attach" { format!("/jobs/{id}#find") } else { format!("/jobs/{id}/live") };
            Redirect::to(&to).into_response()
        }
        Err(problem) if by_script => ForPrograms(problem).into_response(),
        Err(problem) => problem.into_response(),
    }
}

/// From a program, as JSON with the same keys.
pub(super) async fn by_program(
    State(desk): State<Arc<Desk>>,
    Path(id): Path<JobId>,
    sent: Result<Json<Act>, JsonRejection>,
) -> Result<Json<Value>, ForPrograms> {
    let Json(act) = sent.map_err(|e| Problem {
        status: e.status(),
        message: e.body_text(),
        remedy: "see docs/bench-in-the-browser.md".to_owned(),
    })?;
    Ok(Json(done(&desk, id, &act).await?))
}

async fn done(desk: &Arc<Desk>, id: JobId, act: &Act) -> Result<Value, Problem> {
    let job = desk.job(id).await?;
    match act.what.as_str() {
        "start" => start(desk, &job, socket(desk, act)?).await,
        "attach" => attach(desk, &job, act).await,
        "pressed" | "is" => mark(desk, &job, act).await,
        "not-taken" => not_taken(desk, &job, act).await,
        "end" => end(desk, &job).await,
        "go-on" => go_on(desk, &job).await,
        "drop" => drop_last(desk, &job).await,
        other => Err(Problem::refused(
            format!("`{other}` is nothing that can be done here"),
            "one of start, attach, pressed, is, not-taken, end, go-on, drop",
        )),
    }
}

fn socket(desk: &Desk, act: &Act) -> Result<SocketId, Problem> {
    let number = act.socket.trim().parse().ok().map(SocketId::of);
    number.filter(|id| desk.capture.socket(*id).is_some()).ok_or_else(|| {
        Problem::refused(
            "this socket has no meter",
            "choose a socket of the page Sockets, or set one up there",
        )
    })
}

/// The newest moment of a socket's samples, or now.
fn newest(desk: &Desk, socket: SocketId) -> Timestamp {
    desk.capture.socket(socket).and_then(|s| s.newest).map_or_else(Timestamp::now, |s| s.at)
}

async fn start(desk: &Arc<Desk>, job: &Job, socket: SocketId) -> Result<Value, Problem> {
    if desk.machine_of(job)?.is_none_or(|m| m.test.steps.is_empty()) {
        return Err(Problem::refused(
            "there is no service test to follow",
            "match a machine file with a service test under Arrive; or attach a recording afterwards",
        ));
    }
    if let Some(other) = desk.tests.job_on(socket).filter(|other| *other != job.id) {
        return Err(Problem::refused(
            format!("this socket is in use for job {other}"),
            "end the test there first, or take another socket",
        ));
    }
    if let Some(running) = Tests::of(desk, job).await? {
        return Ok(json!({ "trace": running.trace.id.number() }));
    }
    let now = newest(desk, socket).max(Timestamp::now());
    let from = desk.capture.socket(socket).and_then(|s| s.newest).map_or(now, |s| s.at);
    let from = from.checked_sub(SignedDuration::from_secs(BEFORE_S)).unwrap_or(from);
    let id = job.id;
    let trace = desk.with_records(move |r| r.attach_trace(id, socket, from, None)).await?;
    Tests::of(desk, job).await?;
    Ok(json!({ "trace": trace.number() }))
}

async fn attach(desk: &Arc<Desk>, job: &Job, act: &Act) -> Result<Value, Problem> {
    let socket = socket(desk, act)?;
    let minutes = act.minutes.trim().replace(',', ".").parse::<f64>().ok();
    let minutes = minutes.filter(|m| *m > 0.0 && *m <= LONGEST_MIN).ok_or_else(|| {
        Problem::refused(
            format!("`{}` is no length of a recording", act.minutes.trim()),
            format!("give minutes, up to {LONGEST_MIN:.0}"),
        )
    })?;
    let to = newest(desk, socket);
    let from = to.checked_sub(SignedDuration::from_millis((minutes * 60e3) as i64)).unwrap_or(to);
    let to = just_after(to);
    desk.capture.keep_now().await;
    let id = job.id;
    let (trace, samples) = desk
        .with_records(move |r| {
            let samples = r.samples(socket, from, to)?.len();
            Ok((if samples > 0 { Some(r.attach_trace(id, socket, from, Some(to))?) } else { None }, samples))
        })
        .await?;
    let trace = trace.ok_or_else(|| {
        Problem::refused("nothing was recorded in that time", "give more minutes, or take another socket")
    })?;
    Ok(json!({ "trace": trace.number(), "samples": samples }))
}

/// A trace ends before its end: the newest sample is to be in it.
fn just_after(at: Timestamp) -> Timestamp {
    at.checked_add(SignedDuration::from_millis(1)).unwrap_or(at)
}

async fn running(desk: &Arc<Desk>, job: &Job) -> Result<Arc<Running>, Problem> {
    Tests::of(desk, job).await?.ok_or_else(|| {
        Problem::refused("no test of this job is being followed", "start it on a socket, under Test")
    })
}

/// When it was tapped, by the clock of the samples.
fn tapped_at(desk: &Desk, running: &Running, act: &Act) -> Timestamp {
    let newest = newest(desk, running.trace.socket);
    let said = act.at.trim().parse::<f64>().ok().filter(|ms| ms.is_finite() && ms.abs() < 1e14);
    let said = said.and_then(|ms| Timestamp::from_microsecond((ms * 1000.0) as i64).ok());
    said.map_or(newest, |at| at.clamp(running.trace.from, newest.max(running.trace.from)))
}

async fn mark(desk: &Arc<Desk>, job: &Job, act: &Act) -> Result<Value, Problem> {
    let running = running(desk, job).await?;
    let now = running.now();
    let steps = &running.machine.test.steps;
    let wanted = act.step.trim();
    let step = if wanted.is_empty() {
        match now.place {
            Place::Before => Some(0),
            Place::Step(k) | Place::Past(k) => Some(k + 1),
            Place::Over => None,
        }
    } else {
        steps.iter().position(|s| s.id == wanted)
    };
    let step = step.and_then(|k| steps.get(k)).ok_or_else(|| {
        Problem::refused("no step comes after this one", "say which step it is, or end the test")
    })?;
    let at = match act.what.as_str() {
        // What runs now began when the place that was shown began.
        "is" if act.at.trim().is_empty() => running.at(now.since_s),
        _ => tapped_at(desk, &running, act),
    };
    let number = keep(desk, job.id, Says::Mark { mark: step.id.clone() }, None, at, &act.key).await?;
    again(desk, job.id).await?;
    Ok(json!({ "saved": number, "step": step.id }))
}

async fn not_taken(desk: &Arc<Desk>, job: &Job, act: &Act) -> Result<Value, Problem> {
    let running = running(desk, job).await?;
    let last = job.log.standing().filter(|e| matches!(e.says, Says::Mark { .. })).last().map(|e| e.number);
    let last = last.ok_or_else(|| Problem::refused("no press was marked", "say which step it is instead"))?;
    let at = tapped_at(desk, &running, act);
    let number = keep(desk, job.id, Says::Nothing {}, Some(last), at, &act.key).await?;
    again(desk, job.id).await?;
    Ok(json!({ "saved": number }))
}

async fn keep(
    desk: &Arc<Desk>,
    job: JobId,
    says: Says,
    supersedes: Option<u32>,
    at: Timestamp,
    key: &str,
) -> Result<u32, Problem> {
    let at = at.to_zoned_datetime(crate::now().time_zone().clone());
    let key = match key.trim() {
        "" => format!("{} {says:?}", crate::now()).chars().take(100).collect(),
        key => key.to_owned(),
    };
    let entry = NewEntry { says, supersedes, at, key };
    desk.with_records(move |r| r.append(job, &entry)).await
}

/// Follows the test with the marks as they are now.
async fn again(desk: &Arc<Desk>, id: JobId) -> Result<(), Problem> {
    let job = desk.job(id).await?;
    desk.tests.marked(&job);
    Ok(())
}

/// From here on the trace is evidence.
async fn end(desk: &Arc<Desk>, job: &Job) -> Result<Value, Problem> {
    let Some(running) = Tests::of(desk, job).await? else { return Ok(json!({ "ended": true })) };
    let (trace, to) =
        (running.trace.id, just_after(newest(desk, running.trace.socket).max(running.trace.from)));
    desk.capture.keep_now().await;
    desk.with_records(move |r| r.end_trace(trace, to)).await?;
    desk.tests.end(job.id);
    Ok(json!({ "ended": true }))
}

/// The test goes on: the trace that ended last is open again.
async fn go_on(desk: &Arc<Desk>, job: &Job) -> Result<Value, Problem> {
    if Tests::of(desk, job).await?.is_some() {
        return Ok(json!({ "open": true }));
    }
    let id = job.id;
    let traces = desk.with_records(move |r| r.traces_of(id)).await?;
    let last = traces.into_iter().max_by_key(|t| t.id).ok_or_else(|| {
        Problem::refused("there is no trace to go on with", "start the test on a socket, under Test")
    })?;
    desk.with_records(move |r| {
        r.attach_trace(id, last.socket, last.from, None)?;
        r.detach_trace(last.id)
    })
    .await?;
    Tests::of(desk, job).await?;
    Ok(json!({ "open": true }))
}

/// Takes the open trace from the job, or else the one that ended last; its samples stay with the socket.
async fn drop_last(desk: &Arc<Desk>, job: &Job) -> Result<Value, Problem> {
    let id = job.id;
    let traces = desk.with_records(move |r| r.traces_of(id)).await?;
    let Some(trace) = traces.into_iter().max_by_key(|t| (t.to.is_none(), t.id)).map(|t| t.id) else {
        return Ok(json!({ "dropped": false }));
    };
    desk.with_records(move |r| r.detach_trace(trace)).await?;
    desk.tests.end(job.id);
    Ok(json!({ "dropped": true }))
}

/// Presses the button of a made-up machine.
fn press(desk: &Desk, id: SocketId, headers: &HeaderMap) -> Response {
    let pressed = desk.capture.press(id);
    back(headers, if pressed { Ok(()) } else { Err(no_button()) })
}

/// Lets a made-up machine be worked by itself, or takes the hand off again.
fn by_itself(desk: &Arc<Desk>, id: SocketId, headers: &HeaderMap) -> Response {
    let from = desk.tests.job_on(id).and_then(|job| desk.tests.get(job)).map_or(0, |running| {
        match running.now().place {
            Place::Before => 0,
            Place::Step(k) | Place::Past(k) => k,
            Place::Over => usize::MAX,
        }
    });
    back(headers, desk.by_itself.work(desk, id, from).map_err(|()| no_button()))
}

fn no_button() -> Problem {
    Problem::refused("nothing can be pressed on this socket", "only a made-up machine is pressed from here")
}

fn back(headers: &HeaderMap, done: Result<(), Problem>) -> Response {
    let by_script =
        headers.get(header::ACCEPT).and_then(|v| v.to_str().ok()).is_some_and(|a| a.contains("json"));
    match done {
        Ok(()) if by_script => Json(json!({ "done": true })).into_response(),
        Ok(()) => {
            let from = headers.get(header::REFERER).and_then(|v| v.to_str().ok());
            let path = from
                .and_then(|f| f.split_once("://"))
                .and_then(|(_, rest)| rest.find('/').map(|at| &rest[at..]));
            Redirect::to(path.filter(|p| !p.starts_with("//")).unwrap_or("/sockets")).into_response()
        }
        Err(problem) if by_script => ForPrograms(problem).into_response(),
        Err(problem) => problem.into_response(),
    }
}
