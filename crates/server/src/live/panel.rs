//! The page of a live test: ribbon, one step large, and Find beside it.

use super::running::Tests;
use super::view::View;
use crate::capture::Seen;
use crate::desk::Desk;
use crate::pages::layout::{Layout, page};
use crate::problem::Problem;
use askama::Template;
use axum::Router;
use axum::extract::{Path, State};
use axum::response::{IntoResponse, Redirect, Response};
use axum::routing::get;
use records::{Job, JobId, Trace};
use std::sync::Arc;

pub(crate) fn routes() -> Router<Arc<Desk>> {
    Router::new()
        .route("/jobs/{id}/live/panel", get(part))
        .route("/jobs/{id}/live", get(show).post(super::acts::act))
}

/// The panel.
pub(crate) struct Panel {
    pub(crate) id: JobId,
    pub(crate) view: Option<View>,
    /// Number of the trace that is shown.
    pub(crate) trace: i64,
    /// A trace was recorded and ended.
    pub(crate) ended: bool,
    /// How to leave the test, in the machine file's words: ending it here stops no machine.
    pub(crate) leave: String,
    /// The made-up machine on this socket, if it is one.
    pub(crate) made_up: Option<MadeUp>,
}

pub(crate) struct MadeUp {
    pub(crate) socket: i64,
    pub(crate) by_itself: bool,
}

#[derive(Template)]
#[template(path = "live.html")]
struct Page {
    layout: Layout,
    name: String,
    id: JobId,
    socket: String,
    socket_id: i64,
    simulated: String,
    /// Milliseconds since 1970.
    from: i64,
    to: String,
    panel: Panel,
}

#[derive(Template)]
#[template(path = "live_panel.html")]
struct Part {
    panel: Panel,
}

/// The trace that is shown: the open one, or the one that came last.
fn shown(traces: Vec<Trace>) -> Option<Trace> {
    traces.into_iter().max_by_key(|t| (t.to.is_none(), t.id))
}

async fn panel(desk: &Arc<Desk>, job: &Job) -> Result<(Panel, Trace, Option<Seen>), Problem> {
    let running = Tests::of(desk, job).await?;
    let id = job.id;
    let traces = desk.with_records(move |r| r.traces_of(id)).await?;
    let trace = shown(traces).ok_or_else(|| Problem::not_there("trace in this job yet"))?;
    let seen = desk.capture.socket(trace.socket);
    let view = running.as_ref().map(|r| View::of(r, &r.now(), job));
    let made_up = seen
        .as_ref()
        .filter(|s| s.has_button && view.is_some())
        .map(|s| MadeUp { socket: s.id.number(), by_itself: desk.by_itself.is_on(s.id) });
    let leave = desk.machine_of(job)?.map_or(String::new(), |m| m.test.leave.clone());
    let panel = Panel { id, trace: trace.id.number(), ended: view.is_none(), leave, view, made_up };
    Ok((panel, trace, seen))
}

async fn show(State(desk): State<Arc<Desk>>, Path(id): Path<JobId>) -> Result<Response, Problem> {
    let job = desk.job(id).await?;
    let (panel, trace, seen) = match panel(&desk, &job).await {
        Ok(all) => all,
        Err(problem) if problem.status == axum::http::StatusCode::NOT_FOUND => {
            return Ok(Redirect::to(&format!("/jobs/{id}#test")).into_response());
        }
        Err(problem) => return Err(problem),
    };
    let name = job.machine.as_ref().map_or(String::new(), |m| format!("{} {}", m.maker, m.model));
    let simulated = seen.as_ref().and_then(|s| s.simulated).map_or(String::new(), |speed| {
        if (speed - 1.0).abs() < 0.01 {
            "simulated".to_owned()
        } else {
            format!("simulated, {speed:.0} times as fast")
        }
    });
    let sockets = desk.with_records(records::Records::sockets).await?;
    // Where nobody follows an open trace there is nothing to wait for: it is shown as far as it goes.
    let newest = seen.as_ref().and_then(|s| s.newest).map_or(trace.from, |s| s.at.max(trace.from));
    let to = if panel.ended { Some(trace.to.unwrap_or(newest)) } else { None };
    let called = sockets.into_iter().find(|s| s.id == trace.socket).map_or(String::new(), |s| s.name);
    page(&Page {
        layout: Layout::of(&desk, format!("{name}: live test"), "today"),
        name,
        id,
        socket: called,
        socket_id: trace.socket.number(),
        simulated,
        from: trace.from.as_millisecond(),
        to: to.map_or(String::new(), |t| t.as_millisecond().to_string()),
        panel,
    })
}

async fn part(State(desk): State<Arc<Desk>>, Path(id): Path<JobId>) -> Result<Response, Problem> {
    let job = desk.job(id).await?;
    let (panel, ..) = panel(&desk, &job).await?;
    page(&Part { panel })
}
