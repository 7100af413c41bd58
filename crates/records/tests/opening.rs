//! Opening never makes anything worse, and what was saved is there.
#![allow(missing_docs, clippy::unwrap_used, reason = "a test")]

use records::{Customer, JobMachine, LanguageFile, NewEntry, Records, Says, Settings};
use std::path::Path;

fn entry(key: &str, says: Says) -> NewEntry {
    let at = "2026-11-25T10:00:00+00:00[UTC]".parse().unwrap();
    NewEntry { says, supersedes: None, at, key: key.to_owned() }
}

fn check(answer: &str) -> Says {
    Says::Check { check: "ohms element.1 element.2".to_owned(), answer: answer.to_owned() }
}

fn filled(path: &Path) -> Records {
    let records = Records::open(path).unwrap();
    let customer = Customer { name: "Net Loft".to_owned(), ..Customer::default() };
    let machine =
        JobMachine { maker: "Aldermere".to_owned(), model: "Tern 81".to_owned(), ..JobMachine::default() };
    let job = records.new_job(&entry("", check("")).at, Some(&customer), Some(&machine)).unwrap();
    records.append(job, &entry("a", Says::Words { words: "stone cold".to_owned() })).unwrap();
    records.append(job, &entry("b", check("OL"))).unwrap();
    records
}

#[test]
fn what_was_saved_is_there_when_opened_again() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("records.sqlite");
    let before = filled(&path).job(1).unwrap().unwrap();
    let records = Records::open(&path).unwrap();
    assert_eq!(records.job(1).unwrap().unwrap(), before);
    let line = &records.jobs("").unwrap()[0];
    assert_eq!(
        (line.words.as_str(), line.readings, line.machine.as_str()),
        ("stone cold", 1, "Aldermere Tern 81")
    );
    assert_eq!(records.jobs("NET tern").unwrap().len(), 1);
    assert_eq!(records.jobs("gannet").unwrap().len(), 0);
    assert!(records.job(7).unwrap().is_none());
    assert_eq!(records.check().unwrap().wrong, Vec::<String>::new());
}

#[test]
fn an_entry_sent_twice_is_kept_once_and_a_correction_stands_for_the_first() {
    let folder = tempfile::tempdir().unwrap();
    let records = filled(&folder.path().join("records.sqlite"));
    assert_eq!(records.append(1, &entry("b", check("OL"))).unwrap(), 2);
    let right = NewEntry { supersedes: Some(2), ..entry("c", check("26R4")) };
    assert_eq!(records.append(1, &right).unwrap(), 3);
    let again = NewEntry { supersedes: Some(2), ..entry("d", check("27R")) };
    assert!(records.append(1, &again).unwrap_err().message.contains("entry 3 already"));
    for wrong in [0, 4, 99] {
        let entry = NewEntry { supersedes: Some(wrong), ..entry("e", check("27R")) };
        assert!(records.append(1, &entry).is_err(), "{wrong}");
    }
    assert!(records.append(1, &entry("f", Says::Nothing {})).is_err());
    assert!(records.append(9, &entry("g", check("OL"))).unwrap_err().message.contains("no job 9"));
    let job = records.job(1).unwrap().unwrap();
    assert_eq!(job.log.entries().len(), 3);
    assert_eq!(job.log.standing().filter(|e| e.says == check("26R4")).count(), 1);
    assert_eq!(job.log.standing().filter(|e| e.says == check("OL")).count(), 0);
}

#[test]
fn the_log_cannot_be_changed_behind_our_back() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("records.sqlite");
    drop(filled(&path));
    let other = rusqlite::Connection::open(&path).unwrap();
    for sql in ["UPDATE evidence SET says = '{}'", "DELETE FROM evidence"] {
        assert!(other.execute(sql, []).unwrap_err().to_string().contains("only ever added to"), "{sql}");
    }
}

/// Opens what must be refused, and sees that not a byte was changed.
fn refused(path: &Path) -> records::RecordsError {
    let before = std::fs::read(path).unwrap();
    let error = Records::open(path).err().unwrap();
    assert_eq!(std::fs::read(path).unwrap(), before, "changed by being looked at");
    assert!(!error.remedy.is_empty());
    error
}

#[test]
fn newer_foreign_and_damaged_records_are_refused_as_they_stand() {
    let folder = tempfile::tempdir().unwrap();
    let newer = folder.path().join("newer.sqlite");
    drop(filled(&newer));
    let other = rusqlite::Connection::open(&newer).unwrap();
    other.pragma_update(None, "user_version", 99).unwrap();
    drop(other);
    assert!(refused(&newer).message.contains("newer Wattmend"));

    let foreign = folder.path().join("foreign.sqlite");
    rusqlite::Connection::open(&foreign).unwrap().execute_batch("CREATE TABLE t (a)").unwrap();
    assert!(refused(&foreign).message.contains("another program"));

    let text = folder.path().join("text.sqlite");
    std::fs::write(&text, "this is no database at all, only words ".repeat(100)).unwrap();
    assert!(refused(&text).message.contains("damaged"));

    let truncated = folder.path().join("truncated.sqlite");
    drop(filled(&truncated));
    let bytes = std::fs::read(&truncated).unwrap();
    std::fs::write(&truncated, &bytes[..bytes.len() / 2]).unwrap();
    assert!(refused(&truncated).message.contains("damaged"));
    std::fs::write(&truncated, &bytes[..50]).unwrap();
    assert!(refused(&truncated).message.contains("damaged"));

    let zeros = folder.path().join("zeros.sqlite");
    drop(filled(&zeros));
    let mut bytes = std::fs::read(&zeros).unwrap();
    bytes[8192..16384].fill(0);
    std::fs::write(&zeros, bytes).unwrap();
    assert!(refused(&zeros).message.contains("damaged"));
    std::fs::write(&zeros, vec![0; 20_000]).unwrap();
    assert!(refused(&zeros).message.contains("damaged"));

    let damaged = folder.path().join("damaged.sqlite");
    drop(filled(&damaged));
    let mut bytes = std::fs::read(&damaged).unwrap();
    let half = bytes.len() / 2;
    for byte in &mut bytes[4096..half] {
        *byte ^= 0x5a;
    }
    std::fs::write(&damaged, bytes).unwrap();
    assert!(refused(&damaged).message.contains("damaged"));
}

#[test]
fn opening_again_writes_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("records.sqlite");
    drop(filled(&path));
    let before = std::fs::read(&path).unwrap();
    let records = Records::open(&path).unwrap();
    assert_eq!(std::fs::read(&path).unwrap(), before);
    assert_eq!(std::fs::metadata(folder.path().join("records.sqlite-wal")).map_or(0, |m| m.len()), 0);
    drop(records);
}

#[test]
fn what_is_large_is_walked_through_by_the_check_and_not_at_opening() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("records.sqlite");
    let records = filled(&path);
    let at = entry("", check("")).at;
    let picture = [&b"\x89PNG\r\n\x1a\n"[..], &vec![0x5a; 400_000]].concat();
    records.attach(1, "large.png", &picture, &at).unwrap();
    drop(records);
    let mut bytes = std::fs::read(&path).unwrap();
    // A page in the midst of the picture, with the number of the page that follows it.
    let inside = bytes.chunks(4096).rposition(|page| page[4..].iter().all(|b| *b == 0x5a));
    let start = inside.unwrap() * 4096 - 10 * 4096;
    bytes[start..start + 4096].fill(0);
    std::fs::write(&path, bytes).unwrap();
    let records = Records::open(&path).unwrap();
    assert_eq!(records.job(1).unwrap().unwrap().log.last(), 2);
    assert!(!records.check().unwrap().wrong.is_empty());
}

#[test]
fn two_programs_that_say_whose_job_it_is_both_get_through() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("records.sqlite");
    drop(filled(&path));
    std::thread::scope(|scope| {
        for name in ["Net Loft", "Quay"] {
            let path = &path;
            scope.spawn(move || {
                let records = Records::open(path).unwrap();
                for n in 0..150 {
                    let customer = Customer { name: format!("{name} {n}"), ..Customer::default() };
                    records.set_customer(1, &customer).unwrap();
                }
            });
        }
    });
}

#[test]
fn a_copy_without_its_companions_is_older_and_sound() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("records.sqlite");
    let records = filled(&path);
    assert!(std::fs::metadata(folder.path().join("records.sqlite-wal")).unwrap().len() > 0);
    let copy = folder.path().join("copy.sqlite");
    std::fs::copy(&path, &copy).unwrap();
    drop(records);
    let copied = Records::open(&copy).unwrap();
    assert_eq!(copied.check().unwrap().wrong, Vec::<String>::new());
    assert!(copied.is_empty().unwrap());
}

#[test]
fn a_file_that_was_begun_and_never_finished_is_begun_again() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("records.sqlite");
    rusqlite::Connection::open(&path).unwrap().pragma_update(None, "journal_mode", "WAL").unwrap();
    assert!(std::fs::metadata(&path).unwrap().len() > 0);
    assert!(Records::open(&path).unwrap().is_empty().unwrap());
}

#[test]
fn a_folder_that_cannot_be_written_is_named_with_what_to_do() {
    // Nobody may make files there, the superuser neither.
    let error = Records::open(Path::new("/proc/records.sqlite")).err().unwrap();
    assert!(error.message.contains("/proc/records.sqlite"), "{error}");
    assert!(error.remedy.contains("may write"), "{error}");
}

/// Written by the program when its tables were of version 1.
const VERSION_1: &[u8] = include_bytes!("data/version-1.sqlite");
/// The same, opened by the program when its tables were of version 2.
const VERSION_2: &[u8] = include_bytes!("data/version-2.sqlite");

#[test]
fn records_of_older_versions_open_with_all_that_was_said() {
    for written in [VERSION_1, VERSION_2] {
        opens_with_all_that_was_said(written);
    }
}

fn opens_with_all_that_was_said(written: &[u8]) {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("records.sqlite");
    std::fs::write(&path, written).unwrap();
    let records = Records::open(&path).unwrap();
    let job = records.job(1).unwrap().unwrap();
    assert_eq!(job.customer.as_ref().unwrap().name, "Odalys Wrenfield");
    assert_eq!(job.machine.as_ref().unwrap().serial, "TN81-004417");
    let said: Vec<_> = job.log.entries().iter().map(|e| (e.number, e.supersedes)).collect();
    let expected =
        [(1, None), (2, None), (3, None), (4, None), (5, Some(1)), (6, None), (7, Some(6)), (8, None)];
    assert_eq!(said, expected);
    assert_eq!(job.log.words(), Some("Mrs Wrenfield: since Saturday, not Sunday"));
    assert_eq!(job.log.entries()[3].says, Says::Reading { reading: "step warm: 31 W".to_owned() });
    assert_eq!(job.log.entries()[3].at, "2026-11-20T09:10:00+01:00[Europe/Berlin]");
    let line = &records.jobs("").unwrap()[1];
    assert_eq!(line.words, "Mrs Wrenfield: since Saturday, not Sunday");
    assert_eq!(line.derived.as_deref(), Some("Sure: element open"));
    assert_eq!(records.settings().unwrap().rate_minor, Some(6200));
    for job in [1, 2] {
        assert!(records.verify(job).unwrap().holds());
    }
    // Sent again after the program was renewed, an entry is still kept once.
    let words = Says::Words { words: "again".to_owned() };
    assert_eq!(records.append(1, &entry("k5", words)).unwrap(), 5);
    assert_eq!(records.check().unwrap().wrong, Vec::<String>::new());
    drop(records);
    assert_eq!(Records::open(&path).unwrap().job(1).unwrap().unwrap(), job);
}

#[test]
fn settings_are_kept() {
    let folder = tempfile::tempdir().unwrap();
    let records = filled(&folder.path().join("records.sqlite"));
    assert_eq!(records.settings().unwrap(), Settings::default());
    let settings = Settings { rate_minor: Some(6200), ..Settings::default() };
    records.keep_settings(&settings).unwrap();
    assert_eq!(records.settings().unwrap(), settings);
}

#[test]
fn a_language_file_is_kept_beside_the_settings() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("records.sqlite");
    let records = Records::open(&path).unwrap();
    assert_eq!(records.language_file().unwrap(), None);
    let file = |text: &str| LanguageFile { name: "de.po".to_owned(), text: text.to_owned() };
    records.keep_language_file(Some(&file("msgid \"\""))).unwrap();
    records.keep_language_file(Some(&file("msgid \"ä\"\n"))).unwrap();
    records.keep_settings(&Settings::default()).unwrap();
    drop(records);
    let records = Records::open(&path).unwrap();
    assert_eq!(records.language_file().unwrap(), Some(file("msgid \"ä\"\n")));
    records.keep_language_file(None).unwrap();
    assert_eq!(records.language_file().unwrap(), None);
}
