//! Your data: all of it taken out, a customer's data taken out or erased, a backup.

use super::layout::{Layout, page};
use crate::desk::Desk;
use crate::problem::Problem;
use askama::Template;
use axum::Router;
use axum::body::{Body, Bytes};
use axum::extract::{Form, Path, Query, State};
use axum::http::{HeaderValue, header};
use axum::response::{IntoResponse, Response};
use axum::routing::{get, post};
use futures_util::stream;
use records::{CustomerId, CustomerLine, Erased, Records, RecordsError, Whose};
use serde::Deserialize;
use std::fs::File;
use std::io::Read as _;
use std::path::Path as FilePath;
use std::sync::{Arc, PoisonError};

/// Most customers that are listed.
const LISTED: usize = 50;
/// Bytes that are sent at once.
const PIECE: usize = 64 * 1024;

pub(super) fn routes() -> Router<Arc<Desk>> {
    Router::new()
        .route("/settings/data", get(show))
        .route("/settings/data/backup", post(backup))
        .route("/settings/data/export", post(export))
        .route("/settings/data/customers/{id}", get(customer))
        .route("/settings/data/customers/{id}/export", post(export_customer))
        .route("/settings/data/customers/{id}/erase", post(erase))
}

#[derive(Template)]
#[template(path = "data.html")]
struct Page {
    layout: Layout,
    asked: String,
    customers: Vec<CustomerLine>,
    more: usize,
    records: String,
}

#[derive(Deserialize)]
struct Asked {
    #[serde(default)]
    find: String,
}

async fn show(State(desk): State<Arc<Desk>>, Query(asked): Query<Asked>) -> Result<Response, Problem> {
    let search = asked.find.clone();
    let mut customers = desk.with_records(move |r| r.customers(&search)).await?;
    customers.retain(|c| !c.customer.name.starts_with("erased on "));
    let more = customers.len().saturating_sub(LISTED);
    customers.truncate(LISTED);
    page(&Page {
        layout: Layout::of(&desk, "Your data", "settings"),
        asked: asked.find,
        customers,
        more,
        records: desk.records().path().display().to_string(),
    })
}

#[derive(Template)]
#[template(path = "data_customer.html")]
struct Customer {
    layout: Layout,
    line: CustomerLine,
    /// Others of the same name or telephone: most likely the same person, entered again with another job.
    alike: Vec<CustomerLine>,
    /// What was erased just now.
    erased: Option<Erased>,
}

async fn line(desk: &Arc<Desk>, id: CustomerId) -> Result<CustomerLine, Problem> {
    let all = desk.with_records(|r| r.customers("")).await?;
    all.into_iter().find(|c| c.id == id).ok_or_else(|| Problem::not_there("such customer"))
}

async fn customer(State(desk): State<Arc<Desk>>, Path(id): Path<CustomerId>) -> Result<Response, Problem> {
    let line = line(&desk, id).await?;
    let alike = desk.with_records(move |r| r.customers_alike(Whose::Customer(id))).await?;
    page(&Customer { layout: Layout::of(&desk, "A customer's data", "settings"), line, alike, erased: None })
}

#[derive(Deserialize, Default)]
#[serde(default)]
pub(super) struct Sure {
    sure: String,
}

impl Sure {
    /// What goes for good, goes only where the box was ticked.
    pub(super) fn needed(&self, to_what_end: &str) -> Result<(), Problem> {
        if self.sure == "yes" {
            return Ok(());
        }
        Err(Problem::refused(
            "nothing was erased: the box was not ticked",
            format!("go back and tick it, if {to_what_end}"),
        ))
    }
}

async fn erase(
    State(desk): State<Arc<Desk>>,
    Path(id): Path<CustomerId>,
    Form(sent): Form<Sure>,
) -> Result<Response, Problem> {
    line(&desk, id).await?;
    sent.needed("the customer's data is to go")?;
    let on = jiff::ZonedDateTime::now().date();
    // Once the name is gone, nobody is alike any more.
    let alike = desk.with_records(move |r| r.customers_alike(Whose::Customer(id))).await?;
    let erased = desk.with_records(move |r| r.erase(Whose::Customer(id), on)).await?;
    let line = line(&desk, id).await?;
    let layout = Layout::of(&desk, "A customer's data", "settings");
    page(&Customer { layout, line, alike, erased: Some(erased) })
}

/// A name with the day and time in it: `wattmend-backup-2026-11-25-1542.sqlite`.
fn dated(what: &str, ending: &str) -> String {
    format!("wattmend-{what}-{}{ending}", jiff::ZonedDateTime::now().strftime("%Y-%m-%d-%H%M"))
}

async fn backup(State(desk): State<Arc<Desk>>) -> Result<Response, Problem> {
    sent(&desk, dated("backup", ".sqlite"), Records::backup).await
}

/// Everything, as a packed folder.
async fn export(State(desk): State<Arc<Desk>>) -> Result<Response, Problem> {
    let made = jiff::ZonedDateTime::now();
    packed(&desk, "export", move |r, to| r.export(to, &made).map(drop)).await
}

async fn export_customer(
    State(desk): State<Arc<Desk>>,
    Path(id): Path<CustomerId>,
) -> Result<Response, Problem> {
    line(&desk, id).await?;
    packed(&desk, "customer", move |r, to| r.hand_over(Whose::Customer(id), to).map(drop)).await
}

/// Has the records write a folder, and sends it as one file (`.tar.gz`).
async fn packed(
    desk: &Arc<Desk>,
    what: &'static str,
    writes: impl FnOnce(&Records, &FilePath) -> Result<(), RecordsError> + Send + 'static,
) -> Result<Response, Problem> {
    let inside = dated(what, "");
    let name = format!("{inside}.tar.gz");
    sent(desk, name, move |r, to| {
        let folder = to.with_extension("folder");
        let _ = std::fs::remove_dir_all(&folder);
        let done = writes(r, &folder).and_then(|()| pack(&folder, &inside, to).map_err(|e| unwritten(&e)));
        let _ = std::fs::remove_dir_all(&folder);
        done
    })
    .await
}

fn pack(folder: &FilePath, inside: &str, to: &FilePath) -> std::io::Result<()> {
    let packer = flate2::write::GzEncoder::new(File::create_new(to)?, flate2::Compression::default());
    let mut archive = tar::Builder::new(packer);
    archive.follow_symlinks(false);
    archive.append_dir_all(inside, folder)?;
    archive.into_inner()?.finish()?.sync_all()
}

fn unwritten(e: &std::io::Error) -> RecordsError {
    RecordsError {
        message: format!("the file to be sent could not be written: {e}"),
        remedy: "make room on the disk, and try again".to_owned(),
        may_pass: true,
        about: records::About::Output,
    }
}

/// Has the records write a file, and sends it; nothing of it stays on this computer.
async fn sent(
    desk: &Arc<Desk>,
    name: String,
    writes: impl FnOnce(&Records, &FilePath) -> Result<(), RecordsError> + Send + 'static,
) -> Result<Response, Problem> {
    let folder = desk.leaving();
    let file = desk
        .with_records(move |r| {
            // One at a time, so that the name is free: what was left of one that broke off goes.
            let folder = folder.lock().unwrap_or_else(PoisonError::into_inner);
            let _ = std::fs::remove_file(&*folder);
            let file = writes(r, &folder).and_then(|()| File::open(&*folder).map_err(|e| unwritten(&e)));
            // Open, it is still read; a system that holds on to it gives it to the next one to remove.
            let _ = std::fs::remove_file(&*folder);
            file
        })
        .await?;
    let pieces = stream::try_unfold(file, async |mut file| {
        let read = tokio::task::spawn_blocking(move || {
            let mut piece = vec![0; PIECE];
            let count = file.read(&mut piece)?;
            piece.truncate(count);
            Ok::<_, std::io::Error>((piece, file))
        });
        let (piece, file) = read.await.map_err(std::io::Error::other)??;
        Ok::<_, std::io::Error>((!piece.is_empty()).then(|| (Bytes::from(piece), file)))
    });
    let disposition = HeaderValue::from_str(&format!("attachment; filename=\"{name}\""))
        .map_err(|_| Problem::ours("the file cannot be named"))?;
    let kind = HeaderValue::from_static("application/octet-stream");
    let headers = [(header::CONTENT_TYPE, kind), (header::CONTENT_DISPOSITION, disposition)];
    Ok((headers, Body::from_stream(pieces)).into_response())
}
