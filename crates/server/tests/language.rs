//! Pages in another language, the language file in Settings, and units of a country.
#![allow(missing_docs, clippy::unwrap_used, reason = "a test")]

mod support;

use axum::body::Body;
use axum::http::{HeaderMap, Request, StatusCode, header};
use records::Records;
use std::collections::BTreeSet;
use std::path::Path;
use support::{Bench, HOST, form};

fn german() -> String {
    std::fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("../../languages/de.po")).unwrap()
}

fn template() -> language::PhraseFile {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../languages/wattmend.pot");
    language::read(&std::fs::read(path).unwrap()).unwrap()
}

async fn choose(bench: &Bench, name: &str, content: &[u8]) -> (StatusCode, HeaderMap, String) {
    let mut body = format!(
        "--edge\r\nContent-Disposition: form-data; name=\"file\"; filename=\"{name}\"\r\nContent-Type: image/png\r\n\r\n"
    )
    .into_bytes();
    body.extend_from_slice(content);
    body.extend_from_slice(b"\r\n--edge--\r\n");
    let request = Request::post("/settings/language")
        .header(header::HOST, HOST)
        .header(header::CONTENT_TYPE, "multipart/form-data; boundary=edge")
        .body(Body::from(body))
        .unwrap();
    bench.ask(request).await
}

async fn in_german() -> Bench {
    let bench = Bench::new();
    bench.post("/new", "file=polwarren-cockle-52&complaint=does+not+drain&name=Settings&words=Today").await;
    let (status, _, page) = choose(&bench, "de.po", german().as_bytes()).await;
    assert_eq!(status, StatusCode::SEE_OTHER, "{page}");
    bench
}

#[tokio::test]
async fn pages_in_german_keep_what_people_said() {
    let bench = in_german().await;
    let (_, today) = bench.get("/").await;
    assert!(today.contains("<html lang=\"de\">"), "{today}");
    assert!(today.contains("<title>Heute · Wattmend</title>"));
    for said in
        [">Neuer Auftrag</a>", ">Heute</a>", "<label for=\"find\">Name, Straße oder Gerät suchen</label>"]
    {
        assert!(today.contains(said), "{said}: {today}");
    }
    // A customer who is called as one of our pages, and says the name of another.
    assert!(today.contains("<span translate=\"no\">“Today”</span>"), "{today}");
    assert!(today.contains("Settings · Auftrag 1, "), "{today}");
    let (_, sheet) = bench.get("/jobs/1").await;
    for said in [
        "<h2>Ankommen</h2>",
        "In den Worten des Kunden",
        "value=\"Settings\"",
        ">Today</textarea>",
        "<h2>Finden</h2>",
        "aria-label=\"Abschnitte\"",
        "placeholder=\"Hersteller, Typ, Nummer\"",
        "<strong>Achtung.</strong>",
        "Stecker ziehen, bevor etwas abgenommen wird.",
    ] {
        assert!(sheet.contains(said), "{said}: {sheet}");
    }
    // What the machine file calls the complaint stays as it is.
    assert!(sheet.contains("✓ <span translate=\"no\">does not drain</span>"), "{sheet}");
    // The value of a caution, by which it is ticked, is the English one.
    assert!(sheet.contains("name=\"value\" value=\"Unplug it before anything comes off."), "{sheet}");
    for page in [&today, &sheet] {
        assert!(!page.contains(['\u{1}', '\u{2}']));
        assert!(page.contains("<script src=\"/phrases.js?v="));
    }
    assert!(today.len() < 120_000);
    // A part of a page that a script fetches.
    let (_, part) = bench.get("/jobs/1/find").await;
    assert!(
        part.contains("<h2>Finden</h2>")
            && part.contains("Verdächtige")
            && !part.contains(['\u{1}', '\u{2}']),
        "{part}"
    );
    // It is there again after a restart.
    let bench = bench.again();
    assert!(bench.get("/").await.1.contains(">Neuer Auftrag</a>"));
}

#[tokio::test]
async fn scripts_and_refusals_speak_it_and_programs_are_told_english() {
    let bench = in_german().await;
    let (_, today) = bench.get("/").await;
    let address = today.split("<script src=\"/phrases.js").nth(1).unwrap().split('"').next().unwrap();
    let (status, head, script) = {
        let request = Request::get(format!("/phrases.js{address}")).header(header::HOST, HOST);
        bench.ask(request.body(Body::empty()).unwrap()).await
    };
    assert_eq!(status, StatusCode::OK);
    assert!(head[header::CONTENT_TYPE].to_str().unwrap().starts_with("text/javascript"));
    let phrases = script.strip_prefix("window.wattmendPhrases = ").unwrap().trim_end().trim_end_matches(';');
    let phrases: serde_json::Value = serde_json::from_str(phrases).unwrap();
    assert_eq!(phrases["wait, {1} s"], "warten, {1} s");
    // Only what scripts say.
    assert_eq!(phrases.get("New job"), None);
    let refused = |accept: &str| {
        let request = Request::post("/jobs/1/say").header(header::HOST, HOST).header(header::ACCEPT, accept);
        let request = request.header(header::CONTENT_TYPE, "application/x-www-form-urlencoded");
        request.body(Body::from("what=water&value=900+l")).unwrap()
    };
    let (_, head, body) = bench.ask(refused("application/json")).await;
    assert_eq!(head[header::CONTENT_TYPE], "application/problem+json");
    assert!(
        body.contains("so viel Wasser fasst kein Gerät") && body.contains("0 bis 200 l eingeben"),
        "{body}"
    );
    let (_, _, page) = bench.ask(refused("text/html")).await;
    assert!(page.contains("<h1>so viel Wasser fasst kein Gerät</h1>"), "{page}");
    assert!(page.contains("<p>Abhilfe: <span>0 bis 200 l eingeben.</span></p>"), "{page}");
    let (_, page) = bench.get("/nowhere").await;
    assert!(page.contains("<html lang=\"de\">") && page.contains("diese Seite gibt es nicht"), "{page}");
    let (_, body) = bench.get("/api/nothing").await;
    assert!(body.contains("there is no such page"), "{body}");
    let (_, _, body) = bench.post("/jobs/1/interpret", &form(&[("what", "water"), ("value", "much")])).await;
    assert!(body.contains("write"), "{body}");
}

#[tokio::test]
async fn settings_choose_replace_and_take_away_the_file() {
    let bench = Bench::new();
    let (_, page) = bench.get("/settings").await;
    assert!(page.contains("<html lang=\"en-GB\">") && page.contains("The pages are English."), "{page}");
    assert!(!page.contains("phrases.js") && !page.contains(['\u{1}', '\u{2}']));
    assert_eq!(bench.get("/settings/language/file.po").await.0, StatusCode::NOT_FOUND);
    let (status, head, pot) = {
        let request = Request::get("/settings/language/template.pot").header(header::HOST, HOST);
        bench.ask(request.body(Body::empty()).unwrap()).await
    };
    assert_eq!(status, StatusCode::OK);
    assert!(head[header::CONTENT_DISPOSITION].to_str().unwrap().contains("wattmend.pot"));
    let all = language::read(pot.as_bytes()).unwrap().phrases.len();

    choose(&bench, "../<b>de</b>.po", german().as_bytes()).await;
    let (_, page) = bench.get("/settings").await;
    let has = language::read(german().as_bytes()).unwrap().phrases.len();
    assert!(page.contains(&format!("{has} von {all} Wendungen sind da")), "{page}");
    assert!(page.contains("<span translate=\"no\">b&#62;.po</span>"), "{page}");
    assert_eq!(bench.get("/settings/language/file.po").await.1, german());

    let one = "msgid \"\"\nmsgstr \"Language: fr\\n\"\n\nmsgid \"Settings\"\nmsgstr \"Réglages\"\n\nmsgid \"Never said here\"\nmsgstr \"Jamais\"\n";
    choose(&bench, "fr.po", one.as_bytes()).await;
    let (_, page) = bench.get("/settings").await;
    assert!(page.contains("<html lang=\"fr\">") && page.contains("<h1>Réglages</h1>"), "{page}");
    assert!(page.contains(&format!("1 of {all} phrases are there")), "{page}");
    assert!(page.contains("1 of its phrases are not in this program"), "{page}");

    let (status, _, _) = bench.post("/settings/language/remove", "").await;
    assert_eq!(status, StatusCode::SEE_OTHER);
    assert!(bench.get("/settings").await.1.contains("<h1>Settings</h1>"));
}

#[tokio::test]
async fn a_file_that_cannot_be_used_is_refused_with_its_place_and_changes_nothing() {
    let bench = in_german().await;
    let head = "msgid \"\"\nmsgstr \"Language: de\\n\"\n\n";
    for (content, says) in [
        (
            format!("{head}msgid \"a\"\nmsgstr \"b"),
            "line 5, column 10 of the language file: the closing quotation mark is missing",
        ),
        (
            format!("{head}msgid \"{{1}} W\"\nmsgstr \"Watt\""),
            "line 5, column 1 of the language file: the English has {1}, the translation no slot",
        ),
        (format!("{head}msgctxt \"a\""), "line 4, column 1 of the language file: msgctxt is not used here"),
        ("{\"a\": 1}".to_owned(), "is no line of a PO file"),
        ("msgid \"\"\nmsgstr \"\"\n".to_owned(), "the header of the language file names no language"),
        (String::new(), "es wurde keine Sprachdatei geschickt"),
    ] {
        let (status, _, page) = choose(&bench, "x.po", content.as_bytes()).await;
        assert_eq!(status, StatusCode::UNPROCESSABLE_ENTITY, "{page}");
        let page = page
            .replace("&#39;", "'")
            .replace("Zeile", "line")
            .replace(", Spalte", ", column")
            .replace("der Sprachdatei", "of the language file");
        assert!(page.contains(says), "{says}: {page}");
        assert!(page.contains("Abhilfe: "), "{page}");
    }
    let (status, _, page) = choose(&bench, "x.po", &[0xde, 0x12, 0x04, 0x95, 0, 0]).await;
    assert!(status == StatusCode::UNPROCESSABLE_ENTITY && page.contains("compiled file"), "{page}");
    let (status, _, _) = choose(&bench, "x.po", &vec![b'#'; 1_050_000]).await;
    assert!(status.is_client_error());
    let (status, _, _) = choose(&bench, "x.po", &vec![b'#'; 3_000_000]).await;
    assert_eq!(status, StatusCode::PAYLOAD_TOO_LARGE);
    assert!(bench.get("/").await.1.contains(">Neuer Auftrag</a>"));
}

#[tokio::test]
async fn a_language_from_right_to_left() {
    let bench = Bench::new();
    let arabic = "msgid \"\"\nmsgstr \"Language: ar\\n\"\n\nmsgid \"Today\"\nmsgstr \"اليوم\"\n";
    choose(&bench, "ar.po", arabic.as_bytes()).await;
    let (_, page) = bench.get("/").await;
    assert!(page.contains("<html lang=\"ar\" dir=\"rtl\">") && page.contains("<h1>اليوم</h1>"), "{page}");
}

/// Everything said as `«…»`: what a page still says without stands in a list that is to be read. `UPDATE_EXPECTED=1` renews it.
#[tokio::test]
async fn what_no_language_file_reaches_is_known() {
    let bench = Bench::new();
    bench.post("/new", "file=polwarren-cockle-52&complaint=does+not+drain&name=Ann&words=it+hums").await;
    let escaped = |t: &str| t.replace('\\', "\\\\").replace('"', "\\\"");
    let mut file = "msgid \"\"\nmsgstr \"Language: en\\n\"\n".to_owned();
    for phrase in template().phrases {
        file.push_str(&format!("\nmsgid \"{0}\"\nmsgstr \"«{0}»\"\n", escaped(&phrase.id)));
    }
    let (status, _, page) = choose(&bench, "all.po", file.as_bytes()).await;
    assert_eq!(status, StatusCode::SEE_OTHER, "{page}");
    // Once this fold has come, the sheet waits for nothing.
    bench.get("/jobs/1/find").await;
    let pages = [
        "/",
        "/new",
        "/new/polwarren-cockle-52",
        "/jobs/1",
        "/jobs/1/hand-over",
        "/settings",
        "/settings/firm",
        "/settings/people",
        "/settings/data",
        "/machines",
        "/machines/new",
        "/stock",
        "/practise",
        "/sockets",
        "/nowhere",
    ];
    let mut left = BTreeSet::new();
    for path in pages {
        let (_, page) = bench.get(path).await;
        assert!(page.contains('«'), "{path}");
        left.extend(not_reached(&page).into_iter().map(|text| format!("{path}: {text}")));
    }
    let told = left.into_iter().collect::<Vec<_>>().join("\n") + "\n";
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/expected/english.txt");
    if std::env::var_os("UPDATE_EXPECTED").is_some() {
        std::fs::write(&path, &told).unwrap();
    }
    assert_eq!(told, std::fs::read_to_string(path).unwrap());
}

/// Texts of a page that are not said as `«…»` and not under `translate="no"`.
fn not_reached(page: &str) -> Vec<String> {
    let mut found = Vec::new();
    let mut open: Vec<(String, bool)> = Vec::new();
    for piece in page.split('<').skip(1) {
        let (tag, text) = piece.split_once('>').unwrap_or((piece, ""));
        let name: String = tag.chars().take_while(|c| c.is_ascii_alphanumeric() || *c == '/').collect();
        let silent = open.last().is_some_and(|o| o.1) || tag.contains("translate=\"no\"");
        match name.strip_prefix('/') {
            Some(name) => {
                let at = open.iter().rposition(|o| o.0 == name).unwrap();
                open.truncate(at);
            }
            None if ["meta", "link", "input", "img", "br"].contains(&name.as_str())
                || tag.ends_with('/')
                || tag.starts_with('!') => {}
            None => {
                let alone = ["textarea", "code", "pre", "script", "svg"].contains(&name.as_str());
                open.push((name, silent || alone));
            }
        }
        let text = text.split_whitespace().collect::<Vec<_>>().join(" ");
        let ours = !open.last().is_some_and(|o| o.1);
        if ours && !text.contains('«') && text.chars().any(char::is_alphabetic) {
            found.push(text.chars().map(|c| if c.is_ascii_digit() { '0' } else { c }).collect());
        }
    }
    found
}

#[tokio::test]
async fn water_and_leads_in_the_units_of_a_country() {
    let bench = Bench::new();
    bench.post("/new", "file=polwarren-cockle-52").await;
    let (_, page) = bench.get("/jobs/1").await;
    assert!(page.contains("test begins, l (none") && page.contains("placeholder=\"0.5 l\""), "{page}");
    let units = form(&[("temperature", "°F"), ("volume", "US gal"), ("length", "ft")]);
    let (status, _, page) = bench.post("/settings/units", &units).await;
    assert_eq!(status, StatusCode::SEE_OTHER, "{page}");
    let (_, page) = bench.get("/jobs/1").await;
    assert!(
        page.contains("test begins, US gal (none") && page.contains("placeholder=\"0.1321 US gal\""),
        "{page}"
    );
    assert!(page.contains("Lead with extensions, ft ") && page.contains("placeholder=\"4.92 ft\""), "{page}");
    bench.post("/jobs/1/say", &form(&[("what", "water"), ("value", "0.5")])).await;
    bench.post("/jobs/1/prove", &form(&[("what", "facts"), ("lead", "6")])).await;
    let (_, log) = bench.get("/api/jobs/1/evidence").await;
    assert!(log.contains("0.5 US gal") && log.contains("6 ft"), "{log}");
    let (_, page) = bench.get("/jobs/1").await;
    assert!(page.contains("lead 6 ft of"), "{page}");
    // A unit that is typed counts.
    bench.post("/jobs/1/say", &form(&[("what", "water"), ("value", "2 l")])).await;
    assert!(bench.get("/api/jobs/1/evidence").await.1.contains("\"2 l\""));
    let (status, _, page) = bench.post("/settings/units", &form(&[("volume", "buckets")])).await;
    assert!(status == StatusCode::UNPROCESSABLE_ENTITY && page.contains("buckets"), "{page}");
}

#[tokio::test]
async fn limits_of_error_in_the_unit_beside_their_field() {
    let bench = Bench::new();
    bench.post("/settings/units", &form(&[("temperature", "°F")])).await;
    let (_, page) = bench.get("/settings").await;
    assert!(
        page.contains("name=\"thermometer-absolute\" value=\"1.8\"")
            && page.contains("name=\"thermometer-unit\" value=\"°F\""),
        "{page}"
    );
    let limits = |value: &'static str, unit: &'static str| {
        form(&[
            ("thermometer", "on"),
            ("thermometer-relative", "1"),
            ("thermometer-absolute", value),
            ("thermometer-unit", unit),
            ("currency", "USD"),
        ])
    };
    bench.post("/settings", &limits("3.6", "°F")).await;
    let kept = |bench: &Bench| {
        Records::open(&bench.folder.path().join("records.sqlite")).unwrap().settings().unwrap()
    };
    let settings = kept(&bench);
    let thermometer = &settings.instruments.as_ref().unwrap()[0];
    assert!((thermometer.absolute - 2.0).abs() < 1e-9, "{}", thermometer.absolute);
    // The units stay where the rest is kept anew.
    assert_eq!(settings.units.temperature, "°F");
    // A page that was open since before the choice.
    bench.post("/settings", &limits("2", "K")).await;
    assert!((kept(&bench).instruments.unwrap()[0].absolute - 2.0).abs() < 1e-9);
}
