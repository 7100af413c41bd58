//! People: who works with the bench, in which role.

use super::layout::{Layout, page};
use crate::desk::Desk;
use crate::login::{Gate, hashed};
use crate::problem::Problem;
use askama::Template;
use axum::extract::{Form, State};
use axum::http::header;
use axum::response::{IntoResponse, Redirect, Response};
use axum::routing::{get, post};
use axum::{Extension, Router};
use records::{Records, Role, User, UserId};
use serde::Deserialize;
use std::sync::Arc;

pub(super) fn routes() -> Router<Arc<Desk>> {
    Router::new()
        .route("/settings/people", get(show).post(add))
        .route("/settings/people/role", post(role))
        .route("/settings/people/passphrase", post(passphrase))
        .route("/settings/people/leave", post(leave))
}

#[derive(Template)]
#[template(path = "people.html")]
struct Page {
    layout: Layout,
    people: Vec<Person>,
    roles: Vec<(&'static str, &'static str)>,
}

struct Person {
    number: i64,
    name: String,
    role: &'static str,
}

/// What a role does.
fn does(role: Role) -> &'static str {
    match role {
        Role::Technician => "works on machines and answers for it; may do everything",
        Role::Office => "calls, customers, prices, data, people; no readings, no machine files",
        Role::Apprentice => "tests and measures; no customers, prices, settings or machine files",
    }
}

async fn show(State(desk): State<Arc<Desk>>) -> Result<Response, Problem> {
    let people = desk.with_records(Records::users).await?;
    let one = |u: User| Person { number: u.id.number(), name: u.name, role: u.role.name() };
    page(&Page {
        layout: Layout::of(&desk, "People", "settings"),
        people: people.into_iter().map(one).collect(),
        roles: Role::ALL.into_iter().map(|r| (r.name(), does(r))).collect(),
    })
}

#[derive(Deserialize, Default)]
#[serde(default)]
struct Sent {
    number: i64,
    name: String,
    role: String,
    passphrase: String,
}

impl Sent {
    fn role(&self) -> Result<Role, Problem> {
        Role::of(&self.role)
            .ok_or_else(|| Problem::refused("no such role is known", "choose one of the list"))
    }
}

/// The hash of a passphrase, where that holds nobody else up.
async fn hash(desk: &Desk, passphrase: String) -> Result<String, Problem> {
    desk.work(move || hashed(&passphrase)).await?
}

/// The first of the people is logged in at once: from now on the bench asks who comes.
async fn add(
    State(desk): State<Arc<Desk>>,
    Extension(gate): Extension<Arc<Gate>>,
    Form(sent): Form<Sent>,
) -> Result<Response, Problem> {
    let role = sent.role()?;
    let is_first = desk.with_records(Records::users).await?.is_empty();
    if is_first && role == Role::Apprentice {
        return Err(Problem::refused(
            "the first of the people cannot be an apprentice",
            "add yourself first, as technician or office: somebody must be able to change this page",
        ));
    }
    let passphrase = hash(&desk, sent.passphrase).await?;
    let (name, at) = (sent.name, jiff::ZonedDateTime::now());
    let id = desk.with_records(move |r| r.add_user(&name, role, &passphrase, &at)).await?;
    let mut answer = Redirect::to("/settings/people").into_response();
    if is_first {
        answer.headers_mut().insert(header::SET_COOKIE, gate.first_one(&desk, id).await?);
    }
    Ok(answer)
}

/// Somebody must stay who may change this page.
async fn somebody_stays(desk: &Arc<Desk>, without: i64) -> Result<(), Problem> {
    let people = desk.with_records(Records::users).await?;
    let others = people.iter().filter(|u| u.id.number() != without);
    if others.clone().next().is_none() || others.clone().any(|u| u.role != Role::Apprentice) {
        return Ok(());
    }
    Err(Problem::refused(
        "then only apprentices would be left, and nobody could change this page",
        "give another of the people the role technician or office first",
    ))
}

async fn role(State(desk): State<Arc<Desk>>, Form(sent): Form<Sent>) -> Result<Redirect, Problem> {
    let role = sent.role()?;
    if role == Role::Apprentice {
        let people = desk.with_records(Records::users).await?;
        if people.len() == 1 {
            return Err(Problem::refused("somebody must be technician or office", "add another first"));
        }
        somebody_stays(&desk, sent.number).await?;
    }
    desk.with_records(move |r| r.set_role(UserId::of(sent.number), role)).await?;
    Ok(Redirect::to("/settings/people"))
}

async fn passphrase(State(desk): State<Arc<Desk>>, Form(sent): Form<Sent>) -> Result<Redirect, Problem> {
    let passphrase = hash(&desk, sent.passphrase).await?;
    desk.with_records(move |r| r.set_passphrase(UserId::of(sent.number), &passphrase)).await?;
    Ok(Redirect::to("/settings/people"))
}

/// Who was the last to leave leaves the bench open again, to this computer only.
async fn leave(State(desk): State<Arc<Desk>>, Form(sent): Form<Sent>) -> Result<Redirect, Problem> {
    somebody_stays(&desk, sent.number).await?;
    let at = jiff::ZonedDateTime::now();
    desk.with_records(move |r| r.remove_user(UserId::of(sent.number), &at)).await?;
    Ok(Redirect::to("/settings/people"))
}
