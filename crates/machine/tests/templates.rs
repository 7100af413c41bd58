//! Every starting file reads without an error.
#![allow(missing_docs, clippy::unwrap_used, reason = "a test")]

use machine::read::read;
use machine::templates;

#[test]
fn every_template_reads_without_findings() {
    for template in &templates::ALL {
        let outcome = read(template.text, None);
        assert!(outcome.diagnostics.is_empty(), "{}: {:#?}", template.name, outcome.diagnostics);
        assert!(outcome.machine.is_some(), "{}", template.name);
    }
}
