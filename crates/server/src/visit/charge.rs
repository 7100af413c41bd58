//! From settings, finding and log to a quote, and to the question whether the repair is worth it.

use crate::problem::Problem;
use crate::setup::setup;
use crate::worked_out::WorkedOut;
use machine::model::Machine;
use records::{Log, Says, Settings, StockPart};
use rust_decimal::Decimal;
use std::collections::BTreeMap;
use worth::{
    Assumptions, Currency, MoneyError, PartPrices, Prices, Quotation, Rounding, Tax, Weighed, lifetime,
    parse_percent,
};

/// A quotation with the prices that it rests on.
pub(crate) struct Priced {
    pub(crate) prices: Prices,
    pub(crate) parts: PartPrices,
    pub(crate) quotation: Quotation,
}

/// A refusal of `worth`, with what it is about.
pub(crate) fn refused(what: &str) -> impl Fn(MoneyError) -> Problem + '_ {
    move |e| Problem::refused(format!("{what}: {}", e.message), e.remedy)
}

/// The currency of the settings; euros where nobody said.
pub(crate) fn currency(settings: &Settings) -> Result<Currency, Problem> {
    let code = match settings.currency.trim() {
        "" => "EUR",
        code => code,
    };
    Currency::from_code(code).map_err(refused("the currency in Settings"))
}

/// The technician's prices.
///
/// # Errors
/// Where the rate was never said, or something cannot be read.
pub(crate) fn prices(settings: &Settings) -> Result<Prices, Problem> {
    let charges = &settings.charges;
    let currency = currency(settings)?;
    let amount = |what, text: &str| match text.trim() {
        "" => Ok(Decimal::ZERO),
        text => currency.amount(text).map_err(refused(what)),
    };
    let share = |what, text: &str| match text.trim() {
        "" => Ok(Decimal::ZERO),
        text => parse_percent(text).map_err(refused(what)),
    };
    let rate = settings.rate_minor.filter(|r| *r > 0).ok_or_else(|| {
        Problem::refused("a quote needs what your work costs", "write your labour rate into Settings")
    })?;
    let parts = share("the tax", &charges.tax)?;
    let labour = match charges.labour_tax.trim() {
        "" => parts,
        text => share("the tax on labour", text)?,
    };
    let name = match charges.tax_name.trim() {
        "" => "tax",
        name => name,
    };
    Ok(Prices {
        currency,
        labour_per_hour: Decimal::new(rate, 2),
        minimum_labour: amount("least that labour costs", &charges.minimum)?,
        travel: amount("travel", &charges.travel)?,
        mark_up: share("the mark-up", &charges.mark_up)?,
        tax: Tax { name: name.to_owned(), labour, parts },
        rounding: if charges.half_even { Rounding::HalfEven } else { Rounding::HalfUp },
        cash_step: amount("the cash step", &charges.cash_step)?,
    })
}

/// What was typed of prices and assumptions in this job.
pub(crate) fn typed(log: &Log) -> (BTreeMap<String, String>, BTreeMap<String, String>) {
    let last = log.standing().filter_map(|e| match &e.says {
        Says::Prices { prices, worth } => Some((prices.clone(), worth.clone())),
        _ => None,
    });
    last.last().unwrap_or_default()
}

/// The part of the van with this order code.
pub(crate) fn in_stock<'s>(stock: &'s [StockPart], order: &str) -> Option<&'s StockPart> {
    stock.iter().find(|p| !order.trim().is_empty() && p.code.eq_ignore_ascii_case(order.trim()))
}

/// What parts cost in this job: as typed, else as the van's list says.
pub(crate) fn part_prices(
    machine: &Machine,
    typed: &BTreeMap<String, String>,
    settings: &Settings,
    prices: &Prices,
    stock: &[StockPart],
) -> Result<PartPrices, Problem> {
    let mut known = BTreeMap::new();
    for (id, part) in machine.parts.iter().enumerate() {
        let own = in_stock(stock, &part.order).and_then(|p| prices.currency.amount(&p.price).ok());
        known.extend(own.map(|price| (id, price)));
    }
    for (name, price) in typed {
        // A part of another machine file, if the job was matched anew.
        let Some(part) = machine.part(name) else { continue };
        known.insert(part, prices.currency.amount(price).map_err(refused(name))?);
    }
    let other = settings.part_minor.map(|minor| Decimal::new(minor.max(0), 2));
    Ok(PartPrices::new(known, other, prices.labour_per_hour))
}

/// What the repair may cost.
pub(crate) fn priced(
    found: &WorkedOut,
    log: &Log,
    settings: &Settings,
    stock: &[StockPart],
) -> Result<Priced, Problem> {
    let prices = prices(settings)?;
    let parts = part_prices(&found.machine, &typed(log).0, settings, &prices, stock)?;
    let cases = worth::cases(&found.machine, &found.finding, &setup(settings).costs, &parts, 0);
    let quotation = worth::quotation(&cases, &prices).ok_or_else(|| {
        Problem::refused("there is no suspect whose repair could be priced", "see Find for the next check")
    })?;
    Ok(Priced { prices, parts, quotation })
}

/// What the comparison rests on: what is usual, the quote, and what was typed. Age and price of a new one stay 0 until typed.
pub(crate) fn assumptions(
    machine: &Machine,
    quotation: &Quotation,
    currency: Currency,
    typed: &BTreeMap<String, String>,
) -> Result<Assumptions, Problem> {
    let usual = lifetime(&machine.plate.kind);
    let mut all = Assumptions::usual(usual, currency, quotation.likely, 0.0, Decimal::ZERO);
    all.repair_range = Some((quotation.low, quotation.high));
    set(&mut all, typed)?;
    Ok(all)
}

/// Sets what was typed; several things that were found stand in lines.
pub(crate) fn set(all: &mut Assumptions, typed: &BTreeMap<String, String>) -> Result<(), Problem> {
    for (name, text) in typed {
        for line in text.lines().map(str::trim).filter(|l| !l.is_empty()) {
            all.set(name, line).map_err(refused(name))?;
        }
    }
    Ok(())
}

/// The comparison; none until age and price of a new one were typed.
pub(crate) fn weighed(
    assumptions: &Assumptions,
    typed: &BTreeMap<String, String>,
) -> Result<Option<Weighed>, Problem> {
    if !(typed.contains_key("age") && typed.contains_key("new-price")) {
        return Ok(None);
    }
    worth::weigh(assumptions).map(Some).map_err(|e| Problem::refused(e.message, e.remedy))
}
