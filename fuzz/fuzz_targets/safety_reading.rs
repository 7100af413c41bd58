//! Any text as readings of a safety test, judged: no panic, values lie in reach, and nothing is fit without all that applies.
//!
//! `fuzz/run safety_reading`
#![no_main]

use libfuzzer_sys::fuzz_target;
use machine::model::Class;
use safety::{Conclusion, Item, Shown, Subject, Tester, Typed, judge, parse_typed, plan, standards};

fuzz_target!(|text: &str| {
    let mut readings = Vec::new();
    for line in text.lines().take(20) {
        match parse_typed(line) {
            Ok(Typed::Test(reading)) => {
                if let Shown::Value(v) = reading.shown {
                    assert!(v.value.is_finite() && v.value >= 0.0 && v.resolution >= 0.0, "{line:?}");
                }
                readings.push(reading);
            }
            Ok(Typed::Step(_)) => {}
            Err(error) => assert!(!error.message.is_empty() && !error.remedy.is_empty()),
        }
    }
    for class in [Class::I, Class::II, Class::III] {
        let subject = Subject::new(class, 2.0, 1.5, 4000.0).expect("an appliance that is believed");
        for standard in standards() {
            let report = judge(
                &plan(&subject, standard),
                &readings,
                &Tester::default(),
                jiff::civil::date(2026, 11, 27),
                &[],
                &[],
            );
            let all = report.items.iter().all(Item::passed) && report.not_judged().count() == 0;
            assert_eq!(all, report.conclusion == Conclusion::FitToHandBack);
        }
    }
});
