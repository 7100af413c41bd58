//! What must hold of a diagnosis whatever the evidence: the order in which things were said is nothing, what every suspect
//! would have shown is nothing, names are nothing, and what is listed and what is left out make one.
#![allow(missing_docs, clippy::unwrap_used, reason = "a test")]

use diagnosis::Find;
use diagnosis::belief::{Beliefs, Case};
use diagnosis::evidence::{Clue, Entry, Evidence, Listener};
use diagnosis::hypotheses::Limits;
use diagnosis::setup::Setup;
use machine::model::Machine;
use proptest::prelude::*;
use std::collections::BTreeMap;

const SMALL: &str = include_str!("../../machine/tests/good/small.toml");

fn machine(text: &str) -> Machine {
    machine::read::read(text, None).machine.unwrap()
}

/// What can be said of the small machine: an option's name and its value.
const SAYINGS: [(&str, &str); 12] = [
    ("complaint", "does not heat"),
    ("code", "F1"),
    ("code", "F2"),
    ("code", "none"),
    ("reading", "step heat: 2 W"),
    ("reading", "step heat: 1.85 kW 8.1 A"),
    ("reading", "step drain: 31 W"),
    ("reading", "step drain: 2.1 W"),
    ("reading", "step code: 2 W"),
    ("reading", "element.1 element.2 off element.1 = OL"),
    ("reading", "element.1 element.2 off element.1 = 28R6"),
    ("reading", "probe.1 probe.2 off J3 = 12k1"),
];

fn said(listener: &Listener<'_>, (what, value): (&str, &str)) -> Vec<Entry> {
    let clues = match what {
        "complaint" => vec![listener.complaint(value).unwrap()],
        "code" => vec![listener.code(value).unwrap()],
        _ => listener.reading(value).unwrap(),
    };
    Entry::of_one(clues, value, None, None)
}

fn evidence(machine: &Machine, sayings: &[usize], rename: impl Fn(&str) -> String) -> Evidence {
    let listener = Listener::new(machine);
    let entries = sayings.iter().flat_map(|&s| {
        let (what, value) = SAYINGS[s];
        said(&listener, (what, &rename(value)))
    });
    Evidence { entries: entries.collect(), ..Evidence::default() }
}

fn beliefs(machine: &Machine, evidence: &Evidence) -> Beliefs {
    Find::new(machine, evidence, &Setup::default()).unwrap().beliefs(evidence).unwrap()
}

fn by_name(machine: &Machine, beliefs: &Beliefs) -> BTreeMap<String, f64> {
    beliefs.cases.iter().map(|(case, p)| (case.says(machine), *p)).collect()
}

/// Every probability is right but for what was left out, and no more than that.
fn assert_same(a: &BTreeMap<String, f64>, b: &BTreeMap<String, f64>, left_out: f64) {
    for name in a.keys().chain(b.keys()) {
        let of = |all: &BTreeMap<String, f64>| all.get(name).copied().unwrap_or(0.0);
        assert!((of(a) - of(b)).abs() <= left_out + 1e-9, "{name}: {} and {}", of(a), of(b));
    }
}

fn some_sayings() -> impl Strategy<Value = Vec<usize>> {
    prop::sample::subsequence((0..SAYINGS.len()).collect::<Vec<_>>(), 1..6).prop_shuffle()
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(24))]

    #[test]
    fn what_is_shown_is_shared_among_what_was_looked_at(sayings in some_sayings()) {
        let machine = machine(SMALL);
        let evidence = evidence(&machine, &sayings, str::to_owned);
        // So few sets that much is left out.
        let limits = Limits { sets: 40, ..Limits::default() };
        let setup = Setup { limits, ..Setup::default() };
        let mut find = Find::new(&machine, &evidence, &setup).unwrap();
        let (certain, shown) = (find.beliefs(&evidence).unwrap(), find.finding(&evidence).unwrap());
        let all: f64 = shown.suspects.iter().map(|s| s.probability).sum::<f64>() + shown.healthy + shown.others;
        prop_assert!((all - 1.0).abs() < 1e-9, "{all}");
        for suspect in &shown.suspects {
            let is_it = |c: &&(Case, f64)| c.0.faults == suspect.faults && c.0.sometimes == suspect.sometimes;
            let at_least = certain.cases.iter().find(is_it).unwrap().1;
            prop_assert!((suspect.probability * (1.0 - shown.left_out) - at_least).abs() < 1e-9);
        }
        prop_assert!(shown.sure.is_none_or(|s| s.probability * (1.0 - shown.left_out) >= setup.sure_from - 1e-9));
    }

    #[test]
    fn listed_and_left_out_make_one(sayings in some_sayings()) {
        let machine = machine(SMALL);
        let found = beliefs(&machine, &evidence(&machine, &sayings, str::to_owned));
        let listed: f64 = found.cases.iter().map(|c| c.1).sum();
        prop_assert!((listed + found.left_out - 1.0).abs() < 1e-9, "{listed} and {}", found.left_out);
        prop_assert!((0.0..0.5).contains(&found.left_out), "{}", found.left_out);
    }

    #[test]
    fn the_order_of_what_was_said_is_nothing(sayings in some_sayings()) {
        let machine = machine(SMALL);
        let of = |sayings: &[usize]| beliefs(&machine, &evidence(&machine, sayings, str::to_owned));
        let forwards = of(&sayings);
        let backwards = of(&sayings.iter().rev().copied().collect::<Vec<_>>());
        let left_out = forwards.left_out + backwards.left_out;
        assert_same(&by_name(&machine, &forwards), &by_name(&machine, &backwards), left_out);
    }

    #[test]
    fn told_all_at_once_or_one_by_one_is_nothing(sayings in some_sayings()) {
        let machine = machine(SMALL);
        let all = evidence(&machine, &sayings, str::to_owned);
        let at_once = beliefs(&machine, &all);
        let mut so_far = Evidence::default();
        let mut find = Find::new(&machine, &so_far, &Setup::default()).unwrap();
        let mut last = None;
        for entry in &all.entries {
            so_far.entries.push(entry.clone());
            last = Some(find.beliefs(&so_far).unwrap());
        }
        let one_by_one = last.unwrap();
        let left_out = at_once.left_out + one_by_one.left_out;
        assert_same(&by_name(&machine, &at_once), &by_name(&machine, &one_by_one), left_out);
    }

    /// What would be believed after one thing more is what is believed once it was said, but for what was left out; and to have
    /// asked, to have taken something back and said it again, is nothing.
    #[test]
    fn what_would_be_believed_is_what_then_is(sayings in some_sayings(), taken_back in 0..6_usize) {
        let machine = machine(SMALL);
        let all = evidence(&machine, &sayings, str::to_owned);
        let mut so_far = Evidence::default();
        let mut find = Find::new(&machine, &so_far, &Setup::default()).unwrap();
        find.beliefs(&so_far).unwrap();
        for entry in &all.entries {
            so_far.entries.push(entry.clone());
            let would = find.would_believe(&so_far).unwrap();
            let is = find.beliefs(&so_far).unwrap();
            prop_assert!(would.left_out <= 1.001e-3, "{}", would.left_out);
            let listed: f64 = would.cases.iter().map(|c| c.1).sum();
            prop_assert!((listed + would.left_out - 1.0).abs() < 1e-9, "{listed} and {}", would.left_out);
            let left_out = would.left_out + is.left_out;
            assert_same(&by_name(&machine, &would), &by_name(&machine, &is), left_out);
        }
        let mut without = all.clone();
        without.entries.remove(taken_back % all.entries.len());
        prop_assert_eq!(find.beliefs(&without).unwrap(), beliefs(&machine, &without));
        prop_assert_eq!(find.beliefs(&all).unwrap(), beliefs(&machine, &all));
    }

    /// What every suspect would have shown changes nothing: cycles that were never counted.
    #[test]
    fn what_tells_nothing_changes_nothing(sayings in some_sayings(), place in 0..6_usize) {
        let machine = machine(SMALL);
        let plain = evidence(&machine, &sayings, str::to_owned);
        let mut more = plain.clone();
        let nothing = Clue::Cycles { function: 0, worked: 0, failed: 0 };
        let entry = Entry { clue: nothing, said: "no cycles".to_owned(), at: None, answers: None };
        more.entries.insert(place.min(more.entries.len()), entry);
        let (without, with) = (beliefs(&machine, &plain), beliefs(&machine, &more));
        let left_out = without.left_out + with.left_out;
        assert_same(&by_name(&machine, &without), &by_name(&machine, &with), left_out);
    }

    /// Parts by other names, which put them in another order.
    #[test]
    fn names_are_nothing(sayings in some_sayings()) {
        let names = [("element", "zz-rod"), ("pump", "aa-pump"), ("probe", "mm-probe"), ("lock", "bb-lock")];
        // A part's name stands in its heading, or before the dot of a terminal.
        let renamed = |text: &str| {
            let places = |name: &str| [format!("[part.{name}]"), format!("\"{name}."), format!(" {name}.")];
            let text = names.iter().fold(format!(" {text}"), |text, (old, new)| {
                places(old).iter().zip(places(new)).fold(text, |text, (old, new)| text.replace(old, &new))
            });
            text[1..].to_owned()
        };
        let (one, other) = (machine(SMALL), machine(&renamed(SMALL)));
        let a = beliefs(&one, &evidence(&one, &sayings, str::to_owned));
        let b = beliefs(&other, &evidence(&other, &sayings, renamed));
        let back = |name: &str| names.iter().fold(name.to_owned(), |text, (old, new)| text.replace(new, old));
        let mut by_old_name = BTreeMap::new();
        for (name, p) in by_name(&other, &b) {
            let mut parts: Vec<String> = back(&name).split(", ").map(str::to_owned).collect();
            parts.sort();
            *by_old_name.entry(parts.join(", ")).or_insert(0.0) += p;
        }
        let mut sorted = BTreeMap::new();
        for (name, p) in by_name(&one, &a) {
            let mut parts: Vec<&str> = name.split(", ").collect();
            parts.sort_unstable();
            *sorted.entry(parts.join(", ")).or_insert(0.0) += p;
        }
        assert_same(&sorted, &by_old_name, a.left_out + b.left_out);
    }
}
