//! Test: the guided service test, each step a card with what to press, what to see, and what it should draw at this supply.

use crate::capture::{Seen, State as Heard};
use crate::desk::Desk;
use crate::live::is_bad;
use crate::problem::Problem;
use crate::setup::{run_out, setup};
use crate::worked_out::WorkedOut;
use bench::{Conditions, Hypothesis, Prediction};
use diagnosis::check::Instrument;
use diagnosis::evidence::Listener;
use diagnosis::finding::Verdict;
use machine::model::{GoesOn, Machine, Step};
use quantity::{Dimension, format};
use records::{Job, Says, Settings};
use report::finding::words;
use std::sync::Arc;

pub(super) struct TestView {
    /// Sockets that a test can be followed on: number, name, what its meter says.
    pub(super) sockets: Vec<(i64, String, String)>,
    /// A trace is open; one counts as evidence.
    pub(super) followed: bool,
    pub(super) recorded: bool,
    pub(super) enter: String,
    pub(super) before: Vec<String>,
    pub(super) leave: String,
    pub(super) steps: Vec<Card>,
    pub(super) codes: Vec<String>,
    pub(super) supply: String,
    /// That the calibration of the power meter has run out.
    pub(super) run_out: String,
    pub(super) line: String,
    pub(super) open: bool,
}

/// A step of the service test.
pub(super) struct Card {
    pub(super) id: String,
    pub(super) number: usize,
    pub(super) says: String,
    pub(super) caution: String,
    /// How it goes on to the next.
    pub(super) goes_on: String,
    pub(super) see: String,
    pub(super) hear: String,
    pub(super) shows_code: bool,
    pub(super) power: String,
    pub(super) band: String,
    pub(super) current: String,
    pub(super) lasts: String,
    pub(super) signs: Vec<Sign>,
    /// What was typed, and the number of its entry.
    pub(super) typed: String,
    pub(super) entry: u32,
    pub(super) verdict: &'static str,
    pub(super) bad: bool,
    pub(super) why: String,
    /// The hazard on the way into the next step, what to wait for, how many seconds.
    pub(super) then: Option<(String, String, u32)>,
    /// The caution of the next step: it stands above the press that leads into it.
    pub(super) next_caution: String,
    pub(super) open: bool,
}

/// Something to be seen or heard in a step, and what was answered.
pub(crate) struct Sign {
    pub(crate) name: String,
    pub(crate) answer: String,
    pub(crate) entry: u32,
}

/// Supply, water and meter of a job, for predictions.
pub(crate) fn conditions(machine: &Machine, job: &Job, settings: &Settings) -> Conditions {
    let listener = Listener::new(machine);
    let supply = job.log.supply().and_then(|s| listener.supply(s).ok());
    let mut conditions = match supply {
        Some(supply) => Conditions { supply_u_v: supply.u_v, ..Conditions::at(supply.volts) },
        None => Conditions::unmeasured(machine.plate.supply_v),
    };
    conditions.water_l = job.log.water().and_then(|w| listener.water(w).ok()).unwrap_or(0.0);
    if let Some(meter) = setup(settings).owns(Instrument::PowerMeter) {
        conditions.meter = bench::Meter { relative: meter.relative, absolute_w: meter.absolute };
    }
    conditions
}

impl TestView {
    pub(super) async fn of(
        desk: &Arc<Desk>,
        machine: Arc<Machine>,
        job: &Job,
        settings: &Settings,
        found: Option<&WorkedOut>,
    ) -> Result<TestView, Problem> {
        let conditions = conditions(&machine, job, settings);
        let at_work = machine.clone();
        let predicted =
            desk.work(move || bench::predict(&at_work, &Hypothesis::healthy(), &conditions)).await?;
        let mut steps: Vec<Card> = machine
            .test
            .steps
            .iter()
            .zip(&predicted)
            .enumerate()
            .map(|(at, (step, p))| card(at, step, p, &machine, job, found))
            .collect();
        let done = steps.iter().filter(|s| s.is_done()).count();
        let bad: Vec<String> =
            steps.iter().filter(|s| s.bad).map(|s| format!("{} {}", s.id, s.verdict)).collect();
        let current =
            if done == 0 { 0 } else { steps.iter().rposition(Card::is_done).map_or(0, |at| at + 1) };
        if let Some(step) = steps.get_mut(current) {
            step.open = true;
        }
        let line = match (done, bad.is_empty()) {
            (0, _) => format!("{} steps, none typed yet", steps.len()),
            (n, true) => format!("{n} of {} steps typed, as expected", steps.len()),
            (n, false) => format!("{n} of {} steps typed: {}", steps.len(), bad.join(", ")),
        };
        let supply = match job.log.supply() {
            Some(supply) => format!("at {supply}"),
            None => format!(
                "at {:.0} V ±10 %: measure the supply under Arrive for narrower ranges",
                machine.plate.supply_v
            ),
        };
        let checks_begun = job.log.standing().any(|e| matches!(e.says, Says::Check { .. }));
        let id = job.id;
        let traces = desk.with_records(move |r| r.traces_of(id)).await?;
        let says = |s: &Seen| match (&s.state, s.newest.and_then(|n| n.watts)) {
            (Heard::Heard, Some(watts)) => format!("{watts:.0} W"),
            (Heard::Heard, None) => "heard".to_owned(),
            (Heard::Waiting, _) => "not heard yet".to_owned(),
            (Heard::Lost { .. }, _) => "meter lost".to_owned(),
        };
        Ok(TestView {
            sockets: desk.capture.all().iter().map(|s| (s.id.number(), s.name.clone(), says(s))).collect(),
            followed: traces.iter().any(|t| t.to.is_none()),
            recorded: traces.iter().any(|t| t.to.is_some()),
            enter: machine.test.enter.clone(),
            before: machine.test.before.clone(),
            leave: machine.test.leave.clone(),
            codes: machine.codes.iter().map(|c| c.id.clone()).collect(),
            supply,
            run_out: run_out(settings, Instrument::PowerMeter, crate::now().date()),
            open: !steps.is_empty() && (done > 0 || !checks_begun),
            line,
            steps,
        })
    }
}

impl Card {
    fn is_done(&self) -> bool {
        self.entry > 0 || self.signs.iter().any(|s| s.entry > 0)
    }
}

fn card(
    at: usize,
    step: &Step,
    p: &Prediction,
    machine: &Machine,
    job: &Job,
    found: Option<&WorkedOut>,
) -> Card {
    let (typed, entry) = typed(&step.id, job);
    let (low, high) = p.power_w.interval();
    let verdict = found.and_then(|f| f.finding.steps.iter().find(|v| v.step == at));
    let verdict = verdict.filter(|v| v.verdict != Verdict::NotDone);
    let watts = |w: f64| format(w.max(0.0).round(), Dimension::Power);
    let goes_on = match &step.goes_on {
        GoesOn::ByItself => "goes on by itself".to_owned(),
        GoesOn::Press(how) => format!("then {how}"),
    };
    let signs = p.signs.iter().map(|name| sign(&step.id, name, job)).collect();
    let then = step.then.as_ref().map(|t| (t.caution.clone(), t.wait.clone(), t.run_down_s.ceil() as u32));
    let names_code = step.shows_code && !machine.codes.is_empty();
    Card {
        id: step.id.clone(),
        number: at + 1,
        says: step.says.clone(),
        caution: step.caution.clone(),
        goes_on,
        see: step.see.clone(),
        hear: step.hear.clone(),
        shows_code: names_code,
        power: words::watts(p.power_w),
        band: format!("{} … {}", watts(low), watts(high)),
        current: quantity::format_pm(p.current_a.value, 2.0 * p.current_a.u, Dimension::Current),
        lasts: format(p.lasts_s.round(), Dimension::Time),
        signs,
        typed,
        entry,
        bad: verdict.is_some_and(|v| is_bad(v.verdict)),
        verdict: verdict.map_or("", |v| words::verdict(v.verdict)),
        why: verdict.map_or(String::new(), |v| v.why.clone()),
        then,
        next_caution: machine.test.steps.get(at + 1).map_or(String::new(), |s| s.caution.clone()),
        open: false,
    }
}

/// What was typed for this step and stands, newest last.
fn typed(step: &str, job: &Job) -> (String, u32) {
    let of_step = |e: &records::Entry| match &e.says {
        Says::Reading { reading } => {
            let (id, said) = reading.strip_prefix("step ")?.split_once(':')?;
            (id.trim() == step).then(|| (said.trim().to_owned(), e.number))
        }
        Says::Check { check, answer } => {
            (check.strip_prefix("step ")? == step).then(|| (answer.clone(), e.number))
        }
        _ => None,
    };
    job.log.standing().filter_map(of_step).last().unwrap_or_default()
}

/// What was answered about a sign of a step.
pub(crate) fn sign(step: &str, name: &str, job: &Job) -> Sign {
    let wanted = format!("{step}: {name}");
    let said = job.log.standing().filter_map(|e| match &e.says {
        Says::Saw { saw, answer } if *saw == wanted => Some((answer.clone(), e.number)),
        _ => None,
    });
    let (answer, entry) = said.last().unwrap_or_default();
    Sign { name: name.to_owned(), answer, entry }
}

/// What a typed value of a step means, before it is sent: the plain comparison with the band of 95 %.
pub(crate) fn compared(
    machine: &Machine,
    conditions: &Conditions,
    step: &str,
    watts: f64,
) -> Option<(String, bool)> {
    let at = machine.test.steps.iter().position(|s| s.id == step)?;
    let predicted = bench::predict(machine, &Hypothesis::healthy(), conditions);
    let (low, high) = predicted.get(at)?.power_w.interval();
    let should = |w: f64| format(w.max(0.0).round(), Dimension::Power);
    let band = format!("should be {} … {}", should(low), should(high));
    let read = format(watts, Dimension::Power);
    Some(match watts {
        w if w > high => (format!("{read}: high, {band}"), true),
        w if w < low && w < 1.0 && low > 2.0 => (format!("{read}: nothing, {band}"), true),
        w if w < low => (format!("{read}: low, {band}"), true),
        _ => (format!("{read}: as expected, {band}"), false),
    })
}
