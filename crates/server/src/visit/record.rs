//! From a job's log, what was found in it, settings and firm to the record that is handed over.

use crate::desk::Desk;
use crate::problem::Problem;
use crate::visit::bill;
use crate::visit::proof::proof;
use crate::visit::{self, decided, fitted, mended};
use crate::worked_out::{self, WorkedOut};
use handover::{Consent, Correction, Done, Firm, FollowUp, Found, JobRecord, Part, Party, Plate, Proof};
use jiff::civil::{Date, DateTime};
use jiff::{Timestamp, ZonedDateTime};
use machine::model::Machine;
use records::{Entry, FirmFacts, HandOverFacts, HandedOver, Job, Log, Says, Settings};
use report::finding::json;
use std::sync::Arc;

/// The record of a job, with what a page says beside it.
pub(crate) struct Gathered {
    pub(crate) record: JobRecord,
    /// Number of the last entry that it knows.
    pub(crate) after: u32,
    /// Why there is no price.
    pub(crate) no_price: Option<Problem>,
    /// Parts that were fitted and have no price: name, and what they are called on paper.
    pub(crate) unpriced: Vec<(String, String)>,
    /// Minutes that are charged while none are typed.
    pub(crate) planned_minutes: Option<u32>,
}

/// The record of a job as far as there is one.
pub(crate) enum Standing {
    /// Not handed over yet: as it would be now.
    Draft(Box<Gathered>),
    /// As it was handed over, with its corrections.
    HandedOver(Box<JobRecord>),
    /// It was handed over, and erased on this day.
    Erased(String),
}

impl Standing {
    /// The record.
    ///
    /// # Errors
    /// Where it was erased.
    pub(crate) fn record(&self) -> Result<&JobRecord, Problem> {
        match self {
            Standing::Draft(gathered) => Ok(&gathered.record),
            Standing::HandedOver(record) => Ok(record),
            Standing::Erased(day) => Err(Problem::refused(
                format!("the record of this job was erased on {day}"),
                "what is left of the job stands on its sheet",
            )),
        }
    }
}

/// What only the hand-over needs, as it was typed last.
pub(crate) fn facts_of(log: &Log) -> (HandOverFacts, Option<&Entry>) {
    let of = |e: &&Entry| matches!(e.says, Says::HandOver { .. });
    match log.standing().filter(of).last() {
        Some(entry) => match &entry.says {
            Says::HandOver { hand_over } => (hand_over.clone(), Some(entry)),
            _ => (HandOverFacts::default(), None),
        },
        None => (HandOverFacts::default(), None),
    }
}

/// The record of a job: as it was handed over, or as it would be now.
pub(crate) async fn standing(desk: &Arc<Desk>, job: &Job) -> Result<Standing, Problem> {
    let id = job.id;
    match desk.with_records(move |r| r.handed_over(id)).await? {
        None => Ok(Standing::Draft(Box::new(gathered(desk, job).await?))),
        Some(HandedOver::Erased(day)) => Ok(Standing::Erased(day)),
        Some(HandedOver::Record(text)) => {
            let mut record: JobRecord = serde_json::from_str(&text)
                .map_err(|e| Problem::ours(format!("the record of this job cannot be read: {e}")))?;
            record.corrections = corrections(&job.log);
            Ok(Standing::HandedOver(Box::new(record)))
        }
    }
}

/// What was put right after the hand-over, oldest first.
fn corrections(log: &Log) -> Vec<Correction> {
    let of = |e: &Entry| match &e.says {
        Says::Correction { correction, was, now, why, by } => Some(Correction {
            what: correction.clone(),
            was: was.clone(),
            now: now.clone(),
            why: why.clone(),
            by: by.clone(),
            at: day_and_time(&e.at),
        }),
        _ => None,
    };
    log.standing().filter_map(of).collect()
}

/// A time as it stands on paper, with its zone.
pub(super) fn day_and_time(at: &str) -> String {
    at.parse::<ZonedDateTime>()
        .map_or_else(|_| at.to_owned(), |t| t.strftime("%-d %B %Y, %H:%M %Z").to_string())
}

/// The log as it stood before anything was mended, and when that was.
pub(super) fn before_mending(log: &Log) -> (Log, Option<Timestamp>) {
    let first = log.standing().find(|e| matches!(e.says, Says::Fitted { .. } | Says::Mended { .. }));
    let Some(first) = first else { return (log.clone(), None) };
    (up_to(log, first.number), first.at.parse::<ZonedDateTime>().ok().map(|at| at.timestamp()))
}

/// The entries before this one.
fn up_to(log: &Log, number: u32) -> Log {
    Log::of(log.entries().iter().filter(|e| e.number < number).cloned().collect())
}

/// The log without its last piece of evidence.
fn without_last(log: &Log) -> Option<Log> {
    let last = log.standing().filter(|e| e.says.is_evidence()).last()?;
    Some(up_to(log, last.number))
}

/// The record as it would be now.
pub(super) async fn gathered(desk: &Arc<Desk>, job: &Job) -> Result<Gathered, Problem> {
    let id = job.id;
    let (settings, firm, chain, stock) =
        desk.with_records(move |r| Ok((r.settings()?, r.firm()?, r.verify(id)?, r.stock()?))).await?;
    let machine = desk.machine_of(job).ok().flatten();
    let (facts, said) = facts_of(&job.log);
    let mut record = JobRecord {
        reference: reference(job),
        date: Some(day_of_visit(job)),
        firm: firm_of(&firm, visit::signed(&job.log).map(|s| s.by)),
        customer: customer_of(job, &facts, &firm),
        complaint: complaint(&job.log),
        advice: lines(&facts.advice),
        warranty: facts.warranty.clone(),
        consent: consent(&job.log),
        follow_up: follow_up(&facts, said),
        chain: chain.head,
        draft: true,
        ..JobRecord::default()
    };
    let plate = job.machine.clone().unwrap_or_default();
    record.machine = match &machine {
        Some(machine) => {
            let variant = Some(plate.variant.as_str()).filter(|v| !v.is_empty());
            Plate::of(machine, variant, &plate.serial)
        }
        None => Plate { maker: plate.maker, model: plate.model, serial: plate.serial, ..Plate::default() },
    };
    record.done = done(machine.as_deref(), &job.log, &facts);
    let found = found(desk, job, &mut record).await?;
    if !facts.found.is_empty() {
        record.found.says.clone_from(&facts.found);
    }
    record.proof = tested(desk, machine.clone(), job, &settings, &facts).await?;
    let mut gathered = Gathered {
        after: job.log.last(),
        no_price: None,
        unpriced: Vec::new(),
        planned_minutes: None,
        record,
    };
    if let Err(problem) =
        bill::price(&mut gathered, job, machine.as_deref(), found.as_deref(), &settings, &stock, &facts)
    {
        gathered.no_price = Some(problem);
    }
    if let Some(bill) = gathered.record.bill.as_mut() {
        bill.number.clone_from(&facts.invoice);
        bill.due = facts.due.parse().ok();
        bill.terms.clone_from(&firm.terms);
        bill.untaxed.clone_from(&firm.untaxed);
    }
    Ok(gathered)
}

/// What the job is called in the books: year and number.
fn reference(job: &Job) -> String {
    let year = job.opened.get(..4).unwrap_or_default();
    format!("{year}-{}", job.id)
}

/// The day on which something was last said of the visit.
fn day_of_visit(job: &Job) -> Date {
    let day = |at: &str| at.parse::<ZonedDateTime>().ok().map(|at| at.date());
    let of = |e: &&Entry| !matches!(e.says, Says::HandOver { .. });
    let last = job.log.standing().filter(of).last();
    last.and_then(|e| day(&e.at)).or_else(|| day(&job.opened)).unwrap_or_else(|| ZonedDateTime::now().date())
}

fn firm_of(firm: &FirmFacts, signer: Option<&str>) -> Firm {
    let technician = signer.map_or(firm.technician.clone(), str::to_owned);
    Firm {
        party: Party {
            name: firm.name.clone(),
            street: firm.street.clone(),
            postcode: firm.postcode.clone(),
            town: firm.town.clone(),
            country: firm.country.clone(),
            phone: firm.phone.clone(),
            email: firm.email.clone(),
            vat: firm.vat.clone(),
        },
        technician,
        registration: firm.registration.clone(),
        account: firm.account.clone(),
    }
}

fn customer_of(job: &Job, facts: &HandOverFacts, firm: &FirmFacts) -> Party {
    let customer = job.customer.clone().unwrap_or_default();
    let country = if facts.country.is_empty() { &firm.country } else { &facts.country };
    let known = !(customer.name.is_empty() && customer.address.is_empty());
    Party {
        name: customer.name,
        street: customer.address,
        phone: customer.phone,
        country: if known { country.clone() } else { String::new() },
        ..Party::default()
    }
}

/// The customer's own words, else what was picked.
fn complaint(log: &Log) -> String {
    let picked = |e: &Entry| match &e.says {
        Says::Complaint { complaint } => Some(complaint.clone()),
        _ => None,
    };
    let picked: Vec<String> = log.standing().filter_map(picked).collect();
    log.words().map_or_else(|| picked.join("; "), str::to_owned)
}

fn lines(text: &str) -> Vec<String> {
    text.lines().map(str::trim).filter(|l| !l.is_empty()).map(str::to_owned).collect()
}

fn consent(log: &Log) -> Option<Consent> {
    let entry = decided(log)?;
    let Says::Decided { offer, name, agreed, why, .. } = &entry.says else { return None };
    Some(Consent {
        name: name.clone(),
        offer: offer.clone(),
        at: day_and_time(&entry.at),
        agreed: *agreed,
        why: why.clone().unwrap_or_default(),
    })
}

fn follow_up(facts: &HandOverFacts, said: Option<&Entry>) -> Option<FollowUp> {
    let at: DateTime = facts.follow_up.parse().ok()?;
    let zone = said?.at.parse::<ZonedDateTime>().ok()?.time_zone().clone();
    let what = if facts.follow_up_what.is_empty() { "next visit" } else { &facts.follow_up_what };
    Some(FollowUp { at: at.to_zoned_datetime(zone).ok()?, minutes: 0, what: what.to_owned() })
}

/// What a part is called on paper.
pub(super) fn name_of(machine: Option<&Machine>, name: &str) -> String {
    let part = machine.and_then(|m| m.part(name).map(|id| Part::name(&m.parts[id])));
    part.unwrap_or_else(|| name.to_owned())
}

fn done(machine: Option<&Machine>, log: &Log, facts: &HandOverFacts) -> Done {
    let mut done = Done::default();
    for entry in fitted(log) {
        let Says::Fitted { fitted, cleared, order, serial, old } = &entry.says else { continue };
        let what = name_of(machine, fitted);
        if *cleared {
            let read = if old.is_empty() { String::new() } else { format!("; it read {old}") };
            done.work.push(format!("{what}: cleaned, cleared or re-made{read}."));
        } else {
            done.parts.push(Part {
                what,
                order: order.clone(),
                serial: serial.clone(),
                old_read: old.clone(),
                quantity: 1,
            });
        }
    }
    match mended(log) {
        Some((.., Some(true))) => done.work.push("After the repair the machine works.".to_owned()),
        Some((.., Some(false))) => done.work.push("The machine DOES NOT WORK yet.".to_owned()),
        _ => {}
    }
    done.work.splice(0..0, lines(&facts.work));
    done
}

/// What was found before anything was mended; gives the finding, on which the price rests.
async fn found(
    desk: &Arc<Desk>,
    job: &Job,
    record: &mut JobRecord,
) -> Result<Option<Arc<WorkedOut>>, Problem> {
    let (log, until) = before_mending(&job.log);
    let at_that_time = Job { log, ..job.clone() };
    // What the log does not bear out is missing on the record, and said there; the rest stands.
    let Ok(Some(after)) = worked_out::of_log(desk, &at_that_time, until).await else { return Ok(None) };
    let before = match without_last(&at_that_time.log) {
        Some(log) => worked_out::of_log(desk, &Job { log, ..job.clone() }, until).await.ok().flatten(),
        None => None,
    };
    let samples = after.samples(desk).await?;
    let (all, variant) = (after.clone(), job.machine.as_ref().map(|m| m.variant.clone()));
    record.found = desk
        .work(move || {
            let variant = variant.as_deref().filter(|v| !v.is_empty());
            let before = before.as_ref().map(|b| as_found(b, variant));
            Found::of(&as_found(&all, variant), before.as_ref(), &samples)
        })
        .await?;
    Ok(Some(after))
}

fn as_found<'a>(found: &'a WorkedOut, variant: Option<&'a str>) -> json::Found<'a> {
    json::Found {
        machine: &found.machine,
        variant,
        evidence: &found.evidence,
        conditions: &found.conditions,
        remarks: &[],
        finding: &found.finding,
    }
}

/// The safety test; none where nothing was tested and no reason is written.
async fn tested(
    desk: &Arc<Desk>,
    machine: Option<Arc<Machine>>,
    job: &Job,
    settings: &Settings,
    facts: &HandOverFacts,
) -> Result<Option<Proof>, Problem> {
    let (next_due, reason) = (facts.next_due.parse().ok(), facts.reason.clone());
    let begun = job.log.standing().filter(|e| matches!(e.says, Says::Safety { .. })).last();
    if begun.is_none() && reason.is_empty() {
        return Ok(None);
    }
    let on = begun.and_then(|e| e.at.parse::<ZonedDateTime>().ok()).map(|at| at.date());
    let Some(machine) = machine else { return Ok(Some(Proof { next_due, reason, ..Proof::default() })) };
    let (at_work, at_settings) = (job.clone(), settings.clone());
    let today = ZonedDateTime::now().date();
    let proof = desk.work(move || proof(&machine, &at_work, &at_settings, today)).await??;
    let mut all = Proof::of(&proof.report, &proof.tester.name);
    if let Some(signed) = visit::signed(&job.log) {
        let overtaken = signed.overtaken || signed.report != proof.report.says;
        let again = if overtaken { "; something changed since, and it was not signed again" } else { "" };
        all.remarks.push(format!("Signed off by {}, {}{again}.", signed.by, day_and_time(signed.at)));
    }
    Ok(Some(Proof { on, next_due, reason, ..all }))
}

#[cfg(test)]
mod tests {
    use super::{before_mending, without_last};
    use records::{Entry, Log, Says};

    fn log(says: Vec<Says>) -> Log {
        let at = "2026-11-25T10:00:00+00:00[UTC]";
        let entry = |(number, says)| Entry { number, at: at.to_owned(), says, supersedes: None };
        Log::of((1..).zip(says).map(entry).collect())
    }

    fn reading(reading: &str) -> Says {
        Says::Reading { reading: reading.to_owned() }
    }

    #[test]
    fn what_stands_as_found_is_what_was_known_before_anything_was_mended() {
        let mended = Says::Mended { mended: "element".to_owned(), cured: Some(true) };
        let words = Says::Words { words: "cold".to_owned() };
        let all = log(vec![reading("step warm: 31 W"), words, mended, reading("step warm: 1.8 kW")]);
        let (before, until) = before_mending(&all);
        assert_eq!((before.last(), until.is_some()), (2, true));
        // Its last evidence is the reading, although words came after it.
        assert_eq!(without_last(&before).map(|l| l.last()), Some(0));
        assert_eq!(before_mending(&before), (before, None));
    }
}
