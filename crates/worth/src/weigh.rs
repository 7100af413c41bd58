//! Repair or replace, over the remaining life of the machine: figures, a plain sentence, and what they rest on.

use crate::choice::MachineChoice;
use crate::life::{Weibull, WeibullError};
use crate::lifetimes::Lifetime;
use crate::money::Currency;
use rust_decimal::Decimal;
use rust_decimal::prelude::ToPrimitive;
use std::fmt;

/// What running a machine takes each time, and what that costs.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Running {
    /// Energy of one use, kWh.
    pub energy_kwh: f64,
    /// Water of one use, l.
    pub water_l: f64,
}

/// Something else that was found: it will cost so much within so many years.
#[derive(Clone, Debug, PartialEq)]
pub struct Pending {
    /// What it is: "bearing worn".
    pub what: String,
    /// What mending it will cost.
    pub cost: Decimal,
    /// In about so many years, if the machine lasts that long.
    pub in_years: f64,
}

/// Everything that the comparison rests on; each may be edited. [`Assumptions::usual`] fills in what is published.
#[derive(Clone, Debug, PartialEq)]
pub struct Assumptions {
    /// The currency of all amounts.
    pub currency: Currency,
    /// What the repair costs the customer: the likeliest of the range, with tax.
    pub repair: Decimal,
    /// The range, where there is one.
    pub repair_range: Option<(Decimal, Decimal)>,
    /// Age of the machine, years.
    pub age_years: f64,
    /// Mean life of a machine of this kind, years, usual use.
    pub mean_years: f64,
    /// Where that comes from.
    pub mean_source: String,
    /// Mean life of a new one, years, usual use.
    pub new_mean_years: f64,
    /// Shape of the Weibull distribution of both.
    pub shape: f64,
    /// Where that comes from.
    pub shape_source: String,
    /// Uses a year in this household.
    pub uses_a_year: f64,
    /// Usual uses a year, to which the mean life refers.
    pub usual_uses_a_year: f64,
    /// Where that comes from.
    pub uses_source: String,
    /// Price of a comparable new machine.
    pub new_price: Decimal,
    /// Delivery and fitting of it.
    pub delivery: Decimal,
    /// Taking the old one away.
    pub disposal: Decimal,
    /// Running the old one.
    pub old_running: Running,
    /// Running the new one.
    pub new_running: Running,
    /// Price of a kWh.
    pub energy_price: Decimal,
    /// Price of a cubic metre of water, with sewage.
    pub water_price: Decimal,
    /// Discount rate per year, continuous: 0.03.
    pub discount: f64,
    /// Where that comes from.
    pub discount_source: String,
    /// Warranty that the technician gives on the repair, years.
    pub warranty_years: f64,
    /// Where that comes from.
    pub warranty_source: String,
    /// What else was found.
    pub pending: Vec<Pending>,
}

/// What cannot be assumed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct AssumptionsError {
    /// What is wrong.
    pub message: String,
    /// What to give instead.
    pub remedy: String,
}

impl fmt::Display for AssumptionsError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}; {}", self.message, self.remedy)
    }
}

impl std::error::Error for AssumptionsError {}

/// Which way the figures lean. Never an order: the customer decides.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Tilt {
    /// The repair comes out cheaper.
    Repair,
    /// Both come to about the same, within what such figures can tell.
    Even,
    /// A new machine comes out cheaper.
    Replace,
}

/// Repair against replacement.
#[derive(Clone, Debug, PartialEq)]
pub struct Weighed {
    /// Mean years left to the old machine, as it is used here.
    pub years_left: f64,
    /// Years that half of such machines still last.
    pub median_years_left: f64,
    /// Mean years of a new one, as it is used here.
    pub new_years: f64,
    /// The repair and what else was found, expected and discounted.
    pub repair_and_pending: f64,
    /// Cost of a year with the repaired machine: repair spread over the years left, energy and water.
    pub repaired_a_year: f64,
    /// Cost of a year with a new one: price, delivery and disposal spread over its life, energy and water.
    pub new_a_year: f64,
    /// Energy and water of the old machine, a year.
    pub old_running_a_year: f64,
    /// Energy and water of the new one, a year.
    pub new_running_a_year: f64,
    /// The repair at which both come to the same; 0 at least.
    pub break_even: f64,
    /// Probability that something else ends the machine, or needs another visit, within the warranty.
    pub another_fault: f64,
    /// Which way the figures lean.
    pub tilt: Tilt,
    /// All of it in plain sentences.
    pub says: String,
}

/// Within this share of each other two costs a year are the same to anyone: lifetimes are known no better. Common practice, no
/// source.
const EVEN_WITHIN: f64 = 0.10;

/// Discount rate a year where none is given: an assumption, no source.
const DISCOUNT: f64 = 0.03;

/// Warranty on the repair where none is given, years: an assumption, no source.
const WARRANTY_YEARS: f64 = 1.0;

/// Said of a figure that nobody has measured or published for this.
const ASSUMED: &str = "an assumption, no source";

impl Assumptions {
    /// What is usual for a kind of appliance, where nobody said better: published lifetime, usual use, no difference in energy
    /// and water, 3 % discount, a year of warranty, nothing else found.
    pub fn usual(
        lifetime: &Lifetime,
        currency: Currency,
        repair: Decimal,
        age_years: f64,
        new_price: Decimal,
    ) -> Assumptions {
        Assumptions {
            currency,
            repair,
            repair_range: None,
            age_years,
            mean_years: lifetime.mean_years,
            mean_source: lifetime.mean_source.clone(),
            new_mean_years: lifetime.mean_years,
            shape: lifetime.shape,
            shape_source: lifetime.shape_source.clone(),
            uses_a_year: lifetime.uses_a_year,
            usual_uses_a_year: lifetime.uses_a_year,
            uses_source: lifetime.uses_source.clone(),
            new_price,
            delivery: Decimal::ZERO,
            disposal: Decimal::ZERO,
            old_running: Running { energy_kwh: 0.0, water_l: 0.0 },
            new_running: Running { energy_kwh: 0.0, water_l: 0.0 },
            energy_price: Decimal::ZERO,
            water_price: Decimal::ZERO,
            discount: DISCOUNT,
            discount_source: ASSUMED.to_owned(),
            warranty_years: WARRANTY_YEARS,
            warranty_source: ASSUMED.to_owned(),
            pending: Vec::new(),
        }
    }

    fn check(&self) -> Result<(), AssumptionsError> {
        let checks = [
            ("the age", self.age_years, 0.0, 60.0, "years"),
            ("the uses a year", self.uses_a_year, 1.0, 5000.0, "uses"),
            ("the usual uses a year", self.usual_uses_a_year, 1.0, 5000.0, "uses"),
            ("the discount rate", self.discount, 0.0, 0.5, "a year"),
            ("the warranty", self.warranty_years, 0.0, 20.0, "years"),
            ("the energy of a use", self.old_running.energy_kwh, 0.0, 50.0, "kWh"),
            ("the energy of a use of a new one", self.new_running.energy_kwh, 0.0, 50.0, "kWh"),
            ("the water of a use", self.old_running.water_l, 0.0, 1000.0, "l"),
            ("the water of a use of a new one", self.new_running.water_l, 0.0, 1000.0, "l"),
        ];
        let pending =
            self.pending.iter().map(|p| ("the time until the rest is due", p.in_years, 0.0, 60.0, "years"));
        for (what, value, least, most, unit) in checks.into_iter().chain(pending) {
            if !(least..=most).contains(&value) {
                return Err(AssumptionsError {
                    message: format!("{what} is out of reach: {value} {unit}"),
                    remedy: format!("give {least} to {most} {unit}"),
                });
            }
        }
        let amounts =
            [self.repair, self.new_price, self.delivery, self.disposal, self.energy_price, self.water_price];
        let pending = self.pending.iter().map(|p| p.cost);
        if amounts.into_iter().chain(pending).any(|a| a.is_sign_negative() && !a.is_zero()) {
            return Err(AssumptionsError {
                message: "an amount is below 0".to_owned(),
                remedy: "give amounts of 0 or more".to_owned(),
            });
        }
        Ok(())
    }

    fn lives(&self) -> Result<(Weibull, Weibull), WeibullError> {
        let use_times = self.uses_a_year / self.usual_uses_a_year;
        let life = |mean: f64| Weibull::of_mean(self.shape, mean).and_then(|w| w.used(use_times));
        Ok((life(self.mean_years)?, life(self.new_mean_years)?))
    }

    fn running_a_year(&self, running: Running) -> f64 {
        self.uses_a_year
            * (running.energy_kwh * amount(self.energy_price)
                + running.water_l / 1000.0 * amount(self.water_price))
    }
}

/// An amount as an estimate.
fn amount(a: Decimal) -> f64 {
    a.to_f64().unwrap_or(f64::NAN)
}

/// Holds the repair against a new machine.
///
/// Each is turned into its cost a year over the years it is expected to last ([`MachineChoice`]): the repair that is cheaper
/// so is also cheaper over an endless row of machines, discounted. What else was found counts by the probability that the
/// machine lasts until then. Use beyond the usual makes the years pass faster in proportion.
///
/// # Errors
/// Where something assumed is out of reach.
pub fn weigh(a: &Assumptions) -> Result<Weighed, AssumptionsError> {
    a.check()?;
    let (old_life, new_life) = a.lives().map_err(|e| AssumptionsError {
        message: e.to_string(),
        remedy: "check the mean lives, the shape, and the uses a year".to_owned(),
    })?;
    let choice = MachineChoice {
        price_new: amount(a.new_price + a.delivery + a.disposal),
        run_new: a.running_a_year(a.new_running),
        run_old: a.running_a_year(a.old_running),
        discount: a.discount,
        new_life,
        old_life,
        age: a.age_years,
    };
    let due = |p: &Pending| {
        amount(p.cost) * (-a.discount * p.in_years).exp() * old_life.survives(a.age_years, p.in_years)
    };
    let pending: f64 = a.pending.iter().map(due).sum();
    let repair_and_pending = amount(a.repair) + pending;
    let (repaired_a_year, new_a_year) = (choice.repaired_a_year(repair_and_pending), choice.new_a_year());
    let tilt = if (repaired_a_year - new_a_year).abs() <= EVEN_WITHIN * repaired_a_year.max(new_a_year) {
        Tilt::Even
    } else if repaired_a_year < new_a_year {
        Tilt::Repair
    } else {
        Tilt::Replace
    };
    let within_warranty = a.pending.iter().any(|p| p.in_years <= a.warranty_years);
    let mut weighed = Weighed {
        years_left: old_life.mean_residual(a.age_years),
        median_years_left: old_life.median_residual(a.age_years),
        new_years: new_life.mean(),
        repair_and_pending,
        repaired_a_year,
        new_a_year,
        old_running_a_year: choice.run_old,
        new_running_a_year: choice.run_new,
        break_even: (choice.break_even() - pending).max(0.0),
        another_fault: if within_warranty {
            1.0
        } else {
            1.0 - old_life.survives(a.age_years, a.warranty_years)
        },
        tilt,
        says: String::new(),
    };
    weighed.says = sentences(a, &weighed);
    Ok(weighed)
}

fn sentences(a: &Assumptions, w: &Weighed) -> String {
    let code = a.currency.code();
    let rounded = |x: f64| format!("{x:.0} {code}");
    let years = |y: f64| if y < 9.95 { format!("{y:.1} years") } else { format!("{y:.0} years") };
    let with = if a.pending.is_empty() { "" } else { " and what else is due" };
    let running =
        if w.old_running_a_year + w.new_running_a_year > 0.0 { " with energy and water" } else { "" };
    let mut out = format!(
        "At {} the repair{with} comes to about {} a year{running} over the {} such a machine has left on average; a new one comes to about {} \
         a year over {}.",
        a.currency.format(a.repair),
        rounded(w.repaired_a_year),
        years(w.years_left),
        rounded(w.new_a_year),
        years(w.new_years),
    );
    out.push_str(&match w.tilt {
        Tilt::Even => " That is about the same.".to_owned(),
        Tilt::Repair => {
            format!(" The repair is the cheaper way up to a price of about {}.", rounded(w.break_even))
        }
        Tilt::Replace if w.break_even < 0.5 => " The new one is the cheaper way.".to_owned(),
        Tilt::Replace => {
            format!(
                " The new one is the cheaper way; the repair would be below a price of about {}.",
                rounded(w.break_even)
            )
        }
    });
    if let Some((low, high)) = a.repair_range.filter(|(low, high)| low != high) {
        let crosses = amount(low) < w.break_even && w.break_even < amount(high);
        let tail = if crosses {
            ", so it depends on which suspect it is"
        } else {
            ", which changes nothing in that"
        };
        out.push_str(&format!(
            " The price may still come out from {} to {}{tail}.",
            a.currency.number(low),
            a.currency.format(high)
        ));
    }
    if a.warranty_years > 0.0 {
        out.push_str(&format!(
            " Within {} of warranty another fault ends it or brings me back with a chance of about {:.0} %.",
            if (a.warranty_years - 1.0).abs() < 1e-9 { "a year".to_owned() } else { years(a.warranty_years) },
            100.0 * w.another_fault
        ));
    }
    out.push_str(" These are averages over many machines; you decide.");
    out
}
