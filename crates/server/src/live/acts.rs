//! What is done about a live test by a tap: started, marked, put right, ended, attached afterwards; on pages and by programs.

use super::follow::Place;
use super::running::{Running, Tests};
use crate::desk::Desk;
use crate::guard::not_yours;
use crate::problem::{ForPrograms, Problem, answered};
use crate::who::Who;
use axum::extract::rejection::JsonRejection;
use axum::extract::{Form, Path, State};
use axum::http::{HeaderMap, header};
use axum::response::Response;
use axum::routing::post;
use axum::{Extension, Json, Router};
use jiff::{SignedDuration, Timestamp};
use records::{Entry, Job, JobId, NewEntry, Says, SocketId, Trace};
use serde::Deserialize;
use serde_json::{Value, json};
use std::sync::Arc;

/// An edge that was set by hand is the one that is moved where it lies so near to it.
const SAME_EDGE: std::time::Duration = std::time::Duration::from_secs(2);
/// Longest stretch that can be attached afterwards, minutes.
const LONGEST_MIN: f64 = 24.0 * 60.0;
/// A test begins with what was read so long before, s: the ribbon then shows how the machine stood.
const BEFORE_S: i64 = 5;
/// A test that ended longer ago does not go on: the machine has been elsewhere meanwhile, min.
const GOES_ON_MIN: i64 = 10;

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
                by_itself(&desk, SocketId::of(id), &headers).await
            }),
        )
}

/// What is done.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub(crate) struct Act {
    /// start, attach, pressed, not-taken, is, edge, end, go-on, drop.
    what: String,
    /// Number of the socket, for start and attach.
    socket: String,
    /// How much of what was recorded, for attach.
    minutes: String,
    /// Key of a step, for pressed, is and edge.
    step: String,
    /// When, in milliseconds since 1970 on the clock of the samples; empty: now, and for edge that it is taken back.
    at: String,
    /// Where the edge lay, in the same way.
    was: String,
    /// Number of the trace, for drop.
    trace: String,
    /// Names a mark for good: sent twice, it is kept once.
    key: String,
}

/// From a form of a page.
pub(crate) async fn act(
    State(desk): State<Arc<Desk>>,
    Extension(who): Extension<Who>,
    Path(id): Path<JobId>,
    headers: HeaderMap,
    Form(act): Form<Act>,
) -> Response {
    let to = if act.what == "attach" { format!("/jobs/{id}#find") } else { format!("/jobs/{id}/live") };
    answered(&headers, done(&desk, &who, id, &act).await, &to)
}

/// From a program, as JSON with the same keys.
pub(super) async fn by_program(
    State(desk): State<Arc<Desk>>,
    Extension(who): Extension<Who>,
    Path(id): Path<JobId>,
    sent: Result<Json<Act>, JsonRejection>,
) -> Result<Json<Value>, ForPrograms> {
    let Json(act) = sent.map_err(|e| Problem {
        status: e.status(),
        message: e.body_text(),
        remedy: "see docs/bench-in-the-browser.md".to_owned(),
    })?;
    Ok(Json(done(&desk, &who, id, &act).await?))
}

async fn done(desk: &Arc<Desk>, who: &Who, id: JobId, act: &Act) -> Result<Value, Problem> {
    if !who.works_on_machines() {
        return Err(not_yours());
    }
    let job = desk.job(id).await?;
    match act.what.as_str() {
        "start" => start(desk, &job, socket(desk, act)?).await,
        "attach" => attach(desk, &job, act).await,
        "pressed" | "is" => mark(desk, who, &job, act).await,
        "not-taken" => not_taken(desk, who, &job, act).await,
        "edge" => edge(desk, who, &job, act).await,
        "end" => end(desk, &job).await,
        "go-on" => go_on(desk, &job).await,
        "drop" => take_away(desk, &job, act).await,
        other => Err(Problem::refused(
            format!("`{other}` is nothing that can be done here"),
            "one of start, attach, pressed, is, not-taken, edge, end, go-on, drop",
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
    free(desk, job, socket).await?;
    if let Some(running) = Tests::of(desk, job).await? {
        return Ok(json!({ "trace": running.trace.id.number() }));
    }
    desk.tests.room()?;
    // The newest sample may be hours old; it leads only where the meter's clock does.
    let from = newest(desk, socket).max(Timestamp::now());
    let from = from.checked_sub(SignedDuration::from_secs(BEFORE_S)).unwrap_or(from);
    let id = job.id;
    let trace = desk.with_records(move |r| r.attach_trace(id, socket, from, None)).await?;
    Tests::of(desk, job).await?;
    Ok(json!({ "trace": trace.number() }))
}

/// Refuses a socket that is in use for another job, whether that test is followed now or was left open before the bench was
/// closed.
async fn free(desk: &Arc<Desk>, job: &Job, socket: SocketId) -> Result<(), Problem> {
    let open = desk.with_records(move |r| r.open_traces(socket)).await?;
    match open.iter().find(|t| t.job != job.id) {
        None => Ok(()),
        Some(other) => Err(Problem::refused(
            format!("this socket is in use for job {}", other.job),
            "end the test there first, or take another socket",
        )),
    }
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
            let same = |t: &Trace| (t.socket, t.from, t.to) == (socket, from, Some(to));
            let trace = match r.traces_of(id)?.into_iter().find(same) {
                // Sent twice, attached once.
                Some(there) => Some(there.id),
                None if samples > 0 => Some(r.attach_trace(id, socket, from, Some(to))?),
                None => None,
            };
            Ok((trace, samples))
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

/// A moment as a script gives it, in milliseconds since 1970.
fn moment(text: &str) -> Option<Timestamp> {
    let said = text.trim().parse::<f64>().ok().filter(|ms| ms.is_finite() && ms.abs() < 1e14)?;
    Timestamp::from_microsecond((said * 1000.0) as i64).ok()
}

/// When it was tapped, by the clock of the samples.
fn tapped_at(desk: &Desk, running: &Running, act: &Act) -> Timestamp {
    let newest = newest(desk, running.trace.socket);
    moment(&act.at).map_or(newest, |at| at.clamp(running.trace.from, newest.max(running.trace.from)))
}

async fn mark(desk: &Arc<Desk>, who: &Who, job: &Job, act: &Act) -> Result<Value, Problem> {
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
    let number = keep(desk, who, job.id, Says::Mark { mark: step.id.clone() }, None, at, &act.key).await?;
    again(desk, job.id).await?;
    Ok(json!({ "saved": number, "step": step.id }))
}

async fn not_taken(desk: &Arc<Desk>, who: &Who, job: &Job, act: &Act) -> Result<Value, Problem> {
    let running = running(desk, job).await?;
    let last = job.log.standing().filter(|e| matches!(e.says, Says::Mark { .. })).last().map(|e| e.number);
    let last = last.ok_or_else(|| Problem::refused("no press was marked", "say which step it is instead"))?;
    let at = tapped_at(desk, &running, act);
    let number = keep(desk, who, job.id, Says::Nothing {}, Some(last), at, &act.key).await?;
    again(desk, job.id).await?;
    Ok(json!({ "saved": number }))
}

/// Sets by hand where a step begins in the trace that is followed or that counts, or takes that back.
async fn edge(desk: &Arc<Desk>, who: &Who, job: &Job, act: &Act) -> Result<Value, Problem> {
    let id = job.id;
    let traces = desk.with_records(move |r| r.traces_of(id)).await?;
    // Two lie open only where programs have seen to it; the newest is the one that is shown.
    let trace = traces.into_iter().max_by_key(|t| t.id).ok_or_else(|| {
        Problem::refused(
            "this job has no trace",
            "start the test on a socket, under Test, or attach a recording",
        )
    })?;
    let machine = desk.machine_of(job)?;
    let steps = machine.as_deref().map_or(&[][..], |m| m.test.steps.as_slice());
    let step = steps.iter().find(|s| s.id == act.step.trim()).ok_or_else(|| {
        Problem::refused(
            format!("`{}` is no step of this machine's service test", act.step.trim()),
            "give the key of a step as the machine file has it",
        )
    })?;
    let was = moment(&act.was);
    let near = |at: &str| {
        let at = at.parse::<jiff::ZonedDateTime>().ok()?.timestamp();
        Some(at.duration_since(was?).unsigned_abs()).filter(|off| *off <= SAME_EDGE)
    };
    // An edge that was set before gives way; the newest of two at one place.
    let set = |e: &&Entry| matches!(&e.says, Says::Edge { edge } if *edge == step.id);
    let before = job.log.standing().filter(set).filter_map(|e| Some((near(&e.at)?, e.number))).min();
    let before = before.map(|(_, number)| number);
    let (says, at) = match moment(&act.at) {
        Some(at) => {
            let last = trace.to.unwrap_or_else(|| newest(desk, trace.socket)).max(trace.from);
            if !(trace.from..=last).contains(&at) {
                return Err(Problem::refused(
                    "this moment is not in the trace",
                    "tap on the ribbon, between its ends",
                ));
            }
            (Says::Edge { edge: step.id.clone() }, at)
        }
        None if before.is_some() => (Says::Nothing {}, Timestamp::now()),
        None => {
            return Err(Problem::refused(
                "this edge was not set by hand",
                "say where the step begins instead, in `at`",
            ));
        }
    };
    let number = keep(desk, who, job.id, says, before, at, &act.key).await?;
    again(desk, job.id).await?;
    Ok(json!({ "saved": number, "step": step.id }))
}

async fn keep(
    desk: &Arc<Desk>,
    who: &Who,
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
    let by = who.user();
    desk.with_records(move |r| r.append_by(job, &entry, by)).await
}

/// Follows the test with the marks as they are now.
async fn again(desk: &Arc<Desk>, id: JobId) -> Result<(), Problem> {
    let job = desk.job(id).await?;
    desk.tests.marked(&job);
    Ok(())
}

/// From here on the trace is evidence. The test need not be followed for that.
async fn end(desk: &Arc<Desk>, job: &Job) -> Result<Value, Problem> {
    let id = job.id;
    let traces = desk.with_records(move |r| r.traces_of(id)).await?;
    let open = traces.into_iter().filter(|t| t.to.is_none());
    let open: Vec<_> = open.map(|t| (t.id, just_after(newest(desk, t.socket).max(t.from)))).collect();
    desk.capture.keep_now().await;
    desk.with_records(move |r| open.into_iter().try_for_each(|(trace, to)| r.end_trace(trace, to))).await?;
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
    free(desk, job, last.socket).await?;
    let ago = last.to.map(|to| Timestamp::now().duration_since(to));
    if ago.is_some_and(|ago| ago > SignedDuration::from_mins(GOES_ON_MIN)) {
        return Err(Problem::refused(
            format!("this test ended more than {GOES_ON_MIN} minutes ago"),
            "start a new test, or attach what was recorded",
        ));
    }
    desk.tests.room()?;
    desk.with_records(move |r| r.reopen_trace(last.id)).await?;
    Tests::of(desk, job).await?;
    Ok(json!({ "open": true }))
}

/// Takes this trace from the job, once; its samples stay with the socket.
async fn take_away(desk: &Arc<Desk>, job: &Job, act: &Act) -> Result<Value, Problem> {
    let number: i64 = act.trace.trim().parse().map_err(|_| {
        Problem::refused(
            format!("`{}` is no number of a trace", act.trace.trim()),
            "say which trace is taken away",
        )
    })?;
    let id = job.id;
    let traces = desk.with_records(move |r| r.traces_of(id)).await?;
    let Some(trace) = traces.into_iter().find(|t| t.id.number() == number) else {
        return Ok(json!({ "dropped": false }));
    };
    desk.with_records(move |r| r.detach_trace(trace.id)).await?;
    if trace.to.is_none() {
        desk.tests.end(job.id);
    }
    Ok(json!({ "dropped": true }))
}

/// Presses the button of a made-up machine.
fn press(desk: &Desk, id: SocketId, headers: &HeaderMap) -> Response {
    let pressed = desk.capture.press(id);
    back(headers, if pressed { Ok(()) } else { Err(super::no_button()) })
}

/// Lets a made-up machine be worked by itself, or takes the hand off again.
async fn by_itself(desk: &Arc<Desk>, id: SocketId, headers: &HeaderMap) -> Response {
    let from = desk.tests.on(id).map_or(0, |running| match running.now().place {
        Place::Before => 0,
        Place::Step(k) | Place::Past(k) => k,
        Place::Over => usize::MAX,
    });
    let done = desk.by_itself.work(desk, id, from).await;
    back(headers, done)
}

fn back(headers: &HeaderMap, done: Result<(), Problem>) -> Response {
    let from = headers.get(header::REFERER).and_then(|v| v.to_str().ok());
    let path =
        from.and_then(|f| f.split_once("://")).and_then(|(_, rest)| rest.find('/').map(|at| &rest[at..]));
    let to = path.filter(|p| !p.starts_with("//")).unwrap_or("/sockets");
    answered(headers, done.map(|()| json!({ "done": true })), to)
}
