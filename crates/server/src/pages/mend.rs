//! Mend: the part that was agreed on, how to get at it, what was fitted; and whether the machine works now.

use super::layout::{page, short_time};
use crate::desk::Desk;
use crate::problem::Problem;
use crate::visit;
use crate::visit::charge;
use crate::visit::keep::{self, Fields, Said};
use crate::visit::proof::proof;
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
use records::{Entry, Job, JobId, Says, StockPart, Taken};
use report::finding::words;
use safety::Test;
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
    /// How many the van carries.
    pub(super) stock: String,
    pub(super) short: bool,
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
    /// What it took from the van.
    pub(super) stock: String,
    pub(super) short: bool,
}

/// The question whether it works now.
pub(super) struct WorksView {
    pub(super) part: String,
    /// The entry that is put right by the answer.
    pub(super) entry: u32,
    pub(super) answer: &'static str,
    /// Tests that must pass before it is put on the mains; empty: it may be.
    pub(super) locked: String,
}

/// What the fold needs beside the job.
pub(super) struct Around {
    /// The parts that the van carries.
    pub(super) stock: Vec<StockPart>,
    /// What this job took of them.
    pub(super) taken: Vec<Taken>,
    /// Tests that must pass before the machine is seen to work.
    pub(super) locked: Vec<Test>,
}

impl Around {
    pub(super) async fn of(
        desk: &Arc<Desk>,
        job: &Job,
        machine: Option<&Arc<Machine>>,
    ) -> Result<Around, Problem> {
        let id = job.id;
        let (settings, stock, taken) =
            desk.with_records(move |r| Ok((r.settings()?, r.stock()?, r.taken(id)?))).await?;
        let mut locked = Vec::new();
        if let Some(machine) = machine.filter(|_| visit::mended(&job.log).is_some()) {
            let (machine, job) = (machine.clone(), job.clone());
            let today = jiff::ZonedDateTime::now().date();
            let proof = desk.work(move || proof(&machine, &job, &settings, today)).await?;
            // What cannot be worked out is said under Prove; until then nothing is put on the mains.
            locked = proof.map_or_else(
                |_| vec![Test::ProtectiveConductor, Test::Insulation],
                |p| p.functional_blocked_by(),
            );
        }
        Ok(Around { stock, taken, locked })
    }
}

impl MendView {
    pub(super) fn of(
        job: &Job,
        machine: Option<&Machine>,
        found: Option<&WorkedOut>,
        around: &Around,
    ) -> MendView {
        let fitted: Vec<FittedView> =
            visit::fitted(&job.log).filter_map(|e| fitted_view(e, &around.taken)).collect();
        let works = visit::mended(&job.log).map(|(entry, part, cured)| WorksView {
            part: part.to_owned(),
            entry,
            answer: cured.map_or("", |cured| if cured { "yes" } else { "no" }),
            locked: around.locked.iter().map(|t| t.name()).collect::<Vec<_>>().join(", "),
        });
        let agreed = agreed(machine, job);
        let mut parts = machine.map_or(Vec::new(), |m| parts(m, &agreed, found, &around.stock));
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
fn parts(
    machine: &Machine,
    agreed: &[PartId],
    found: Option<&WorkedOut>,
    stock: &[StockPart],
) -> Vec<PartView> {
    let mut all: Vec<(PartId, String)> = agreed.iter().map(|&p| (p, "agreed on".to_owned())).collect();
    for suspect in found.iter().flat_map(|f| &f.finding.suspects).filter(|_| agreed.is_empty()) {
        for &(part, _) in suspect.faults.faults() {
            if all.len() < SHOWN && all.iter().all(|a| a.0 != part) {
                all.push((part, format!("suspected, {}", words::per_cent(suspect.probability))));
            }
        }
    }
    all.into_iter().map(|(id, why)| part_view(machine, id, why, stock)).collect()
}

fn part_view(machine: &Machine, id: PartId, why: String, stock: &[StockPart]) -> PartView {
    let part = &machine.parts[id];
    let carried = charge::in_stock(stock, &part.order);
    let off = panels(machine, &part.behind);
    let mut cautions = vec![DEAD.to_owned()];
    let of_panel = |p: &machine::model::Panel| format!("{}: {}", p.name, p.caution);
    cautions.extend(off.iter().map(|&p| &machine.panels[p]).filter(|p| !p.caution.is_empty()).map(of_panel));
    PartView {
        name: part.id.clone(),
        kind: part.kind.name,
        why,
        order: part.order.clone(),
        stock: carried.map_or(String::new(), |p| format!("On the van: {}", counted(p))),
        short: carried.is_some_and(|p| p.count <= 0),
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

/// "2", "none left", "1, fewer than the 2 there should be".
fn counted(part: &StockPart) -> String {
    let count = match part.count {
        0 => "none left".to_owned(),
        n if n < 0 => format!("{n}: more were fitted than were counted, count again"),
        n => n.to_string(),
    };
    if part.is_short() && part.least > 0 {
        format!("{count}; there should be {} at least", part.least)
    } else {
        count
    }
}

fn fitted_view(entry: &Entry, taken: &[Taken]) -> Option<FittedView> {
    let Says::Fitted { order, serial, old, .. } = &entry.says else { return None };
    let mut said = short(entry)?;
    for (what, text) in [("", order), ("serial ", serial), ("the old one read ", old)] {
        if !text.is_empty() {
            said.push_str(&format!(", {what}{text}"));
        }
    }
    let taken = taken.iter().find(|t| t.number == entry.number);
    Some(FittedView {
        entry: entry.number,
        said,
        at: short_time(&entry.at),
        stock: taken.map_or(String::new(), |t| {
            format!("One {} taken from the van, now {}", t.part.code, counted(&t.part))
        }),
        short: taken.is_some_and(|t| t.part.is_short()),
    })
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
    let around = Around::of(&desk, &job, machine.as_ref()).await?;
    page(&MendPart { id, mend: MendView::of(&job, machine.as_deref(), found.as_deref(), &around) })
}

async fn keep(
    State(desk): State<Arc<Desk>>,
    Extension(who): Extension<Who>,
    Path(id): Path<JobId>,
    headers: HeaderMap,
    Form(sent): Form<HashMap<String, String>>,
) -> Response {
    keep::answer(&desk, &who, &headers, id, "#mend", Fields(sent), said).await
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
