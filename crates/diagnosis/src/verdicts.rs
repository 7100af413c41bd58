//! Each step of the service test against what it should read.

use crate::align::{Match, What};
use crate::belief::Belief;
use crate::evidence::{Clue, Evidence};
use crate::finding::{StepVerdict, Verdict};
use crate::next::outcomes::watt_words;
use bench::{Conditions, Estimate, Hypothesis};

/// Within this many joint standard uncertainties a reading is as expected (JCGM 106, guard band of about 1 %).
const EXPECTED_WITHIN: f64 = 2.6;

/// Less than this share of what the step should add to the board's own draw is nothing.
const NOTHING_BELOW: f64 = 0.15;

/// Watts that a step must add, or nothing can be missing from it.
const ADDS_FROM_W: f64 = 3.0;

/// All steps.
pub(crate) fn verdicts(
    belief: &Belief<'_>,
    conditions: &Conditions,
    evidence: &Evidence,
    aligned: &[Match],
) -> Vec<StepVerdict> {
    let machine = belief.machine();
    let healthy = belief.with_predictions(|p| {
        let of = |step| p.step(&Hypothesis::healthy(), step).clone();
        (0..machine.test.steps.len()).map(of).collect::<Vec<_>>()
    });
    let idle_w = healthy.iter().map(|p| p.power_w.value).fold(f64::INFINITY, f64::min);
    (0..machine.test.steps.len())
        .map(|step| {
            let found = aligned.iter().rfind(|m| m.what == What::Step(step));
            let typed = evidence.entries.iter().rev().find_map(|e| match &e.clue {
                Clue::Step(reading) if reading.step == step => reading.power_w.as_ref(),
                _ => None,
            });
            let typed = typed.map(|w| Estimate {
                value: w.value,
                u: conditions.meter.u_w(w.value).hypot(w.resolution / 12f64.sqrt()),
            });
            let measured = typed.or(found.and_then(|m| m.power_w));
            let expected = healthy[step].power_w;
            let (mut verdict, mut why) = match measured {
                Some(measured) => compare(expected, measured, idle_w),
                None => (Verdict::NotDone, "nothing measured".to_owned()),
            };
            for (sign, seen) in signs(evidence, step) {
                let expected = healthy[step].signs.contains(&sign);
                if expected != seen {
                    let odd = if seen { "should not be" } else { "is missing" };
                    why = format!("{why}; “{sign}” {odd}");
                    verdict = odd_sign(verdict, seen);
                } else if verdict == Verdict::NotDone {
                    (verdict, why) = (Verdict::AsExpected, format!("“{sign}” as it should be"));
                }
            }
            StepVerdict {
                step,
                start_s: found.map(|m| m.start_s),
                end_s: found.map(|m| m.end_s),
                expected_w: expected,
                measured_w: measured,
                verdict,
                why,
            }
        })
        .collect()
}

/// What a sign that should be otherwise makes of a verdict: what was measured stays, if it was off as well; a sign that is
/// missing is a step in which nothing came of it; one too many says only that something is odd.
fn odd_sign(measured: Verdict, seen: bool) -> Verdict {
    match measured {
        Verdict::Low | Verdict::High | Verdict::Nothing => measured,
        _ if seen => Verdict::Unsure,
        _ => Verdict::Nothing,
    }
}

fn signs(evidence: &Evidence, step: usize) -> impl Iterator<Item = (&str, bool)> {
    evidence.entries.iter().filter_map(move |e| match &e.clue {
        Clue::Sign { step: s, sign, seen } if *s == step => Some((sign.as_str(), *seen)),
        _ => None,
    })
}

/// What was measured in a step against what it should read, and what the standing machine draws (all W): the verdict, and the
/// comparison in words. Each uncertainty is a standard uncertainty; the meter's own belongs to what is expected.
pub fn compare(expected: Estimate, measured: Estimate, idle_w: f64) -> (Verdict, String) {
    let z = expected.zeta_w(measured);
    let adds = expected.value - idle_w;
    let words = |v: &str| format!("{v}: {} against {}", watt_words(measured), watt_words(expected));
    if z.abs() <= EXPECTED_WITHIN {
        return (Verdict::AsExpected, words("as expected"));
    }
    if z < 0.0 && adds > ADDS_FROM_W && measured.value - idle_w < NOTHING_BELOW * adds {
        return (Verdict::Nothing, words("nothing of what the step should add"));
    }
    if z < 0.0 { (Verdict::Low, words("low")) } else { (Verdict::High, words("high")) }
}
