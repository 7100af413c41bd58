//! Records with something of everything in them.
#![allow(missing_docs, dead_code, clippy::unwrap_used, reason = "a test")]

use jiff::Timestamp;
use records::{Customer, JobId, JobMachine, LanguageFile, NewEntry, Records, Role, Sample, Says, Settings};
use std::path::Path;

/// What must be gone once it is erased.
pub(crate) const NAME: &str = "Thessaly Brackwater";
pub(crate) const PHONE: &str = "0555 771 204";
pub(crate) const SPOKEN: &str = "Thessaly Brackwater says that it stinks since the 3rd";
pub(crate) const SERIAL: &str = "GN7-5531-K";
pub(crate) const PICTURE_NAME: &str = "kitchen of thessaly.png";
pub(crate) const PICTURE: &[u8] = b"\x89PNG\r\n\x1a\nthe picture of the kitchen, made up for a test";

pub(crate) fn now() -> jiff::ZonedDateTime {
    "2026-11-25T10:00:00+00:00[UTC]".parse().unwrap()
}

pub(crate) fn entry(key: &str, says: Says) -> NewEntry {
    NewEntry { says, supersedes: None, at: now(), key: key.to_owned() }
}

pub(crate) fn at(second: i64) -> Timestamp {
    Timestamp::from_second(1_795_000_000 + second).unwrap()
}

pub(crate) fn reading(watts: u32) -> Says {
    Says::Reading { reading: format!("step warm: {watts} W") }
}

/// Two jobs; the first with customer, words, readings, a picture, a trace; samples of two sockets; users; settings.
pub(crate) fn filled(path: &Path) -> (Records, JobId, JobId) {
    let records = Records::open(path).unwrap();
    let customer =
        Customer { name: NAME.to_owned(), phone: PHONE.to_owned(), address: "3 Net Loft".to_owned() };
    let machine = JobMachine {
        maker: "Brinehaven".to_owned(),
        model: "Gannet 7".to_owned(),
        serial: SERIAL.to_owned(),
        file_text: "format = 1\n# text\n".to_owned(),
        ..JobMachine::default()
    };
    let user = records
        .add_user("Ro", Role::Technician, "$argon2id$v=19$m=19456,t=2,p=1$c2FsdA$aGFzaA", &now())
        .unwrap();
    let first = records.new_job(&now(), Some(&customer), Some(&machine)).unwrap();
    let second = records.new_job(&now(), None, None).unwrap();
    // A client may name an entry by what it says.
    records.append_by(first, &entry(SPOKEN, Says::Words { words: SPOKEN.to_owned() }), Some(user)).unwrap();
    records.append(first, &entry("b", Says::Complaint { complaint: "smells".to_owned() })).unwrap();
    records.append_by(first, &entry("c", reading(31)), Some(user)).unwrap();
    records.append(first, &NewEntry { supersedes: Some(3), ..entry("d", reading(1830)) }).unwrap();
    records.append(second, &entry("a", Says::Words { words: "=cmd()|it drips".to_owned() })).unwrap();
    records.append(first, &entry("m", Says::Mark { mark: "warm".to_owned() })).unwrap();
    records.attach(first, PICTURE_NAME, PICTURE, &now()).unwrap();
    records.attach(second, "../../etc/log.csv", b"time;watts\n12:00;31,2\n", &now()).unwrap();
    let (a, b) = (records.socket("bench 1").unwrap(), records.socket("bench 2").unwrap());
    let one = |n: i64, watts: f64| Sample {
        at: at(n),
        watts: Some(watts),
        volts: (n % 3 > 0).then_some(230.0 + n as f64 / 7.0),
        amps: None,
    };
    for part in 0..4 {
        let some = |base: f64| {
            (part * 300..(part + 1) * 300).map(|n| one(n, base + (n % 17) as f64 / 10.0)).collect()
        };
        records.keep_samples(&[(a, some(30.0)), (b, some(1800.0))]).unwrap();
    }
    records.attach_trace(first, a, at(100), Some(at(160))).unwrap();
    records.keep_gap(b, at(500), "no answer for 5 s").unwrap();
    records.keep_settings(&Settings { rate_minor: Some(6200), ..Settings::default() }).unwrap();
    let language = LanguageFile { name: "de.po".to_owned(), text: "msgid \"a\"\nmsgstr \"ä\"\n".to_owned() };
    records.keep_language_file(Some(&language)).unwrap();
    records.keep_derived(first, 4, "Next check: ohms").unwrap();
    (records, first, second)
}
