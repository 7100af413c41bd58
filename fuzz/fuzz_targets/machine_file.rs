//! Any bytes as a machine file: no panic, and every finding lies in the text. Reading alone, so that it takes thousands
//! of files a second; `machine_run` goes on with those that load.
//!
//! `cd fuzz && mkdir -p corpus/machine_file && cargo +nightly fuzz run machine_file corpus/machine_file ../machines
//! ../crates/machine/src/templates ../crates/machine/tests/bad -- -dict=machine_file.dict -max_len=32768
//! -rss_limit_mb=1024 -timeout=5`
#![no_main]

use libfuzzer_sys::fuzz_target;

fuzz_target!(|bytes: &[u8]| {
    let text = String::from_utf8_lossy(bytes);
    let read = machine::read::read(&text, None);
    for finding in &read.diagnostics {
        assert!(text.get(finding.span.clone()).is_some(), "{finding:?} lies outside the text");
    }
    assert_eq!(read.machine.is_some(), read.errors() == 0);
});
