//! Live volts: as evidence, and as a check that is asked for only where live work is allowed.
#![allow(missing_docs, clippy::unwrap_used, reason = "a test")]

use diagnosis::check::{Check, CheckKind, Power};
use diagnosis::evidence::{Answer, Clue, Entry, Evidence, Listener};
use diagnosis::find;
use diagnosis::finding::{Action, Finding};
use diagnosis::setup::Setup;
use machine::model::Machine;

fn washer() -> Machine {
    machine::read::read(include_str!("../../../machines/aldermere-tern-81.toml"), None).machine.unwrap()
}

fn evidence(machine: &Machine, readings: &[&str]) -> Evidence {
    let listener = Listener::new(machine);
    let mut clues = vec![listener.complaint("does not heat").unwrap()];
    clues.extend(readings.iter().flat_map(|r| listener.reading(r).unwrap()));
    Evidence { entries: Entry::of_one(clues, "said", None, None), ..Evidence::default() }
}

fn probability(machine: &Machine, finding: &Finding, part: &str) -> f64 {
    let part = machine.part(part).unwrap();
    let with = finding.suspects.iter().filter(|s| s.faults.faults().iter().any(|f| f.0 == part));
    with.map(|s| s.probability).sum()
}

fn checks(finding: &Finding) -> impl Iterator<Item = &Check> {
    finding.next.iter().filter_map(|n| if let Action::Check(check) = &n.action { Some(check) } else { None })
}

#[test]
fn volts_are_read_and_answered() {
    let machine = washer();
    let listener = Listener::new(&machine);
    let said = listener.reading("volts element.1 element.2 in warm = 229 V").unwrap();
    let [Clue::Volts(reading)] = &said[..] else { panic!("{said:?}") };
    assert_eq!(reading.names, ["element.1", "element.2"]);
    assert_eq!((reading.shown.value, machine.test.steps[reading.step].id.as_str()), (229.0, "warm"));
    let id = said[0].check_id(&machine).unwrap();
    assert_eq!(id, "volts element.1 element.2 in warm");
    let asked = listener.asked(&id).unwrap();
    assert_eq!(listener.answer(asked, "229 V").unwrap(), Answer::Says(said));
    for (bad, rule) in [
        ("volts element.1 element.2 = 229 V", "not-a-reading"),
        ("volts element.1 element.2 in = 229 V", "not-a-reading"),
        ("volts element.1 element.2 in worm = 229 V", "unknown-step"),
        ("volts element.1 element.9 in warm = 229 V", "unknown-point"),
        ("volts element.1 element.2 in warm = 900 V", "out-of-reach"),
        ("volts element.1 element.2 in warm = OL", "out-of-reach"),
    ] {
        assert_eq!(listener.reading(bad).unwrap_err().rule, rule, "{bad}");
    }
}

#[test]
fn volts_tell_the_load_from_what_feeds_it() {
    let machine = washer();
    let with = |readings: &[&str]| find(&machine, &evidence(&machine, readings), &Setup::default()).unwrap();
    let before = with(&["step warm: 31 W"]);
    let fed = with(&["step warm: 31 W", "volts element.1 element.2 in warm = 229 V"]);
    let unfed = with(&["step warm: 31 W", "volts element.1 element.2 in warm = 0.4 V"]);
    let element = |f: &Finding| probability(&machine, f, "element");
    assert!(element(&fed) > 0.9 && element(&fed) > element(&before), "{}", element(&fed));
    assert!(element(&unfed) < 0.05, "{}", element(&unfed));
}

#[test]
fn live_checks_are_asked_for_only_where_they_are_allowed() {
    let machine = washer();
    let said = evidence(&machine, &["step warm: 31 W"]);
    let usual = find(&machine, &said, &Setup::default()).unwrap();
    assert!(checks(&usual).all(|c| c.power != Power::Live && c.kind != CheckKind::Voltage));
    let mut setup = Setup { live: true, ..Setup::default() };
    setup.costs.live = 0.0;
    let live = find(&machine, &said, &setup).unwrap();
    let volts: Vec<&Check> = checks(&live).filter(|c| c.kind == CheckKind::Voltage).collect();
    assert!(!volts.is_empty(), "{:?}", checks(&live).map(|c| &c.id).collect::<Vec<_>>());
    for check in volts {
        assert!(check.power == Power::Live && check.caution.starts_with("Live: for competent persons"));
        let listener = Listener::new(&machine);
        assert!(listener.asked(&check.id).is_ok(), "{}", check.id);
    }
}
