//! From a job's log to the report of its safety test: the plan, what was read, and what may be done next.

use crate::pages::test::conditions;
use crate::problem::Problem;
use crate::visit::{parts_worked_on, worked_on_last};
use jiff::civil::Date;
use machine::model::Machine;
use records::{Entry, Job, Log, ProvingFacts, Says, Settings, TesterFacts};
use safety::facts::{self, FactError, Facts};
use safety::retest::Retested;
use safety::{Calibrated, Report, Standard, State, Subject, Test, Tester, Typed, parse_typed};

/// The safety test of a job.
pub(crate) struct Proof {
    pub(crate) report: Report,
    pub(crate) subject: Subject,
    /// The tester by which the next reading is taken, if nobody says otherwise.
    pub(crate) tester: TesterFacts,
    /// What was read, oldest first.
    pub(crate) readings: Vec<Read>,
}

/// A reading with its entry.
pub(crate) struct Read {
    pub(crate) entry: u32,
    pub(crate) said: String,
    /// Of this test; none: of a step.
    pub(crate) test: Option<Test>,
    /// Of this step of the machine's own test; empty: of a safety test.
    pub(crate) step: String,
    /// The part that was fitted or cleared after it, so that it counts no more; empty: it counts.
    pub(crate) overtaken_by: String,
}

fn refused(e: FactError) -> Problem {
    let message = if e.fact.is_empty() { e.message } else { format!("{}: {}", e.fact, e.message) };
    Problem::refused(message, e.remedy)
}

fn said(text: &str) -> Option<&str> {
    Some(text.trim()).filter(|t| !t.is_empty())
}

/// The appliance.
pub(crate) fn subject(machine: &Machine, facts: &ProvingFacts) -> Result<Subject, Problem> {
    let facts = Facts {
        class: said(&facts.class),
        lead: said(&facts.lead),
        core: said(&facts.core),
        heating: said(&facts.heating),
        sort: said(&facts.sort),
        unearthed_metal: facts.unearthed_metal,
        sheathed_element: facts.sheathed_element,
        switches_by_hand: facts.switches_by_hand,
        surge_arresters: facts.surge_arresters,
        rewired: facts.rewired,
    };
    facts.subject(machine).map_err(refused)
}

/// The standard of this name that is for tests after a repair; EN where nobody said.
pub(crate) fn standard(key: &str) -> Result<&'static Standard, Problem> {
    let key = said(key).unwrap_or("en");
    let found = safety::standard(key).map_err(|e| Problem::refused(e.message, e.remedy))?;
    if !found.after_repair {
        return Err(Problem::refused(
            format!("{} is not for tests after a repair", found.name),
            "choose another standard",
        ));
    }
    Ok(found)
}

/// The tester.
pub(crate) fn tester(facts: &TesterFacts) -> Result<Tester, Problem> {
    let mut tester = Tester { name: facts.name.clone(), ..Tester::default() };
    for text in facts.accuracy.iter().filter_map(|t| said(t)) {
        let (test, accuracy) = facts::accuracy(text).map_err(refused)?;
        tester.accuracy.insert(test, accuracy);
    }
    if let Some(on) = said(&facts.calibrated) {
        tester.calibration = Some(facts::calibration(on, said(&facts.due)).map_err(refused)?);
    }
    Ok(tester)
}

/// What is known of the appliance in this job.
pub(crate) fn facts_of(log: &Log) -> ProvingFacts {
    let last = log.standing().filter_map(|e| match &e.says {
        Says::Proving { proving } => Some(proving.clone()),
        _ => None,
    });
    last.last().unwrap_or_default()
}

/// Works the safety test out, from all that stands in the log. What was read before the last part was fitted or cleared does not
/// count: the machine was open since. `today`: for the calibration, where nothing was read yet.
///
/// # Errors
/// Where facts of the appliance or the standard cannot be taken.
pub(crate) fn proof(
    machine: &Machine,
    job: &Job,
    settings: &Settings,
    today: Date,
) -> Result<Proof, Problem> {
    let facts = facts_of(&job.log);
    let subject = subject(machine, &facts)?;
    let standard = standard(said(&facts.standard).unwrap_or(&settings.standard))?;
    let (mut tests, mut steps, mut readings, mut testers) = (Vec::new(), Vec::new(), Vec::new(), Vec::new());
    let worked_on = worked_on_last(&job.log);
    for entry in job.log.standing() {
        let Says::Safety { safety, tester: by } = &entry.says else { continue };
        let after = worked_on.filter(|(number, _)| *number > entry.number).map(|(_, part)| part);
        let read = |test, step: &str| Read {
            entry: entry.number,
            said: safety.clone(),
            test,
            step: step.to_owned(),
            overtaken_by: after.unwrap_or_default().to_owned(),
        };
        match parse_typed(safety) {
            Ok(Typed::Test(reading)) => {
                readings.push(read(Some(reading.test), ""));
                if after.is_some() {
                    continue;
                }
                testers.push((reading.test, by, day_of(entry).unwrap_or(today)));
                tests.push(reading);
            }
            Ok(Typed::Step(reading)) => {
                readings.push(read(None, &reading.step));
                if after.is_none() {
                    steps.push(reading);
                }
            }
            // Checked before it was kept: only a newer program's notation comes here.
            Err(_) => {}
        }
    }
    let newest = testers.last().map_or_else(|| settings.tester.clone(), |t| t.1.clone());
    let (by, day) = all_testers(&testers, &newest, today)?;
    let touched = safety::retest::touched(
        machine,
        &parts_worked_on(machine, &job.log),
        &conditions(machine, job, settings),
    );
    let plan = safety::plan(&subject, standard);
    let report = safety::judge(&plan, &tests, &by, day, &touched, &steps);
    Ok(Proof { report, subject, tester: newest, readings })
}

fn day_of(entry: &Entry) -> Option<Date> {
    entry.at.parse::<jiff::ZonedDateTime>().ok().map(|at| at.date())
}

/// One tester that stands for all: of each test the limits of error of the one that read it last, and the worst of the
/// calibrations, each held against the day of its reading. So no reading passes by another tester's calibration.
fn all_testers(
    testers: &[(Test, &TesterFacts, Date)],
    newest: &TesterFacts,
    today: Date,
) -> Result<(Tester, Date), Problem> {
    let mut all = tester(newest)?;
    let mut day = today;
    let mut worst = None;
    for (test, facts, on) in testers {
        let one = tester(facts)?;
        match one.accuracy.get(test) {
            Some(accuracy) => all.accuracy.insert(*test, *accuracy),
            None => all.accuracy.remove(test),
        };
        if test.measures().is_none() {
            continue;
        }
        let badness = match one.calibrated(*on) {
            Calibrated::RanOut(_) => 3,
            Calibrated::Impossible => 2,
            Calibrated::NotStated => 1,
            Calibrated::Until(_) => 0,
        };
        if worst.is_none_or(|w| badness >= w) {
            worst = Some(badness);
            (all.calibration, day) = (one.calibration, *on);
        }
    }
    Ok((all, day))
}

impl Proof {
    /// The tests that must pass before this reading may be taken; empty: it may.
    pub(crate) fn blocked_by(&self, typed: &Typed) -> Vec<Test> {
        match typed {
            Typed::Test(reading) => {
                let item = self.report.items.iter().find(|i| i.test == reading.test);
                match item.map(|i| &i.state) {
                    Some(State::Blocked { by, .. }) => by.clone(),
                    _ => Vec::new(),
                }
            }
            Typed::Step(reading) => {
                let step = self.report.retest.iter().find(|r| r.step == reading.step);
                match step.map(|r| &r.state) {
                    Some(Retested::Blocked(by)) => by.clone(),
                    _ => Vec::new(),
                }
            }
        }
    }

    /// The tests that must pass before the machine is seen to work, on the mains; empty: it may be.
    pub(crate) fn functional_blocked_by(&self) -> Vec<Test> {
        let item = self.report.items.iter().find(|i| i.test == Test::Functional);
        match item.map(|i| &i.state) {
            Some(State::Blocked { by, .. }) => by.clone(),
            _ => Vec::new(),
        }
    }

    /// Does a test apply, or is a step touched by the repair?
    pub(crate) fn applies(&self, typed: &Typed) -> bool {
        match typed {
            Typed::Test(reading) => self.report.items.iter().any(|i| i.test == reading.test),
            Typed::Step(reading) => self.report.retest.iter().any(|r| r.step == reading.step),
        }
    }
}
