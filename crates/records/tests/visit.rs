//! What is kept of a visit: it comes back as it was said, the chain holds over it, and what leads to a person can be erased.
#![allow(missing_docs, dead_code, clippy::unwrap_used, reason = "a test")]

mod support;

use records::{ProvingFacts, Records, Says, Signature, TesterFacts, Whose};
use std::collections::BTreeMap;
use support::{entry, filled};

fn visit() -> Vec<Says> {
    let of = |pairs: &[(&str, &str)]| -> BTreeMap<String, String> {
        pairs.iter().map(|(k, v)| ((*k).to_owned(), (*v).to_owned())).collect()
    };
    let tester = TesterFacts {
        name: "no 7".to_owned(),
        calibrated: "2026-03-01".to_owned(),
        due: String::new(),
        accuracy: vec!["earth bond=5% 0R02".to_owned()],
    };
    vec![
        Says::Prices { prices: of(&[("element", "38.50")]), worth: of(&[("age", "9")]) },
        Says::Decided {
            offer: "62.00 EUR: a new element".to_owned(),
            name: "Oriel Sandgate".to_owned(),
            agreed: true,
            why: None,
            signature: Some(Signature::try_from("M10 20L30 40L50 60".to_owned()).unwrap()),
            parts: vec!["element".to_owned()],
        },
        Says::Decided {
            offer: "62.00 EUR: a new element".to_owned(),
            name: "Oriel Sandgate".to_owned(),
            agreed: false,
            why: Some("too dear for Oriel".to_owned()),
            signature: None,
            parts: Vec::new(),
        },
        Says::Fitted {
            fitted: "element".to_owned(),
            cleared: false,
            order: "AL-2041".to_owned(),
            serial: "77".to_owned(),
            old: "OL".to_owned(),
        },
        Says::Mended { mended: "element".to_owned(), cured: Some(true) },
        Says::Proving {
            proving: ProvingFacts { standard: "iet-5".to_owned(), rewired: true, ..ProvingFacts::default() },
        },
        Says::Safety { safety: "earth bond = 0R09".to_owned(), tester },
        Says::Signed { signed: "Ro".to_owned(), report: "Fit to hand back".to_owned() },
    ]
}

#[test]
fn a_visit_comes_back_as_it_was_said_and_shows_later_changes() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("records.sqlite");
    let (records, _, job) = filled(&path);
    let before = records.job(job).unwrap().unwrap().log.last();
    for (n, says) in visit().into_iter().enumerate() {
        records.append(job, &entry(&format!("visit {n}"), says)).unwrap();
    }
    drop(records);
    let records = Records::open(&path).unwrap();
    let log = records.job(job).unwrap().unwrap().log;
    let kept: Vec<Says> = log.entries()[before as usize..].iter().map(|e| e.says.clone()).collect();
    assert_eq!(kept, visit());
    assert!(records.verify(job).unwrap().holds());
    // Only what diagnosis understands goes into the evidence file.
    let text = log.evidence_file("", &[]).toml;
    assert_eq!(text.matches("[[evidence]]").count(), 1, "{text}");
    assert!(text.contains("mended = \"element\"\ncured = true"), "{text}");
}

#[test]
fn a_decision_can_be_erased_and_the_rest_of_the_visit_stays() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("records.sqlite");
    let (records, _, job) = filled(&path);
    for (n, says) in visit().into_iter().enumerate() {
        records.append(job, &entry(&format!("visit {n}"), says)).unwrap();
    }
    let before = records.verify(job).unwrap();
    let bytes = |needle: &[u8]| {
        let files = std::fs::read_dir(folder.path()).unwrap().map(|f| f.unwrap().path());
        files
            .filter(|p| p.is_file())
            .any(|p| std::fs::read(p).unwrap().windows(needle.len()).any(|w| w == needle))
    };
    let personal: [&[u8]; 3] = [b"Oriel Sandgate", b"too dear for Oriel", b"M10 20L30 40"];
    assert!(personal.iter().all(|p| bytes(p)));
    let on = "2026-11-28".parse().unwrap();
    records.erase(Whose::Job(job), on).unwrap();
    assert!(!personal.iter().any(|p| bytes(p)));
    assert_eq!(records.verify(job).unwrap(), before);
    let log = records.job(job).unwrap().unwrap().log;
    assert_eq!(log.entries().iter().filter(|e| matches!(e.says, Says::Erased { .. })).count(), 3);
    assert!(log.standing().any(|e| matches!(&e.says, Says::Fitted { fitted, .. } if fitted == "element")));
}
