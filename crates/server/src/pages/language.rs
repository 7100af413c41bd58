//! The language of the pages: a language file is chosen, taken out, taken away; the template for a new one.

use crate::desk::Desk;
use crate::problem::{Problem, broken_off};
use crate::spoken::{self, Spoken, TEMPLATE, Unusable};
use axum::Router;
use axum::extract::multipart::{Multipart, MultipartRejection};
use axum::extract::{DefaultBodyLimit, State};
use axum::http::{HeaderValue, StatusCode, header};
use axum::response::{IntoResponse, Redirect, Response};
use axum::routing::{get, post};
use language::LARGEST;
use records::{LanguageFile, Records};
use std::sync::Arc;

pub(super) fn routes() -> Router<Arc<Desk>> {
    Router::new()
        .route("/settings/language", post(choose).layer(DefaultBodyLimit::max(LARGEST + 100_000)))
        .route("/settings/language/remove", post(remove))
        .route("/settings/language/template.pot", get(template))
        .route("/settings/language/file.po", get(chosen))
        .route("/phrases.js", get(of_scripts))
}

/// Longest name of a file that is kept, characters.
const LONGEST_NAME: usize = 80;

async fn choose(
    State(desk): State<Arc<Desk>>,
    sent: Result<Multipart, MultipartRejection>,
) -> Result<Redirect, Problem> {
    let no_file =
        || Problem::refused("no language file was sent", "go back and choose a file that ends in .po");
    let mut sent = sent.map_err(|_| no_file())?;
    while let Some(field) = sent.next_field().await.map_err(|e| broken_off(&e, too_large))? {
        if field.name() != Some("file") {
            continue;
        }
        let name = field.file_name().unwrap_or_default();
        let name = name.rsplit(['/', '\\']).next().unwrap_or_default();
        let name: String = name.chars().filter(|c| !c.is_control()).take(LONGEST_NAME).collect();
        let name = if name.is_empty() { "file.po".to_owned() } else { name };
        let bytes = field.bytes().await.map_err(|e| broken_off(&e, too_large))?;
        if bytes.is_empty() {
            return Err(no_file());
        }
        let (of, read) = (name.clone(), bytes.clone());
        let spoken = desk.work(move || spoken::read(&of, &read)).await?.map_err(refused)?;
        let text = String::from_utf8(bytes.to_vec()).map_err(|_| no_file())?;
        let file = LanguageFile { name, text };
        desk.with_records(move |r| r.keep_language_file(Some(&file))).await?;
        desk.language.speak(spoken);
        return Ok(Redirect::to("/settings#language"));
    }
    Err(no_file())
}

fn refused(why: Unusable) -> Problem {
    match why {
        Unusable::Refused(r) => Problem::refused(
            format!("line {}, column {} of the language file: {}", r.line, r.column, r.message),
            r.remedy,
        ),
        Unusable::NoLanguage => Problem::refused(
            "the header of the language file names no language",
            "write its code there, such as “Language: de”; a PO editor has a field for it",
        ),
    }
}

fn too_large() -> Problem {
    Problem {
        status: StatusCode::PAYLOAD_TOO_LARGE,
        message: format!("this is larger than a language file can be ({} MB)", LARGEST / 1_000_000),
        remedy: "send the PO file itself".to_owned(),
    }
}

async fn remove(State(desk): State<Arc<Desk>>) -> Result<Redirect, Problem> {
    desk.with_records(|r| r.keep_language_file(None)).await?;
    desk.language.speak(Spoken::default());
    Ok(Redirect::to("/settings#language"))
}

/// The template, to begin a translation with.
async fn template() -> Response {
    file("wattmend.pot", TEMPLATE.to_owned())
}

/// The file that is in use, to go on with it.
async fn chosen(State(desk): State<Arc<Desk>>) -> Result<Response, Problem> {
    let kept = desk.with_records(Records::language_file).await?;
    let kept = kept.ok_or_else(|| Problem::not_there("language file here"))?;
    Ok(file("language.po", kept.text))
}

fn file(name: &'static str, text: String) -> Response {
    let disposition = format!("attachment; filename=\"{name}\"");
    let disposition = HeaderValue::from_str(&disposition).unwrap_or(HeaderValue::from_static("attachment"));
    let kind = HeaderValue::from_static("text/x-gettext-translation; charset=utf-8");
    ([(header::CONTENT_TYPE, kind), (header::CONTENT_DISPOSITION, disposition)], text).into_response()
}

/// What scripts say, in the language of the pages; fetched by its version, so that it may be kept.
async fn of_scripts(State(desk): State<Arc<Desk>>) -> Response {
    let kind = HeaderValue::from_static("text/javascript; charset=utf-8");
    let keep = HeaderValue::from_static("max-age=31536000, immutable");
    let script = desk.language.now().script.clone();
    ([(header::CONTENT_TYPE, kind), (header::CACHE_CONTROL, keep)], script).into_response()
}
