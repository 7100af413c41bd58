//! A visit by forms, as far as several tests walk it.

use super::{Bench, HOST, form};
use axum::body::Body;
use axum::http::{Request, StatusCode, header};

pub const TERN: &str = "aldermere-tern-81";
pub const PASS: &str = "kettle barnacle violin";

/// A bench whose owner said what work costs and by what is tested.
pub async fn bench() -> Bench {
    let bench = Bench::new();
    let settings = [
        ("power-meter", "on"),
        ("multimeter", "on"),
        ("rate", "60"),
        ("currency", "eur"),
        ("minimum", "45"),
        ("travel", "25"),
        ("mark-up", "25"),
        ("tax-name", "VAT"),
        ("tax", "20"),
        ("standard", "en"),
        ("tester", "tester 7"),
        ("accuracy", "earth bond=5% 0R02\ninsulation=5% 0R"),
    ];
    let (status, _, page) = bench.post("/settings", &form(&settings)).await;
    assert_eq!(status, StatusCode::SEE_OTHER, "{page}");
    bench
}

/// Opens a job and finds that the heating element is open.
pub async fn found(bench: &Bench) -> String {
    let new = form(&[("file", TERN), ("complaint", "washes cold"), ("name", "Net Loft")]);
    let (_, head, _) = bench.post("/new", &new).await;
    let job = head[header::LOCATION].to_str().unwrap().to_owned();
    for said in [
        "what=supply&value=238",
        "what=step&step=warm&watts=31",
        "what=check&check=ohms+element.1+element.2+off+element.1&answer=OL",
    ] {
        let (status, _, page) = bench.post(&format!("{job}/say"), said).await;
        assert_eq!(status, StatusCode::SEE_OTHER, "{page}");
    }
    job
}

/// Sends a form to a fold; the answer must be as wanted. Gives the fold as it is then, or what was refused.
pub async fn send(
    bench: &Bench,
    job: &str,
    fold: &str,
    fields: &[(&str, &str)],
    wanted: StatusCode,
) -> String {
    let (status, _, page) = bench.post(&format!("{job}/{fold}"), &form(fields)).await;
    assert_eq!(status, wanted, "{fold} {fields:?}: {page}");
    if status != StatusCode::SEE_OTHER {
        return page;
    }
    bench.get(&format!("{job}/{}", if fold == "sign" { "prove" } else { fold })).await.1
}

/// The text after `begin` up to `end`.
pub fn between<'t>(text: &'t str, begin: &str, end: &str) -> Option<&'t str> {
    let rest = &text[text.find(begin)? + begin.len()..];
    rest.get(..rest.find(end)?)
}

/// What the page asks for next, and whether it is measured.
pub fn asked(page: &str) -> Option<(String, bool)> {
    let next = between(page, "aria-label=\"Next test\"", "</section>")?;
    assert!(next.contains("Caution."), "{next}");
    assert!(next.find("Caution.").unwrap() < next.find("<button").unwrap(), "the caution stands above");
    let of = between(next, "name=\"of\" value=\"", "\"")?;
    Some((of.to_owned(), next.contains("name=\"value\"")))
}

/// Answers all that the page asks for, well, until it asks for nothing more.
pub async fn prove_all(bench: &Bench, job: &str) -> String {
    let mut page = bench.get(&format!("{job}/prove")).await.1;
    for _ in 0..30 {
        let Some((of, measured)) = asked(&page) else { return page };
        let should = |step: &str| {
            let place = between(&page, &format!("step {step}: "), "</li>").unwrap();
            between(place, "Should read ", " ±").unwrap().replace('\u{a0}', " ")
        };
        let shown = match of.as_str() {
            "protective conductor resistance" => "0R09".to_owned(),
            "insulation resistance" => ">299M".to_owned(),
            "protective conductor current" => "0.4 mA".to_owned(),
            _ if measured => should(of.strip_prefix("step ").unwrap()),
            _ => "pass".to_owned(),
        };
        let field = if measured { "value" } else { "answer" };
        let reading =
            [("what", "safety"), ("of", of.as_str()), (field, shown.as_str()), ("tester", "tester 7")];
        page = send(bench, job, "prove", &reading, StatusCode::SEE_OTHER).await;
    }
    panic!("it asks without end: {page}");
}

pub async fn ask(
    bench: &Bench,
    cookie: &str,
    path: &str,
    fields: &[(&str, &str)],
) -> (StatusCode, String, String) {
    let request = if fields.is_empty() { Request::get(path) } else { Request::post(path) };
    let request = request
        .header(header::HOST, HOST)
        .header(header::COOKIE, cookie)
        .header(header::CONTENT_TYPE, "application/x-www-form-urlencoded");
    let (status, head, page) = bench.ask(request.body(Body::from(form(fields))).unwrap()).await;
    let set = head.get(header::SET_COOKIE).map_or("", |c| c.to_str().unwrap());
    (status, set.split(';').next().unwrap_or_default().to_owned(), page)
}
