//! `record`: what it refuses, and the files of a whole job.
#![allow(missing_docs, clippy::unwrap_used, reason = "a test")]

mod support;

use std::path::{Path, PathBuf};
use support::wattmend;

fn top(name: &str) -> String {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../..").join(name).display().to_string()
}

fn record(more: &[&str]) -> support::Printed {
    let (machine, evidence) = (top("machines/aldermere-tern-81.toml"), top("demo/washes-cold.toml"));
    wattmend(&[&["record", &machine, "--evidence", &evidence], more].concat())
}

fn visit(folder: &Path, text: &str) -> PathBuf {
    let path = folder.join("visit.toml");
    std::fs::write(&path, text).unwrap();
    path
}

#[test]
fn the_demo_is_handed_over_whole() {
    let folder = tempfile::tempdir().unwrap();
    let out = folder.path().join("handed-over");
    let (out_name, visit) = (out.display().to_string(), top("demo/visit.toml"));
    let sure = "ohms element.1 element.2 off element.1 = OL";
    let options = ["--answer", sure, "--visit", &visit, "--out", &out_name];
    let printed = record(&options);
    assert_eq!(printed.code, 0, "{}", printed.err);
    for name in ["record.pdf", "customer.pdf", "invoice.csv", "invoice.xml", "label.svg", "follow-up.ics"] {
        assert!(std::fs::metadata(out.join(name)).unwrap().len() > 200, "{name}");
    }
    assert!(!printed.out.contains("left out"), "{}", printed.out);
    let safe = "Electrical safety: Passed.";
    assert!(printed.out.contains(safe), "{}", printed.out);
    let invoice = std::fs::read_to_string(out.join("invoice.xml")).unwrap();
    assert!(
        invoice.contains("<cbc:PayableAmount currencyID=\"EUR\">161.40</cbc:PayableAmount>"),
        "{invoice}"
    );
    // A second time nothing is overwritten.
    let again = record(&options);
    assert_eq!(again.code, 5);
    assert!(again.err.contains("--replace"), "{}", again.err);
    assert_eq!(record(&[&options[..], &["--replace", "--paper", "letter"]].concat()).code, 0);
}

#[test]
fn without_a_visit_file_it_says_what_is_left_out_and_claims_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let out = folder.path().display().to_string();
    let printed = record(&["--out", &out]);
    assert_eq!(printed.code, 0, "{}", printed.err);
    for section in ["[firm]", "[customer]", "[safety]", "[price]", "[consent]", "label.svg", "follow-up.ics"]
    {
        assert!(printed.out.contains(section), "{section} is not in {}", printed.out);
    }
    assert!(printed.out.contains("Electrical safety: Not shown to be safe."), "{}", printed.out);
    assert!(!folder.path().join("invoice.xml").exists());
}

#[test]
fn a_bad_visit_file_is_refused_with_all_its_errors_at_their_place() {
    let folder = tempfile::tempdir().unwrap();
    let text = "format = 1\ndate = \"soon\"\n[firm]\nnam = \"x\"\ncountry = \"Eire\"\n[[part]]\npart = \"element\"\n\
                [price]\nrate = \"much\"\nminutes = 0\n[safety]\nsort = \"big\"\nreadings = [\"erth bond = 0R1\"]\n\
                [follow-up]\nat = \"tomorrow\"\nwhat = \"x\"\n";
    let visit = visit(folder.path(), text).display().to_string();
    let out = folder.path().join("out").display().to_string();
    let printed = record(&["--visit", &visit, "--out", &out]);
    assert_eq!(printed.code, 3);
    for words in [
        "visit.toml:2:8",
        "did you mean `name`?",
        "ISO 3166-1",
        "has no price",
        "`much` is no amount",
        "from 1 to 6000",
        "portable, stationary or heating",
        "did you mean “earth bond”?",
        "2027-01-12T09:30[Europe/Dublin]",
        "Nothing was written.",
    ] {
        assert!(printed.err.contains(words), "“{words}” is not in {}", printed.err);
    }
    assert!(!Path::new(&out).exists());
}

#[test]
fn a_test_that_failed_is_never_safe_whatever_the_reason() {
    let folder = tempfile::tempdir().unwrap();
    let safety = |more: &str| {
        let text = format!("format = 1\n[safety]\nsort = \"stationary\"\n{more}\n");
        let visit = visit(folder.path(), &text).display().to_string();
        let out = folder.path().join("out").display().to_string();
        let printed = record(&["--visit", &visit, "--out", &out, "--replace"]);
        assert_eq!(printed.code, 0, "{}", printed.err);
        // The line may be broken anywhere.
        printed.out.split_whitespace().collect::<Vec<_>>().join(" ")
    };
    let failed = safety("readings = [\"visual = pass\", \"earth bond = 2R5\"]\nreason = \"it was late\"");
    assert!(failed.contains("Electrical safety: Failed."), "{failed}");
    let reason = safety("readings = [\"visual = pass\"]\nreason = \"no supply in the house\"");
    assert!(reason.contains("Reason written down: no supply in the house"), "{reason}");
}

#[test]
fn guides_and_charts_are_set_on_pages() {
    let folder = tempfile::tempdir().unwrap();
    let machine = top("machines/aldermere-tern-81.toml");
    let guide = folder.path().join("guide.pdf").display().to_string();
    let printed = wattmend(&["expect", &machine, "--pdf", &guide]);
    assert_eq!(printed.code, 0, "{}", printed.err);
    let chart = folder.path().join("chart.pdf").display().to_string();
    let printed = wattmend(&["chart", &machine, "--complaint", "washes cold", "--pdf", &chart]);
    assert_eq!(printed.code, 0, "{}", printed.err);
    for name in [guide, chart] {
        assert!(std::fs::read(name).unwrap().starts_with(b"%PDF"));
    }
}
