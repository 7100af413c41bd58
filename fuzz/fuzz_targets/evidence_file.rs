//! Any bytes as an evidence file about a washer: no panic, every finding lies in the text and says what to do, and marks
//! come out within the recording.
//!
//! `fuzz/run evidence_file`
#![no_main]

use diagnosis::evidence::read;
use libfuzzer_sys::fuzz_target;
use machine::model::Machine;
use std::sync::LazyLock;
use trace::{Sample, Trace};

static WASHER: LazyLock<Machine> = LazyLock::new(|| {
    let text = include_str!("../../crates/machine/tests/good/small.toml");
    machine::read::read(text, None).machine.expect("a machine file that the tests hold to be good")
});

fuzz_target!(|bytes: &[u8]| {
    let text = String::from_utf8_lossy(bytes);
    let file = match read(&WASHER, &text) {
        Ok(file) => file,
        Err(found) => {
            assert!(!found.is_empty());
            for finding in found {
                assert!(text.get(finding.span.clone()).is_some(), "{finding:?} lies outside the text");
                assert!(!finding.remedies.is_empty(), "{finding:?} says not what to do");
            }
            return;
        }
    };
    assert!(file.evidence.water_l.is_finite());
    let samples = (0..100).map(|s| Sample::new(f64::from(s), 1.0)).collect();
    if let Some(Ok(recording)) = file.trace.map(|t| t.recording(Trace { samples, start_unix_s: Some(0.0) })) {
        assert!(recording.marks.iter().all(|(time_s, step)| (0.0..=99.0).contains(time_s) && *step < 3));
    }
});
