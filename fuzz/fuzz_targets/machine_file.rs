//! Any bytes as a machine file: no panic, and every finding lies in the text. Reading alone, so that it takes many
//! files a second; `machine_run` goes on with those that load. `fuzz/run machine_file` starts it.
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
