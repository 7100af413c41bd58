//! A job that was handed over stays as it was; what the van carries follows the logs.
#![allow(missing_docs, dead_code, clippy::unwrap_used, reason = "a test")]

mod support;

use records::{
    Closing, Customer, HandOverFacts, HandedOver, JobId, JobMachine, NewEntry, Records, Says, StockPart,
    Whose,
};
use std::path::Path;
use support::{NAME, at, entry, filled, now, reading};

const RECORD: &str = r#"{"customer":{"name":"Thessaly Brackwater"},"warranty":"6 months"}"#;

fn close(records: &Records, job: JobId, key: &str) -> Result<u32, records::RecordsError> {
    let after = records.job(job).unwrap().unwrap().log.last();
    let at = now();
    records.close(job, &Closing { who: "Ro", record: RECORD, after, at: &at, key }, None)
}

fn correction(now: &str) -> Says {
    let text = str::to_owned;
    let (correction, was, why, by) = (text("warranty"), text("6 months"), text("a slip"), text("Ro"));
    Says::Correction { correction, was, now: text(now), why, by }
}

fn fitted(order: &str, cleared: bool) -> Says {
    let (serial, old) = (String::new(), String::new());
    Says::Fitted { fitted: "element".to_owned(), cleared, order: order.to_owned(), serial, old }
}

#[test]
fn a_job_that_was_handed_over_takes_corrections_and_nothing_else() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("records.sqlite");
    let (records, job, other) = filled(&path);
    let advice = HandOverFacts { advice: "Use less powder.".to_owned(), ..HandOverFacts::default() };
    records.append(job, &entry("h", Says::HandOver { hand_over: advice })).unwrap();
    // Nothing is corrected before, and nobody closes a job by an entry alone, or without having seen the last one.
    assert!(records.append(job, &entry("x", correction("1 year"))).is_err());
    let alone = Says::HandedOver { handed_over: "Ro".to_owned(), record: "00".to_owned() };
    assert!(records.append(job, &entry("y", alone)).is_err());
    let stale = Closing { who: "Ro", record: RECORD, after: 2, at: &now(), key: "z" };
    assert!(records.close(job, &stale, None).unwrap_err().message.contains("since you looked"));

    let number = close(&records, job, "close").unwrap();
    assert_eq!(close(&records, job, "close").unwrap(), number, "sent twice");
    assert!(close(&records, job, "again").unwrap_err().message.contains("was handed over"));
    let refused = |result: Result<u32, records::RecordsError>| {
        let error = result.unwrap_err();
        assert!(error.remedy.contains("correction"), "{error}");
    };
    refused(records.append(job, &entry("later", reading(40))));
    refused(records.append(job, &NewEntry { supersedes: Some(2), ..entry("back", Says::Nothing {}) }));
    assert!(records.set_customer(job, &Customer::default()).is_err());
    assert!(records.set_machine(job, &JobMachine::default()).is_err());
    let socket = records.sockets().unwrap()[0].id;
    assert!(records.attach(job, "later.csv", b"time;watts\n12:00;31,2\n", &now()).is_err());
    assert!(records.attach_trace(job, socket, at(0), Some(at(9))).is_err());

    let corrected = records.append(job, &entry("corrected", correction("12 months"))).unwrap();
    assert_eq!(corrected, number + 1);
    let back = NewEntry { supersedes: Some(corrected), ..entry("taken back", correction("18 months")) };
    assert!(records.append(job, &back).is_err(), "a correction is not taken back");
    assert_eq!(records.handed_over(job).unwrap(), Some(HandedOver::Record(RECORD.to_owned())));
    assert_eq!(records.handed_over(other).unwrap(), None);
    assert!(records.job(job).unwrap().unwrap().closed.is_some());
    assert!(records.jobs("").unwrap().iter().all(|j| j.id == other));
    assert_eq!(records.jobs_handed_over(NAME).unwrap()[0].id, job);
    assert!(records.verify(job).unwrap().holds());
    assert_eq!(records.check().unwrap().wrong, Vec::<String>::new());

    // The table itself refuses to be changed; who takes that hurdle is found out by the sum in the log.
    let file = rusqlite::Connection::open(&path).unwrap();
    assert!(file.execute("UPDATE handed_over SET record = '{}'", []).is_err());
    assert!(file.execute("DELETE FROM handed_over", []).is_err());
    file.execute_batch("DROP TRIGGER handed_over_is_only_erased; UPDATE handed_over SET record = '{}'")
        .unwrap();
    assert!(records.handed_over(job).unwrap_err().message.contains("not as it was written"));
    assert!(records.check().unwrap().wrong[0].contains("not as it was written"));
    file.execute("UPDATE job SET closed = NULL", []).unwrap();
    assert!(records.check().unwrap().wrong[0].contains("do not agree"));
}

fn bytes_stand(folder: &Path, bytes: &str) -> bool {
    std::fs::read_dir(folder).unwrap().any(|file| {
        let all = std::fs::read(file.unwrap().path()).unwrap();
        all.windows(bytes.len()).any(|w| w == bytes.as_bytes())
    })
}

#[test]
fn what_was_handed_over_is_given_exported_and_erased_with_the_rest() {
    let folder = tempfile::tempdir().unwrap();
    let (records, job, _) = filled(&folder.path().join("records.sqlite"));
    close(&records, job, "close").unwrap();
    records.append(job, &entry("corrected", correction("what Thessaly Brackwater said"))).unwrap();
    records.keep_part(&part("AL-2041", 2, 1), &now()).unwrap();
    records.hand_over(Whose::Job(job), &folder.path().join("given")).unwrap();
    let given = std::fs::read_to_string(folder.path().join("given/customer.json")).unwrap();
    assert!(given.contains("\"warranty\": \"6 months\""), "{given}");

    let again = |name: &str| {
        let out = folder.path().join(name);
        records.export(&out, &now()).unwrap();
        let copy = Records::open(&folder.path().join(format!("{name}.sqlite"))).unwrap();
        copy.import(&out).unwrap();
        assert_eq!(copy.handed_over(job).unwrap(), records.handed_over(job).unwrap());
        assert_eq!(copy.stock().unwrap(), records.stock().unwrap());
        assert_eq!(copy.job(job).unwrap(), records.job(job).unwrap());
        assert_eq!(copy.check().unwrap().wrong, Vec::<String>::new());
        drop(copy);
        std::fs::remove_dir_all(out).unwrap();
        for end in ["", "-wal", "-shm"] {
            let _ = std::fs::remove_file(folder.path().join(format!("{name}.sqlite{end}")));
        }
    };
    again("before");
    std::fs::remove_dir_all(folder.path().join("given")).unwrap();
    assert!(bytes_stand(folder.path(), "6 months"));
    records.erase(Whose::Job(job), "2026-11-28".parse().unwrap()).unwrap();
    assert_eq!(records.handed_over(job).unwrap(), Some(HandedOver::Erased("2026-11-28".to_owned())));
    for gone in [NAME, "6 months", "12 months"] {
        assert!(!bytes_stand(folder.path(), gone), "{gone}");
    }
    assert_eq!(records.check().unwrap().wrong, Vec::<String>::new());
    again("after");
}

fn part(code: &str, count: i64, least: i64) -> StockPart {
    let (what, price) = ("heating element".to_owned(), "38.50".to_owned());
    StockPart { code: code.to_owned(), what, count, price, least }
}

fn count(records: &Records, code: &str) -> i64 {
    records.stock().unwrap().into_iter().find(|p| p.code == code).unwrap().count
}

#[test]
fn fitting_takes_one_from_the_van_and_taking_that_back_returns_it() {
    let folder = tempfile::tempdir().unwrap();
    let (records, job, _) = filled(&folder.path().join("records.sqlite"));
    records.keep_part(&part(" AL-2041 ", 1, 1), &now()).unwrap();
    records.keep_part(&part("PU-7", 5, 0), &now()).unwrap();
    let say = |key: &str, says: Says, supersedes: Option<u32>| {
        records.append(job, &NewEntry { supersedes, ..entry(key, says) }).unwrap()
    };
    let first = say("f1", fitted("al-2041", false), None);
    assert_eq!(say("f1", fitted("al-2041", false), None), first, "sent twice, taken once");
    assert_eq!(count(&records, "AL-2041"), 0);
    let taken = records.taken(job).unwrap();
    assert_eq!((taken.len(), taken[0].number, taken[0].part.is_short()), (1, first, true));
    // What was only cleaned, and what the van does not carry, takes nothing.
    say("f2", fitted("AL-2041", true), None);
    say("f3", fitted("XX-1", false), None);
    say("f4", fitted("", false), None);
    // Below zero is said, not forbidden.
    let second = say("f5", fitted("AL-2041", false), None);
    assert_eq!(count(&records, "AL-2041"), -1);
    // Put right: it was the other part; then taken back.
    let other = say("f6", fitted("PU-7", false), Some(second));
    assert_eq!((count(&records, "AL-2041"), count(&records, "PU-7")), (0, 4));
    say("f7", Says::Nothing {}, Some(other));
    say("f8", Says::Nothing {}, Some(first));
    assert_eq!((count(&records, "AL-2041"), count(&records, "PU-7")), (1, 5));
    assert_eq!(records.taken(job).unwrap(), []);

    // Counted anew, renamed, let go.
    let anew = StockPart { what: "element".to_owned(), ..part("al-2041", 7, 2) };
    records.keep_part(&anew, &now()).unwrap();
    let all = records.stock().unwrap();
    assert_eq!((all.len(), all[0].count, all[0].what.as_str(), all[0].least), (2, 7, "element", 2));
    for bad in [part(" ", 1, 0), part("A", 10_000, 0), part("A", 1, -1), part(&"A".repeat(300), 1, 0)] {
        assert!(records.keep_part(&bad, &now()).is_err(), "{bad:?}");
    }
    records.remove_part("PU-7").unwrap();
    assert!(records.remove_part("PU-7").is_err());
    assert_eq!(records.stock().unwrap().len(), 1);
    assert_eq!(records.check().unwrap().wrong, Vec::<String>::new());
}
