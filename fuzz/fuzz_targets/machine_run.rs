//! Any file that loads can be reviewed and run through its service test, healthy and with faults: no panic, no hang,
//! finite numbers. Files that do not load are passed over: they are `machine_file`'s.
//! `fuzz/run machine_run` starts it.
#![no_main]

use bench::{Conditions, Hypothesis};
use libfuzzer_sys::{Corpus, fuzz_target};

fuzz_target!(|text: &str| -> Corpus {
    let Some(machine) = machine::read::read(text, None).machine else { return Corpus::Reject };
    for finding in bench::review(&machine) {
        assert!(text.get(finding.span.clone()).is_some(), "{finding:?} lies outside the text");
    }
    let conditions = Conditions::at(machine.plate.supply_v);
    let faults: Vec<_> = machine.single_faults().collect();
    // The text decides which of the faults, so that all come round.
    let at = |share: usize| faults.get((text.len() * share) % faults.len().max(1)).copied();
    for hypothesis in [Hypothesis::healthy(), Hypothesis::of(at(1)), Hypothesis::of(at(7))] {
        let steps = bench::predict(&machine, &hypothesis, &conditions);
        assert_eq!(steps.len(), machine.test.steps.len());
        for step in &steps {
            for value in
                [step.power_w.value, step.current_a.value, step.water_l, step.lasts_s, step.rise_k.value]
            {
                assert!(value.is_finite(), "{step:?}");
            }
        }
    }
    Corpus::Keep
});
