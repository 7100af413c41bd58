//! Who may ask: only pages of the bench itself, under the name it is served as; and what browsers are told to hold to.

use crate::problem::Problem;
use axum::Router;
use axum::extract::{DefaultBodyLimit, Request};
use axum::http::{HeaderName, HeaderValue, Method, StatusCode, header};
use axum::middleware::{Next, from_fn};
use axum::response::{IntoResponse, Response};

/// Most that a request may bring, bytes.
const LARGEST_BODY: usize = 64 * 1024;

/// Nothing runs, shows or is asked for but what the bench itself sends.
const POLICY: &str = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; connect-src 'self'; \
                      form-action 'self'; base-uri 'none'; frame-ancestors 'none'";

/// How the bench is reached.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Door {
    /// From this computer only.
    ThisComputer,
}

/// Puts the guard before all routes.
pub(crate) fn before(routes: Router, door: Door) -> Router {
    let Door::ThisComputer = door;
    routes.layer(DefaultBodyLimit::max(LARGEST_BODY)).layer(from_fn(guard))
}

async fn guard(request: Request, next: Next) -> Response {
    let mut answer = match refusal(&request) {
        Some(problem) => problem.into_response(),
        None => next.run(request).await,
    };
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

/// Why this request is not answered.
fn refusal(request: &Request) -> Option<Problem> {
    let text = |name: HeaderName| request.headers().get(name).and_then(|v| v.to_str().ok());
    // Another site may point a name of its own at this computer; it cannot choose what the browser calls us.
    let host = text(header::HOST).or_else(|| request.uri().authority().map(|a| a.as_str())).unwrap_or_default();
    if !is_this_computer(host) {
        return Some(Problem {
            status: StatusCode::MISDIRECTED_REQUEST,
            message: "the bench is not served under this name".to_owned(),
            remedy: "open it as http://localhost with its port".to_owned(),
        });
    }
    let changes = !matches!(*request.method(), Method::GET | Method::HEAD);
    let from_elsewhere = match text(header::ORIGIN) {
        Some(origin) => origin.split_once("://").is_none_or(|(_, rest)| rest != host),
        None => text(HeaderName::from_static("sec-fetch-site")).is_some_and(|s| s != "same-origin" && s != "none"),
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
        for host in ["", "evil.example:8423", "localhost.evil.example", "192.168.1.4:80", "127.0.0.1.evil.example"] {
            assert!(!is_this_computer(host), "{host}");
        }
    }
}
