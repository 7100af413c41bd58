//! Machines: the machine files at hand, each with its wiring and with what is wrong in it.

use super::layout::{Layout, page};
use super::sheet::svg;
use crate::desk::Desk;
use crate::library::{FileName, MachineFile};
use crate::probes;
use crate::problem::Problem;
use askama::Template;
use axum::Router;
use axum::extract::{Path, State};
use axum::http::{HeaderValue, header};
use axum::response::{IntoResponse, Response};
use axum::routing::get;
use machine::diagnostic::{Diagnostic, Severity, line_column};
use std::sync::Arc;

pub(super) fn routes() -> Router<Arc<Desk>> {
    Router::new()
        .route("/machines", get(list))
        .route("/machines/{file}", get(one))
        .route("/machines/{file}/wiring.svg", get(wiring))
        .route("/machines/{file}/file.toml", get(export))
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
    functions: Vec<(String, Vec<String>)>,
    text: String,
}

/// Something that is wrong in a file.
pub(super) struct Trouble {
    pub(super) error: bool,
    pub(super) line: usize,
    pub(super) column: usize,
    pub(super) message: String,
    text: String,
    pub(super) remedies: Vec<String>,
}

/// All that is wrong in a text.
pub(super) fn troubles(text: &str) -> Vec<Trouble> {
    bench::check(text).1.iter().map(|d| trouble(text, d)).collect()
}

async fn one(State(desk): State<Arc<Desk>>, Path(file): Path<String>) -> Result<Response, Problem> {
    let found = desk.library.file(&file)?;
    let text = found.text.clone();
    let troubles = desk.work(move || troubles(&text)).await?;
    let machine = found.machine.as_deref();
    let plate = machine.map(|m| &m.plate);
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
            m.functions.iter().map(|f| (f.name.clone(), f.complaints.clone())).collect()
        }),
        text: found.text.to_string(),
        file: found.name,
    })
}

fn trouble(text: &str, d: &Diagnostic) -> Trouble {
    let (line, column) = line_column(text, d.span.start);
    Trouble {
        error: d.severity == Severity::Error,
        line,
        column,
        message: d.message.clone(),
        text: text.lines().nth(line.saturating_sub(1)).unwrap_or_default().to_owned(),
        remedies: d.remedies.clone(),
    }
}

/// The file itself.
async fn export(State(desk): State<Arc<Desk>>, Path(file): Path<String>) -> Result<Response, Problem> {
    let found = desk.library.file(&file)?;
    let name = FileName::of(&found.name).map_or("machine".to_owned(), |n| n.as_str().to_owned());
    let disposition = HeaderValue::from_str(&format!("attachment; filename=\"{name}.toml\""))
        .map_err(|_| Problem::ours("the file cannot be named"))?;
    let kind = HeaderValue::from_static("application/toml; charset=utf-8");
    let headers = [(header::CONTENT_TYPE, kind), (header::CONTENT_DISPOSITION, disposition)];
    Ok((headers, found.text.to_string()).into_response())
}

async fn wiring(State(desk): State<Arc<Desk>>, Path(file): Path<String>) -> Result<Response, Problem> {
    let (_, machine) = desk.library.usable(&file)?;
    Ok(svg(desk.work(move || probes::wiring(&machine)).await?))
}
