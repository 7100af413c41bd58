//! Instruments and prices: what the technician has, and what things cost.

use crate::end::Failure;
use crate::limits;
use crate::money::amount;
use diagnosis::check::Instrument;
use diagnosis::setup::{Costs, Owned, Setup};
use machine::diagnostic::nearest;
use machine::model::Machine;
use quantity::{Dimension, parse};
use rust_decimal::prelude::ToPrimitive;

/// Names of the instruments, with limits of error that common ones state (relative, and in the base unit of what they
/// measure; common practice, no source).
const INSTRUMENTS: [(&str, Instrument, f64, f64); 5] = [
    ("power-meter", Instrument::PowerMeter, 0.01, 1.0),
    ("multimeter", Instrument::Multimeter, 0.01, 0.3),
    ("insulation-tester", Instrument::InsulationTester, 0.05, 10e3),
    ("tachometer", Instrument::Tachometer, 0.001, 1.0),
    ("thermometer", Instrument::Thermometer, 0.01, 1.0),
];

#[derive(clap::Args)]
pub(crate) struct Frame {
    /// Instruments at hand: power-meter, multimeter, insulation-tester, tachometer, thermometer; the first two where left out
    #[arg(long, value_name = "NAME,…", value_delimiter = ',')]
    instruments: Option<Vec<String>>,
    /// Limits of error of the power meter at the plug: "1% 1W"
    #[arg(long, value_name = "LIMITS")]
    meter: Option<String>,
    /// Limits of error of the multimeter's ohms: "1% 3 digits"
    #[arg(long, value_name = "LIMITS")]
    multimeter: Option<String>,
    /// What your work costs: "60/h"; needed with prices
    #[arg(long, value_name = "MONEY/h")]
    rate: Option<String>,
    /// Price of a part: element=38; may be given several times
    #[arg(long, value_name = "PART=MONEY", requires = "rate")]
    price: Vec<String>,
    /// Price of any other part; 40 minutes of work where left out
    #[arg(long, value_name = "MONEY", requires = "rate")]
    part_price: Option<String>,
    /// Live measurements may be asked for too: for competent persons only, under local rules
    #[arg(long)]
    live: bool,
    /// How probable a suspect must be to be sure: 97% where left out
    #[arg(long, value_name = "SHARE")]
    sure: Option<String>,
}

impl Frame {
    /// What work costs, as typed; without its "/h".
    pub(crate) fn rate_text(&self) -> Option<&str> {
        let rate = self.rate.as_deref()?.trim();
        Some(rate.strip_suffix("/h").or_else(|| rate.strip_suffix("per hour")).unwrap_or(rate))
    }

    /// Prices of parts, as typed: part and amount.
    pub(crate) fn price_texts(&self) -> impl Iterator<Item = (&str, &str)> {
        self.price.iter().filter_map(|p| p.split_once('=')).map(|(part, price)| (part.trim(), price))
    }

    /// Price of any other part, as typed.
    pub(crate) fn part_price_text(&self) -> Option<&str> {
        self.part_price.as_deref()
    }

    /// The frame of the diagnosis.
    pub(crate) fn setup(&self, machine: &Machine) -> Result<Setup, Failure> {
        let mut setup = Setup { live: self.live, costs: self.costs(machine)?, ..Setup::default() };
        if let Some(names) = &self.instruments {
            setup.instruments.retain(|o| o.instrument == Instrument::None);
            for name in names {
                setup.instruments.push(instrument(name)?);
            }
        }
        if let Some(text) = &self.meter {
            let meter = limits::meter(text)?;
            own(&mut setup, Instrument::PowerMeter, meter.relative, meter.absolute_w);
        }
        if let Some(text) = &self.multimeter {
            let (relative, absolute) = limits::multimeter(text)?;
            own(&mut setup, Instrument::Multimeter, relative, absolute);
        }
        if let Some(text) = &self.sure {
            let share = parse(text, Dimension::Ratio).map_err(|e| limits::unread("--sure", "97%", &e))?;
            setup.sure_from = limits::within("--sure", share, 0.5, 1.0, "(a share: 97% or 0.97)")?;
        }
        Ok(setup)
    }

    fn costs(&self, machine: &Machine) -> Result<Costs, Failure> {
        let mut costs = Costs::default();
        let Some(rate) = self.rate_text() else { return Ok(costs) };
        let per_minute = money("--rate", rate)? / 60.0;
        if per_minute <= 0.0 {
            return Err(Failure::asked_wrongly(
                "--rate: work that costs nothing",
                "give a rate above 0, such as 60/h",
            ));
        }
        if let Some(text) = &self.part_price {
            costs.part = money("--part-price", text)? / per_minute;
        }
        for text in &self.price {
            let (name, price) = text.split_once('=').ok_or_else(|| {
                Failure::asked_wrongly(
                    &format!("--price: `{text}` names no part and price"),
                    "write for instance --price element=38",
                )
            })?;
            let part = machine.part(name.trim()).ok_or_else(|| {
                Failure::asked_wrongly(
                    &format!("--price: this machine has no part `{}`", name.trim()),
                    &match nearest(name.trim(), machine.parts.iter().map(|p| p.id.as_str())) {
                        Some(near) => format!("did you mean {near}?"),
                        None => "`wattmend machine show FILE` lists the parts".to_owned(),
                    },
                )
            })?;
            costs.parts.insert(part, money("--price", price)? / per_minute);
        }
        Ok(costs)
    }
}

fn own(setup: &mut Setup, instrument: Instrument, relative: f64, absolute: f64) {
    setup.instruments.retain(|o| o.instrument != instrument);
    setup.instruments.push(Owned { instrument, relative, absolute });
}

fn instrument(name: &str) -> Result<Owned, Failure> {
    let wanted = name.trim().to_lowercase().replace([' ', '_'], "-");
    let found = INSTRUMENTS.iter().find(|i| i.0 == wanted);
    let owned = found.map(|&(_, instrument, relative, absolute)| Owned { instrument, relative, absolute });
    owned.ok_or_else(|| {
        let names = || INSTRUMENTS.iter().map(|i| i.0);
        let remedy = match nearest(&wanted, names()) {
            Some(near) => format!("did you mean {near}?"),
            None => format!("instruments: {}", names().collect::<Vec<_>>().join(", ")),
        };
        Failure::asked_wrongly(
            &format!("--instruments: `{}` is no instrument known here", name.trim()),
            &remedy,
        )
    })
}

/// An amount in whatever currency: only ratios count here.
fn money(option: &str, text: &str) -> Result<f64, Failure> {
    Ok(amount(option, text)?.to_f64().unwrap_or(f64::NAN))
}

#[cfg(test)]
mod tests {
    use super::{instrument, money};

    #[test]
    fn money_is_read_in_any_currency() {
        for (text, amount) in
            [("38", 38.0), ("38,50", 38.5), ("€ 38.5", 38.5), ("38 EUR", 38.0), ("0", 0.0), (".50", 0.5)]
        {
            assert_eq!(money("--price", text).unwrap(), amount, "{text}");
        }
        for text in ["", "much", "-3", "1e9", "1,000.50", "NaN", "1.250", "1.2k", "25%"] {
            assert!(money("--price", text).is_err(), "{text}");
        }
    }

    #[test]
    fn instruments_go_by_their_names() {
        assert!(instrument(" Insulation tester").is_ok());
        assert!(instrument("hammer").is_err());
    }
}
