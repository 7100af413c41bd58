//! Any bytes as a visit file about a washer: no panic, every finding lies in the text and says what to do, and of what was read
//! each file but the pages is made, or it is said what it lacks.
//!
//! `fuzz/run visit_file`
#![no_main]

use bench::Conditions;
use handover::{Document, Paper, visit_file};
use libfuzzer_sys::fuzz_target;
use machine::model::Machine;
use std::sync::LazyLock;

static WASHER: LazyLock<Machine> = LazyLock::new(|| {
    let text = include_str!("../../machines/aldermere-tern-81.toml");
    machine::read::read(text, None).machine.expect("a machine file that the tests hold to be good")
});

fuzz_target!(|bytes: &[u8]| {
    let text = String::from_utf8_lossy(bytes);
    let conditions = Conditions::unmeasured(230.0);
    let today = jiff::civil::date(2026, 11, 28);
    match visit_file::read(&WASHER, None, &conditions, &text, today) {
        Ok(record) => {
            for document in [Document::Lines, Document::Invoice, Document::Label, Document::Calendar] {
                if let Err(error) = document.make(&record, Paper::A4, &[], jiff::Timestamp::UNIX_EPOCH) {
                    assert!(!error.to_string().is_empty());
                }
            }
        }
        Err(found) => {
            assert!(!found.is_empty());
            for finding in found {
                assert!(text.get(finding.span.clone()).is_some(), "{finding:?} lies outside the text");
                assert!(!finding.remedies.is_empty(), "{finding:?} says not what to do");
            }
        }
    }
});
