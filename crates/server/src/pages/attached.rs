//! Pictures, sounds and recordings of a job. What a content is, its own bytes say (`records`); it is sent out so that a browser
//! shows it and does nothing else with it.

use crate::desk::Desk;
use crate::pages::data::Sure;
use crate::pages::layout::{in_address, short_time};
use crate::problem::{Problem, broken_off};
use axum::Router;
use axum::extract::multipart::{Multipart, MultipartRejection};
use axum::extract::{DefaultBodyLimit, Form, Path, State};
use axum::http::{HeaderValue, StatusCode, header};
use axum::response::{IntoResponse, Redirect, Response};
use axum::routing::{get, post};
use records::{Attachment, AttachmentId, AttachmentKind, JobId, LARGEST_ATTACHMENT};
use std::sync::Arc;

pub(super) fn routes() -> Router<Arc<Desk>> {
    Router::new()
        .route("/jobs/{id}/attach", post(attach).layer(DefaultBodyLimit::max(LARGEST_ATTACHMENT + 100_000)))
        .route("/jobs/{id}/attached/{number}", get(content))
        .route("/jobs/{id}/attached/{number}/erase", post(erase))
}

/// An attachment in its list.
pub(super) struct AttachedView {
    pub(super) number: i64,
    pub(super) name: String,
    pub(super) at: String,
    /// A browser can show it.
    pub(super) picture: bool,
    pub(super) size: String,
    pub(super) erased: Option<String>,
}

/// The attachments of a job.
pub(super) async fn of_job(desk: &Arc<Desk>, job: JobId) -> Result<Vec<AttachedView>, Problem> {
    let all = desk.with_records(move |r| r.attachments_of(job)).await?;
    let view = |a: Attachment| AttachedView {
        number: a.id.number(),
        picture: SHOWN.contains(&a.media_type.as_str()),
        name: if a.name.is_empty() { a.kind.name().to_owned() } else { a.name },
        at: short_time(&a.at),
        size: match a.bytes {
            0..1_000 => format!("{} B", a.bytes),
            1_000..1_000_000 => format!("{} kB", a.bytes / 1_000),
            _ => format!("{:.1} MB", a.bytes as f64 / 1e6),
        },
        erased: a.erased,
    };
    Ok(all.into_iter().map(view).collect())
}

/// Pictures that a browser shows and cannot run anything from.
const SHOWN: [&str; 4] = ["image/jpeg", "image/png", "image/webp", "image/avif"];

async fn attach(
    State(desk): State<Arc<Desk>>,
    Path(id): Path<JobId>,
    sent: Result<Multipart, MultipartRejection>,
) -> Result<Redirect, Problem> {
    let nothing = || {
        Problem::refused("no file was sent", "go back and choose a picture, a sound or a meter's recording")
    };
    let mut sent = sent.map_err(|_| nothing())?;
    let mut kept = 0;
    let after = |kept: usize, problem: Problem| match kept {
        0 => problem,
        // Sent again whole, those would stand there twice.
        kept => Problem {
            message: format!("{kept} of what was sent was kept, the rest was not: {}", problem.message),
            remedy: format!("{}; send again only what is not in the list", problem.remedy),
            ..problem
        },
    };
    while let Some(field) = sent.next_field().await.map_err(|e| after(kept, broken_off(&e, too_large)))? {
        if field.name() != Some("file") {
            continue;
        }
        let name = field.file_name().unwrap_or_default().to_owned();
        let bytes = field.bytes().await.map_err(|e| after(kept, broken_off(&e, too_large)))?;
        if bytes.is_empty() {
            continue;
        }
        let at = jiff::ZonedDateTime::now();
        desk.with_records(move |r| r.attach(id, &name, &bytes, &at)).await.map_err(|p| {
            // What the records refuse here is what was sent.
            let status = match p.status {
                StatusCode::CONFLICT => StatusCode::UNPROCESSABLE_ENTITY,
                status => status,
            };
            after(kept, Problem { status, ..p })
        })?;
        kept += 1;
    }
    if kept == 0 { Err(nothing()) } else { Ok(Redirect::to(&format!("/jobs/{id}#attached"))) }
}

fn too_large() -> Problem {
    Problem {
        status: StatusCode::PAYLOAD_TOO_LARGE,
        message: format!("this is larger than {} MB", LARGEST_ATTACHMENT / 1_000_000),
        remedy: "send a smaller picture or a shorter sound".to_owned(),
    }
}

async fn find(desk: &Arc<Desk>, job: JobId, number: i64) -> Result<Attachment, Problem> {
    let all = desk.with_records(move |r| r.attachments_of(job)).await?;
    let found = all.into_iter().find(|a| a.id.number() == number && a.erased.is_none());
    found.ok_or_else(|| Problem::not_there("such attachment in this job"))
}

async fn content(
    State(desk): State<Arc<Desk>>,
    Path((id, number)): Path<(JobId, i64)>,
) -> Result<Response, Problem> {
    let found = find(&desk, id, number).await?;
    let bytes = desk.with_records(move |r| r.content(AttachmentId::of(number))).await?;
    let bytes = bytes.ok_or_else(|| Problem::not_there("such attachment in this job"))?;
    let shown = SHOWN.contains(&found.media_type.as_str());
    let value =
        |text: &str| HeaderValue::from_str(text).map_err(|_| Problem::ours("the attachment cannot be sent"));
    let kind = if shown || found.kind == AttachmentKind::Sound {
        found.media_type.as_str()
    } else {
        "application/octet-stream"
    };
    let way = if shown { "inline" } else { "attachment" };
    let headers = [
        (header::CONTENT_TYPE, value(kind)?),
        (header::CONTENT_DISPOSITION, value(&format!("{way}; {}", file_name(&found.name)))?),
        (header::CONTENT_SECURITY_POLICY, value("default-src 'none'; sandbox")?),
        // The content of a number never changes; who may see it may.
        (header::CACHE_CONTROL, value("private, max-age=3600")?),
    ];
    Ok((headers, bytes).into_response())
}

/// A file's name in a header, plain and in full (RFC 6266, RFC 8187).
fn file_name(name: &str) -> String {
    let plain: String =
        name.chars().map(|c| if c.is_ascii_alphanumeric() || "._- ".contains(c) { c } else { '_' }).collect();
    format!("filename=\"{}\"; filename*=UTF-8''{}", plain.trim(), in_address(name))
}

async fn erase(
    State(desk): State<Arc<Desk>>,
    Path((id, number)): Path<(JobId, i64)>,
    Form(sent): Form<Sure>,
) -> Result<Redirect, Problem> {
    sent.needed("the file is to go")?;
    find(&desk, id, number).await?;
    let on = jiff::ZonedDateTime::now().date();
    desk.with_records(move |r| r.erase_attachment(AttachmentId::of(number), on)).await?;
    Ok(Redirect::to(&format!("/jobs/{id}#attached")))
}

#[cfg(test)]
mod tests {
    use super::file_name;

    #[test]
    fn a_name_stays_within_its_header() {
        let name = file_name("../über \"plate\"\r\nX: y.jpg");
        assert!(name.starts_with("filename=\".._") && !name.contains(['\r', '\n']), "{name}");
        assert_eq!(name.matches('"').count(), 2);
        assert!(name.ends_with("filename*=UTF-8''..%2F%C3%BCber%20%22plate%22%0D%0AX%3A%20y.jpg"), "{name}");
    }
}
