//! The circumstances that the command line states.

use super::Arguments;
use crate::end::Failure;
use crate::limits::{meter, unread, within};
use bench::Conditions;
use machine::model::Machine;
use quantity::{Dimension, parse, parse_toleranced};

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
