//! `wattmend worth FILE`: repair or replace, over the life that the machine has left.
//!
//! `text.rs` says it with its figures and assumptions, `json.rs` gives it to a program.

mod json;
mod text;

use crate::end::{Answer, Done, Failure};
use crate::load;
use crate::money::{amount_in, amount_or_none, refused};
use crate::render::Screen;
use machine::model::Machine;
use rust_decimal::Decimal;
use rust_decimal::prelude::ToPrimitive;
use std::path::PathBuf;
use worth::{Assumptions, Currency, Lifetime, Running, Weighed, parse_percent, pending};

#[derive(clap::Args)]
pub(crate) struct Arguments {
    /// Machine file
    file: PathBuf,
    /// Age of the machine, years
    #[arg(long, value_name = "YEARS", allow_hyphen_values = true)]
    age: f64,
    /// What the repair costs the customer, with tax: "129", or a range with the likeliest: "48..131, 62"
    #[arg(long, value_name = "MONEY")]
    repair: String,
    /// Price of a comparable new machine
    #[arg(long, value_name = "MONEY")]
    new_price: String,
    /// Delivery and fitting of the new one
    #[arg(long, value_name = "MONEY")]
    delivery: Option<String>,
    /// Taking the old one away
    #[arg(long, value_name = "MONEY")]
    disposal: Option<String>,
    /// Currency of all amounts (ISO 4217)
    #[arg(long, value_name = "CODE", default_value = "EUR")]
    currency: String,
    /// Mean life of such a machine, years; published where left out
    #[arg(long, value_name = "YEARS", allow_hyphen_values = true)]
    life: Option<f64>,
    /// Mean life of the new one, years; as the old where left out
    #[arg(long, value_name = "YEARS", allow_hyphen_values = true)]
    new_life: Option<f64>,
    /// Shape of the Weibull distribution of lives
    #[arg(long, value_name = "NUMBER", allow_hyphen_values = true)]
    shape: Option<f64>,
    /// Uses a year in this household
    #[arg(long, value_name = "COUNT", allow_hyphen_values = true)]
    uses: Option<f64>,
    /// Energy of a use, kWh, of the old and of the new machine
    #[arg(long, num_args = 2, value_names = ["OLD", "NEW"], allow_hyphen_values = true)]
    energy: Option<Vec<f64>>,
    /// Price of a kWh
    #[arg(long, value_name = "MONEY", requires = "energy")]
    energy_price: Option<String>,
    /// Water of a use, litres, of the old and of the new machine
    #[arg(long, num_args = 2, value_names = ["OLD", "NEW"], allow_hyphen_values = true)]
    water: Option<Vec<f64>>,
    /// Price of a cubic metre of water, with sewage
    #[arg(long, value_name = "MONEY", requires = "water")]
    water_price: Option<String>,
    /// Discount rate a year; 3% where left out
    #[arg(long, value_name = "SHARE")]
    discount: Option<String>,
    /// Warranty on the repair, years; 1 where left out
    #[arg(long, value_name = "YEARS", allow_hyphen_values = true)]
    warranty: Option<f64>,
    /// Something else that was found: "bearing worn: 160 in 2" (money, years); may be given several times
    #[arg(long, value_name = "WHAT: MONEY in YEARS")]
    also: Vec<String>,
    /// Print JSON (docs/json.md)
    #[arg(long)]
    json: bool,
}

/// What was weighed, with what it is about.
struct Said<'m> {
    machine: &'m Machine,
    assumptions: Assumptions,
    weighed: Weighed,
}

/// Runs it.
pub(crate) fn run(arguments: &Arguments, screen: &Screen) -> Answer {
    let machine = load::machine(&arguments.file, None, screen)?;
    let lifetime = worth::lifetime(&machine.plate.kind);
    let assumptions = assumptions(lifetime, arguments)?;
    let weighed = worth::weigh(&assumptions).map_err(|e| Failure::asked_wrongly(&e.message, &e.remedy))?;
    let said = Said { machine: &machine, assumptions, weighed };
    let text =
        if arguments.json { format!("{:#}\n", json::render(&said)) } else { text::render(&said, screen) };
    Ok(Done::with(text))
}

fn assumptions(lifetime: &Lifetime, asked: &Arguments) -> Result<Assumptions, Failure> {
    let currency = Currency::from_code(&asked.currency).map_err(refused("--currency"))?;
    let (repair, range) = repair(&asked.repair, currency)?;
    let new_price = amount_in(currency, "--new-price", &asked.new_price)?;
    let mut a = Assumptions::usual(lifetime, currency, repair, asked.age, new_price);
    a.repair_range = range;
    a.delivery = amount_or_none(currency, "--delivery", asked.delivery.as_deref())?;
    a.disposal = amount_or_none(currency, "--disposal", asked.disposal.as_deref())?;
    if let Some(life) = asked.life {
        (a.mean_years, a.mean_source) = (life, "given with --life".to_owned());
        a.new_mean_years = life;
    }
    if let Some(life) = asked.new_life {
        a.new_mean_years = life;
    }
    if let Some(shape) = asked.shape {
        (a.shape, a.shape_source) = (shape, "given with --shape".to_owned());
    }
    if let Some(uses) = asked.uses {
        a.uses_a_year = uses;
    }
    let pair = |of: &Option<Vec<f64>>| of.as_deref().map_or((0.0, 0.0), |v| (v[0], v[1]));
    let (energy, water) = (pair(&asked.energy), pair(&asked.water));
    a.old_running = Running { energy_kwh: energy.0, water_l: water.0 };
    a.new_running = Running { energy_kwh: energy.1, water_l: water.1 };
    a.energy_price = amount_or_none(currency, "--energy-price", asked.energy_price.as_deref())?;
    a.water_price = amount_or_none(currency, "--water-price", asked.water_price.as_deref())?;
    if let Some(text) = &asked.discount {
        let discount = parse_percent(text).map_err(refused("--discount"))?;
        (a.discount, a.discount_source) =
            (discount.to_f64().unwrap_or(f64::NAN), "given with --discount".to_owned());
    }
    if let Some(years) = asked.warranty {
        (a.warranty_years, a.warranty_source) = (years, "given with --warranty".to_owned());
    }
    a.pending = asked
        .also
        .iter()
        .map(|text| pending(text, currency).map_err(refused("--also")))
        .collect::<Result<_, _>>()?;
    Ok(a)
}

/// "129", "48..131, 62".
fn repair(text: &str, currency: Currency) -> Result<(Decimal, Option<(Decimal, Decimal)>), Failure> {
    let read = |t: &str| amount_in(currency, "--repair", t);
    let Some((low, rest)) = text.split_once("..") else { return Ok((read(text)?, None)) };
    let wrong = || {
        Failure::asked_wrongly(
            &format!("--repair: `{text}` is no range with its likeliest"),
            "write lowest..highest, likeliest: --repair \"48..131, 62\"",
        )
    };
    let (high, likely) = rest.split_once([',', ';']).ok_or_else(wrong)?;
    let (low, high, likely) = (read(low)?, read(high)?, read(likely)?);
    if low <= likely && likely <= high { Ok((likely, Some((low, high)))) } else { Err(wrong()) }
}
