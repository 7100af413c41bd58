//! Mend: the part that was agreed on, how to get at it, what was fitted; and whether the machine works now.

use super::layout::{page, short_time};
use crate::desk::Desk;
use crate::problem::Problem;
use crate::visit;
use crate::visit::keep::{self, Fields, Said};
use crate::who::Who;
use crate::worked_out::{WorkedOut, worked_out};
use askama::Template;
use axum::extract::{Form, Path, State};
use axum::http::HeaderMap;
use axum::response::Response;
use axum::routing::get;
use axum::{Extension, Router};
use diagnosis::next::panels;
use machine::model::{Machine, PartId};
use records::{Entry, Job, JobId, Says};
use report::finding::words;
use std::collections::HashMap;
use std::sync::Arc;

pub(super) fn routes() -> Router<Arc<Desk>> {
    Router::new().route("/jobs/{id}/mend", get(show).post(keep))
}

/// Parts that are shown with the way to them; any other stands in a list.
const SHOWN: usize = 3;

/// Before anything comes off. Common practice, no source.
const DEAD: &str =
    "Unplug it, wait until stored charge is gone, and prove it dead with a meter that you have just proved.";

pub(super) struct MendView {
    /// The fold in one line.
    pub(super) line: String,
    pub(super) open: bool,
    pub(super) needs: &'static str,
    pub(super) parts: Vec<PartView>,
    /// All parts of the machine, by name.
    pub(super) others: Vec<String>,
    pub(super) fitted: Vec<FittedView>,
    pub(super) works: Option<WorksView>,
}

/// A part that may have to be mended.
pub(super) struct PartView {
    pub(super) name: String,
    pub(super) kind: &'static str,
    /// Why it stands here.
    pub(super) why: String,
    pub(super) order: String,
    pub(super) note: String,
    pub(super) panels: Vec<PanelView>,
    pub(super) caution: String,
    pub(super) open: bool,
}

pub(super) struct PanelView {
    pub(super) name: String,
    pub(super) minutes: String,
}

pub(super) struct FittedView {
    pub(super) entry: u32,
    pub(super) said: String,
    pub(super) at: String,
}

/// The question whether it works now.
pub(super) struct WorksView {
    pub(super) part: String,
    /// The entry that is put right by the answer.
    pub(super) entry: u32,
    pub(super) answer: &'static str,
}

impl MendView {
    pub(super) fn of(job: &Job, machine: Option<&Machine>, found: Option<&WorkedOut>) -> MendView {
        let fitted: Vec<FittedView> = visit::fitted(&job.log).filter_map(fitted_view).collect();
        let works = visit::mended(&job.log).map(|(entry, part, cured)| WorksView {
            part: part.to_owned(),
            entry,
            answer: cured.map_or("", |cured| if cured { "yes" } else { "no" }),
        });
        let agreed = agreed(machine, job);
        let mut parts = machine.map_or(Vec::new(), |m| parts(m, &agreed, found));
        if let Some(first) = parts.first_mut() {
            first.open = fitted.is_empty();
        }
        let done: Vec<String> = visit::fitted(&job.log).filter_map(short).collect();
        let answer = works.as_ref().map_or("", |w| w.answer);
        let line = match (done.is_empty(), answer) {
            (_, "yes") => {
                format!("{}: it works", if done.is_empty() { "mended".to_owned() } else { done.join(", ") })
            }
            (_, "no") => format!(
                "{}: does not work yet",
                if done.is_empty() { "mended".to_owned() } else { done.join(", ") }
            ),
            (false, _) => format!("{}; does it work?", done.join(", ")),
            (true, _) if agreed.is_empty() => String::new(),
            (true, _) => "agreed, nothing fitted yet".to_owned(),
        };
        MendView {
            line,
            open: !agreed.is_empty() && answer != "yes",
            needs: if machine.is_none() {
                "Mend needs the machine file: match the machine under Arrive."
            } else {
                ""
            },
            others: machine.map_or(Vec::new(), |m| m.parts.iter().map(|p| p.id.clone()).collect()),
            parts,
            fitted,
            works,
        }
    }
}

/// The parts of an offer that was agreed to.
fn agreed(machine: Option<&Machine>, job: &Job) -> Vec<PartId> {
    let (Some(machine), Some(entry)) = (machine, visit::decided(&job.log)) else { return Vec::new() };
    match &entry.says {
        Says::Decided { agreed: true, parts, .. } => parts.iter().filter_map(|p| machine.part(p)).collect(),
        _ => Vec::new(),
    }
}

/// What was agreed on, else the parts of the likeliest suspects.
fn parts(machine: &Machine, agreed: &[PartId], found: Option<&WorkedOut>) -> Vec<PartView> {
    let mut all: Vec<(PartId, String)> = agreed.iter().map(|&p| (p, "agreed on".to_owned())).collect();
    for suspect in found.iter().flat_map(|f| &f.finding.suspects).filter(|_| agreed.is_empty()) {
        for &(part, _) in suspect.faults.faults() {
            if all.len() < SHOWN && all.iter().all(|a| a.0 != part) {
                all.push((part, format!("suspected, {}", words::per_cent(suspect.probability))));
            }
        }
    }
    all.into_iter().map(|(id, why)| part_view(machine, id, why)).collect()
}

fn part_view(machine: &Machine, id: PartId, why: String) -> PartView {
    let part = &machine.parts[id];
    let off = panels(machine, &part.behind);
    let mut cautions = vec![DEAD.to_owned()];
    let of_panel = |p: &machine::model::Panel| format!("{}: {}", p.name, p.caution);
    cautions.extend(off.iter().map(|&p| &machine.panels[p]).filter(|p| !p.caution.is_empty()).map(of_panel));
    PartView {
        name: part.id.clone(),
        kind: part.kind.name,
        why,
        order: part.order.clone(),
        note: part.note.clone(),
        panels: off
            .iter()
            .map(|&p| PanelView {
                name: machine.panels[p].name.clone(),
                minutes: words::minutes(machine.panels[p].minutes),
            })
            .collect(),
        caution: cautions.join(" "),
        open: false,
    }
}

/// What was done with a part, in two words.
fn short(entry: &Entry) -> Option<String> {
    let Says::Fitted { fitted, cleared, .. } = &entry.says else { return None };
    Some(if *cleared { format!("{fitted} cleared") } else { format!("{fitted} fitted") })
}

fn fitted_view(entry: &Entry) -> Option<FittedView> {
    let Says::Fitted { order, serial, old, .. } = &entry.says else { return None };
    let mut said = short(entry)?;
    for (what, text) in [("", order), ("serial ", serial), ("the old one read ", old)] {
        if !text.is_empty() {
            said.push_str(&format!(", {what}{text}"));
        }
    }
    Some(FittedView { entry: entry.number, said, at: short_time(&entry.at) })
}

#[derive(Template)]
#[template(path = "mend.html")]
struct MendPart {
    id: JobId,
    mend: MendView,
}

/// The fold alone.
async fn show(State(desk): State<Arc<Desk>>, Path(id): Path<JobId>) -> Result<Response, Problem> {
    let job = desk.job(id).await?;
    let machine = desk.machine_of(&job).ok().flatten();
    let found = worked_out(&desk, &job).await.ok().flatten();
    page(&MendPart { id, mend: MendView::of(&job, machine.as_deref(), found.as_deref()) })
}

async fn keep(
    State(desk): State<Arc<Desk>>,
    Extension(who): Extension<Who>,
    Path(id): Path<JobId>,
    headers: HeaderMap,
    Form(sent): Form<HashMap<String, String>>,
) -> Response {
    keep::answer(&desk, &who, &headers, id, "mend", Fields(sent), said).await
}

fn said(job: &Job, fields: &Fields) -> Result<Said, Problem> {
    let part = fields.text("part").to_owned();
    match fields.text("what") {
        "fitted" => {
            let fitted = Says::Fitted {
                fitted: part.clone(),
                cleared: fields.text("done") == "cleared",
                order: fields.text("order").to_owned(),
                serial: fields.text("serial").to_owned(),
                old: fields.text("old").to_owned(),
            };
            let mut said = vec![(fitted, None)];
            // Find learns that it was changed; a part that it knows to be mended is not mended twice.
            if visit::mended(&job.log).is_none_or(|(_, name, cured)| name != part || cured.is_some()) {
                said.push((Says::Mended { mended: part, cured: None }, None));
            }
            Ok(said)
        }
        "works" => {
            let cured = match fields.text("answer") {
                "yes" => true,
                "no" => false,
                _ => return Err(Problem::refused("does it work now?", "answer yes or no")),
            };
            Ok(vec![(Says::Mended { mended: part, cured: Some(cured) }, fields.supersedes()?)])
        }
        other => Err(Problem::refused(
            format!("`{other}` is nothing that can be mended"),
            "reload the page and say it again",
        )),
    }
}
