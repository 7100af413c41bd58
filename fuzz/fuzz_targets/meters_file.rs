//! Any bytes as a file of sockets: no panic, and every finding lies in the text and says what to do.
//!
//! `fuzz/run meters_file`
#![no_main]

use libfuzzer_sys::fuzz_target;
use meters::{Config, diagnose};

fuzz_target!(|bytes: &[u8]| {
    let text = String::from_utf8_lossy(bytes);
    match diagnose(&text) {
        Ok(config) => assert!(config.sockets.iter().all(|s| !s.name.is_empty() && !s.every.is_zero())),
        Err(found) => {
            assert!(!found.is_empty());
            for finding in found {
                assert!(text.get(finding.span.clone()).is_some(), "{finding:?} lies outside the text");
                assert!(!finding.remedies.is_empty(), "{finding:?} says not what to do");
            }
            let errors = Config::read(&text).expect_err("the same text is refused the same way");
            assert!(errors.iter().all(|e| e.line.is_some()));
        }
    }
});
