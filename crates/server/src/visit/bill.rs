//! The bill of a job that is handed over. Nothing in it is guessed.

use crate::problem::Problem;
use crate::visit::charge::{self, Priced};
use crate::visit::fitted;
use crate::visit::record::{Gathered, before_mending, name_of};
use crate::worked_out::WorkedOut;
use handover::Bill;
use machine::model::Machine;
use records::{HandOverFacts, Job, Says, Settings, StockPart};
use rust_decimal::Decimal;

/// Most minutes of a visit that are believed.
const MOST_MINUTES: u32 = 6_000;

/// The bill: minutes typed, else those of the repair that was agreed on; parts by their price in this job, else the van's. Nothing
/// is guessed.
pub(super) fn price(
    gathered: &mut Gathered,
    job: &Job,
    machine: Option<&Machine>,
    found: Option<&WorkedOut>,
    settings: &Settings,
    stock: &[StockPart],
    facts: &HandOverFacts,
) -> Result<(), Problem> {
    let prices = charge::prices(settings)?;
    let agreed = gathered.record.consent.as_ref().is_some_and(|c| c.agreed);
    if agreed && let Some(found) = found {
        let (log, _) = before_mending(&job.log);
        gathered.planned_minutes =
            charge::priced(found, &log, settings, stock).ok().as_ref().and_then(likely_minutes);
    }
    let known = machine
        .map(|m| charge::part_prices(m, &charge::typed(&job.log).0, settings, &prices, stock))
        .transpose()?;
    let mut parts = Vec::new();
    for entry in fitted(&job.log) {
        let Says::Fitted { fitted, cleared: false, order, .. } = &entry.says else { continue };
        let id = machine.and_then(|m| m.part(fitted));
        let own = charge::in_stock(stock, order).and_then(|p| prices.currency.amount(&p.price).ok());
        let typed = id.zip(known.as_ref()).map(|(id, known)| known.of(id)).filter(|(_, guessed)| !guessed);
        let what = name_of(machine, fitted);
        match typed.map(|t| t.0).or(own) {
            Some(price) => {
                let order = order.clone();
                parts.push(worth::Part { what, order, price, guessed: false, quantity: 1 });
            }
            None if gathered.unpriced.iter().all(|u| u.0 != *fitted) => {
                gathered.unpriced.push((fitted.clone(), what));
            }
            None => {}
        }
    }
    if let [(_, first), ..] = gathered.unpriced.as_slice() {
        return Err(Problem::refused(
            format!("{first} has no price"),
            "type below what it cost you; 0 for one that is free",
        ));
    }
    let minutes = match facts.minutes.trim() {
        "" => gathered.planned_minutes,
        text => Some(minutes(text)?),
    };
    let minutes = minutes
        .ok_or_else(|| Problem::refused("nobody said how long it took", "type the minutes worked, below"))?;
    let mut bill = Bill::of_work(minutes, parts, &prices);
    if !facts.paid.is_empty() {
        bill.paid = paid(&facts.paid, settings)?;
        bill.paid_by.clone_from(&facts.paid_by);
        if bill.paid > bill.gross {
            return Err(Problem::refused(
                format!("{} paid is more than is to be paid", facts.paid),
                format!("it comes to {}", prices.currency.format(bill.gross)),
            ));
        }
    }
    gathered.record.bill = Some(bill);
    Ok(())
}

/// Minutes of labour in the likeliest repair.
fn likely_minutes(priced: &Priced) -> Option<u32> {
    let likeliest = priced.quotation.likeliest()?;
    let labour = likeliest.lines.iter().filter(|l| l.kind == worth::LineKind::Labour);
    Some(labour.map(|l| l.quantity).sum())
}

pub(super) fn minutes(text: &str) -> Result<u32, Problem> {
    let minutes = text.trim().parse().ok().filter(|m| (1..=MOST_MINUTES).contains(m));
    minutes.ok_or_else(|| {
        Problem::refused(
            format!("`{text}` minutes cannot be"),
            format!("give a whole number from 1 to {MOST_MINUTES}"),
        )
    })
}

pub(super) fn paid(text: &str, settings: &Settings) -> Result<Decimal, Problem> {
    charge::currency(settings)?.amount(text).map_err(charge::refused("what was paid"))
}
