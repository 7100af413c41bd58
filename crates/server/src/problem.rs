//! What a page or a program is told when something cannot be done: as a page, or as problem details (RFC 9457).

use crate::pages::layout;
use axum::Json;
use axum::extract::multipart::MultipartError;
use axum::http::{HeaderMap, HeaderValue, StatusCode, header};
use axum::response::{IntoResponse, Redirect, Response};
use records::RecordsError;
use serde_json::{Value, json};

/// What is wrong, and what to do.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Problem {
    pub(crate) status: StatusCode,
    /// What is wrong.
    pub(crate) message: String,
    /// What to do.
    pub(crate) remedy: String,
}

impl Problem {
    /// What was sent cannot be taken so.
    pub(crate) fn refused(message: impl Into<String>, remedy: impl Into<String>) -> Problem {
        Problem { status: StatusCode::UNPROCESSABLE_ENTITY, message: message.into(), remedy: remedy.into() }
    }

    /// There is no such thing.
    pub(crate) fn not_there(what: &str) -> Problem {
        Problem {
            status: StatusCode::NOT_FOUND,
            message: format!("there is no {what}"),
            remedy: "go back to Today and choose again".to_owned(),
        }
    }

    /// Something failed on our side.
    pub(crate) fn ours(message: impl Into<String>) -> Problem {
        Problem {
            status: StatusCode::INTERNAL_SERVER_ERROR,
            message: message.into(),
            remedy: "this is a bug in Wattmend; what was said to be saved is saved".to_owned(),
        }
    }

    /// As problem details.
    pub(crate) fn details(&self) -> Response {
        let body = json!({
            "type": "about:blank",
            "title": self.message,
            "status": self.status.as_u16(),
            "detail": format!("{}; {}", self.message, self.remedy),
            "remedy": self.remedy,
        });
        let kind = HeaderValue::from_static("application/problem+json");
        (self.status, [(header::CONTENT_TYPE, kind)], body.to_string()).into_response()
    }
}

/// Why a file that was being sent is not there: too large for the route, or broken off.
pub(crate) fn broken_off(e: &MultipartError, too_large: impl FnOnce() -> Problem) -> Problem {
    if e.status() == StatusCode::PAYLOAD_TOO_LARGE {
        return too_large();
    }
    Problem { status: e.status(), message: e.body_text(), remedy: "send it again".to_owned() }
}

/// Does who asks read JSON? A script of our pages says so; a form without script does not.
pub(crate) fn wants_json(headers: &HeaderMap) -> bool {
    headers.get(header::ACCEPT).and_then(|v| v.to_str().ok()).is_some_and(|a| a.contains("json"))
}

/// The answer to a form: for a script of our pages what was done, else the page to go on with; or the problem, as its asker reads it.
pub(crate) fn answered(headers: &HeaderMap, done: Result<Value, Problem>, to: &str) -> Response {
    match (done, wants_json(headers)) {
        (Ok(done), true) => Json(done).into_response(),
        (Ok(_), false) => Redirect::to(to).into_response(),
        (Err(problem), true) => ForPrograms(problem).into_response(),
        (Err(problem), false) => problem.into_response(),
    }
}

impl From<RecordsError> for Problem {
    fn from(e: RecordsError) -> Problem {
        let status = if e.may_pass { StatusCode::SERVICE_UNAVAILABLE } else { StatusCode::CONFLICT };
        Problem { status, message: e.message, remedy: e.remedy }
    }
}

impl From<diagnosis::evidence::NotUnderstood> for Problem {
    fn from(e: diagnosis::evidence::NotUnderstood) -> Problem {
        Problem::refused(e.message, e.remedy)
    }
}

/// A page that says so.
impl IntoResponse for Problem {
    fn into_response(self) -> Response {
        (self.status, layout::problem(&self)).into_response()
    }
}

/// The same for a program.
pub(crate) struct ForPrograms(pub(crate) Problem);

impl From<Problem> for ForPrograms {
    fn from(problem: Problem) -> Self {
        ForPrograms(problem)
    }
}

impl From<RecordsError> for ForPrograms {
    fn from(e: RecordsError) -> Self {
        ForPrograms(e.into())
    }
}

impl IntoResponse for ForPrograms {
    fn into_response(self) -> Response {
        self.0.details()
    }
}
