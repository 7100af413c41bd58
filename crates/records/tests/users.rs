//! Who may come in, and until when.
#![allow(missing_docs, clippy::unwrap_used, reason = "a test")]

use jiff::{SignedDuration, Timestamp};
use records::{NewEntry, Records, Role, Says};

const HASH: &str = "$argon2id$v=19$m=19456,t=2,p=1$c2FsdA$aGFzaA";
const TOKEN: &str = "00112233445566778899aabbccddeeff";

#[test]
fn a_session_ends_by_time_by_hand_and_with_every_change_of_its_user() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("records.sqlite");
    let records = Records::open(&path).unwrap();
    let zoned: jiff::ZonedDateTime = "2026-11-25T10:00:00+00:00[UTC]".parse().unwrap();
    let now = Timestamp::from_second(1_795_000_000).unwrap();
    let later = now + SignedDuration::from_hours(8);
    let ro = records.add_user(" Ro ", Role::Technician, HASH, &zoned).unwrap();
    for (name, hash) in [("Ro", HASH), ("", HASH), ("Kit", "plain words")] {
        assert!(records.add_user(name, Role::Office, hash, &zoned).is_err(), "{name} {hash}");
    }
    assert_eq!(records.user_to_log_in("Ro").unwrap().unwrap().1, HASH);
    assert!(records.open_session(ro, "short", now, later).is_err());
    let open = || records.open_session(ro, TOKEN, now, later).unwrap();
    let role = || records.session(TOKEN, now).unwrap().map(|s| s.user.role);
    open();
    assert_eq!(role(), Some(Role::Technician));
    assert_eq!(records.session(TOKEN, later).unwrap(), None);
    assert_eq!(records.session("another token altogether", now).unwrap(), None);
    records.end_session(TOKEN).unwrap();
    assert_eq!(role(), None);
    open();
    records.set_role(ro, Role::Office).unwrap();
    assert_eq!(role(), None);
    open();
    assert_eq!(role(), Some(Role::Office));
    records.set_passphrase(ro, HASH).unwrap();
    assert_eq!(role(), None);
    open();
    // Of the token nothing can be found in the file.
    for file in ["records.sqlite", "records.sqlite-wal"] {
        let bytes = std::fs::read(folder.path().join(file)).unwrap();
        assert!(!bytes.windows(TOKEN.len()).any(|w| w == TOKEN.as_bytes()), "{file}");
    }
    let job = records.new_job(&zoned, None, None).unwrap();
    let entry = |key: &str| NewEntry {
        says: Says::Supply { supply: "238 V".to_owned() },
        supersedes: None,
        at: zoned.clone(),
        key: key.to_owned(),
    };
    records.append_by(job, &entry("a"), Some(ro)).unwrap();
    records.append(job, &entry("b")).unwrap();
    assert!(records.append_by(job, &entry("c"), Some(records::UserId::of(99))).is_err());
    records.remove_user(ro, &zoned).unwrap();
    assert_eq!(role(), None);
    assert_eq!((records.users().unwrap().len(), records.user_to_log_in("Ro").unwrap()), (0, None));
    assert!(records.open_session(ro, TOKEN, now, later).is_err());
    assert!(records.remove_user(ro, &zoned).is_err());
    let authors = records.authors(job).unwrap();
    assert_eq!(authors, [(1, "Ro".to_owned())]);
    assert!(records.verify(job).unwrap().holds());
}
