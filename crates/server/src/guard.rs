//! Who may ask: only pages of the bench itself, under the name it is served as; and what browsers are told to hold to.

use crate::desk::Desk;
use crate::login::{self, Gate, Lock};
use crate::problem::{ForPrograms, Problem};
use crate::who::{ASKS, Who};
use axum::extract::{DefaultBodyLimit, MatchedPath, Request, State};
use axum::http::{HeaderName, HeaderValue, Method, StatusCode, header};
use axum::middleware::{Next, from_fn_with_state};
use axum::response::{IntoResponse, Redirect, Response};
use axum::{Extension, Router};
use language::Book;
use std::sync::Arc;

/// Most that a request may bring, bytes.
const LARGEST_BODY: usize = 64 * 1024;

/// Nothing runs, shows or is asked for but what the bench itself sends.
const POLICY: &str = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; media-src 'self'; connect-src 'self'; \
                      form-action 'self'; base-uri 'none'; frame-ancestors 'none'";

/// With what a page's script sends later than it was typed: who was logged in then.
const TYPED_BY: HeaderName = HeaderName::from_static("wattmend-typed-by");

/// How the bench is reached.
#[derive(Clone)]
pub enum Door {
    /// From this computer only.
    ThisComputer,
    /// From the network, by who knows the passphrase.
    Network(Arc<Lock>),
}

/// Puts the guard before all routes. `secure`: what is sent is encrypted.
pub(crate) fn before(routes: Router, desk: Arc<Desk>, door: Door, secure: bool) -> Router {
    let lock = match &door {
        Door::ThisComputer => None,
        Door::Network(lock) => Some(lock.clone()),
    };
    let gate = Arc::new(Gate::new(lock, secure));
    routes
        .layer(DefaultBodyLimit::max(LARGEST_BODY))
        .layer(Extension(gate.clone()))
        .layer(from_fn_with_state(Watch { desk, gate, door }, guard))
}

/// What the guard looks at.
#[derive(Clone)]
struct Watch {
    desk: Arc<Desk>,
    gate: Arc<Gate>,
    door: Door,
}

async fn guard(State(watch): State<Watch>, request: Request, next: Next) -> Response {
    let for_programs = is_for_programs(&request);
    let language = watch.desk.language.now();
    let refused = |problem: Problem| {
        if for_programs { ForPrograms(problem).into_response() } else { problem.into_response() }
    };
    let mut answer = match let_in(&watch, request).await {
        Ok(request) => {
            let asks = request.extensions().get().map_or(String::new(), Who::key);
            in_our_words(ASKS.scope(asks, next.run(request)).await, for_programs).await
        }
        Err(Stopped::Shut { is_page: true }) => Redirect::to("/login").into_response(),
        Err(Stopped::Shut { is_page: false }) => refused(Problem {
            status: StatusCode::UNAUTHORIZED,
            message: "you are not logged in".to_owned(),
            remedy: "open the page and log in; what was typed is still there".to_owned(),
        }),
        Err(Stopped::Refused(problem)) => refused(problem),
    };
    answer = in_their_language(answer, &language.book, for_programs).await;
    let headers = answer.headers_mut();
    let mut say = |name: HeaderName, value: &'static str| {
        headers.entry(name).or_insert(HeaderValue::from_static(value));
    };
    say(header::CONTENT_SECURITY_POLICY, POLICY);
    say(header::X_CONTENT_TYPE_OPTIONS, "nosniff");
    say(header::REFERRER_POLICY, "same-origin");
    say(header::CACHE_CONTROL, "no-store");
    answer
}

/// Why a request goes no further.
enum Stopped {
    /// Nobody is logged in.
    Shut {
        is_page: bool,
    },
    Refused(Problem),
}

/// The request, with who sent it, if it may go on.
async fn let_in(watch: &Watch, mut request: Request) -> Result<Request, Stopped> {
    if let Some(problem) = refusal(&watch.door, &request) {
        return Err(Stopped::Refused(problem));
    }
    if login::is_open(request.uri().path()) {
        return Ok(request);
    }
    let who = watch.gate.who(&watch.desk, request.headers()).await.map_err(Stopped::Refused)?;
    let is_page = *request.method() == Method::GET && !is_for_programs(&request);
    let who = who.ok_or(Stopped::Shut { is_page })?;
    if request.headers().get(TYPED_BY).is_some_and(|by| by.as_bytes() != who.key().as_bytes()) {
        return Err(Stopped::Refused(Problem {
            status: StatusCode::UNAUTHORIZED,
            message: "somebody else is logged in by now".to_owned(),
            remedy: "log in again; what was typed is still there".to_owned(),
        }));
    }
    let address = request.extensions().get::<MatchedPath>().map_or("", MatchedPath::as_str);
    if !who.may(request.method(), address) {
        return Err(Stopped::Refused(not_yours()));
    }
    request.extensions_mut().insert(who);
    Ok(request)
}

/// What who may not do something is told.
pub(crate) fn not_yours() -> Problem {
    Problem {
        status: StatusCode::FORBIDDEN,
        message: "your role in the firm does not do this".to_owned(),
        remedy: "ask a technician; roles stand in Settings, under People".to_owned(),
    }
}

fn is_for_programs(request: &Request) -> bool {
    request.uri().path().starts_with("/api/")
}

/// Longest refusal of the router that is looked at, bytes.
const LONGEST_REFUSAL: usize = 4096;

/// What the router itself refuses (no such page, a method that is not there, a body or a path that cannot be read) comes as
/// bare text or as nothing: it is put into a page or into problem details as all else.
async fn in_our_words(answer: Response, for_programs: bool) -> Response {
    let status = answer.status();
    let kind = answer.headers().get(header::CONTENT_TYPE).and_then(|v| v.to_str().ok()).unwrap_or_default();
    let bare = kind.is_empty() || kind.starts_with("text/plain");
    if !(status.is_client_error() || status.is_server_error()) || !bare {
        return answer;
    }
    let allowed = answer.headers().get(header::ALLOW).cloned();
    let said = axum::body::to_bytes(answer.into_body(), LONGEST_REFUSAL).await.unwrap_or_default();
    let said = String::from_utf8_lossy(&said);
    let (message, remedy) = match status {
        StatusCode::BAD_REQUEST if said.starts_with("Invalid URL") => {
            ("the bench has no such address", "go back to Today and choose again")
        }
        StatusCode::NOT_FOUND => ("there is no such page", "go back to Today and choose again"),
        StatusCode::METHOD_NOT_ALLOWED => ("this cannot be done here", "use the bench's own pages"),
        StatusCode::PAYLOAD_TOO_LARGE => ("this is too large", "send less"),
        StatusCode::UNSUPPORTED_MEDIA_TYPE => {
            ("this was sent as the wrong type", "use the bench's own pages")
        }
        _ => (if said.is_empty() { "this could not be read" } else { &*said }, "go back and try again"),
    };
    let remedy = if for_programs { "see /api/openapi.json" } else { remedy };
    let problem = Problem { status, message: message.to_owned(), remedy: remedy.to_owned() };
    let mut answer =
        if for_programs { ForPrograms(problem).into_response() } else { problem.into_response() };
    if let Some(allowed) = allowed {
        answer.headers_mut().insert(header::ALLOW, allowed);
    }
    answer
}

/// A page in the language that was chosen; and, for the scripts of a page, what is wrong and what to do. Programs are told English.
async fn in_their_language(answer: Response, book: &Book, for_programs: bool) -> Response {
    let kind = answer.headers().get(header::CONTENT_TYPE).and_then(|v| v.to_str().ok()).unwrap_or_default();
    let is_page = kind.starts_with("text/html");
    let is_problem = kind.starts_with("application/problem+json") && !for_programs && !book.is_empty();
    if !is_page && !is_problem {
        return answer;
    }
    let (mut head, body) = answer.into_parts();
    // A page is whole in memory: nothing of it can break off.
    let body = axum::body::to_bytes(body, usize::MAX).await.unwrap_or_default();
    let text = String::from_utf8_lossy(&body);
    let said = if is_page { book.page(&text) } else { problem_in(book, &text) };
    head.headers.remove(header::CONTENT_LENGTH);
    Response::from_parts(head, said.into())
}

/// Problem details, with what people read in the language of the book.
fn problem_in(book: &Book, details: &str) -> String {
    let Ok(mut details) = serde_json::from_str::<serde_json::Value>(details) else {
        return details.to_owned();
    };
    for key in ["title", "remedy"] {
        if let Some(said) = details[key].as_str().and_then(|text| book.say(text)) {
            details[key] = said.into();
        }
    }
    details.to_string()
}

/// Why this request is not answered.
fn refusal(door: &Door, request: &Request) -> Option<Problem> {
    let text = |name: HeaderName| request.headers().get(name).and_then(|v| v.to_str().ok());
    // Another site may point a name of its own at this computer; it cannot choose what the browser calls us.
    let host = text(header::HOST)
        .or_else(|| request.uri().authority().map(axum::http::uri::Authority::as_str))
        .unwrap_or_default();
    if matches!(door, Door::ThisComputer) && !is_this_computer(host) {
        return Some(Problem {
            status: StatusCode::MISDIRECTED_REQUEST,
            message: "the bench is not served under this name".to_owned(),
            remedy: "open it as http://localhost with its port".to_owned(),
        });
    }
    let changes = !matches!(*request.method(), Method::GET | Method::HEAD);
    let from_elsewhere = match text(header::ORIGIN) {
        Some(origin) => origin.split_once("://").is_none_or(|(_, rest)| rest != host),
        None => {
            text(HeaderName::from_static("sec-fetch-site")).is_some_and(|s| s != "same-origin" && s != "none")
        }
    };
    (changes && from_elsewhere).then(|| Problem {
        status: StatusCode::FORBIDDEN,
        message: "another site tried to write into the bench".to_owned(),
        remedy: "write on the bench's own pages".to_owned(),
    })
}

fn is_this_computer(host: &str) -> bool {
    let name = match host.strip_prefix('[') {
        Some(v6) => v6.split(']').next().unwrap_or_default(),
        None => host.rsplit_once(':').map_or(host, |(name, _)| name),
    };
    name.eq_ignore_ascii_case("localhost")
        || name.parse::<std::net::IpAddr>().is_ok_and(|address| address.is_loopback())
}

#[cfg(test)]
mod tests {
    use super::is_this_computer;

    #[test]
    fn only_names_of_this_computer() {
        for host in ["localhost:8423", "127.0.0.1:8423", "[::1]:8423", "LOCALHOST", "127.0.0.1"] {
            assert!(is_this_computer(host), "{host}");
        }
        for host in
            ["", "evil.example:8423", "localhost.evil.example", "192.168.1.4:80", "127.0.0.1.evil.example"]
        {
            assert!(!is_this_computer(host), "{host}");
        }
    }
}
