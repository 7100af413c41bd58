//! What is known of a running test, in words: one value for the page and for programs, cautions beside what they belong to.

use super::follow::{Place, TestNow};
use super::range::ms;
use super::run_down::Phase;
use super::running::Running;
use crate::pages::test::{Sign, sign};
use bench::{Estimate, Prediction};
use diagnosis::finding::Verdict;
use machine::model::{GoesOn, Machine, Step};
use quantity::{Dimension, format};
use records::{Job, Says};
use report::finding::words;
use serde_json::{Value, json};

/// The panel: one step, large.
pub(crate) struct View {
    /// "Step 8 of 13".
    pub(crate) place: String,
    /// What it is, in the machine file's words.
    pub(crate) says: String,
    pub(crate) caution: String,
    pub(crate) see: String,
    pub(crate) hear: String,
    /// "1 780 … 2 080 W".
    pub(crate) band: String,
    pub(crate) signs: Vec<Sign>,
    /// Key of the step that runs.
    pub(crate) step: String,
    /// The step before, where something of it was not answered yet.
    pub(crate) before: Option<(String, String, Vec<Sign>)>,
    pub(crate) run_down: Option<RunDownView>,
    /// The step that a press leads into.
    pub(crate) next: Option<NextView>,
    /// A press was marked that the trace has not shown yet.
    pub(crate) by_tap: bool,
    /// The mark that "it did not take" would take back.
    pub(crate) last_mark: Option<u32>,
    /// All steps: key and words.
    pub(crate) steps: Vec<(String, String)>,
    /// What must be so before the test is entered; nothing once it runs.
    pub(crate) prepare: Vec<String>,
    /// The trace shows that the test is over: how to leave it is what the panel says.
    pub(crate) is_over: bool,
}

pub(crate) struct RunDownView {
    pub(crate) heading: &'static str,
    pub(crate) says: String,
    /// Only where the step that runs no longer says it above its press.
    pub(crate) caution: String,
    pub(crate) next: String,
}

pub(crate) struct NextView {
    pub(crate) id: String,
    pub(crate) says: String,
    pub(crate) caution: String,
    /// The hazard on the way into it, where the step that runs has one.
    pub(crate) on_the_way: String,
    /// The press in the machine file's words; empty where the machine goes on by itself.
    pub(crate) press: String,
}

/// "press delay", or nothing.
fn press(step: &Step) -> String {
    match &step.goes_on {
        GoesOn::ByItself => String::new(),
        GoesOn::Press(how) => how.clone(),
    }
}

fn watts(w: f64) -> String {
    format(w.max(0.0).round(), Dimension::Power)
}

fn band(p: &Prediction) -> (f64, f64) {
    let (low, high) = p.power_w.interval();
    (low.max(0.0), high.max(0.0))
}

impl View {
    pub(crate) fn of(running: &Running, now: &TestNow, job: &Job) -> View {
        let machine = &running.machine;
        let steps = &machine.test.steps;
        let signs_of = |k: usize| -> Vec<Sign> {
            let names = now.expected.get(k).map_or(&[][..], |p| p.signs.as_slice());
            names.iter().map(|name| sign(&steps[k].id, name, job)).collect()
        };
        let (at, next) = match now.place {
            Place::Before => (None, Some(0)),
            Place::Step(k) | Place::Past(k) => (Some(k), Some(k + 1)),
            Place::Over => (None, None),
        };
        let step = at.and_then(|k| steps.get(k));
        let next = next.and_then(|n| steps.get(n)).map(|s| NextView {
            id: s.id.clone(),
            says: s.says.clone(),
            caution: s.caution.clone(),
            on_the_way: step.and_then(|s| s.then.as_ref()).map_or(String::new(), |t| t.caution.clone()),
            press: step.map_or_else(|| machine.test.enter.clone(), press),
        });
        let before = at.and_then(|k| k.checked_sub(1)).and_then(|k| {
            let open: Vec<Sign> = signs_of(k).into_iter().filter(|s| s.entry == 0).collect();
            (!open.is_empty()).then(|| (steps[k].id.clone(), format!("{} {}", k + 1, steps[k].says), open))
        });
        let place = match now.place {
            Place::Before => "Not begun yet".to_owned(),
            Place::Step(k) => format!("Step {} of {}", k + 1, steps.len()),
            Place::Past(k) => format!("After step {} of {}", k + 1, steps.len()),
            Place::Over => "The test is over".to_owned(),
        };
        let run_down = now.run_down.as_ref().map(|r| RunDownView {
            heading: heading(r.phase),
            says: r.says.clone(),
            caution: if at == Some(r.step) { String::new() } else { r.caution.clone() },
            next: r.next.clone(),
        });
        let last_mark = job.log.standing().filter(|e| matches!(e.says, Says::Mark { .. })).last();
        let last_mark = last_mark.filter(|e| {
            let Says::Mark { mark } = &e.says else { return false };
            step.is_some_and(|s| s.id == *mark)
        });
        View {
            place,
            says: match now.place {
                Place::Before => machine.test.enter.clone(),
                Place::Over => machine.test.leave.clone(),
                _ => step.map_or(String::new(), |s| s.says.clone()),
            },
            caution: step.map_or(String::new(), |s| s.caution.clone()),
            see: step.map_or(String::new(), |s| s.see.clone()),
            hear: step.map_or(String::new(), |s| s.hear.clone()),
            band: at.and_then(|k| now.expected.get(k)).map_or(String::new(), |p| {
                let (low, high) = band(p);
                format!("{} … {}", watts(low), watts(high))
            }),
            signs: at.map_or(Vec::new(), signs_of),
            step: step.map_or(String::new(), |s| s.id.clone()),
            before,
            run_down,
            next,
            by_tap: now.by_tap,
            last_mark: last_mark.map(|e| e.number),
            steps: steps.iter().map(|s| (s.id.clone(), s.says.clone())).collect(),
            prepare: if now.place == Place::Before { machine.test.before.clone() } else { Vec::new() },
            is_over: now.place == Place::Over,
        }
    }
}

fn heading(phase: Phase) -> &'static str {
    match phase {
        Phase::Driven => "WAIT: the drum is driven",
        Phase::Counting => "WAIT: the drum still turns",
        Phase::Look => "LOOK at the drum",
    }
}

pub(crate) fn is_bad(verdict: Verdict) -> bool {
    matches!(verdict, Verdict::Low | Verdict::High | Verdict::Nothing)
}

/// What a step works with: what its texture and word on the ribbon are.
fn load(expected: &[Prediction], step: usize) -> &'static str {
    let p = &expected[step];
    let water_l = step.checked_sub(1).map_or(0.0, |before| expected[before].water_l);
    match p {
        p if p.rise_k.value > 0.1 => "heat",
        p if p.speed_rpm.value.abs() > 1.0 => "motion",
        p if (p.water_l - water_l).abs() > 0.05 => "water",
        _ => "rest",
    }
}

/// A step beside its stretch of the trace, while the test runs and afterwards.
pub(super) struct PartView<'a> {
    pub(super) step: usize,
    pub(super) from_ms: f64,
    pub(super) to_ms: f64,
    pub(super) reads: Option<Estimate>,
    pub(super) should: Estimate,
    pub(super) verdict: Verdict,
    pub(super) why: &'a str,
    /// Its beginning was set by hand.
    pub(super) by_hand: bool,
}

impl PartView<'_> {
    /// For the page's script and for programs. `expected` is what each step of the sound machine reads.
    pub(super) fn json(&self, machine: &Machine, expected: &[Prediction]) -> Value {
        let step = &machine.test.steps[self.step];
        let (low, high) = self.should.interval();
        json!({
            "step": step.id, "number": self.step + 1, "says": step.says,
            "from": self.from_ms, "to": self.to_ms, "reads": self.reads.map(words::watts),
            "verdict": words::verdict(self.verdict), "look": is_bad(self.verdict), "why": self.why,
            "band": [low.max(0.0), high.max(0.0)], "should": words::watts(self.should),
            "works_with": load(expected, self.step), "by_hand": self.by_hand,
        })
    }
}

/// Another one where the panel must be written anew.
fn revision(now: &TestNow) -> String {
    format!("{:?} {} {:?}", now.place, now.by_tap, now.run_down.as_ref().map(|r| (r.phase, r.step)))
}

/// For the page's script and for programs. Times are milliseconds since 1970 on the clock of the samples.
pub(crate) fn as_json(running: &Running, now: &TestNow) -> Value {
    let machine: &Machine = &running.machine;
    let at = |time_s: f64| ms(running.at(time_s));
    let place = match now.place {
        Place::Before => json!({ "is": "before" }),
        Place::Step(k) => json!({ "is": "step", "step": machine.test.steps[k].id, "number": k + 1 }),
        Place::Past(k) => json!({ "is": "between", "after": machine.test.steps[k].id, "number": k + 1 }),
        Place::Over => json!({ "is": "over" }),
    };
    let running_step = match now.place {
        Place::Step(k) => Some(k),
        _ => None,
    };
    let figure = now.figure.as_ref().map(|(measured, verdict, why)| {
        json!({
            "reads": words::watts(*measured), "watts": measured.value, "verdict": words::verdict(*verdict),
            "look": is_bad(*verdict), "why": why,
        })
    });
    let part = |p: &super::follow::Part| {
        let part = PartView {
            step: p.step,
            from_ms: at(p.from_s),
            to_ms: at(p.to_s),
            reads: p.measured,
            should: now.expected[p.step].power_w,
            verdict: p.verdict,
            why: &p.why,
            by_hand: p.by_hand,
        };
        part.json(machine, &now.expected)
    };
    json!({
        "revision": revision(now),
        "at": at(now.at_s),
        "place": place,
        "since": at(now.since_s),
        "by_tap": now.by_tap,
        "probability": now.sure,
        "band": running_step.map(|k| { let (low, high) = band(&now.expected[k]); [low, high] }),
        "works_with": running_step.map(|k| load(&now.expected, k)),
        "figure": figure,
        "parts": now.parts.iter().map(part).collect::<Vec<_>>(),
        "run_down": now.run_down.as_ref().map(|r| json!({
            "heading": heading(r.phase), "says": r.says, "caution": r.caution, "next": r.next,
            "until": r.until_s.map(at), "step": machine.test.steps[r.step].id,
        })),
        "supply": format(now.supply_v, Dimension::Voltage),
        "supply_measured": now.supply_measured,
    })
}
