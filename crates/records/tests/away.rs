//! Out and in again: backup, export, what a customer is given.
#![allow(missing_docs, dead_code, clippy::unwrap_used, reason = "a test")]

mod support;

use jiff::Timestamp;
use proptest::prelude::*;
use records::{NewEntry, Records, Sample, Says, Whose};
use std::path::{Path, PathBuf};
use support::{NAME, SPOKEN, at, entry, filled, now, reading};

struct Folder(tempfile::TempDir);

impl Folder {
    fn new() -> Folder {
        Folder(tempfile::tempdir().unwrap())
    }

    fn at(&self, name: &str) -> PathBuf {
        self.0.path().join(name)
    }
}

/// All files below, by name.
fn files(folder: &Path) -> Vec<(String, Vec<u8>)> {
    let mut all = Vec::new();
    for entry in std::fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            let name = path.file_name().unwrap().to_string_lossy().into_owned();
            all.extend(files(&path).into_iter().map(|(n, b)| (format!("{name}/{n}"), b)));
        } else {
            all.push((
                path.file_name().unwrap().to_string_lossy().into_owned(),
                std::fs::read(&path).unwrap(),
            ));
        }
    }
    all.sort();
    all
}

#[test]
fn a_backup_is_whole_writes_over_nothing_and_comes_back() {
    let folder = Folder::new();
    let (records, first, _) = filled(&folder.at("records.sqlite"));
    let backup = folder.at("backup.sqlite");
    records.backup(&backup).unwrap();
    assert!(records.backup(&backup).unwrap_err().message.contains("backup.sqlite"));
    records.append(first, &entry("later", reading(40))).unwrap();
    let to = folder.at("records.sqlite");

    let refused = Records::restore(&backup, &to, false).unwrap_err();
    assert!(refused.remedy.contains("--replace"), "{refused}");
    let in_use = Records::restore(&backup, &to, true).unwrap_err();
    assert!(in_use.message.contains("another program uses"), "{in_use}");
    drop(records);
    let restored = Records::restore(&backup, &to, true).unwrap();
    assert_eq!(restored.checked.entries, 6);
    let kept = restored.replaced.unwrap();
    assert_eq!(Records::open(&kept).unwrap().job(first).unwrap().unwrap().log.last(), 6);
    assert_eq!(Records::open(&to).unwrap().job(first).unwrap().unwrap().log.last(), 5);
    // To where nothing is, and a second time beside what was kept.
    assert_eq!(Records::restore(&backup, &folder.at("new.sqlite"), false).unwrap().replaced, None);
    assert_ne!(Records::restore(&backup, &to, true).unwrap().replaced, Some(kept));
}

#[test]
fn a_backup_that_is_damaged_changes_nothing_and_a_sound_one_replaces_damaged_records() {
    let folder = Folder::new();
    let to = folder.at("records.sqlite");
    let (records, ..) = filled(&to);
    let backup = folder.at("backup.sqlite");
    records.backup(&backup).unwrap();
    drop(records);
    let good = std::fs::read(&backup).unwrap();
    let before = std::fs::read(&to).unwrap();
    let bad = folder.at("bad.sqlite");
    for spoilt in [good[..good.len() / 2].to_vec(), Vec::new(), b"no database".repeat(50)] {
        std::fs::write(&bad, spoilt).unwrap();
        let error = Records::restore(&bad, &to, true).unwrap_err();
        assert!(error.message.contains("bad.sqlite") && error.remedy.contains("another backup"), "{error}");
        assert_eq!(std::fs::read(&to).unwrap(), before);
    }
    assert!(Records::restore(&folder.at("none.sqlite"), &to, true).is_err());
    let names: Vec<String> = files(folder.0.path()).into_iter().map(|f| f.0).collect();
    assert_eq!(names, ["backup.sqlite", "bad.sqlite", "records.sqlite"]);

    let mut damaged = before;
    damaged[4096..20_000].fill(0x5a);
    std::fs::write(&to, &damaged).unwrap();
    assert!(Records::restore(&backup, &to, false).unwrap_err().remedy.contains("--replace"));
    let kept = Records::restore(&backup, &to, true).unwrap().replaced.unwrap();
    assert_eq!(std::fs::read(kept).unwrap(), damaged);
    assert_eq!(Records::open(&to).unwrap().check().unwrap().wrong, Vec::<String>::new());
}

/// Exports, imports, and sees that both are equal.
fn round(records: &Records, folder: &Folder) {
    let (out, again) = (folder.at("out"), folder.at("again"));
    let exported = records.export(&out, &now()).unwrap();
    let copy = Records::open(&folder.at("copy.sqlite")).unwrap();
    assert_eq!(copy.import(&out).unwrap(), exported);
    copy.export(&again, &now()).unwrap();
    assert_eq!(files(&out), files(&again));
    assert_eq!(copy.settings().unwrap(), records.settings().unwrap());
    assert_eq!(copy.language_file().unwrap(), records.language_file().unwrap());
    for socket in records.sockets().unwrap() {
        let all = |r: &Records| r.samples(socket.id, Timestamp::MIN, Timestamp::MAX).unwrap();
        assert_eq!(all(records), all(&copy));
    }
    for line in records.jobs("").unwrap() {
        assert_eq!(records.job(line.id).unwrap(), copy.job(line.id).unwrap());
        assert_eq!(records.verify(line.id).unwrap(), copy.verify(line.id).unwrap());
    }
    assert_eq!(copy.check().unwrap().wrong, Vec::<String>::new());
}

#[test]
fn an_export_comes_back_equal_also_after_erasing() {
    let folder = Folder::new();
    let (records, first, _) = filled(&folder.at("records.sqlite"));
    round(&records, &folder);
    let readings = std::fs::read_to_string(folder.at("out/readings.csv")).unwrap();
    assert!(
        readings.contains("1,3,2026-11-25T10:00:00+00:00[UTC],reading,step warm,31 W,4\r\n"),
        "{readings}"
    );
    let jobs = std::fs::read_to_string(folder.at("out/jobs.csv")).unwrap();
    assert!(jobs.contains(NAME) && jobs.contains(",'=cmd()|it drips,"), "{jobs}");
    assert!(records.export(&folder.at("out"), &now()).unwrap_err().message.contains("already"));

    let other = Folder::new();
    records.erase(Whose::Job(first), "2026-11-28".parse().unwrap()).unwrap();
    round(&records, &other);
    for (name, bytes) in files(&other.at("out")) {
        assert!(!String::from_utf8_lossy(&bytes).contains(SPOKEN), "{name}");
    }
}

#[test]
fn a_damaged_changed_or_newer_export_is_refused_and_nothing_is_imported() {
    let folder = Folder::new();
    let (records, ..) = filled(&folder.at("records.sqlite"));
    let out = folder.at("out");
    records.export(&out, &now()).unwrap();
    let empty = Records::open(&folder.at("empty.sqlite")).unwrap();
    let refused = |says: &str| {
        let error = empty.import(&out).unwrap_err();
        assert!(error.message.contains(says), "{error}");
        assert!(!error.remedy.is_empty());
        assert!(empty.is_empty().unwrap());
    };
    for (name, bytes) in files(&out).into_iter().filter(|f| f.0 != "manifest.json" && !f.1.is_empty()) {
        let mut flipped = bytes.clone();
        let half = flipped.len() / 2;
        flipped[half] ^= 1;
        std::fs::write(out.join(&name), &flipped).unwrap();
        refused(&name);
        std::fs::remove_file(out.join(&name)).unwrap();
        refused(&name);
        std::fs::write(out.join(&name), bytes).unwrap();
    }
    let text = std::fs::read_to_string(out.join("manifest.json")).unwrap();
    let manifest = |text: &str| std::fs::write(out.join("manifest.json"), text).unwrap();
    manifest(&text.replace("\"format\": 2", "\"format\": 3, \"shape\": []"));
    refused("newer Wattmend");
    manifest(&text.replace("jobs.jsonl", "../jobs.jsonl"));
    refused("no name of a file");
    manifest("{}");
    refused("no export");

    // Who changes an entry and sums it anew is found out by the chain.
    let entries = std::fs::read_to_string(out.join("entries.jsonl")).unwrap().replace("31 W", "32 W");
    std::fs::write(out.join("entries.jsonl"), &entries).unwrap();
    let changed = {
        use sha2::Digest;
        let sum =
            sha2::Sha256::digest(&entries).iter().fold(String::new(), |sum, b| sum + &format!("{b:02x}"));
        let mut manifest: serde_json::Value = serde_json::from_str(&text).unwrap();
        let files = manifest["files"].as_array_mut().unwrap();
        files.iter_mut().find(|f| f["name"] == "entries.jsonl").unwrap()["sha256"] = sum.into();
        manifest.to_string()
    };
    manifest(&changed);
    refused("entry 3 of job 1 is not as it was written");
}

/// An export of format 1 has neither stock nor records that were handed over.
#[test]
fn an_export_of_an_older_program_is_taken() {
    let folder = Folder::new();
    let (records, ..) = filled(&folder.at("records.sqlite"));
    let out = folder.at("out");
    records.export(&out, &now()).unwrap();
    let text = std::fs::read_to_string(out.join("manifest.json")).unwrap();
    let mut manifest: serde_json::Value = serde_json::from_str(&text).unwrap();
    manifest["format"] = 1.into();
    let newer = ["records.jsonl", "stock.jsonl", "stockchanges.jsonl"];
    manifest["files"].as_array_mut().unwrap().retain(|f| !newer.contains(&f["name"].as_str().unwrap()));
    for name in newer {
        std::fs::remove_file(out.join(name)).unwrap();
    }
    std::fs::write(out.join("manifest.json"), manifest.to_string()).unwrap();
    let copy = Records::open(&folder.at("copy.sqlite")).unwrap();
    copy.import(&out).unwrap();
    assert_eq!(copy.job(1).unwrap(), records.job(1).unwrap());
    assert_eq!(copy.stock().unwrap(), []);
}

#[test]
fn what_no_import_would_take_is_not_exported() {
    let folder = Folder::new();
    let path = folder.at("records.sqlite");
    let (records, ..) = filled(&path);
    let other = rusqlite::Connection::open(&path).unwrap();
    other.execute("UPDATE content SET bytes = x'89504e47' WHERE rowid = 1", []).unwrap();
    let error = records.export(&folder.at("out"), &now()).unwrap_err();
    assert!(error.message.contains("content of an attachment is damaged"), "{error}");
    assert!(error.remedy.contains("records check"), "{error}");
    assert!(!folder.at("out").exists());
}

#[test]
fn what_an_interrupted_restore_left_is_not_mixed_into_the_next() {
    let folder = Folder::new();
    let to = folder.at("records.sqlite");
    let (old, ..) = filled(&folder.at("records.sqlite.restoring"));
    let left = std::fs::read(folder.at("records.sqlite.restoring-wal")).unwrap();
    drop(old);
    assert!(!left.is_empty());
    let new = Records::open(&folder.at("new.sqlite")).unwrap();
    let job = new.new_job(&now(), None, None).unwrap();
    new.append(job, &entry("a", reading(12))).unwrap();
    new.backup(&folder.at("backup.sqlite")).unwrap();
    std::fs::remove_file(folder.at("records.sqlite.restoring")).unwrap();
    std::fs::write(folder.at("records.sqlite.restoring-wal"), &left).unwrap();
    // Nor what lies beside records that are gone.
    std::fs::write(folder.at("records.sqlite-wal"), &left).unwrap();

    let restored = Records::restore(&folder.at("backup.sqlite"), &to, false).unwrap();
    assert_eq!((restored.checked.jobs, restored.checked.entries), (1, 1));
    let records = Records::open(&to).unwrap();
    assert_eq!(records.jobs("").unwrap().len(), 1);
    assert_eq!(records.job(job).unwrap(), new.job(job).unwrap());
    assert_eq!(records.check().unwrap().wrong, Vec::<String>::new());
}

#[test]
fn going_back_to_a_backup_lets_nobody_in_again() {
    let folder = Folder::new();
    let (records, ..) = filled(&folder.at("records.sqlite"));
    let user = records.users().unwrap()[0].id;
    let token = "00112233445566778899aabbccddeeff";
    records.open_session(user, token, at(0), at(3600)).unwrap();
    records.backup(&folder.at("backup.sqlite")).unwrap();
    assert!(records.session(token, at(1)).unwrap().is_some());
    Records::restore(&folder.at("backup.sqlite"), &folder.at("new.sqlite"), false).unwrap();
    let restored = Records::open(&folder.at("new.sqlite")).unwrap();
    assert_eq!(restored.session(token, at(1)).unwrap(), None);
    assert_eq!(restored.users().unwrap().len(), 1);
}

#[test]
fn a_trace_that_goes_on_is_handed_over_however_long_it_is() {
    let folder = Folder::new();
    let (records, first, _) = filled(&folder.at("records.sqlite"));
    let socket = records.socket("bench 3").unwrap();
    let call = |n: i64| {
        let one = |s: i64| Sample { at: at(n * 100_000 + s), watts: Some(31.0), volts: None, amps: None };
        vec![(socket, (0..100_000).map(one).collect::<Vec<_>>())]
    };
    for n in 0..11 {
        records.keep_samples(&call(n)).unwrap();
    }
    records.attach_trace(first, socket, at(5), None).unwrap();
    let counted = records.hand_over(Whose::Job(first), &folder.at("given")).unwrap();
    assert_eq!(counted.samples, 60 + 1_100_000 - 5);
}

#[test]
fn records_that_are_not_empty_take_no_import() {
    let folder = Folder::new();
    let (records, ..) = filled(&folder.at("records.sqlite"));
    records.export(&folder.at("out"), &now()).unwrap();
    assert!(records.import(&folder.at("out")).unwrap_err().message.contains("already"));
    assert!(records.import(&folder.at("nowhere")).unwrap_err().message.contains("no export"));
}

#[test]
fn a_customer_is_given_all_that_is_kept() {
    let folder = Folder::new();
    let (records, first, _) = filled(&folder.at("records.sqlite"));
    let id = records.customers("").unwrap()[0].id;
    let counted = records.hand_over(Whose::Customer(id), &folder.at("given")).unwrap();
    assert_eq!((counted.jobs, counted.entries, counted.samples, counted.attachments), (1, 5, 60, 1));
    let given = files(&folder.at("given"));
    let names: Vec<&str> = given.iter().map(|f| f.0.as_str()).collect();
    assert_eq!(names, ["attachments/1", "customer.json", "recordings/1.csv"]);
    let text = String::from_utf8(given[1].1.clone()).unwrap();
    for part in [NAME, SPOKEN, "GN7-5531-K", "kitchen of thessaly.png", "step warm: 1830 W"] {
        assert!(text.contains(part), "{part}");
    }
    assert!(text.contains(&records.verify(first).unwrap().head));
    assert!(!text.contains("it drips"));
    assert!(records.hand_over(Whose::Job(first + 7), &folder.at("other")).is_err());
    assert!(!folder.at("other").exists());
}

/// What may be said, by numbers.
fn says(kind: u8, text: String) -> Says {
    match kind {
        0 => Says::Words { words: text },
        1 => Says::Complaint { complaint: text },
        2 => Says::Lamps { lamps: vec![text.clone(), text] },
        3 => Says::Mended { mended: text, cured: Some(false) },
        4 => Says::Mark { mark: text },
        5 => Says::Edge { edge: text },
        _ => Says::Caution { caution: text, ticked: true },
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 12, failure_persistence: None, ..ProptestConfig::default() })]
    #[test]
    fn whatever_was_kept_comes_back_equal(
        entries in proptest::collection::vec((0_u8..7, any::<String>(), any::<bool>()), 0..12),
        samples in proptest::collection::vec((0_i64..1_000_000, proptest::option::of(any::<f64>())), 0..60),
        erase: bool,
    ) {
        let folder = Folder::new();
        let records = Records::open(&folder.at("records.sqlite")).unwrap();
        let job = records.new_job(&now(), None, None).unwrap();
        for (n, (kind, text, supersede)) in entries.into_iter().enumerate() {
            let supersedes = (supersede && n > 0).then_some(n as u32);
            let new = NewEntry { supersedes, ..entry(&n.to_string(), says(kind, text.chars().take(80).collect())) };
            records.append(job, &new).unwrap();
        }
        let socket = records.socket("a").unwrap();
        for (n, watts) in samples {
            let one = Sample { at: at(n), watts, volts: None, amps: watts };
            records.keep_samples(&[(socket, vec![one])]).unwrap();
        }
        if erase {
            records.erase(Whose::Job(job), "2026-11-28".parse().unwrap()).unwrap();
        }
        round(&records, &folder);
    }
}
