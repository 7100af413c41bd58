//! What the comparison rests on, set one by one as people type it.

use crate::money::{Currency, MoneyError, parse_percent};
use crate::weigh::{Assumptions, Pending};
use rust_decimal::Decimal;
use rust_decimal::prelude::ToPrimitive;

/// Longest text that is read, bytes.
const LONGEST: usize = 300;

/// Where a value comes from that somebody typed.
const GIVEN: &str = "given by hand";

/// An assumption that may be edited.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Editable {
    /// Its name: `age`.
    pub name: &'static str,
    /// What it is, for a person.
    pub says: &'static str,
    /// Its unit; empty for an amount of money, or a text.
    pub unit: &'static str,
}

const fn editable(name: &'static str, says: &'static str, unit: &'static str) -> Editable {
    Editable { name, says, unit }
}

/// All that may be edited, what nobody else can know first.
pub const EDITABLE: [Editable; 16] = [
    editable("age", "Age of the machine", "years"),
    editable("new-price", "Price of a comparable new one", ""),
    editable("delivery", "Delivery and fitting of it", ""),
    editable("disposal", "Taking the old one away", ""),
    editable("uses", "Uses a year", "uses"),
    editable("life", "Mean life of such a machine", "years"),
    editable("new-life", "Mean life of a new one", "years"),
    editable("shape", "Shape of the distribution of lives", ""),
    editable("energy-old", "Energy of a use", "kWh"),
    editable("energy-new", "Energy of a use of a new one", "kWh"),
    editable("energy-price", "Price of a kWh", ""),
    editable("water-old", "Water of a use", "l"),
    editable("water-new", "Water of a use of a new one", "l"),
    editable("water-price", "Price of a cubic metre of water", ""),
    editable("discount", "Discount a year", "%"),
    editable("warranty", "Your warranty on the repair", "years"),
];

impl Assumptions {
    /// Sets one by its name from a text; `also` adds something else that was found: `bearing worn: 160 in 2`.
    ///
    /// # Errors
    /// Where there is none of this name, or its value cannot be read. Whether it is believable, [`crate::weigh()`] says.
    pub fn set(&mut self, name: &str, text: &str) -> Result<(), MoneyError> {
        if text.len() > LONGEST {
            return Err(MoneyError {
                message: "this is far longer than any value".to_owned(),
                remedy: "give one number".to_owned(),
            });
        }
        match name {
            "age" => self.age_years = number(text)?,
            "new-price" => self.new_price = self.currency.amount(text)?,
            "delivery" => self.delivery = self.currency.amount(text)?,
            "disposal" => self.disposal = self.currency.amount(text)?,
            "uses" => self.uses_a_year = number(text)?,
            "life" => {
                (self.mean_years, self.mean_source) = (number(text)?, GIVEN.to_owned());
            }
            "new-life" => self.new_mean_years = number(text)?,
            "shape" => (self.shape, self.shape_source) = (number(text)?, GIVEN.to_owned()),
            "energy-old" => self.old_running.energy_kwh = number(text)?,
            "energy-new" => self.new_running.energy_kwh = number(text)?,
            "energy-price" => self.energy_price = self.currency.amount(text)?,
            "water-old" => self.old_running.water_l = number(text)?,
            "water-new" => self.new_running.water_l = number(text)?,
            "water-price" => self.water_price = self.currency.amount(text)?,
            "discount" => {
                (self.discount, self.discount_source) = (share(parse_percent(text)?), GIVEN.to_owned());
            }
            "warranty" => (self.warranty_years, self.warranty_source) = (number(text)?, GIVEN.to_owned()),
            "also" => self.pending.push(pending(text, self.currency)?),
            other => {
                let other: String = other.chars().take(30).collect();
                let names: Vec<&str> = EDITABLE.iter().map(|e| e.name).collect();
                return Err(MoneyError {
                    message: format!("nothing rests on `{other}`"),
                    remedy: format!("there are: {}, also", names.join(", ")),
                });
            }
        }
        Ok(())
    }

    /// The value of one by its name, as it would be typed; none for `also`, and where there is none of this name.
    pub fn get(&self, name: &str) -> Option<String> {
        let money = |amount: Decimal| amount.normalize().to_string();
        Some(match name {
            "age" => self.age_years.to_string(),
            "new-price" => money(self.new_price),
            "delivery" => money(self.delivery),
            "disposal" => money(self.disposal),
            "uses" => self.uses_a_year.to_string(),
            "life" => self.mean_years.to_string(),
            "new-life" => self.new_mean_years.to_string(),
            "shape" => self.shape.to_string(),
            "energy-old" => self.old_running.energy_kwh.to_string(),
            "energy-new" => self.new_running.energy_kwh.to_string(),
            "energy-price" => money(self.energy_price),
            "water-old" => self.old_running.water_l.to_string(),
            "water-new" => self.new_running.water_l.to_string(),
            "water-price" => money(self.water_price),
            "discount" => ((1e6 * self.discount).round() / 1e4).to_string(),
            "warranty" => self.warranty_years.to_string(),
            _ => return None,
        })
    }
}

fn share(share: Decimal) -> f64 {
    share.to_f64().unwrap_or(f64::NAN)
}

/// A plain number, not negative, decimals with a point or comma.
fn number(text: &str) -> Result<f64, MoneyError> {
    let plain = text.trim().replace(',', ".");
    let digits = plain.chars().all(|c| c.is_ascii_digit() || c == '.');
    plain.parse().ok().filter(|_| digits).ok_or_else(|| {
        let shown: String = text.chars().take(30).collect();
        MoneyError {
            message: format!("`{shown}` is no number"),
            remedy: "write for instance 9 or 0.85, without a unit".to_owned(),
        }
    })
}

/// Something else that was found: `bearing worn: 160 in 2` (money, years).
///
/// # Errors
/// Where it is not written so.
pub fn pending(text: &str, currency: Currency) -> Result<Pending, MoneyError> {
    let wrong = || {
        let shown: String = text.chars().take(60).collect();
        MoneyError {
            message: format!("`{shown}` is not read"),
            remedy: "write what, money, and in how many years: \"bearing worn: 160 in 2\"".to_owned(),
        }
    };
    let (what, rest) = text.rsplit_once(':').ok_or_else(wrong)?;
    let (cost, years) = rest.rsplit_once(" in ").ok_or_else(wrong)?;
    let years = years.trim().trim_end_matches("years").trim_end_matches("year");
    Ok(Pending {
        what: what.trim().chars().take(200).collect(),
        cost: currency.amount(cost)?,
        in_years: number(years).map_err(|_| wrong())?,
    })
}

#[cfg(test)]
mod tests {
    use super::{EDITABLE, pending};
    use crate::lifetimes::lifetime;
    use crate::money::Currency;
    use crate::weigh::Assumptions;
    use rust_decimal::Decimal;

    fn usual() -> Assumptions {
        let eur = Currency::from_code("EUR").unwrap();
        Assumptions::usual(lifetime("washer"), eur, Decimal::from(62), 9.0, Decimal::from(550))
    }

    #[test]
    fn each_is_set_and_comes_back_as_it_would_be_typed() {
        for editable in EDITABLE {
            let mut a = usual();
            a.set(editable.name, "2,5").unwrap();
            assert_eq!(a.get(editable.name).as_deref(), Some("2.5"), "{}", editable.name);
            assert_ne!(a, usual(), "{}", editable.name);
            assert!(a.set(editable.name, "much").is_err(), "{}", editable.name);
            assert!(a.set(editable.name, "-1").is_err(), "{}", editable.name);
        }
        assert!(usual().set("colour", "2").is_err());
        let mut a = usual();
        a.set("also", "bearing worn: 160 in 2 years").unwrap();
        assert_eq!((a.pending[0].what.as_str(), a.pending[0].in_years), ("bearing worn", 2.0));
        assert!(
            pending("bearing worn, 160", a.currency).is_err() && pending("x: 5 in NaN", a.currency).is_err()
        );
    }
}
