//! Your firm, as it stands on records and invoices.

use super::layout::{Layout, page};
use super::papers;
use crate::desk::Desk;
use crate::problem::Problem;
use crate::visit::closing::country;
use crate::visit::keep::Fields;
use askama::Template;
use axum::Router;
use axum::extract::{Form, State};
use axum::response::{Redirect, Response};
use axum::routing::get;
use records::{FirmFacts, Records};
use std::collections::HashMap;
use std::sync::Arc;

pub(super) fn routes() -> Router<Arc<Desk>> {
    Router::new().route("/settings/firm", get(show).post(keep))
}

/// Longest text of a field, characters.
const LONGEST: usize = 300;

#[derive(Template)]
#[template(path = "firm.html")]
struct Page {
    layout: Layout,
    firm: FirmFacts,
    /// Where fonts are laid, which are there, and which files there are none.
    folder: String,
    fonts: Vec<String>,
    no_fonts: Vec<String>,
}

async fn show(State(desk): State<Arc<Desk>>) -> Result<Response, Problem> {
    let firm = desk.with_records(Records::firm).await?;
    let fonts = desk.fonts();
    let folder = fonts.folder().display().to_string();
    let found = desk.work(move || fonts.read()).await?;
    page(&Page {
        layout: Layout::of(&desk, "Your firm", "settings"),
        firm,
        folder,
        fonts: found.files.into_iter().map(|f| f.0).collect(),
        no_fonts: found.not_taken,
    })
}

async fn keep(
    State(desk): State<Arc<Desk>>,
    Form(sent): Form<HashMap<String, String>>,
) -> Result<Redirect, Problem> {
    let fields = Fields(sent);
    let text = |name: &str| fields.text(name).chars().take(LONGEST).collect::<String>();
    let firm = FirmFacts {
        name: text("name"),
        technician: text("technician"),
        street: text("street"),
        postcode: text("postcode"),
        town: text("town"),
        country: text("country").to_uppercase(),
        phone: text("phone"),
        email: text("email"),
        vat: text("vat"),
        registration: text("registration"),
        account: text("account"),
        terms: text("terms"),
        untaxed: text("untaxed"),
        warranty: text("warranty"),
        paper: text("paper"),
    };
    country(&firm.country)?;
    papers::paper("", &firm)?;
    desk.with_records(move |r| r.keep_firm(&firm)).await?;
    Ok(Redirect::to("/settings/firm"))
}
