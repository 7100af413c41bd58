//! From a record to a job that is closed: what may be typed for it, when it may be handed over, the act, and what is put right
//! after it.

use crate::desk::Desk;
use crate::problem::Problem;
use crate::visit;
use crate::visit::bill;
use crate::visit::record::{Standing, day_and_time, gathered, standing};
use handover::{Bill, Claim, JobRecord};
use jiff::ZonedDateTime;
use jiff::civil::{Date, DateTime};
use records::{HandOverFacts, Job, Log, Records, Says, Settings};
use rust_decimal::Decimal;
use std::sync::Arc;

/// Is what was typed for the hand-over understood?
///
/// # Errors
/// With what to type instead.
pub(crate) fn understood(facts: &HandOverFacts, settings: &Settings) -> Result<(), Problem> {
    for (what, text) in [("the next safety test", &facts.next_due), ("the day of payment", &facts.due)] {
        if !text.is_empty() && text.parse::<Date>().is_err() {
            return Err(Problem::refused(
                format!("{what}: `{text}` is no day"),
                "write year, month and day: 2027-11-28",
            ));
        }
    }
    if !facts.follow_up.is_empty() && facts.follow_up.parse::<DateTime>().is_err() {
        return Err(Problem::refused(
            format!("the next visit: `{}` is no time", facts.follow_up),
            "write day and time: 2027-01-12T09:30",
        ));
    }
    if !facts.minutes.is_empty() {
        bill::minutes(&facts.minutes)?;
    }
    if !facts.paid.is_empty() {
        bill::paid(&facts.paid, settings)?;
    }
    country(&facts.country)
}

/// Two letters, or nothing.
pub(crate) fn country(text: &str) -> Result<(), Problem> {
    if text.is_empty() || text.len() == 2 && text.bytes().all(|b| b.is_ascii_uppercase()) {
        return Ok(());
    }
    Err(Problem::refused(
        format!("`{text}` is no country"),
        "write its two letters of ISO 3166-1 in capitals, such as IE",
    ))
}

/// May the job be handed over as it stands? What was tested to the end is signed; what was not has its reason in writing.
///
/// # Errors
/// With what is still to be done.
pub(crate) fn may_be_handed_over(record: &JobRecord, log: &Log) -> Result<(), Problem> {
    let signed = visit::signed(log).is_some_and(|s| !s.overtaken);
    match Claim::of(record.proof.as_ref()) {
        Claim::Passed | Claim::Failed if !signed => Err(Problem::refused(
            "the safety test is not signed off as it stands",
            "sign it off under Prove, then hand the job over",
        )),
        Claim::NotShown => Err(Problem::refused(
            "the safety test is not complete, and no reason is written down",
            "finish it under Prove; or write below why the machine goes back without it",
        )),
        _ => Ok(()),
    }
}

/// What a correction may be about, with what the record says there, corrected where it was before.
pub(crate) fn correctable(record: &JobRecord) -> Vec<(&'static str, String)> {
    let bill = record.bill.as_ref();
    let money = |amount: &dyn Fn(&Bill) -> Decimal| {
        bill.map_or(String::new(), |b| {
            b.money().map_or_else(|_| amount(b).to_string(), |m| m.format(amount(b)))
        })
    };
    let customer = [&[record.customer.name.clone()][..], &record.customer.address()].concat();
    let parts = record.done.parts.iter().map(|p| {
        [p.what.as_str(), &p.order, &p.serial]
            .into_iter()
            .filter(|t| !t.is_empty())
            .collect::<Vec<_>>()
            .join(", ")
    });
    let proof = record.proof.as_ref();
    let mut all = vec![
        ("customer", customer.join(", ")),
        ("machine", record.machine.name()),
        ("serial number", record.machine.serial.clone()),
        ("complaint", record.complaint.clone()),
        ("what was found", record.found.says.clone()),
        ("what was done", record.done.work.join(" ")),
        ("parts fitted", parts.collect::<Vec<_>>().join("; ")),
        ("safety test", Claim::of(proof).says()),
        ("next safety test", proof.and_then(|p| p.next_due).map_or(String::new(), |d| d.to_string())),
        ("price", money(&|b| b.gross)),
        ("paid", money(&|b| b.paid)),
        ("invoice number", bill.map_or(String::new(), |b| b.number.clone())),
        ("consent", record.consent.as_ref().map_or(String::new(), |c| format!("{}: {}", c.name, c.offer))),
        ("advice", record.advice.join(" ")),
        ("warranty", record.warranty.clone()),
        (
            "next visit",
            record.follow_up.as_ref().map_or(String::new(), |f| f.at.strftime("%F %H:%M").to_string()),
        ),
    ];
    for (what, text) in &mut all {
        if let Some(corrected) = record.corrections.iter().rev().find(|c| c.what == *what) {
            text.clone_from(&corrected.now);
        }
        if text.is_empty() {
            "(nothing)".clone_into(text);
        }
    }
    all
}

/// May this correction be kept?
///
/// # Errors
/// Where the job is not handed over, it says something else than the record, or something is missing.
pub(crate) async fn may_be_corrected(desk: &Arc<Desk>, job: &Job, says: &Says) -> Result<(), Problem> {
    let Says::Correction { correction, was, now, why, by } = says else { return Ok(()) };
    let Standing::HandedOver(record) = standing(desk, job).await? else {
        return Err(Problem::refused(
            "this job is not handed over, so there is nothing to correct",
            "put the entry itself right, or take it back",
        ));
    };
    let about = correctable(&record).into_iter().find(|c| c.0 == correction).ok_or_else(|| {
        Problem::refused(format!("`{correction}` is nothing that a record says"), "choose one from the list")
    })?;
    if about.1 != *was {
        return Err(Problem::refused(
            format!("the record does not say “{was}” of the {correction}"),
            format!("it says “{}”: reload the page and correct that", about.1),
        ));
    }
    for (what, text) in [("what is right", now), ("why it is put right", why), ("who puts it right", by)] {
        if text.trim().is_empty() {
            return Err(Problem::refused(format!("{what} is missing"), "write it down, then keep it"));
        }
    }
    Ok(())
}

/// Hands the job over: its record is kept as it stands now.
///
/// # Errors
/// Where it may not be, or something was said since `after`.
pub(crate) async fn hand_over(
    desk: &Arc<Desk>,
    job: &Job,
    who: String,
    after: u32,
    key: String,
    by: Option<records::UserId>,
) -> Result<u32, Problem> {
    if who.trim().is_empty() {
        return Err(Problem::refused("the name of who hands over is missing", "write your name"));
    }
    let (id, at) = (job.id, ZonedDateTime::now());
    let record = if job.closed.is_some() {
        // Sent again after it was done: the records know by its key.
        String::new()
    } else {
        let mut record = gathered(desk, job).await?.record;
        may_be_handed_over(&record, &job.log)?;
        record.draft = false;
        record.handed_over = format!("{}, {}", who.trim(), day_and_time(&at.to_string()));
        serde_json::to_string(&record)
            .map_err(|e| Problem::ours(format!("the record cannot be written: {e}")))?
    };
    let number = desk
        .with_records(move |r: &Records| {
            r.close(id, &records::Closing { who: &who, record: &record, after, at: &at, key: &key }, by)
        })
        .await?;
    desk.with_records(move |r| r.keep_derived(id, number, "Handed over")).await?;
    Ok(number)
}

#[cfg(test)]
mod tests {
    use super::{correctable, may_be_handed_over, understood};
    use handover::{Correction, JobRecord, Proof, SafetyRow, Verdict};
    use records::{Entry, HandOverFacts, Log, Says, Settings};

    fn log(says: Vec<Says>) -> Log {
        let at = "2026-11-25T10:00:00+00:00[UTC]";
        let entry = |(number, says)| Entry { number, at: at.to_owned(), says, supersedes: None };
        Log::of((1..).zip(says).map(entry).collect())
    }

    #[test]
    fn it_is_handed_over_signed_or_with_a_reason_and_not_else() {
        use Verdict::{Fail, Open, Pass};
        let signed = || log(vec![Says::Signed { signed: "Ann".to_owned(), report: "x".to_owned() }]);
        for (verdict, reason, is_signed, may) in [
            (Some(Pass), "", true, true),
            (Some(Pass), "", false, false),
            // A reason stands for what was not tested; what was tested to the end is signed all the same.
            (Some(Pass), "in a hurry", false, false),
            (Some(Fail), "", true, true),
            (Some(Fail), "in a hurry", false, false),
            (Some(Open), "", true, false),
            (Some(Open), "declined", false, true),
            (None, "", false, false),
        ] {
            let proof = verdict.map(|verdict| Proof {
                rows: vec![SafetyRow { verdict, ..SafetyRow::default() }],
                fit: verdict == Pass,
                reason: reason.to_owned(),
                ..Proof::default()
            });
            let record = JobRecord { proof, ..JobRecord::default() };
            let log = if is_signed { signed() } else { Log::default() };
            let done = may_be_handed_over(&record, &log);
            assert_eq!(done.is_ok(), may, "{verdict:?} {reason} {is_signed}");
            assert!(done.map_or_else(|p| !p.remedy.is_empty(), |()| true));
        }
    }

    #[test]
    fn a_correction_is_about_what_stands_there_last() {
        let mut record = JobRecord { warranty: "6 months".to_owned(), ..JobRecord::default() };
        let says = |record: &JobRecord, of: &str| {
            correctable(record).into_iter().find(|c| c.0 == of).map(|c| c.1).unwrap()
        };
        assert_eq!(
            (says(&record, "warranty").as_str(), says(&record, "advice").as_str()),
            ("6 months", "(nothing)")
        );
        for now in ["12 months", "24 months"] {
            let (what, now) = ("warranty".to_owned(), now.to_owned());
            record.corrections.push(Correction { what, now, ..Correction::default() });
        }
        assert_eq!(says(&record, "warranty"), "24 months");
    }

    type Set = fn(&mut HandOverFacts, &str);

    #[test]
    fn what_cannot_be_is_refused_with_a_remedy() {
        let settings = Settings::default();
        assert_eq!(understood(&HandOverFacts::default(), &settings), Ok(()));
        let fields: [(Set, &str, &str); 5] = [
            (|f, t| t.clone_into(&mut f.next_due), "2027-11-28", "28.11.27"),
            (|f, t| t.clone_into(&mut f.follow_up), "2027-01-12T09:30", "tomorrow"),
            (|f, t| t.clone_into(&mut f.minutes), "45", "0"),
            (|f, t| t.clone_into(&mut f.paid), "50,00", "fifty"),
            (|f, t| t.clone_into(&mut f.country), "IE", "ie"),
        ];
        for (set, good, bad) in fields {
            let mut facts = HandOverFacts::default();
            set(&mut facts, good);
            assert_eq!(understood(&facts, &settings), Ok(()), "{good}");
            set(&mut facts, bad);
            assert!(!understood(&facts, &settings).unwrap_err().remedy.is_empty(), "{bad}");
        }
    }
}
