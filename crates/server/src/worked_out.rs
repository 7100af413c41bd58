//! From a job's log to what it means: always worked out from the log itself; what was worked out is kept in memory until
//! log, machine file or settings change.

use crate::desk::Desk;
use crate::live;
use crate::problem::Problem;
use crate::seats::{Found, Seat};
use crate::setup::setup;
use crate::visit;
use bench::Conditions;
use diagnosis::belief::Beliefs;
use diagnosis::check::Instrument;
use diagnosis::evidence::{Answer, Asked, Evidence, Listener};
use diagnosis::finding::{Action, Finding};
use diagnosis::setup::Setup;
use machine::diagnostic::Severity;
use machine::model::Machine;
use records::{Job, Log, Says, Settings};
use std::collections::VecDeque;
use std::sync::{Arc, Mutex, PoisonError};

/// Findings that are kept.
const KEPT: usize = 32;

/// What a job's log means. It is kept, so it holds no samples: of a recording only name and marks.
pub(crate) struct WorkedOut {
    pub(crate) machine: Arc<Machine>,
    pub(crate) evidence: Evidence,
    /// What it was worked out from, to go on from it.
    known: Known,
    pub(crate) conditions: Conditions,
    pub(crate) finding: Finding,
    /// Entries that the machine file no longer understands, with why.
    pub(crate) left_out: Vec<(u32, String)>,
}

/// A log as evidence.
pub(crate) struct AsEvidence {
    pub(crate) evidence: Evidence,
    pub(crate) left_out: Vec<(u32, String)>,
    toml: String,
}

/// What came of working out: refusals are kept too, since they would only come again.
type Outcome = Result<Arc<WorkedOut>, Problem>;

/// Outcomes by what they were worked out from.
#[derive(Default)]
pub(crate) struct Kept(Mutex<VecDeque<(String, Outcome)>>);

impl Kept {
    fn get(&self, key: &str) -> Option<Outcome> {
        let all = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        all.iter().find(|k| k.0 == key).map(|k| k.1.clone())
    }

    fn keep(&self, key: String, outcome: &Outcome) {
        let mut all = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        all.retain(|k| k.0 != key);
        all.push_front((key, outcome.clone()));
        all.truncate(KEPT);
    }
}

/// Reads a log as evidence. Entries that the machine file does not understand (any more) are left out and named.
pub(crate) fn evidence(machine: &Machine, log: &Log) -> AsEvidence {
    let name = format!("{} {}", machine.plate.maker, machine.plate.model);
    let mut left_out: Vec<(u32, String)> = Vec::new();
    loop {
        let numbers: Vec<u32> = left_out.iter().map(|l| l.0).collect();
        let text = log.evidence_file(&name, &numbers);
        let found = match diagnosis::evidence::read(machine, &text.toml) {
            Ok(file) => return AsEvidence { evidence: file.evidence, left_out, toml: text.toml },
            Err(found) => found,
        };
        let before = left_out.len();
        for d in found.iter().filter(|d| d.severity == Severity::Error) {
            let place = text.places.iter().find(|p| p.0.contains(&d.span.start));
            if let Some((_, number)) = place.filter(|p| left_out.iter().all(|l| l.0 != p.1)) {
                left_out.push((*number, format!("{}; {}", d.message, d.remedies.join("; or "))));
            }
        }
        if left_out.len() == before {
            // What is wrong stands in no entry, so it is in the head: supply or water, which were read before they were kept.
            let why = found.first().map_or(String::new(), |d| d.message.clone());
            return AsEvidence { evidence: Evidence::default(), left_out: vec![(0, why)], toml: text.toml };
        }
    }
}

/// What a job's finding is worked out from.
#[derive(Clone)]
pub(crate) struct Known {
    pub(crate) machine: Arc<Machine>,
    pub(crate) evidence: Evidence,
    /// The recording that counts, its samples still to be read.
    trace: Option<live::recorded::Counts>,
    pub(crate) setup: Setup,
    left_out: Vec<(u32, String)>,
    /// Names all that.
    pub(crate) key: String,
    /// Names what a diagnosis holds to: all but the entries.
    seat: String,
}

/// What is known in a job; none where there is no machine file or nothing was said yet.
/// `until`: recordings that began later are not among it.
pub(crate) async fn known(
    desk: &Arc<Desk>,
    job: &Job,
    until: Option<jiff::Timestamp>,
) -> Result<Option<Known>, Problem> {
    let Some(machine) = desk.machine_of(job)? else { return Ok(None) };
    let settings = desk.with_records(records::Records::settings).await?;
    let log = job.log.clone();
    let text = job.machine.as_ref().map_or(String::new(), |m| format!("{}\n{}", m.variant, m.file_text));
    let trace = live::recorded::of(desk, job, &machine, until).await?;
    desk.work(move || {
        let AsEvidence { evidence, left_out, toml } = evidence(&machine, &log);
        if evidence.entries.is_empty() && trace.is_none() {
            return None;
        }
        let key = format!("{settings:?}\n{trace:?}\n{toml}\n{text}");
        let setup = job_setup(&settings, &machine, &log);
        let Evidence { supply, water_l, .. } = &evidence;
        let seat = format!("{setup:?}\n{trace:?}\n{supply:?}\n{water_l}\n{text}");
        Some(Known { machine, evidence, trace, setup, left_out, key, seat })
    })
    .await
}

impl Known {
    /// The same with the samples of its recording; none where nothing is left to work out from.
    pub(crate) async fn with_samples(mut self, desk: &Arc<Desk>) -> Result<Option<Known>, Problem> {
        if let Some(trace) = self.trace.clone() {
            self.evidence.trace = live::recorded::read(desk, trace).await?;
        }
        Ok((!self.evidence.entries.is_empty() || self.evidence.trace.is_some()).then_some(self))
    }
}

/// The frame of a job: the instruments owned, without those that are not at hand in this job.
fn job_setup(settings: &Settings, machine: &Machine, log: &Log) -> Setup {
    let mut setup = setup(settings);
    let listener = Listener::new(machine);
    for entry in log.standing() {
        let Says::Check { check, answer } = &entry.says else { continue };
        if answer.trim() != DONT_HAVE {
            continue;
        }
        let missing = match listener.asked(check) {
            Ok(Asked::Ohms { insulation: true, .. }) => Instrument::InsulationTester,
            Ok(Asked::Ohms { .. } | Asked::Volts { .. }) => Instrument::Multimeter,
            Ok(Asked::Step(_)) => Instrument::PowerMeter,
            _ => continue,
        };
        setup.instruments.retain(|o| o.instrument != missing);
    }
    setup
}

/// The answer that passes over all checks by the instrument of the check, in this job.
pub(crate) const DONT_HAVE: &str = "don't have";

/// What a job's log means; none where there is no machine file or nothing is known yet.
pub(crate) async fn worked_out(desk: &Arc<Desk>, job: &Job) -> Result<Option<Arc<WorkedOut>>, Problem> {
    let Some(found) = of_log(desk, job, None).await? else { return Ok(None) };
    let line = visit::next(&job.log).unwrap_or_else(|| in_a_line(&found));
    let (id, last) = (job.id, job.log.last());
    desk.with_records(move |r| r.keep_derived(id, last, &line)).await?;
    Ok(Some(found))
}

/// As [`worked_out`], of a job whose log may be shorter than the one that is kept; recordings that began after `until` are left
/// out. Nothing of it goes into the list of jobs.
pub(crate) async fn of_log(
    desk: &Arc<Desk>,
    job: &Job,
    until: Option<jiff::Timestamp>,
) -> Result<Option<Arc<WorkedOut>>, Problem> {
    let Some(known) = known(desk, job, until).await? else { return Ok(None) };
    if let Some(kept) = desk.kept.get(&known.key) {
        return kept.map(Some);
    }
    let key = known.key.clone();
    let Some(outcome) = find(desk, known).await? else { return Ok(None) };
    let outcome = outcome.map(Arc::new);
    desk.kept.keep(key, &outcome);
    outcome.map(Some)
}

impl WorkedOut {
    /// The samples of its recording; none where there is none.
    pub(crate) async fn samples(&self, desk: &Arc<Desk>) -> Result<Vec<trace::Sample>, Problem> {
        let Some(trace) = self.known.trace.clone() else { return Ok(Vec::new()) };
        let recording = live::recorded::read(desk, trace).await?;
        Ok(recording.map_or(Vec::new(), |r| r.samples))
    }
}

/// Asks the diagnosis that is seated for this, or seats one; none where nothing is left to work out from.
async fn find(desk: &Arc<Desk>, known: Known) -> Result<Option<Result<WorkedOut, Problem>>, Problem> {
    let Some(seat) = seat(desk, known.clone()).await? else { return Ok(None) };
    let refused = |e: diagnosis::FindError| {
        Problem::refused(format!("no suspects can be named: {e}"), "take the entry back that you trust least")
    };
    let seat = match seat {
        Ok(seat) => seat,
        Err(e) => return Ok(Some(Err(refused(e)))),
    };
    let Known { machine, evidence, left_out, .. } = known.clone();
    let found = seat.ask(desk, |seated| seated.finding(evidence)).await?.map_err(refused);
    Ok(Some(found.map(|Found { finding, evidence, conditions }| WorkedOut {
        machine,
        evidence,
        known,
        conditions,
        finding,
        left_out,
    })))
}

/// The seat of what is known; none where nothing is left to work out from.
async fn seat(desk: &Arc<Desk>, known: Known) -> Result<Option<Result<Seat, diagnosis::FindError>>, Problem> {
    if let Some(seat) = desk.seats.of(&known.seat) {
        return Ok(Some(Ok(seat)));
    }
    let Some(Known { seat, machine, evidence, setup, .. }) = known.with_samples(desk).await? else {
        return Ok(None);
    };
    desk.seats.open(desk, seat, machine, evidence, setup).await.map(Some)
}

/// What comes next, for a list.
fn in_a_line(found: &WorkedOut) -> String {
    if let Some(sure) = &found.finding.sure {
        return format!("Sure: {}", sure.says);
    }
    match found.finding.next.first().map(|n| &n.action) {
        Some(Action::Check(check)) => format!("Next check: {}", check.says),
        Some(Action::Mend { says, .. } | Action::HandBack { says, .. }) => format!("Next: {says}"),
        None => "No further check known".to_owned(),
    }
}

/// What an answer to a check would mean, before it is sent.
pub(crate) struct WhatIf {
    pub(crate) before: Arc<WorkedOut>,
    /// None: it is passed over.
    pub(crate) after: Option<Beliefs>,
    /// How the answer was taken.
    pub(crate) taken: String,
}

/// What an entry would mean, were it added.
pub(crate) async fn what_if(desk: &Arc<Desk>, job: &Job, says: &Says) -> Result<Option<WhatIf>, Problem> {
    let Some(before) = worked_out(desk, job).await? else { return Ok(None) };
    let Says::Check { check, answer } = says else { return Ok(None) };
    let machine = &before.machine;
    let listener = Listener::new(machine);
    let clues = match listener.answer(listener.asked(check)?, answer)? {
        Answer::Declined => {
            let taken = if answer == DONT_HAVE {
                "Passed over, with all other checks by that instrument in this job.".to_owned()
            } else {
                "Passed over: it is not asked again.".to_owned()
            };
            return Ok(Some(WhatIf { before, after: None, taken }));
        }
        Answer::Says(clues) => clues,
    };
    let taken = clues.iter().map(|c| report::finding::words::clue(machine, c)).collect::<Vec<_>>().join(", ");
    let known = before.evidence.clone();
    let mut more = known.clone();
    more.entries.extend(diagnosis::evidence::Entry::of_one(clues, answer, None, Some(check)));
    let Some(seat) = seat(desk, before.known.clone()).await? else { return Ok(None) };
    let would = match seat {
        Ok(seat) => seat.ask(desk, move |seated| seated.would_believe(&known, &more)).await?,
        Err(e) => Err(e),
    };
    let after = would.map_err(|e| Problem::refused(format!("that fits nothing: {e}"), "measure it again"))?;
    Ok(Some(WhatIf { before, after: Some(after), taken }))
}

#[cfg(test)]
mod tests {
    use super::{Says, what_if, worked_out};
    use crate::desk::Desk;
    use jiff::Timestamp;
    use records::{JobMachine, NewEntry, Sample};
    use std::sync::Arc;

    #[tokio::test]
    async fn what_is_kept_holds_no_samples_and_what_if_weighs_them_all_the_same() {
        let folder = tempfile::tempdir().unwrap();
        let desk = Arc::new(Desk::open(folder.path(), false).unwrap());
        let file_text = include_str!("../../../machines/aldermere-tern-81.toml").to_owned();
        let machine = JobMachine { file_text, file_name: "tern".to_owned(), ..JobMachine::default() };
        let id = desk.records().new_job(&crate::now(), None, Some(&machine)).unwrap();
        let socket = desk.records().socket("loft").unwrap();
        let at = |s: i64| Timestamp::from_second(1_700_000_000 + s).unwrap();
        let sample = |s| Sample { at: at(s), watts: Some(0.5), volts: Some(230.0), amps: None };
        desk.records().keep_samples(&[(socket, (0..120).map(sample).collect())]).unwrap();
        desk.records().attach_trace(id, socket, at(0), Some(at(120))).unwrap();

        let job = desk.job(id).await.unwrap();
        let found = worked_out(&desk, &job).await.unwrap().unwrap();
        let recording = found.evidence.trace.as_ref().unwrap();
        assert!(recording.name.contains("loft") && recording.samples.is_empty(), "{recording:?}");

        let (check, answer) = ("ohms element.1 element.2".to_owned(), "OL".to_owned());
        let says = Says::Check { check, answer };
        let would = what_if(&desk, &job, &says).await.unwrap().unwrap().after.unwrap();
        let entry = NewEntry { says, supersedes: None, at: crate::now(), key: "a".to_owned() };
        desk.records().append(id, &entry).unwrap();
        let is = worked_out(&desk, &desk.job(id).await.unwrap()).await.unwrap().unwrap();
        let first = &is.finding.suspects[0];
        let same =
            would.cases.iter().find(|(c, _)| c.faults == first.faults && c.sometimes == first.sometimes);
        // What is asked may leave out ten times as much as what is kept.
        assert!((same.unwrap().1 - first.probability).abs() < 1.1e-3, "{same:?} {first:?}");
    }
}
