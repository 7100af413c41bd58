//! The circumstances that the command line states.

use super::Arguments;
use crate::end::Failure;
use bench::{Conditions, Meter};
use machine::model::Machine;
use quantity::{Dimension, NotationError, parse, parse_toleranced};

/// Highest supply that is believed, V: line to line of a three-phase supply and a tenth.
const HIGHEST_V: f64 = 440.0;
/// Most water that is believed, l.
const MOST_L: f64 = 200.0;

/// Supply, water and meter.
pub(super) fn conditions(machine: &Machine, asked: &Arguments) -> Result<Conditions, Failure> {
    let mut conditions = match &asked.supply {
        None => Conditions::unmeasured(machine.plate.supply_v),
        Some(text) => supply(text)?,
    };
    if let Some(text) = &asked.water {
        let litres = parse(text, Dimension::Volume).map_err(|e| unread("--water", "5l", &e))?;
        // The base unit of volume is the litre, as everywhere in a machine.
        conditions.water_l = within("--water", litres, 0.0, MOST_L, "l")?;
    }
    if let Some(text) = &asked.meter {
        conditions.meter = meter(text)?;
    }
    Ok(conditions)
}

fn supply(text: &str) -> Result<Conditions, Failure> {
    let volts = parse_toleranced(text, Dimension::Voltage).map_err(|e| unread("--supply", "239V", &e))?;
    within("--supply", volts.nominal, 1.0, HIGHEST_V, "V")?;
    let at = Conditions::at(volts.nominal);
    let stated = volts.standard_uncertainty();
    Ok(if stated > 0.0 { Conditions { supply_u_v: stated, ..at } } else { at })
}

/// "1% 1W", "1 % 1 W", "2%", "0.5 W": a share of the reading and watts, either may be left out.
fn meter(text: &str) -> Result<Meter, Failure> {
    let mut meter = Meter { relative: 0.0, absolute_w: 0.0 };
    let (share, watts) = match text.split_once('%') {
        Some((share, watts)) => (Some(format!("{}%", share.trim())), watts.trim()),
        None => (None, text.trim()),
    };
    let watts = watts.trim_start_matches(['+', '±', ',']).trim();
    if let Some(share) = share {
        let relative = parse(&share, Dimension::Ratio).map_err(|e| unread("--meter", "1% 1W", &e))?;
        meter.relative = within("--meter", relative, 0.0, 0.5, "of the reading")?;
    }
    if !watts.is_empty() {
        let absolute = parse(watts, Dimension::Power).map_err(|e| unread("--meter", "1% 1W", &e))?;
        meter.absolute_w = within("--meter", absolute, 0.0, 1000.0, "W")?;
    }
    Ok(meter)
}

fn within(option: &str, value: f64, least: f64, most: f64, unit: &str) -> Result<f64, Failure> {
    if (least..=most).contains(&value) {
        return Ok(value);
    }
    Err(Failure::asked_wrongly(
        &format!("{option}: {value} {unit} is out of reach"),
        &format!("give {least} to {most} {unit}"),
    ))
}

fn unread(option: &str, example: &str, error: &NotationError) -> Failure {
    Failure::asked_wrongly(
        &format!("{option}: {error}"),
        &format!("write for instance {option} \"{example}\""),
    )
}

#[cfg(test)]
mod tests {
    use super::meter;

    #[test]
    fn a_meter_is_read_with_and_without_blanks() {
        for text in ["1% 1W", "1 % 1 W", "1%1W", "1% + 1W"] {
            let read = meter(text).unwrap();
            assert!((read.relative - 0.01).abs() < 1e-12 && (read.absolute_w - 1.0).abs() < 1e-12, "{text}");
        }
    }

    #[test]
    fn nonsense_is_refused() {
        for text in ["good", "1% 1V", "90% 1W", "-1% 1W", "1% 1e9 W"] {
            assert!(meter(text).is_err(), "{text}");
        }
    }
}
