//! Values that no machine has, one at a time: whatever the reader lets pass runs to finite numbers.
#![allow(missing_docs, clippy::unwrap_used, reason = "a test")]

mod support;

use bench::{Conditions, Hypothesis, between, predict, review};
use support::SMALL;

/// What takes the place of a number in the text.
const EXTREMES: &[&str] = &["0", "-1", "0.000000001", "1000000000", "99999999999999999999"];

/// Places of numbers that begin a quoted text or follow a blank or a comma within one.
fn numbers(text: &str) -> Vec<std::ops::Range<usize>> {
    let mut found = Vec::new();
    let mut quoted = false;
    let mut before = ' ';
    let mut chars = text.char_indices().peekable();
    while let Some((at, c)) = chars.next() {
        if c == '"' {
            quoted = !quoted;
        }
        if quoted && c.is_ascii_digit() && matches!(before, '"' | ' ' | '±') {
            let mut end = at + 1;
            while let Some(&(next, _)) = chars.peek().filter(|(_, c)| c.is_ascii_digit() || *c == '.') {
                end = next + 1;
                chars.next();
            }
            found.push(at..end);
        }
        before = c;
    }
    found
}

#[test]
fn any_value_that_is_read_runs_to_finite_numbers() {
    let (mut tried, mut run) = (0, 0);
    let places = numbers(SMALL);
    assert!(places.len() > 30, "{}", places.len());
    for place in places {
        for extreme in EXTREMES {
            tried += 1;
            let text = format!("{}{extreme}{}", &SMALL[..place.start], &SMALL[place.end..]);
            let Some(machine) = machine::read::read(&text, None).machine else { continue };
            run += 1;
            let line = SMALL[..place.start].rsplit('\n').next().unwrap();
            for finding in review(&machine) {
                assert!(text.get(finding.span.clone()).is_some(), "{line}{extreme}: {finding:?}");
            }
            for volts in [machine.plate.supply_v, 230.0] {
                // Other faults at each place and value, so that all come round.
                let faults =
                    machine.single_faults().skip(tried % 17).step_by(17).map(|f| Hypothesis::of([f]));
                for hypothesis in std::iter::once(Hypothesis::healthy()).chain(faults) {
                    for p in predict(&machine, &hypothesis, &Conditions::at(volts)) {
                        let values = [
                            p.power_w.value,
                            p.power_w.u,
                            p.current_a.value,
                            p.current_a.u,
                            p.speed_rpm.value,
                            p.water_l,
                            p.rise_k.value,
                            p.lasts_s,
                            p.earth_a,
                            p.apparent_va,
                        ];
                        assert!(
                            values.iter().all(|v| v.is_finite()),
                            "{line}{extreme} {hypothesis:?}: {p:?}"
                        );
                    }
                }
            }
            between(&machine, ("J2.1", "neutral"), &[]).unwrap();
        }
    }
    assert!(run > tried / 5, "only {run} of {tried} were read");
}
