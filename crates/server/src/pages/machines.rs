//! Machines: the machine files at hand, each with its wiring and with what is wrong in it.

use super::layout::{Layout, page};
use super::sheet::svg;
use crate::desk::Desk;
use crate::library::MachineFile;
use crate::probes;
use crate::problem::Problem;
use askama::Template;
use axum::Router;
use axum::extract::{Path, State};
use axum::response::Response;
use axum::routing::get;
use machine::diagnostic::{Diagnostic, Severity, line_column};
use std::sync::Arc;

pub(super) fn routes() -> Router<Arc<Desk>> {
    Router::new()
        .route("/machines", get(list))
        .route("/machines/{file}", get(one))
        .route("/machines/{file}/wiring.svg", get(wiring))
}

#[derive(Template)]
#[template(path = "machines.html")]
struct List {
    layout: Layout,
    folder: String,
    files: Vec<Line>,
}

struct Line {
    file: String,
    name: String,
    kind: String,
    own: bool,
    errors: usize,
}

async fn list(State(desk): State<Arc<Desk>>) -> Result<Response, Problem> {
    let shared = desk.clone();
    let files = desk.work(move || shared.library.files()).await?;
    let line = |f: MachineFile| {
        let errors = f.diagnostics.iter().filter(|d| d.severity == Severity::Error).count();
        let plate = f.machine.as_ref().map(|m| &m.plate);
        Line {
            name: plate.map_or(f.name.clone(), |p| format!("{} {}", p.maker, p.model)),
            kind: plate.map_or(String::new(), |p| p.kind.clone()),
            own: f.own,
            errors,
            file: f.name,
        }
    };
    let folder = desk.library.folder().display().to_string();
    page(&List {
        layout: Layout::of(&desk, "Machines", "machines"),
        folder,
        files: files.into_iter().map(line).collect(),
    })
}

#[derive(Template)]
#[template(path = "machine.html")]
struct One {
    layout: Layout,
    file: String,
    name: String,
    kind: String,
    has_machine: bool,
    troubles: Vec<Trouble>,
    parts: Vec<(String, String, String)>,
    steps: Vec<(String, String)>,
    functions: Vec<(String, String)>,
    text: String,
}

struct Trouble {
    error: bool,
    line: usize,
    message: String,
    text: String,
    remedies: Vec<String>,
}

async fn one(State(desk): State<Arc<Desk>>, Path(file): Path<String>) -> Result<Response, Problem> {
    let found = desk.library.file(&file).ok_or_else(|| Problem::not_there("such machine file"))?;
    let checked = found.clone();
    let review = desk
        .work(move || checked.machine.as_ref().map_or(Vec::new(), |machine| bench::review(machine)))
        .await?;
    let machine = found.machine.as_deref();
    let plate = machine.map(|m| &m.plate);
    let troubles = found.diagnostics.iter().chain(&review).map(|d| trouble(&found.text, d)).collect();
    page(&One {
        layout: Layout::of(&desk, found.name.clone(), "machines"),
        name: plate.map_or(found.name.clone(), |p| format!("{} {}", p.maker, p.model)),
        kind: plate.map_or(String::new(), |p| p.kind.clone()),
        has_machine: machine.is_some(),
        troubles,
        parts: machine.map_or(Vec::new(), |m| {
            let named = m.parts.iter().filter(|p| p.ends.is_none());
            named.map(|p| (p.id.clone(), p.kind.name.to_owned(), p.order.clone())).collect()
        }),
        steps: machine
            .map_or(Vec::new(), |m| m.test.steps.iter().map(|s| (s.id.clone(), s.says.clone())).collect()),
        functions: machine.map_or(Vec::new(), |m| {
            m.functions.iter().map(|f| (f.name.clone(), f.complaints.join(", "))).collect()
        }),
        text: found.text.to_string(),
        file: found.name,
    })
}

fn trouble(text: &str, d: &Diagnostic) -> Trouble {
    let (line, _) = line_column(text, d.span.start);
    Trouble {
        error: d.severity == Severity::Error,
        line,
        message: d.message.clone(),
        text: text.lines().nth(line.saturating_sub(1)).unwrap_or_default().to_owned(),
        remedies: d.remedies.clone(),
    }
}

async fn wiring(State(desk): State<Arc<Desk>>, Path(file): Path<String>) -> Result<Response, Problem> {
    let found = desk.library.file(&file).ok_or_else(|| Problem::not_there("such machine file"))?;
    let machine =
        found.machine.ok_or_else(|| Problem::not_there("machine in this file that has no errors"))?;
    Ok(svg(desk.work(move || probes::wiring(&machine)).await?))
}
