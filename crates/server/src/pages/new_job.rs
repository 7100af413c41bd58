//! A new job in three taps: New job, the machine, what is wrong with it. All else may follow.

use super::layout::{Layout, page};
use crate::desk::Desk;
use crate::problem::Problem;
use crate::who::Who;
use askama::Template;
use axum::extract::{Form, Path, State};
use axum::response::{IntoResponse, Redirect, Response};
use axum::routing::get;
use axum::{Extension, Router};
use records::{Customer, JobMachine, NewEntry, Says};
use serde::Deserialize;
use std::sync::Arc;

pub(super) fn routes() -> Router<Arc<Desk>> {
    Router::new().route("/new", get(which).post(open)).route("/new/{file}", get(what))
}

#[derive(Template)]
#[template(path = "new_which.html")]
struct Which {
    layout: Layout,
    machines: Vec<Choice>,
}

pub(super) struct Choice {
    pub(super) file: String,
    pub(super) name: String,
    pub(super) kind: String,
    pub(super) variants: Vec<String>,
}

/// The machine files that can be chosen.
pub(super) fn choices(desk: &Desk) -> Vec<Choice> {
    let choice = |f: crate::library::MachineFile| {
        let plate = &f.machine.as_ref()?.plate;
        Some(Choice {
            name: format!("{} {}", plate.maker, plate.model),
            kind: plate.kind.clone(),
            variants: plate.variants.clone(),
            file: f.name,
        })
    };
    desk.library.files().into_iter().filter_map(choice).collect()
}

async fn which(State(desk): State<Arc<Desk>>) -> Result<Response, Problem> {
    page(&Which { machines: choices(&desk), layout: Layout::of(&desk, "New job", "today") })
}

#[derive(Template)]
#[template(path = "new_what.html")]
struct What {
    layout: Layout,
    file: String,
    name: String,
    complaints: Vec<String>,
    /// Who asks may write down who the customer is.
    may_name: bool,
}

async fn what(
    State(desk): State<Arc<Desk>>,
    Extension(who): Extension<Who>,
    Path(file): Path<String>,
) -> Result<Response, Problem> {
    let (found, machine) = desk.library.usable(&file)?;
    let plate = &machine.plate;
    let complaints = machine.functions.iter().flat_map(|f| f.complaints.iter().cloned()).collect();
    page(&What {
        layout: Layout::of(&desk, "New job", "today"),
        name: format!("{} {}", plate.maker, plate.model),
        file: found.name,
        complaints,
        may_name: who.may_name_customers(),
    })
}

#[derive(Deserialize, Default)]
#[serde(default)]
struct Opened {
    file: String,
    complaint: String,
    words: String,
    name: String,
}

/// The machine of a job, from a file of the library.
pub(crate) fn machine_of(
    desk: &Desk,
    file: &str,
    variant: &str,
    serial: &str,
) -> Result<JobMachine, Problem> {
    let (found, machine) = desk.library.usable(file)?;
    if !variant.is_empty() && !machine.plate.variants.iter().any(|v| v == variant) {
        return Err(Problem::refused("the file has no such variant", "choose one of the list"));
    }
    Ok(JobMachine {
        maker: machine.plate.maker.clone(),
        model: machine.plate.model.clone(),
        variant: variant.to_owned(),
        serial: serial.trim().chars().take(100).collect(),
        file_name: found.name,
        file_text: found.text.to_string(),
    })
}

async fn open(
    State(desk): State<Arc<Desk>>,
    Extension(who): Extension<Who>,
    Form(sent): Form<Opened>,
) -> Result<Response, Problem> {
    if !sent.name.trim().is_empty() && !who.may_name_customers() {
        return Err(crate::guard::not_yours());
    }
    let machine = if sent.file.is_empty() { None } else { Some(machine_of(&desk, &sent.file, "", "")?) };
    let name: String = sent.name.trim().chars().take(200).collect();
    let customer = (!name.is_empty()).then(|| Customer { name, ..Customer::default() });
    let at = jiff::ZonedDateTime::now();
    let mut entries = Vec::new();
    if !sent.words.trim().is_empty() {
        entries.push(Says::Words { words: sent.words.trim().chars().take(2000).collect() });
    }
    if !sent.complaint.is_empty() && machine.is_some() {
        entries.push(Says::Complaint { complaint: sent.complaint.chars().take(200).collect() });
    }
    let id = desk
        .with_records(move |r| {
            let id = r.new_job(&at, customer.as_ref(), machine.as_ref())?;
            for (n, says) in entries.into_iter().enumerate() {
                r.append_by(
                    id,
                    &NewEntry { says, supersedes: None, at: at.clone(), key: format!("opened {n}") },
                    who.user(),
                )?;
            }
            Ok(id)
        })
        .await?;
    Ok(Redirect::to(&format!("/jobs/{id}")).into_response())
}
