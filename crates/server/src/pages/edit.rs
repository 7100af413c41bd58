//! A machine file in the page: typed, checked, saved, begun from a kind, brought in from a file.

use super::layout::{Layout, in_address, page};
use super::machines::{Trouble, troubles};
use super::new_job::machine_of;
use crate::desk::Desk;
use crate::library::FileName;
use crate::problem::{Problem, broken_off};
use askama::Template;
use axum::Router;
use axum::extract::multipart::{Multipart, MultipartRejection};
use axum::extract::rejection::FormRejection;
use axum::extract::{DefaultBodyLimit, Form, Path, Query, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Redirect, Response};
use axum::routing::{get, post};
use machine::read::LARGEST_FILE;
use machine::templates;
use records::JobId;
use serde::Deserialize;
use std::sync::Arc;

/// What a form with a whole machine file may take: three bytes for one, where all is escaped.
const LARGEST_FORM: usize = 3 * LARGEST_FILE + 100_000;

pub(super) fn routes() -> Router<Arc<Desk>> {
    Router::new()
        .route("/machines/new", get(kinds).post(begin))
        .route("/machines/import", post(import).layer(DefaultBodyLimit::max(LARGEST_FILE + 100_000)))
        .route("/machines/{file}/edit", get(edit).post(save).layer(DefaultBodyLimit::max(LARGEST_FORM)))
}

#[derive(Template)]
#[template(path = "machine_edit.html")]
struct Edit {
    layout: Layout,
    file: String,
    own: bool,
    text: String,
    /// Names the text that the page began with.
    was: String,
    /// The job that it is written for; 0: none.
    job: JobId,
    troubles: Vec<Trouble>,
    errors: usize,
    saved: bool,
    /// Why it was not saved.
    refused: Option<Problem>,
}

#[derive(Deserialize, Default)]
#[serde(default)]
struct For {
    job: JobId,
    saved: bool,
}

async fn edit(
    State(desk): State<Arc<Desk>>,
    Path(file): Path<String>,
    Query(asked): Query<For>,
) -> Result<Response, Problem> {
    let found = desk.library.file(&file)?;
    let text = found.text.to_string();
    let was = name_of(&text);
    shown(&desk, found.name, found.own, text, was, asked, None).await
}

/// Names a text: FNV-1a, 64 bits, http://www.isthe.com/chongo/tech/comp/fnv/ (from memory).
fn name_of(text: &str) -> String {
    let hash = text
        .bytes()
        .fold(0xcbf2_9ce4_8422_2325_u64, |h, b| (h ^ u64::from(b)).wrapping_mul(0x0100_0000_01b3));
    format!("{hash:016x}")
}

async fn shown(
    desk: &Arc<Desk>,
    file: String,
    own: bool,
    text: String,
    was: String,
    asked: For,
    refused: Option<Problem>,
) -> Result<Response, Problem> {
    let checked = text.clone();
    let troubles = desk.work(move || troubles(&checked)).await?;
    page(&Edit {
        layout: Layout::of(desk, format!("{file}: the file"), "machines"),
        errors: troubles.iter().filter(|t| t.error).count(),
        file,
        own,
        text,
        was,
        job: asked.job,
        troubles,
        saved: asked.saved,
        refused,
    })
}

#[derive(Deserialize, Default)]
#[serde(default)]
struct Typed {
    text: String,
    was: String,
    job: JobId,
}

/// Saves what was typed, with errors in it or without. What cannot be saved stands in the page that says so.
async fn save(
    State(desk): State<Arc<Desk>>,
    Path(file): Path<String>,
    typed: Result<Form<Typed>, FormRejection>,
) -> Result<Response, Problem> {
    let Form(typed) = typed.map_err(|e| Problem {
        status: e.status(),
        message: format!("the text could not be read: {}", e.body_text()),
        remedy: format!(
            "go back, what you typed is still there; a machine file has {LARGEST_FILE} bytes at most"
        ),
    })?;
    let found = desk.library.file(&file)?;
    // A form sends its lines as a letter has them; files have them as Unix has.
    let text = typed.text.replace("\r\n", "\n");
    let asked = For { job: typed.job, saved: true };
    let was = name_of(&found.text);
    let refused = if text.len() > LARGEST_FILE {
        Some(Problem::refused(
            format!("a machine file may have {LARGEST_FILE} bytes, this has {}", text.len()),
            "take out what does not belong to the machine",
        ))
    } else if text.contains('\0') {
        Some(Problem::refused("there are characters in it that no text has", "type it again from there on"))
    } else if !typed.was.is_empty() && typed.was != was && text != *found.text {
        Some(Problem {
            status: StatusCode::CONFLICT,
            message: "the file was changed elsewhere while you typed".to_owned(),
            remedy: "look at it in another window; to put yours in its place, save again".to_owned(),
        })
    } else {
        None
    };
    if let Some(problem) = refused {
        let status = problem.status;
        let asked = For { saved: false, ..asked };
        let shown = shown(&desk, found.name, found.own, text, was, asked, Some(problem)).await?;
        return Ok((status, shown).into_response());
    }
    let (shared, name, kept) = (desk.clone(), found.name.clone(), text.clone());
    let saved = desk.work(move || shared.library.save(&name, &kept)).await?;
    if let Err(e) = saved {
        let problem = Problem {
            status: StatusCode::SERVICE_UNAVAILABLE,
            message: format!("it could not be saved: {e}"),
            remedy: "make room on the disk or mend the folder, and save again; copy the text out to be sure"
                .to_owned(),
        };
        let asked = For { saved: false, ..asked };
        let shown = shown(&desk, found.name, found.own, text, was, asked, Some(problem)).await?;
        return Ok((StatusCode::SERVICE_UNAVAILABLE, shown).into_response());
    }
    // Written for a job, it becomes the job's own as soon as it can be used.
    if typed.job > 0
        && let Ok(machine) = machine_of(&desk, &found.name, "", "")
    {
        let job = typed.job;
        let serial = desk.job(job).await?.machine.map_or(String::new(), |m| m.serial);
        let machine = records::JobMachine { serial, ..machine };
        desk.with_records(move |r| r.set_machine(job, &machine)).await?;
        return Ok(Redirect::to(&format!("/jobs/{job}#arrive")).into_response());
    }
    let job = if typed.job > 0 { format!("&job={}", typed.job) } else { String::new() };
    Ok(Redirect::to(&format!("/machines/{}/edit?saved=true{job}", in_address(&found.name))).into_response())
}

#[derive(Template)]
#[template(path = "machine_new.html")]
struct NewFile {
    layout: Layout,
    kinds: Vec<(&'static str, &'static str)>,
    job: JobId,
}

async fn kinds(State(desk): State<Arc<Desk>>, Query(asked): Query<For>) -> Result<Response, Problem> {
    page(&NewFile {
        layout: Layout::of(&desk, "A new machine file", "machines"),
        kinds: templates::ALL.iter().map(|t| (t.name, t.about)).collect(),
        job: asked.job,
    })
}

#[derive(Deserialize, Default)]
#[serde(default)]
struct Begun {
    kind: String,
    name: String,
    job: JobId,
}

async fn begin(State(desk): State<Arc<Desk>>, Form(begun): Form<Begun>) -> Result<Redirect, Problem> {
    let template = templates::by_name(&begun.kind)
        .ok_or_else(|| Problem::refused("no such kind is known", "choose one of the list"))?;
    let name = made(&desk, &begun.name, template.text).await?;
    let job = if begun.job > 0 { format!("?job={}", begun.job) } else { String::new() };
    Ok(Redirect::to(&format!("/machines/{name}/edit{job}")))
}

/// Makes a new file of one's own; gives its name.
async fn made(desk: &Arc<Desk>, words: &str, text: &str) -> Result<String, Problem> {
    let name = FileName::of(words).ok_or_else(|| {
        Problem::refused("the file needs a name", "go back and write maker and model, such as Tern 81")
    })?;
    let (shared, text) = (desk.clone(), text.to_owned());
    desk.work(move || {
        if shared.library.has(name.as_str()) {
            return Err(Problem::refused(
                format!("there is a file {} already", name.as_str()),
                "go back and give another name, or edit that one under Machines",
            ));
        }
        shared.library.save(name.as_str(), &text).map_err(|e| Problem {
            status: StatusCode::SERVICE_UNAVAILABLE,
            message: format!("it could not be saved: {e}"),
            remedy: "make room on the disk, or mend the folder, and try again".to_owned(),
        })?;
        Ok(name.as_str().to_owned())
    })
    .await?
}

/// A file from this device: kept as one's own, whatever is wrong in it; the page then shows what is.
async fn import(
    State(desk): State<Arc<Desk>>,
    sent: Result<Multipart, MultipartRejection>,
) -> Result<Redirect, Problem> {
    let no_file =
        || Problem::refused("no machine file was sent", "go back and choose a file that ends in .toml");
    let mut sent = sent.map_err(|_| no_file())?;
    while let Some(field) = sent.next_field().await.map_err(|e| broken_off(&e, too_large))? {
        if field.name() != Some("file") {
            continue;
        }
        let name = field.file_name().unwrap_or_default().to_owned();
        let bytes = field.bytes().await.map_err(|e| broken_off(&e, too_large))?;
        if bytes.is_empty() {
            return Err(no_file());
        }
        let text = String::from_utf8(bytes.to_vec()).ok().filter(|t| !t.contains('\0')).ok_or_else(|| {
            Problem::refused(
                "this is no text",
                "choose a machine file; it ends in .toml and is saved as UTF-8",
            )
        })?;
        let text = text.strip_prefix('\u{feff}').unwrap_or(&text).replace("\r\n", "\n");
        if text.len() > LARGEST_FILE {
            return Err(too_large());
        }
        let stem = name.rsplit(['/', '\\']).next().unwrap_or_default();
        let stem = stem.strip_suffix(".toml").unwrap_or(stem);
        let name = made(&desk, stem, &text).await?;
        return Ok(Redirect::to(&format!("/machines/{name}/edit")));
    }
    Err(no_file())
}

fn too_large() -> Problem {
    Problem {
        status: StatusCode::PAYLOAD_TOO_LARGE,
        message: format!("this is larger than any machine file ({LARGEST_FILE} bytes)"),
        remedy: "choose a machine file; it ends in .toml".to_owned(),
    }
}
