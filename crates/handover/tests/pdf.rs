//! The record as PDF: text comes back, fonts are embedded, what cannot be shown is said.
#![allow(missing_docs, clippy::unwrap_used, reason = "a test")]

mod common;

use handover::{Claim, Form, Paper, Sheet, pdf, sheets_pdf};
use std::io::Write;
use std::process::{Command, Stdio};

/// A tool of poppler-utils on a PDF; none where it is not installed, which is a failure where `WATTMEND_PEERS` is set.
fn poppler(tool: &str, options: &[&str], bytes: &[u8]) -> Option<String> {
    let mut child = Command::new(tool)
        .args(options)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::null())
        .spawn()
        .map_err(|e| {
            assert!(std::env::var_os("WATTMEND_PEERS").is_none(), "{tool}: {e}; install poppler-utils");
            println!("{tool} is not here: left out");
        })
        .ok()?;
    child.stdin.take().unwrap().write_all(bytes).unwrap();
    Some(String::from_utf8(child.wait_with_output().unwrap().stdout).unwrap())
}

/// The text without its blanks, which the tool guesses from how far letters stand apart.
fn text(bytes: &[u8]) -> Option<String> {
    Some(plain(&poppler("pdftotext", &["-layout", "-", "-"], bytes)?))
}

fn plain(text: &str) -> String {
    text.split_whitespace().collect()
}

/// Files go where `HANDOVER_OUT` says, to be looked at.
fn keep(name: &str, bytes: &[u8]) {
    if let Some(folder) = std::env::var_os("HANDOVER_OUT") {
        std::fs::write(std::path::Path::new(&folder).join(name), bytes).unwrap();
    }
}

#[test]
fn the_full_record_gives_its_text_back_on_both_papers() {
    for (paper, name) in [(Paper::A4, "full-a4.pdf"), (Paper::Letter, "full-letter.pdf")] {
        let made = pdf(&common::job(), Form::Full, paper, &[]).unwrap();
        keep(name, &made.bytes);
        assert!(made.unshown.is_empty());
        assert!(made.bytes.len() < 1_000_000, "{} bytes", made.bytes.len());
        for mark in ["pdfaid:part", "pdfuaid:part"] {
            let found = made.bytes.windows(mark.len()).any(|w| w == mark.as_bytes());
            assert!(found, "{mark} is not in the metadata");
        }
        let Some(text) = text(&made.bytes) else { return };
        for words in [
            "Job record 2026-117",
            "Γιώργος Żółć",
            "Дмитрий says İğdır was colder. [*x*] #panic() $a$ <b>",
            "washes cold → fails: heats",
            "element.1 element.2 = OL",
            "9 warm 1.85 ± 0.12 kW 0 ± 2 W NOTHING",
            "heater relay open 22 %",
            "heating element AT-1178 E-77120 1 OL, should be 27 Ω",
            "at most 0.3 Ω 0.09 Ω pass",
            "Passed. Every safety test that applies was done after the repair, and passed.",
            "labour, 62 min: fit a new element 1 62.00 20 % 62.00",
            "screw 6 0.41 20 % 2.46",
            "VAT 20 % on 136.96 27.39",
            "To be paid 164.35 EUR",
            "12 months on the part and the work.",
            "12 January 2027, 09:30 (Europe/Dublin)",
            "9f86d081884c7d659a2feaa0c55ad015a3bf4f1b2b0b822cd15d6c15b0f00a08",
        ] {
            assert!(text.contains(&plain(words)), "“{words}” is not in: {text}");
        }
        let fonts = poppler("pdffonts", &["-"], &made.bytes).unwrap();
        let rows: Vec<&str> = fonts.lines().skip(2).collect();
        assert!(!rows.is_empty());
        for row in rows {
            // emb sub uni stand before the object's number.
            let words: Vec<&str> = row.split_whitespace().collect();
            assert_eq!(words[words.len() - 5..words.len() - 2], ["yes", "yes", "yes"], "{row}");
        }
    }
}

#[test]
fn the_customer_gets_one_page_without_the_workings() {
    let mut job = common::job();
    for paper in [Paper::A4, Paper::Letter] {
        let made = pdf(&job, Form::Customer, paper, &[]).unwrap();
        keep(if paper == Paper::A4 { "customer-a4.pdf" } else { "customer-letter.pdf" }, &made.bytes);
        assert_eq!(made.pages, 1);
        let Some(text) = text(&made.bytes) else { return };
        assert!(
            text.contains(&plain("Repair report 2026-117")) && text.contains(&plain("To be paid 164.35 EUR"))
        );
        assert!(!text.contains("heaterrelayopen") && !text.contains("9f86d0"));
    }
    // However much was done, it is drawn together to one page.
    let bill = job.bill.as_mut().unwrap();
    bill.lines = vec![bill.lines[0].clone(); 40];
    assert_eq!(pdf(&job, Form::Customer, Paper::Letter, &[]).unwrap().pages, 1);
}

#[test]
fn what_no_font_has_is_said_by_its_code() {
    let mut job = common::job();
    job.customer.name = "王小明 محمد".to_owned();
    let made = pdf(&job, Form::Customer, Paper::A4, &[]).unwrap();
    assert_eq!(made.unshown.iter().filter(|c| "王小明".contains(**c)).count(), 3);
    assert!(made.unshown_words().unwrap().contains("U+738B"));
    let Some(text) = text(&made.bytes) else { return };
    assert!(text.contains("[U+738B][U+5C0F][U+660E]"), "{text}");
    assert!(text.contains(&plain("Characters that no font at hand can show stand by their code")));
}

#[test]
fn safe_is_not_said_of_what_was_not_tested_in_full() {
    let mut job = common::job();
    job.proof = None;
    let made = pdf(&job, Form::Customer, Paper::A4, &[]).unwrap();
    let Some(text) = text(&made.bytes) else { return };
    assert!(text.contains(&plain("Not shown to be safe.")), "{text}");
    assert!(!text.contains(&plain(&Claim::Passed.says())));
}

#[test]
fn an_empty_record_and_bad_pictures_and_fonts_do_no_harm() {
    pdf(&handover::JobRecord::default(), Form::Full, Paper::A4, &[]).unwrap();
    let mut job = common::job();
    job.found.trace_svg = "<svg".to_owned();
    assert!(pdf(&job, Form::Full, Paper::A4, &[]).is_err());
    assert!(pdf(&common::job(), Form::Full, Paper::A4, &[vec![1, 2, 3]]).is_err());
}

#[test]
fn sheets_hold_text_tables_and_drawings() {
    let sheet = Sheet {
        title: "Step 9, warm".to_owned(),
        text: vec!["Watch the meter: #not code.".to_owned()],
        table: vec![
            vec!["Step".to_owned(), "Reads".to_owned()],
            vec!["warm".to_owned(), "1.85 kW".to_owned()],
        ],
        svg: common::job().found.trace_svg,
        svg_says: "Power over time".to_owned(),
        whole_page: false,
    };
    let page = Sheet { whole_page: true, ..sheet.clone() };
    let made = sheets_pdf("Aldermere Tern 81: service test", &[sheet, page], Paper::Letter, &[]).unwrap();
    keep("sheets.pdf", &made.bytes);
    assert_eq!(made.pages, 2);
    let Some(text) = text(&made.bytes) else { return };
    assert!(text.contains(&plain("Watch the meter: #not code. Step Reads warm 1.85 kW")), "{text}");
}
