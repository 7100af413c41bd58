//! What all pages share.

use crate::assets;
use crate::desk::Desk;
use crate::problem::Problem;
use crate::who::ASKS;
use askama::Template;
use axum::response::{Html, IntoResponse, Response};

/// Head and foot of a page.
pub(crate) struct Layout {
    pub(crate) title: String,
    /// Which of the four places this is: today, machines, settings, or none.
    pub(crate) place: &'static str,
    pub(crate) demo: bool,
    pub(crate) version: String,
    /// Who is logged in, for the scripts; empty: nobody.
    pub(crate) who: String,
    /// Version of the phrases of the scripts; empty: they speak English.
    pub(crate) phrases: String,
}

impl Layout {
    pub(crate) fn of(desk: &Desk, title: impl Into<String>, place: &'static str) -> Layout {
        let phrases = desk.language.now().version.clone();
        Layout {
            title: title.into(),
            place,
            demo: desk.demo,
            version: assets::version(),
            who: who(),
            phrases,
        }
    }
}

fn who() -> String {
    ASKS.try_with(Clone::clone).unwrap_or_default()
}

/// A page from its template.
pub(crate) fn page(template: &impl Template) -> Result<Response, Problem> {
    let html = template.render().map_err(|e| Problem::ours(format!("the page cannot be written: {e}")))?;
    Ok(Html(html).into_response())
}

#[derive(Template)]
#[template(path = "problem.html")]
struct ProblemPage<'p> {
    layout: Layout,
    problem: &'p Problem,
}

/// A page that says what is wrong and what to do.
pub(crate) fn problem(problem: &Problem) -> Html<String> {
    let title = "Not so".to_owned();
    let layout = Layout {
        title,
        place: "",
        demo: false,
        version: assets::version(),
        who: who(),
        phrases: String::new(),
    };
    Html(ProblemPage { layout, problem }.render().unwrap_or_else(|_| problem.status.to_string()))
}

/// A name as it stands in an address.
pub(crate) fn in_address(name: &str) -> String {
    let plain = |b: u8| b.is_ascii_alphanumeric() || b"-._~".contains(&b);
    name.bytes()
        .map(|b| if plain(b) { char::from(b).to_string() } else { format!("%{b:02X}") })
        .collect::<Vec<_>>()
        .concat()
}

/// A time as one reads it: `25 Nov 15:42`.
pub(crate) fn short_time(at: &str) -> String {
    at.parse::<jiff::ZonedDateTime>()
        .map_or_else(|_| at.to_owned(), |t| t.strftime("%-d %b %H:%M").to_string())
}
