//! May an entry of the visit be kept? Pages and programs ask here, so that both are refused the same.

use crate::problem::Problem;
use crate::visit::charge;
use crate::visit::closing;
use crate::visit::proof::{self, proof};
use diagnosis::evidence::Listener;
use machine::model::Machine;
use records::{Job, Says, Settings};
use rust_decimal::Decimal;
use safety::{Conclusion, Test, parse_typed};
use worth::{Assumptions, Consent, lifetime};

/// Longest code, serial or name, characters.
const LONGEST: usize = 200;

/// Is it an entry of the visit, which [`understood`] knows?
pub(crate) fn is_of_visit(says: &Says) -> bool {
    matches!(
        says,
        Says::Prices { .. }
            | Says::Decided { .. }
            | Says::Fitted { .. }
            | Says::Proving { .. }
            | Says::Safety { .. }
            | Says::Signed { .. }
            | Says::HandOver { .. }
    )
}

/// Is it understood, and is now the time for it?
///
/// # Errors
/// With what to say instead.
pub(crate) fn understood(
    machine: Option<&Machine>,
    job: &Job,
    settings: &Settings,
    says: &Says,
) -> Result<(), Problem> {
    // What is said of the customer and the hand-over needs no machine file; what a correction may say, `closing.rs` knows.
    match says {
        Says::HandOver { hand_over } => return closing::understood(hand_over, settings),
        Says::Correction { .. } => return Ok(()),
        _ => {}
    }
    let machine = machine.ok_or_else(|| {
        Problem::refused("this job has no machine file yet", "match the machine first, under Arrive")
    })?;
    match says {
        Says::Prices { prices, worth } => {
            let currency = charge::currency(settings)?;
            for (name, price) in prices {
                part(machine, name)?;
                currency.amount(price).map_err(charge::refused(name))?;
            }
            let zero = Decimal::ZERO;
            let mut all = Assumptions::usual(lifetime(&machine.plate.kind), currency, zero, 0.0, zero);
            charge::set(&mut all, worth)?;
            worth::weigh(&all).map(drop).map_err(|e| Problem::refused(e.message, e.remedy))
        }
        Says::Decided { offer, name, agreed, why, parts, .. } => {
            for name in parts {
                part(machine, name)?;
            }
            let at = jiff::ZonedDateTime::now();
            let decision = if *agreed {
                Consent::agreed(name, offer, true, at)
            } else {
                Consent::declined(name, offer, why.as_deref().unwrap_or_default(), at)
            };
            decision
                .map(drop)
                .map_err(|e| Problem::refused(e.to_string(), "put that right and keep it again"))
        }
        Says::Fitted { fitted, order, serial, old, .. } => {
            part(machine, fitted)?;
            [("the order code", order), ("the serial number", serial), ("what the old part read", old)]
                .into_iter()
                .try_for_each(|(what, text)| short(what, text))
        }
        Says::Proving { proving } => {
            proof::subject(machine, proving)?;
            proof::standard(&proving.standard).map(drop)
        }
        Says::Safety { safety, tester } => {
            short("the tester's name", &tester.name)?;
            if tester.accuracy.len() > Test::ALL.len() {
                return Err(Problem::refused("too many limits of error", "give one for each test"));
            }
            proof::tester(tester)?;
            reading(machine, job, settings, safety)
        }
        Says::Signed { signed, report } => signing(machine, job, settings, signed, report),
        _ => may_have_run(machine, job, settings, says),
    }
}

/// Says it whether the machine works after a repair? That is seen with it on the mains: only once the tests that protect
/// from that have passed. That a repair could not be done says nothing of it.
///
/// # Errors
/// Which tests these are.
pub(crate) fn may_have_run(
    machine: &Machine,
    job: &Job,
    settings: &Settings,
    says: &Says,
) -> Result<(), Problem> {
    let ran = match says {
        Says::Mended { cured, .. } => cured.is_some(),
        Says::Check { check, answer } => {
            check.split_whitespace().next() == Some("mend")
                && Listener::new(machine).yes_or_no(answer).is_ok()
        }
        _ => false,
    };
    if !ran {
        return Ok(());
    }
    let by = proof(machine, job, settings, jiff::ZonedDateTime::now().date())?.functional_blocked_by();
    if by.is_empty() { Ok(()) } else { Err(not_yet(&by)) }
}

fn not_yet(by: &[Test]) -> Problem {
    let names: Vec<&str> = by.iter().map(|t| t.name()).collect();
    Problem::refused(
        format!("not yet: {} must have passed before this is done", names.join(" and ")),
        "measure that first, under Prove; find and mend what failed, take its reading back, and measure it again",
    )
}

fn part(machine: &Machine, name: &str) -> Result<(), Problem> {
    machine.part(name).map(drop).ok_or_else(|| {
        let shown: String = name.chars().take(60).collect();
        Problem::refused(format!("this machine has no part `{shown}`"), "choose one from the list")
    })
}

fn short(what: &str, text: &str) -> Result<(), Problem> {
    if text.chars().count() > LONGEST {
        return Err(Problem::refused(format!("{what} is longer than {LONGEST} characters"), "shorten it"));
    }
    Ok(())
}

/// A reading is only taken of a test whose turn it can be: what a failed test protects from is not done.
fn reading(machine: &Machine, job: &Job, settings: &Settings, text: &str) -> Result<(), Problem> {
    let typed = parse_typed(text).map_err(|e| Problem::refused(e.message, e.remedy))?;
    let proof = proof(machine, job, settings, jiff::ZonedDateTime::now().date())?;
    if !proof.applies(&typed) {
        return Err(Problem::refused(
            format!("`{}` is not asked for here", text.trim()),
            "see which tests apply; say under “What is tested” or under Mend what was worked on",
        ));
    }
    let by = proof.blocked_by(&typed);
    if by.is_empty() {
        return Ok(());
    }
    Err(not_yet(&by))
}

/// What is signed is what stands there, and only once it is settled.
fn signing(
    machine: &Machine,
    job: &Job,
    settings: &Settings,
    signed: &str,
    report: &str,
) -> Result<(), Problem> {
    short("the name", signed)?;
    if signed.trim().is_empty() {
        return Err(Problem::refused("the name of who signs is missing", "write your name"));
    }
    let proof = proof(machine, job, settings, jiff::ZonedDateTime::now().date())?;
    if proof.report.conclusion == Conclusion::NotShown {
        return Err(Problem::refused(
            proof.report.says,
            "do what is open, then sign; a test that failed can be signed as failed",
        ));
    }
    if proof.report.says != report {
        return Err(Problem::refused(
            "the test does not say that any more",
            "reload the page, read what it says now, and sign that",
        ));
    }
    Ok(())
}
