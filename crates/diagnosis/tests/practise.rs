//! Practice: what steps cost and what they are worth.
#![allow(missing_docs, clippy::unwrap_used, reason = "a test")]

use diagnosis::evidence::{Clue, Entry, Evidence, Listener};
use diagnosis::practise::{Coach, Doing};
use diagnosis::setup::Setup;
use machine::model::Machine;

fn machine() -> Machine {
    machine::read::read(include_str!("../../machine/tests/good/small.toml"), None).machine.unwrap()
}

fn coach(machine: &Machine) -> Coach<'_> {
    let heats = machine.functions.iter().position(|f| f.name == "heats").unwrap();
    let entry =
        Entry { clue: Clue::Fails(vec![heats]), said: "does not heat".to_owned(), at: None, answers: None };
    let evidence = Evidence { entries: vec![entry], ..Evidence::default() };
    Coach::new(machine, evidence, Setup::default()).unwrap()
}

#[test]
fn the_best_step_wastes_nothing_and_others_cost_more() {
    let machine = machine();
    let mut coach = coach(&machine);
    let mut least = f64::INFINITY;
    for check in coach.checks() {
        let judged = coach.judge(&Doing::Check(check.clone())).unwrap();
        assert!(judged.with >= judged.best && judged.wasted() >= 0.0);
        // What the best plan does first is listed as such by every judgement.
        if judged.instead == check.says {
            assert!(judged.wasted() < 0.5, "{}: {}", check.says, judged.wasted());
        }
        if !judged.tells {
            assert!(judged.worth.is_empty());
            assert!(judged.wasted() > 0.0, "{} tells nothing for nothing", check.says);
        }
        for worth in &judged.worth {
            assert!(worth.saves > 0.0 && worth.probability > 0.0 && worth.probability <= 1.0);
        }
        least = least.min(judged.wasted());
    }
    assert!(least < 0.5, "no check is any good: {least}");
    // To fit a new part on a complaint alone is dear.
    let element = machine.part("element").unwrap();
    assert!(coach.judge(&Doing::Mend(element)).unwrap().wasted() > 5.0);
}

/// Panels that are off cost nothing more, until the machine must be closed up to run.
#[test]
fn access_is_paid_once() {
    let machine = machine();
    let mut coach = coach(&machine);
    let listener = Listener::new(&machine);
    let ohms =
        |coach: &Coach<'_>, id: &str| Doing::Check(coach.check(&listener.asked(id).unwrap(), id).unwrap());
    let check = ohms(&coach, "ohms element.1 element.2 off element.1");
    let step = machine.test.steps[0].id.clone();
    let run = ohms(&coach, &format!("step {step}"));
    let first = coach.bill(&check);
    assert!(!first.opens.is_empty());
    coach.done(&check);
    let again = coach.bill(&check);
    let panels: f64 = first.opens.iter().map(|&p| machine.panels[p].minutes).sum();
    assert!(again.opens.is_empty() && again.minutes < first.minutes - panels);
    assert!(coach.bill(&run).closes);
    coach.done(&run);
    assert_eq!(coach.bill(&check), first);
}

#[test]
fn points_may_be_named_the_other_way_round() {
    let machine = machine();
    let coach = coach(&machine);
    let listener = Listener::new(&machine);
    let of = |id: &str| coach.check(&listener.asked(id).unwrap(), id).unwrap().id;
    assert_eq!(of("ohms element.2 element.1 off element.1"), of("ohms element.1 element.2 off element.1"));
    // What no list has can be measured all the same, with its caution.
    let odd = "ohms element.1 lock.1";
    let found = listener.asked(odd).ok().and_then(|asked| coach.check(&asked, odd));
    assert!(found.is_none_or(|c| !c.caution.is_empty()));
}
