//! The files of a record, to take along. A page is set where that holds nobody else up, one at a time.

use super::sheet::svg;
use crate::desk::Desk;
use crate::problem::{ForPrograms, Problem};
use crate::visit::record::standing;
use axum::Router;
use axum::extract::{Path, Query, State};
use axum::http::{HeaderValue, header};
use axum::response::{IntoResponse, Response};
use axum::routing::get;
use handover::{Document, JobRecord, NotMade, Paper, PdfError};
use records::{FirmFacts, JobId, Records};
use serde::Deserialize;
use std::sync::Arc;

pub(super) fn routes() -> Router<Arc<Desk>> {
    Router::new()
        .route("/jobs/{id}/papers/{file}", get(for_people))
        .route("/api/jobs/{id}/papers/{file}", get(for_programs))
        .route("/jobs/{id}/trace.svg", get(trace))
}

#[derive(Deserialize, Default)]
#[serde(default)]
struct Asked {
    paper: String,
}

async fn for_people(
    State(desk): State<Arc<Desk>>,
    Path((id, file)): Path<(JobId, String)>,
    Query(asked): Query<Asked>,
) -> Result<Response, Problem> {
    made(&desk, id, &file, &asked.paper).await
}

async fn for_programs(
    State(desk): State<Arc<Desk>>,
    Path((id, file)): Path<(JobId, String)>,
    Query(asked): Query<Asked>,
) -> Result<Response, ForPrograms> {
    Ok(made(&desk, id, &file, &asked.paper).await?)
}

/// The paper that is asked for, else that of the settings.
pub(super) fn paper(asked: &str, firm: &FirmFacts) -> Result<Paper, Problem> {
    let name = [asked, firm.paper.as_str(), "a4"].into_iter().find(|n| !n.trim().is_empty());
    let name = name.unwrap_or("a4");
    Paper::named(name)
        .ok_or_else(|| Problem::refused(format!("`{name}` is no paper known here"), "ask for a4 or letter"))
}

async fn made(desk: &Arc<Desk>, id: JobId, file: &str, asked: &str) -> Result<Response, Problem> {
    let document = Document::named(file).ok_or_else(|| Problem::not_there("such file of a job"))?;
    let job = desk.job(id).await?;
    let firm = desk.with_records(Records::firm).await?;
    let paper = paper(asked, &firm)?;
    let record = standing(desk, &job).await?.record()?.clone();
    let name = format!("{}-{}", record.reference, document.file_name());
    let fonts = desk.fonts();
    let bytes = desk
        .set(move || {
            let fonts = fonts.for_record(&record).into_files();
            make(document, &record, paper, &fonts)
        })
        .await??;
    let value =
        |text: &str| HeaderValue::from_str(text).map_err(|_| Problem::ours("the file cannot be sent"));
    let headers = [
        (header::CONTENT_TYPE, value(document.media_type())?),
        (header::CONTENT_DISPOSITION, value(&format!("attachment; filename=\"{name}\""))?),
        (header::CONTENT_SECURITY_POLICY, value("default-src 'none'; style-src 'unsafe-inline'; sandbox")?),
    ];
    Ok((headers, bytes).into_response())
}

/// Makes a file; what the record lacks for it is said.
fn make(document: Document, record: &JobRecord, paper: Paper, fonts: &[Vec<u8>]) -> Result<Vec<u8>, Problem> {
    match document.make(record, paper, fonts, jiff::Timestamp::now()) {
        Ok(made) => Ok(made.bytes),
        Err(NotMade::Lacks(what)) => Err(Problem::refused(
            format!("there is no {} yet: {what}", document.file_name()),
            "see the page Hand over",
        )),
        Err(NotMade::Pdf(e)) => {
            let remedy = match e {
                PdfError::NoTypesetter => {
                    "print the page Hand over, or build the program without `--no-default-features`"
                }
                _ => "shorten what was written, or take it out",
            };
            Err(Problem::refused(e.to_string(), remedy))
        }
    }
}

/// The trace of the record with its steps.
async fn trace(State(desk): State<Arc<Desk>>, Path(id): Path<JobId>) -> Result<Response, Problem> {
    let job = desk.job(id).await?;
    let picture = standing(&desk, &job).await?.record()?.found.trace_svg.clone();
    if picture.is_empty() {
        return Err(Problem::not_there("recording in this job"));
    }
    Ok(svg(picture))
}
