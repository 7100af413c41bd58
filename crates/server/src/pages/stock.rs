//! Stock of the van: what it carries, how many, and how many there should be. Fitting a part takes one; here it is counted.

use super::layout::{Layout, page};
use crate::desk::Desk;
use crate::problem::{ForPrograms, Problem, answered};
use crate::visit::charge;
use crate::visit::keep::Fields;
use askama::Template;
use axum::extract::rejection::JsonRejection;
use axum::extract::{Form, State};
use axum::http::{HeaderMap, StatusCode};
use axum::response::{IntoResponse, Response};
use axum::routing::get;
use axum::{Json, Router};
use records::{Records, StockPart};
use serde::Deserialize;
use serde_json::json;
use std::collections::HashMap;
use std::sync::Arc;

pub(super) fn routes() -> Router<Arc<Desk>> {
    Router::new()
        .route("/stock", get(show).post(keep))
        .route("/api/stock", get(for_programs).post(keep_by_program))
}

#[derive(Template)]
#[template(path = "stock.html")]
struct Page {
    layout: Layout,
    parts: Vec<StockPart>,
    /// How many parts are short.
    short: usize,
    currency: String,
}

async fn show(State(desk): State<Arc<Desk>>) -> Result<Response, Problem> {
    let (mut parts, settings) = desk.with_records(|r| Ok((r.stock()?, r.settings()?))).await?;
    // What must be bought stands first.
    parts.sort_by_key(|p| !p.is_short());
    page(&Page {
        layout: Layout::of(&desk, "Stock of the van", "today"),
        short: parts.iter().filter(|p| p.is_short()).count(),
        parts,
        currency: charge::currency(&settings).map_or(String::new(), |c| c.code().to_owned()),
    })
}

/// A whole number; nothing typed is 0.
fn whole(what: &str, text: &str) -> Result<i64, Problem> {
    match text {
        "" => Ok(0),
        text => text.parse().map_err(|_| {
            Problem::refused(format!("{what}: `{text}` is no whole number"), "count pieces: 0, 1, 2 …")
        }),
    }
}

fn part_of(fields: &Fields) -> Result<StockPart, Problem> {
    Ok(StockPart {
        code: fields.text("code").to_owned(),
        what: fields.text("what-it-is").to_owned(),
        count: whole("how many there are", fields.text("count"))?,
        price: fields.text("price").to_owned(),
        least: whole("how many there should be", fields.text("least"))?,
    })
}

async fn keep_part(desk: &Arc<Desk>, part: StockPart) -> Result<(), Problem> {
    let settings = desk.with_records(Records::settings).await?;
    if !part.price.is_empty() {
        charge::currency(&settings)?.amount(&part.price).map_err(charge::refused("the price"))?;
    }
    let at = jiff::ZonedDateTime::now();
    let kept = desk.with_records(move |r| r.keep_part(&part, &at)).await;
    kept.map_err(|p| match p.status {
        // What the records refuse here is what was sent.
        StatusCode::CONFLICT => Problem { status: StatusCode::UNPROCESSABLE_ENTITY, ..p },
        _ => p,
    })
}

async fn keep(
    State(desk): State<Arc<Desk>>,
    headers: HeaderMap,
    Form(sent): Form<HashMap<String, String>>,
) -> Response {
    let fields = Fields(sent);
    let kept = async {
        match fields.text("what") {
            "remove" => {
                let code = fields.text("code").to_owned();
                desk.with_records(move |r| r.remove_part(&code)).await
            }
            _ => keep_part(&desk, part_of(&fields)?).await,
        }
    };
    answered(&headers, kept.await.map(|()| json!({ "saved": true })), "/stock")
}

async fn for_programs(State(desk): State<Arc<Desk>>) -> Result<Response, ForPrograms> {
    let parts = desk.with_records(Records::stock).await?;
    let one = |p: &StockPart| {
        json!({ "code": p.code, "what": p.what, "count": p.count, "price": p.price, "least": p.least,
            "short": p.is_short() })
    };
    Ok(Json(json!({ "parts": parts.iter().map(one).collect::<Vec<_>>() })).into_response())
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Sent {
    code: String,
    #[serde(default)]
    what: String,
    count: i64,
    #[serde(default)]
    price: String,
    #[serde(default)]
    least: i64,
}

async fn keep_by_program(
    State(desk): State<Arc<Desk>>,
    sent: Result<Json<Sent>, JsonRejection>,
) -> Result<Response, ForPrograms> {
    let Sent { code, what, count, price, least } = crate::api::json_body(sent)?;
    keep_part(&desk, StockPart { code, what, count, price, least }).await?;
    Ok((StatusCode::CREATED, Json(json!({ "saved": true }))).into_response())
}
