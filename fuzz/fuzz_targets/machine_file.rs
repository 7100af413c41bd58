//! Any bytes as a machine file: no panic, every finding lies in the text, and a machine that loads can be reviewed and
//! run through its service test with finite numbers.
//!
//! `cargo +nightly fuzz run machine_file fuzz/corpus/machine_file machines -- -max_len=32768 -rss_limit_mb=1024 -timeout=20`
#![no_main]

use bench::{Conditions, Hypothesis};
use libfuzzer_sys::fuzz_target;

fuzz_target!(|bytes: &[u8]| {
    let text = String::from_utf8_lossy(bytes);
    let read = machine::read::read(&text, None);
    for finding in &read.diagnostics {
        assert!(text.get(finding.span.clone()).is_some(), "{finding:?} lies outside the text");
    }
    let Some(machine) = read.machine else { return };
    for finding in bench::review(&machine) {
        assert!(text.get(finding.span.clone()).is_some(), "{finding:?} lies outside the text");
    }
    let conditions = Conditions::at(machine.plate.supply_v);
    let healthy = bench::predict(&machine, &Hypothesis::healthy(), &conditions);
    assert_eq!(healthy.len(), machine.test.steps.len());
    for step in &healthy {
        for value in [step.power_w.value, step.current_a.value, step.water_l, step.lasts_s] {
            assert!(value.is_finite(), "{step:?}");
        }
    }
    for fault in machine.single_faults().take(3) {
        bench::predict(&machine, &Hypothesis::of([fault]), &conditions);
    }
});
