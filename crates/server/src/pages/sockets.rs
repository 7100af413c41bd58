//! Sockets: which meters there are, what they say now, and what their messages look like.

use super::layout::{Layout, page};
use crate::capture::{Seen, State as Heard};
use crate::desk::Desk;
use crate::problem::Problem;
use crate::who::Who;
use askama::Template;
use axum::extract::{Form, Path, State};
use axum::http::{Method, StatusCode};
use axum::response::{IntoResponse, Redirect, Response};
use axum::routing::{get, post};
use axum::{Extension, Router};
use meters::{Config, Source, Tried};
use records::{JobId, SocketId};
use serde::Deserialize;
use std::collections::HashMap;
use std::sync::Arc;
use std::time::Duration;

/// A meter is tried for so long.
const TRIED_FOR: Duration = Duration::from_secs(6);

pub(super) fn routes() -> Router<Arc<Desk>> {
    Router::new().route("/sockets", get(show).post(keep)).route("/sockets/{id}/try", post(try_it))
}

#[derive(Template)]
#[template(path = "sockets.html")]
struct Page {
    layout: Layout,
    sockets: Vec<Row>,
    troubles: Vec<String>,
    not_kept: String,
    file: String,
    /// The file, for who may change it: a broker's password stands in it.
    text: Option<String>,
    /// The text was refused: it is shown as it was sent.
    refused: bool,
    tried: Option<TriedView>,
}

struct Row {
    id: i64,
    name: String,
    state: &'static str,
    says: String,
    remark: String,
    simulated: String,
    job: Option<JobId>,
    can_be_tried: bool,
}

/// May who asks see the file and try what stands in it?
fn may_set_up(who: &Who) -> bool {
    who.may(&Method::POST, "/sockets")
}

struct TriedView {
    name: String,
    failed: String,
    messages: Vec<MessageView>,
}

struct MessageView {
    raw: String,
    read: Vec<(&'static str, String)>,
    failed: String,
    left_out: Vec<String>,
}

fn row(desk: &Desk, who: &Who, seen: Seen, jobs: &HashMap<SocketId, JobId>) -> Row {
    let (state, says) = match &seen.state {
        Heard::Waiting => ("waiting", "not heard yet".to_owned()),
        Heard::Heard => ("heard", seen.newest.map_or(String::new(), in_words)),
        Heard::Lost { why } => ("lost", why.clone()),
    };
    Row {
        id: seen.id.number(),
        name: seen.name,
        state,
        says,
        remark: seen.remark.unwrap_or_default(),
        simulated: seen.simulated.map_or(String::new(), |speed| format!("simulated, {speed} times as fast")),
        job: jobs.get(&seen.id).copied(),
        can_be_tried: may_set_up(who) && desk.capture.config(seen.id).is_some(),
    }
}

/// The jobs that sockets are in use for: those with an open trace, followed or not.
async fn in_use(desk: &Arc<Desk>, sockets: Vec<SocketId>) -> Result<HashMap<SocketId, JobId>, Problem> {
    desk.with_records(move |r| {
        let mut jobs = HashMap::new();
        for socket in sockets {
            jobs.extend(r.open_traces(socket)?.iter().map(|t| (socket, t.job)));
        }
        Ok(jobs)
    })
    .await
}

fn in_words(sample: records::Sample) -> String {
    let values = [(sample.watts, "W", 0), (sample.volts, "V", 0), (sample.amps, "A", 2)];
    let said = values.iter().filter_map(|(v, unit, digits)| v.map(|v| format!("{v:.digits$} {unit}")));
    said.collect::<Vec<_>>().join(" · ")
}

async fn view(
    desk: &Arc<Desk>,
    who: &Who,
    sent: Option<(String, Vec<String>)>,
    tried: Option<TriedView>,
) -> Result<Response, Problem> {
    let refused = sent.is_some();
    let (text, troubles) = if let Some(sent) = sent {
        sent
    } else {
        let shared = desk.clone();
        let text = desk.work(move || shared.meters.text().unwrap_or_default()).await?;
        (text, desk.meters.troubles())
    };
    let all = desk.capture.all();
    let jobs = in_use(desk, all.iter().map(|s| s.id).collect()).await?;
    page(&Page {
        layout: Layout::of(desk, "Sockets", "sockets"),
        sockets: all.into_iter().map(|seen| row(desk, who, seen, &jobs)).collect(),
        troubles,
        not_kept: desk.capture.trouble().unwrap_or_default(),
        file: desk.meters.path().display().to_string(),
        text: may_set_up(who).then_some(text),
        refused,
        tried,
    })
}

async fn show(State(desk): State<Arc<Desk>>, Extension(who): Extension<Who>) -> Result<Response, Problem> {
    view(&desk, &who, None, None).await
}

#[derive(Deserialize)]
struct Sent {
    text: String,
}

async fn keep(
    State(desk): State<Arc<Desk>>,
    Extension(who): Extension<Who>,
    Form(sent): Form<Sent>,
) -> Result<Response, Problem> {
    let text = sent.text.replace("\r\n", "\n");
    let written = {
        let (desk, text) = (desk.clone(), text.clone());
        let handle = tokio::runtime::Handle::current();
        tokio::task::spawn_blocking(move || {
            let _in_runtime = handle.enter();
            no_new_paths(&desk, &text)?;
            desk.meters.write(&text, &desk.capture)
        })
        .await
        .map_err(|_| Problem::ours("the file could not be written"))?
    };
    match written {
        Ok(()) => Ok(Redirect::to("/sockets").into_response()),
        Err(troubles) => {
            let page = view(&desk, &who, Some((text, troubles)), None).await?;
            Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response())
        }
    }
}

/// A page names no files of this computer, or whoever may write into it could look into any of them: those of recordings and
/// made-up machines are written into the file by hand.
fn no_new_paths(desk: &Desk, text: &str) -> Result<(), Vec<String>> {
    let paths = |text: &str| -> Vec<std::path::PathBuf> {
        let sockets = Config::read(text).map_or(Vec::new(), |c| c.sockets);
        let path = |source: Source| match source {
            Source::Replay(replay) => Some(replay.file),
            Source::GrowingFile(growing) => Some(growing.file),
            Source::Simulator(made_up) => Some(made_up.machine),
            Source::Mqtt(_)
            | Source::Modbus(_)
            | Source::Scpi(_)
            | Source::SerialLines(_)
            | Source::HttpJson(_) => None,
        };
        sockets.into_iter().filter_map(|s| path(s.source)).collect()
    };
    let known = paths(&desk.meters.text().unwrap_or_default());
    match paths(text).iter().find(|p| !known.contains(p)) {
        None => Ok(()),
        Some(path) => Err(vec![format!(
            "{} is not in the file yet: a recording or a made-up machine is named by hand in {}, not on this page",
            path.display(),
            desk.meters.path().display()
        )]),
    }
}

async fn try_it(
    State(desk): State<Arc<Desk>>,
    Extension(who): Extension<Who>,
    Path(id): Path<i64>,
) -> Result<Response, Problem> {
    let config =
        desk.capture.config(SocketId::of(id)).ok_or_else(|| Problem::not_there("socket with this number"))?;
    let tried = match meters::try_it(&config, TRIED_FOR).await {
        Ok(messages) => TriedView {
            name: config.name,
            failed: String::new(),
            messages: messages.into_iter().map(message).collect(),
        },
        Err(e) => TriedView { name: config.name, failed: e.to_string(), messages: Vec::new() },
    };
    view(&desk, &who, None, Some(tried)).await
}

fn message(tried: Tried) -> MessageView {
    let mut read = Vec::new();
    let mut failed = String::new();
    match tried.reading {
        Ok(r) => {
            let values = [
                ("power", r.watts, "W"),
                ("voltage", r.volts, "V"),
                ("current", r.amps, "A"),
                ("power factor", r.power_factor, ""),
                ("frequency", r.hertz, "Hz"),
                ("energy", r.energy_j.map(|j| j / 3.6e6), "kWh"),
            ];
            let there =
                values.into_iter().filter_map(|(name, v, unit)| Some((name, format!("{} {unit}", v?))));
            read.extend(there);
        }
        Err(e) => failed = e.to_string(),
    }
    MessageView { raw: tried.raw, read, failed, left_out: tried.left_out }
}
