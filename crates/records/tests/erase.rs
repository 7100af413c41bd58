//! What was erased is gone from the file, and what stays still holds.
#![allow(missing_docs, dead_code, clippy::unwrap_used, reason = "a test")]

mod support;

use records::{About, Customer, Records, Says, Whose};
use std::path::Path;
use support::{NAME, PHONE, PICTURE, PICTURE_NAME, SERIAL, SPOKEN, filled, reading};

fn today() -> jiff::civil::Date {
    "2026-11-28".parse().unwrap()
}

/// Where these bytes stand in the files of a folder.
fn found(folder: &Path, bytes: &[u8]) -> Vec<String> {
    let has = |file: &Path| std::fs::read(file).unwrap().windows(bytes.len()).any(|w| w == bytes);
    let files = std::fs::read_dir(folder).unwrap().map(|f| f.unwrap().path()).filter(|p| p.is_file());
    files.filter(|p| has(p)).map(|p| p.display().to_string()).collect()
}

#[test]
fn what_was_erased_is_in_no_file_and_the_technical_part_stays() {
    let folder = tempfile::tempdir().unwrap();
    let (records, first, _) = filled(&folder.path().join("records.sqlite"));
    let personal: [&[u8]; 6] = [
        NAME.as_bytes(),
        PHONE.as_bytes(),
        SPOKEN.as_bytes(),
        SERIAL.as_bytes(),
        PICTURE_NAME.as_bytes(),
        &PICTURE[12..],
    ];
    for bytes in personal {
        assert!(!found(folder.path(), bytes).is_empty(), "{}", String::from_utf8_lossy(bytes));
    }
    let before = records.verify(first).unwrap();
    let customer = records.customers("thessaly 771").unwrap().remove(0);
    assert_eq!(customer.jobs, [first]);
    let erased = records.erase(Whose::Customer(customer.id), today()).unwrap();
    assert_eq!((erased.words, erased.attachments, erased.jobs.as_slice()), (1, 1, &[first][..]));
    for bytes in personal {
        assert_eq!(found(folder.path(), bytes), Vec::<String>::new(), "{}", String::from_utf8_lossy(bytes));
    }
    // The chain is the very same: nothing in the log was touched.
    assert_eq!(records.verify(first).unwrap(), before);
    assert!(before.holds());
    let job = records.job(first).unwrap().unwrap();
    assert_eq!(job.log.entries()[0].says, Says::Erased { erased: "2026-11-28".to_owned() });
    assert_eq!(job.log.entries()[3].says, reading(1830));
    assert_eq!(job.customer.unwrap().name, "erased on 2026-11-28");
    assert_eq!(job.machine.as_ref().map(|m| (m.model.as_str(), m.serial.as_str())), Some(("Gannet 7", "")));
    assert_eq!(records.attachments_of(first).unwrap()[0].erased.as_deref(), Some("2026-11-28"));
    assert_eq!(records.traces_of(first).unwrap().len(), 1);
    assert_eq!(records.check().unwrap().wrong, Vec::<String>::new());
    // Again it does no harm, and the words of others are theirs.
    assert_eq!(records.erase(Whose::Customer(customer.id), today()).unwrap().words, 0);
    assert_eq!(records.jobs("drips").unwrap().len(), 1);
}

#[test]
fn words_of_records_of_version_1_are_gone_too() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("records.sqlite");
    std::fs::write(&path, include_bytes!("data/version-1.sqlite")).unwrap();
    let records = Records::open(&path).unwrap();
    assert!(!found(folder.path(), b"Wrenfield").is_empty());
    records.erase(Whose::Job(1), today()).unwrap();
    for bytes in [&b"Wrenfield"[..], b"0555 0134", b"TN81-004417"] {
        assert_eq!(found(folder.path(), bytes), Vec::<String>::new());
    }
    assert!(records.verify(1).unwrap().holds());
}

#[test]
fn whom_nobody_knows_cannot_be_erased() {
    let folder = tempfile::tempdir().unwrap();
    let (records, ..) = filled(&folder.path().join("records.sqlite"));
    assert!(records.erase(Whose::Customer(9), today()).unwrap_err().remedy.contains("records customers"));
    assert!(records.erase(Whose::Job(9), today()).unwrap_err().message.contains("no job 9"));
    assert_eq!(records.customers_alike(Whose::Customer(9)).unwrap_err().about, About::Asked);
}

#[test]
fn the_same_person_with_another_job_is_found() {
    let folder = tempfile::tempdir().unwrap();
    let (records, first, second) = filled(&folder.path().join("records.sqlite"));
    let job = |name: &str, phone: &str| {
        let customer =
            Customer { name: name.to_owned(), phone: phone.to_owned(), address: "2 Quay".to_owned() };
        records.new_job(&support::now(), Some(&customer), None).unwrap();
    };
    job(" thessaly  BRACKWATER", "");
    job("T. B.", "0555/771-204");
    job("Somebody else", "");
    job("", "");
    let alike =
        |whose| -> Vec<i64> { records.customers_alike(whose).unwrap().iter().map(|c| c.id).collect() };
    assert_eq!(alike(Whose::Customer(1)), [2, 3]);
    assert_eq!(alike(Whose::Job(first)), [2, 3]);
    assert_eq!(alike(Whose::Job(second)), [0_i64; 0]);
    assert_eq!(alike(Whose::Customer(5)), [0_i64; 0]);
    // Who was erased is like nobody, neither others who were.
    for id in [1, 2] {
        records.erase(Whose::Customer(id), today()).unwrap();
    }
    assert_eq!(alike(Whose::Customer(1)), [0_i64; 0]);
}

#[test]
fn a_content_attached_twice_stays_until_both_are_erased() {
    let folder = tempfile::tempdir().unwrap();
    let (records, first, second) = filled(&folder.path().join("records.sqlite"));
    let again = records.attach(second, "same.png", PICTURE, &support::now()).unwrap();
    let one = records.attachments_of(first).unwrap()[0].clone();
    assert_eq!((one.name.as_str(), one.bytes), (PICTURE_NAME, PICTURE.len() as u64));
    records.erase_attachment(one.id, today()).unwrap();
    assert!(records.erase_attachment(one.id, today()).is_err());
    assert_eq!(records.content(one.id).unwrap(), None);
    assert_eq!(records.content(again).unwrap().as_deref(), Some(PICTURE));
    assert!(!found(folder.path(), &PICTURE[12..]).is_empty());
    records.erase_attachment(again, today()).unwrap();
    // Neither in the file nor beside it.
    assert_eq!(found(folder.path(), &PICTURE[12..]), Vec::<String>::new());
    assert_eq!(records.content(again).unwrap(), None);
    let kept = records.attachments_of(second).unwrap().remove(0);
    assert_eq!(kept.name, "../../etc/log.csv");
    assert!(
        records.attach(second, "x", b"MZ\x90\0", &support::now()).unwrap_err().message.contains("no picture")
    );
    assert!(records.attach(second, "x", b"", &support::now()).is_err());
    let large = vec![b'1'; records::LARGEST_ATTACHMENT + 1];
    assert!(records.attach(second, "x", &large, &support::now()).unwrap_err().remedy.contains("20 MiB"));
}

#[test]
fn a_change_of_the_log_shows_from_there_on() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("records.sqlite");
    let (records, first, second) = filled(&path);
    assert_eq!(records.verify(first).unwrap().head.len(), 64);
    let other = rusqlite::Connection::open(&path).unwrap();
    other
        .execute_batch("DROP TRIGGER evidence_is_never_changed; DROP TRIGGER personal_is_only_erased")
        .unwrap();
    for (sql, at) in [
        ("UPDATE evidence SET says = '{\"reading\":\"step warm: 32 W\"}' WHERE job = 1 AND number = 3", 3),
        ("UPDATE evidence SET at = '2026-11-26T10:00:00+00:00[UTC]' WHERE job = 1 AND number = 2", 2),
        ("UPDATE personal SET says = '{\"words\":\"all is well\"}' WHERE job = 1 AND number = 1", 1),
    ] {
        other.execute_batch(sql).unwrap();
        assert_eq!(records.verify(first).unwrap().broken_at, Some(at), "{sql}");
    }
    assert!(records.verify(second).unwrap().holds());
    assert!(records.check().unwrap().wrong[0].contains("not as it was written"));
}
