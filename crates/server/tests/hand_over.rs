//! Hand over: the record as page and files, the act that closes the job, corrections; and the stock of the van.
#![allow(missing_docs, clippy::unwrap_used, reason = "a test")]

mod support;

use axum::http::StatusCode;
use support::visit::{PASS, ask, bench, between, found, prove_all, send};
use support::{Bench, form};

/// A firm, with all that an invoice needs.
async fn firm(bench: &Bench) {
    let firm = [
        ("name", "Holt Repairs"),
        ("technician", "Mara Holt"),
        ("street", "12 Quay Street"),
        ("country", "ie"),
        ("vat", "IE1234567T"),
        ("terms", "within 14 days"),
        ("warranty", "12 months on parts and work"),
        ("paper", "a4"),
    ];
    let (status, _, page) = bench.post("/settings/firm", &form(&firm)).await;
    assert_eq!(status, StatusCode::SEE_OTHER, "{page}");
    assert!(bench.get("/settings/firm").await.1.contains("value=\"IE\""));
}

/// A job whose element was changed, agreed on before, and proved after.
async fn mended(bench: &Bench) -> String {
    let job = found(bench).await;
    let agreed = [
        ("what", "decide"),
        ("offer", "131.00 EUR: a new element"),
        ("name", "A. Net"),
        ("decision", "agreed"),
        ("tick", "yes"),
        ("parts", "element"),
    ];
    send(bench, &job, "agree", &agreed, StatusCode::SEE_OTHER).await;
    let fitted = [
        ("what", "fitted"),
        ("part", "element"),
        ("done", "fitted"),
        ("order", "AL-2041"),
        ("serial", "77"),
        ("old", "OL"),
    ];
    send(bench, &job, "mend", &fitted, StatusCode::SEE_OTHER).await;
    job
}

async fn signed(bench: &Bench, job: &str) {
    let page = prove_all(bench, job).await;
    let report = between(&page, "name=\"report\" value=\"", "\"").unwrap().to_owned();
    send(bench, job, "sign", &[("report", &report), ("name", "Ann")], StatusCode::SEE_OTHER).await;
}

async fn page(bench: &Bench, job: &str) -> String {
    let (status, page) = bench.get(&format!("{job}/hand-over")).await;
    assert_eq!(status, StatusCode::OK, "{page}");
    page
}

/// The number of the newest entry, as the form of the act holds it.
fn after(page: &str) -> String {
    between(page, "name=\"after\" value=\"", "\"").unwrap().to_owned()
}

async fn post(bench: &Bench, path: &str, fields: &[(&str, &str)], wanted: StatusCode) -> String {
    let (status, _, body) = bench.post(path, &form(fields)).await;
    assert_eq!(status, wanted, "{path} {fields:?}: {body}");
    body
}

#[tokio::test]
async fn what_is_missing_is_said_with_the_way_to_it_and_nothing_is_handed_over_unproved() {
    let bench = Bench::new();
    let (_, head, _) = bench.post("/new", "").await;
    let job = head.get("location").map_or("/jobs/1", |l| l.to_str().unwrap()).to_owned();
    let job = if job.starts_with("/jobs/") { job } else { "/jobs/1".to_owned() };
    if bench.get(&job).await.0 == StatusCode::NOT_FOUND {
        bench.post_json("/api/jobs", "{}").await;
    }
    let shown = page(&bench, &job).await;
    for (missing, way) in [
        ("No firm is written down", "/settings/firm"),
        ("nobody named yet", "#arrive"),
        ("Nothing for sure", "#find"),
        ("Nobody was asked", "#agree"),
        ("Nothing is written down", "#mend"),
        ("Nothing was tested", "#prove"),
        ("It has no price", "#price"),
        ("Nothing is said of it", "#words"),
    ] {
        assert!(shown.contains(missing) && shown.contains(way), "{missing}: {shown}");
    }
    assert!(shown.contains("Not to be handed over yet") && !shown.contains("name=\"after\""), "{shown}");
    let act = [("after", "0"), ("sure", "yes"), ("name", "Ann")];
    let said = post(&bench, &format!("{job}/handed-over"), &act, StatusCode::UNPROCESSABLE_ENTITY).await;
    assert!(said.contains("safety test is not complete"), "{said}");
    // A written reason: it goes back, and says on paper that it is not shown to be safe.
    let reason = [("reason", "declined, nothing was opened")];
    post(&bench, &format!("{job}/hand-over"), &reason, StatusCode::SEE_OTHER).await;
    let shown = page(&bench, &job).await;
    assert!(
        shown.contains("Not shown to be safe") && shown.contains("declined, nothing was opened"),
        "{shown}"
    );
    let after = after(&shown);
    let act = [("after", after.as_str()), ("sure", "yes"), ("name", "Ann")];
    post(&bench, &format!("{job}/handed-over"), &act, StatusCode::SEE_OTHER).await;
    assert!(page(&bench, &job).await.contains("✓ Handed over by Ann"));
}

#[tokio::test]
async fn the_record_is_a_page_and_files_of_every_kind() {
    let bench = bench().await;
    firm(&bench).await;
    let job = mended(&bench).await;
    signed(&bench, &job).await;
    let shown = page(&bench, &job).await;
    // Minutes are planned, the part has no price yet: nothing is guessed.
    assert!(shown.contains("element (element)") || shown.contains("has no price"), "{shown}");
    let (status, _, _) = bench.file(&format!("{job}/papers/invoice.xml")).await;
    assert_eq!(status, StatusCode::UNPROCESSABLE_ENTITY);
    let words = [
        ("price-element", "38,00"),
        ("advice", "Use less powder.\nClean the filter monthly."),
        ("warranty", "12 months"),
        ("next-due", "2027-11-28"),
        ("invoice", "R-88"),
        ("paid", "50"),
        ("paid-by", "card"),
        ("follow-up", "2027-01-12T09:30"),
        ("follow-up-what", "look at the hose"),
    ];
    post(&bench, &format!("{job}/hand-over"), &words, StatusCode::SEE_OTHER).await;
    let shown = page(&bench, &job).await;
    // 38 with a quarter on top is 47.50.
    for part in [
        "Holt Repairs",
        "Net Loft",
        "Aldermere Tern 81",
        "element",
        "AL-2041",
        "serial number 77",
        "OL",
        "47.50",
        "Still open",
        "card",
        "A. Net agreed to",
        "Use less powder.",
        "12 months",
        "28 November 2027",
        "look at the hose",
        "Passed.",
        "Signed off by Ann",
        "washes cold",
        "Suspects before and after",
        "step by step",
        "R-88",
    ] {
        assert!(shown.contains(part), "{part}: {shown}");
    }
    assert!(!shown.contains("class=\"lack\">Nothing"), "{shown}");
    for (field, bad) in [
        ("next-due", "soon"),
        ("follow-up", "tomorrow"),
        ("minutes", "many"),
        ("paid", "much"),
        ("country", "Eire"),
    ] {
        post(&bench, &format!("{job}/hand-over"), &[(field, bad)], StatusCode::UNPROCESSABLE_ENTITY).await;
    }
    for (file, kind, begins) in [
        ("record.pdf", "application/pdf", &b"%PDF-"[..]),
        ("customer.pdf?paper=letter", "application/pdf", b"%PDF-"),
        ("invoice.csv", "text/csv", b"\""),
        ("invoice.xml", "application/xml", b"<?xml"),
        ("label.svg", "image/svg+xml", b"<svg"),
        ("follow-up.ics", "text/calendar", b"BEGIN:VCALENDAR"),
    ] {
        let (status, head, bytes) = bench.file(&format!("{job}/papers/{file}")).await;
        assert_eq!(status, StatusCode::OK, "{file}: {}", String::from_utf8_lossy(&bytes));
        assert!(head["content-type"].to_str().unwrap().starts_with(kind), "{file}: {head:?}");
        assert!(head["content-disposition"].to_str().unwrap().starts_with("attachment; filename=\"20"));
        assert!(file == "invoice.csv" || bytes.starts_with(begins), "{file}");
        let (_, _, by_program) = bench.file(&format!("/api{job}/papers/{file}")).await;
        assert!(file == "follow-up.ics" || bytes == by_program, "{file}");
    }
    let xml = String::from_utf8(bench.file(&format!("{job}/papers/invoice.xml")).await.2).unwrap();
    let document = roxmltree::Document::parse(&xml).unwrap();
    let text = |name: &str| {
        let found = document.descendants().find(|n| n.has_tag_name((CBC, name)));
        found.and_then(|n| n.text()).unwrap_or_default().to_owned()
    };
    assert_eq!((text("PrepaidAmount").as_str(), text("ID").as_str()), ("50.00", "R-88"));
    let owed: f64 = text("PayableAmount").parse().unwrap();
    let all: f64 = text("TaxInclusiveAmount").parse().unwrap();
    assert!((all - 50.0 - owed).abs() < 0.005, "{xml}");
    let calendar = String::from_utf8(bench.file(&format!("{job}/papers/follow-up.ics")).await.2).unwrap();
    assert!(calendar.contains("T093000") && calendar.contains("look at the hose"), "{calendar}");
    assert_eq!(bench.get(&format!("{job}/papers/../secret")).await.0, StatusCode::NOT_FOUND);
    assert_eq!(bench.get(&format!("{job}/papers/record.doc")).await.0, StatusCode::NOT_FOUND);
    let (status, _) = bench.get(&format!("{job}/papers/record.pdf?paper=papyrus")).await;
    assert_eq!(status, StatusCode::UNPROCESSABLE_ENTITY);
    let (_, record) = bench.get(&format!("/api{job}/record")).await;
    assert!(record.contains("\"blocked\":null") && record.contains("\"warranty\":\"12 months\""), "{record}");
}

#[tokio::test]
async fn characters_that_no_font_has_are_named_before_anything_is_printed() {
    let bench = bench().await;
    firm(&bench).await;
    let job = mended(&bench).await;
    let page = bench.get(&format!("{job}/hand-over")).await.1;
    assert!(!page.contains("No font here has"), "{page}");
    let facts = [("advice", "Ask 中村 for the key. Ψ ж ő")];
    post(&bench, &format!("{job}/hand-over"), &facts, StatusCode::SEE_OTHER).await;
    let page = bench.get(&format!("{job}/hand-over")).await.1;
    assert!(
        page.contains("by their codes: U+4E2D, U+6751. ") && page.contains("/settings/firm#fonts"),
        "{page}"
    );
    // Files beside the records count; what is none of them is named.
    let fonts = bench.folder.path().join("fonts");
    std::fs::create_dir(&fonts).unwrap();
    std::fs::write(fonts.join("sums.ttf"), b"1 + 1").unwrap();
    let page = bench.get("/settings/firm").await.1;
    let named = "No font, or too large: <span translate=\"no\">sums.ttf</span>.";
    assert!(page.contains("None is there yet") && page.contains(named), "{page}");
    let (status, _, pdf) = bench.file(&format!("{job}/papers/customer.pdf")).await;
    assert!(status == StatusCode::OK && pdf.starts_with(b"%PDF-"));
}

const CBC: &str = "urn:oasis:names:specification:ubl:schema:xsd:CommonBasicComponents-2";

#[tokio::test]
async fn after_the_hand_over_only_corrections_are_taken_and_the_old_text_stays() {
    let bench = bench().await;
    firm(&bench).await;
    let job = mended(&bench).await;
    let words = [("price-element", "38,00"), ("warranty", "6 months"), ("advice", "Use less powder.")];
    post(&bench, &format!("{job}/hand-over"), &words, StatusCode::SEE_OTHER).await;
    signed(&bench, &job).await;
    let stale = after(&page(&bench, &job).await);
    post(&bench, &format!("{job}/hand-over"), &words, StatusCode::SEE_OTHER).await;
    let act = format!("{job}/handed-over");
    let old = [("after", stale.as_str()), ("sure", "yes"), ("name", "Ann")];
    let said = post(&bench, &act, &old, StatusCode::CONFLICT).await;
    assert!(said.contains("since you looked"), "{said}");
    let now = after(&page(&bench, &job).await);
    let untold = [("after", now.as_str()), ("name", "Ann")];
    assert!(post(&bench, &act, &untold, StatusCode::UNPROCESSABLE_ENTITY).await.contains("tick"));
    let nobody = [("after", now.as_str()), ("sure", "yes")];
    assert!(post(&bench, &act, &nobody, StatusCode::UNPROCESSABLE_ENTITY).await.contains("name"));
    let good = [("after", now.as_str()), ("sure", "yes"), ("name", "Ann"), ("key", "over")];
    post(&bench, &act, &good, StatusCode::SEE_OTHER).await;
    post(&bench, &act, &good, StatusCode::SEE_OTHER).await;

    // The chain's head stands on the page as the record has it.
    let (_, record) = bench.get(&format!("/api{job}/record")).await;
    let chain = between(&record, "\"chain\":\"", "\"").unwrap().to_owned();
    let shown = page(&bench, &job).await;
    assert!(
        chain.len() == 64 && shown.contains(&chain) && shown.contains("stands as it was written"),
        "{shown}"
    );
    assert!(!shown.contains("name=\"after\"") && !shown.contains("name=\"warranty\""), "{shown}");
    let today = bench.get("/").await.1;
    assert!(today.contains("<h2>Handed over</h2>") && today.contains("✓ Handed over"), "{today}");
    assert!(bench.get(&job).await.1.contains("<fieldset class=\"whole\" disabled>"));

    // Nothing is taken any more, by form or by program, whatever it is.
    for (fold, fields) in [
        ("say", &[("what", "step"), ("step", "warm"), ("watts", "31")][..]),
        ("mend", &[("what", "fitted"), ("part", "element"), ("done", "fitted")]),
        ("prove", &[("what", "safety"), ("of", "visual inspection"), ("answer", "pass")]),
        ("hand-over", &[("warranty", "20 years")]),
        ("customer", &[("name", "Somebody else")]),
        ("machine", &[("file", "aldermere-tern-81")]),
    ] {
        let said = post(&bench, &format!("{job}/{fold}"), fields, StatusCode::CONFLICT).await;
        assert!(said.contains("was handed over"), "{fold}: {said}");
    }
    for says in
        [r#"{"words":"x"}"#, r#"{"reading":"step warm: 31 W"}"#, r#"{"hand_over":{"warranty":"20 years"}}"#]
    {
        let body = format!("{{\"says\":{says}}}");
        let (status, _, said) = bench.post_json(&format!("/api{job}/evidence"), &body).await;
        assert!(status == StatusCode::CONFLICT && said.contains("was handed over"), "{status} {said}");
    }

    // A correction needs all four, is about something that the record says, and leaves that readable.
    let correct = format!("{job}/correct");
    let right =
        [("correction", "warranty"), ("now", "12 months"), ("why", "a slip of mine"), ("name", "Ann")];
    for missing in ["now", "why", "name", "correction"] {
        let fields: Vec<_> = right.iter().copied().filter(|f| f.0 != missing).collect();
        post(&bench, &correct, &fields, StatusCode::UNPROCESSABLE_ENTITY).await;
    }
    let wrong = r#"{"says":{"correction":"warranty","was":"3 years","now":"x","why":"y","by":"z"}}"#;
    let (status, _, said) = bench.post_json(&format!("/api{job}/evidence"), wrong).await;
    assert!(status == StatusCode::UNPROCESSABLE_ENTITY && said.contains("6 months"), "{status} {said}");
    post(&bench, &correct, &right, StatusCode::SEE_OTHER).await;
    let shown = page(&bench, &job).await;
    assert!(shown.contains("<del>6 months</del>") && shown.contains("<ins>12 months</ins>"), "{shown}");
    assert!(shown.contains("a slip of mine") && shown.contains("Ann"), "{shown}");
    let (_, record) = bench.get(&format!("/api{job}/record")).await;
    assert!(
        record.contains("\"warranty\":\"6 months\"") && record.contains("\"now\":\"12 months\""),
        "{record}"
    );
    assert!(record.contains("\"handed_over\":\"Ann, "), "{record}");
    // Corrected again, it says what it was corrected to.
    let again = [("correction", "warranty"), ("now", "24 months"), ("why", "agreed since"), ("name", "Ann")];
    post(&bench, &correct, &again, StatusCode::SEE_OTHER).await;
    assert!(page(&bench, &job).await.contains("<del>12 months</del>"));
    // What settings say later changes no record.
    let other = [("name", "Another Firm"), ("country", "PT")];
    post(&bench, "/settings/firm", &other, StatusCode::SEE_OTHER).await;
    let shown = page(&bench, &job).await;
    assert!(shown.contains("Holt Repairs") && !shown.contains("Another Firm"), "{shown}");
}

#[tokio::test]
async fn an_apprentice_hands_nothing_over_and_corrects_nothing() {
    let bench = bench().await;
    let job = mended(&bench).await;
    signed(&bench, &job).await;
    let people = "/settings/people";
    let person = |name, role| [("name", name), ("role", role), ("passphrase", PASS)];
    let ann = ask(&bench, "", people, &person("Ann", "technician")).await.1;
    let mut others = Vec::new();
    for (name, role) in [("Odo", "office"), ("Ali", "apprentice")] {
        ask(&bench, &ann, people, &person(name, role)).await;
        others.push(ask(&bench, "", "/login", &[("name", name), ("passphrase", PASS)]).await.1);
    }
    let (over, act, correct) =
        (format!("{job}/hand-over"), format!("{job}/handed-over"), format!("{job}/correct"));
    let right = [("correction", "warranty"), ("now", "12 months"), ("why", "a slip")];
    for other in &others {
        let shown = ask(&bench, other, &over, &[]).await.2;
        assert!(shown.contains("A technician looks at this") && !shown.contains("name=\"after\""), "{shown}");
        let fields = [("after", "9"), ("sure", "yes")];
        assert_eq!(ask(&bench, other, &act, &fields).await.0, StatusCode::FORBIDDEN);
        assert_eq!(ask(&bench, other, &correct, &right).await.0, StatusCode::FORBIDDEN);
        // What is written for it may be theirs.
        assert_eq!(ask(&bench, other, &over, &[("advice", "Clean it.")]).await.0, StatusCode::SEE_OTHER);
    }
    let after = after(&ask(&bench, &ann, &over, &[]).await.2);
    let fields = [("after", after.as_str()), ("sure", "yes"), ("name", "somebody else")];
    assert_eq!(ask(&bench, &ann, &act, &fields).await.0, StatusCode::SEE_OTHER);
    let shown = ask(&bench, &ann, &over, &[]).await.2;
    assert!(shown.contains("Handed over by Ann, technician"), "{shown}");
    assert_eq!(ask(&bench, &others[1], &correct, &right).await.0, StatusCode::FORBIDDEN);
    assert_eq!(ask(&bench, &ann, &correct, &right).await.0, StatusCode::SEE_OTHER);
}

#[tokio::test]
async fn fitting_a_part_takes_one_from_the_van_and_take_back_returns_it() {
    let bench = bench().await;
    let part = [
        ("what", "keep"),
        ("code", "AL-2041"),
        ("what-it-is", "heating element"),
        ("count", "1"),
        ("least", "1"),
        ("price", "38.00"),
    ];
    post(&bench, "/stock", &part, StatusCode::SEE_OTHER).await;
    for (field, bad) in [("count", "some"), ("price", "dear"), ("least", "-1"), ("code", "")] {
        let fields: Vec<_> = part.iter().map(|f| if f.0 == field { (field, bad) } else { *f }).collect();
        post(&bench, "/stock", &fields, StatusCode::UNPROCESSABLE_ENTITY).await;
    }
    assert!(bench.get("/stock").await.1.contains("All there"));
    let job = mended(&bench).await;
    let mend = bench.get(&format!("{job}/mend")).await.1;
    assert!(mend.contains("One AL-2041 taken from the van, now none left"), "{mend}");
    assert!(bench.get("/stock").await.1.contains("1 to buy"));
    // The van's price stands on the bill, without a guess: 38 with a quarter on top.
    assert!(page(&bench, &job).await.contains("47.50"));
    // One more than there is: said, not forbidden.
    let again = [("what", "fitted"), ("part", "element"), ("done", "fitted"), ("order", "al-2041")];
    let mend = send(&bench, &job, "mend", &again, StatusCode::SEE_OTHER).await;
    assert!(mend.contains("more were fitted than were counted"), "{mend}");
    let entries: Vec<&str> = mend.split("name=\"supersedes\" value=\"").skip(1).collect();
    for entry in entries.iter().take(2).map(|e| e.split('"').next().unwrap()) {
        let back = [("what", "nothing"), ("supersedes", entry)];
        send(&bench, &job, "mend", &back, StatusCode::SEE_OTHER).await;
    }
    let (_, stock) = bench.get("/api/stock").await;
    assert!(stock.contains("\"count\":1") && stock.contains("\"short\":false"), "{stock}");
    let (status, _, _) = bench.post_json("/api/stock", r#"{"code":"PU-7","count":3,"what":"pump"}"#).await;
    assert_eq!(status, StatusCode::CREATED);
    post(&bench, "/stock", &[("what", "remove"), ("code", "PU-7")], StatusCode::SEE_OTHER).await;
    assert!(!bench.get("/stock").await.1.contains("PU-7"));
}
