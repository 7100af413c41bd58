//! What the command line says about a recording.

use crate::end::Failure;
use quantity::{Dimension, parse, parse_toleranced};
use trace::analysis::Supply;
use trace::read::{Options, Role};
use trace::waveform::Scales;

/// Highest supply that is believed, V.
const HIGHEST_V: f64 = 440.0;

/// How a recording is written, where its first lines do not say.
#[derive(clap::Args)]
pub(crate) struct Written {
    /// What columns hold, by header or number: time=1,power=3 (also date, voltage, current, pf, va, energy)
    #[arg(long, value_name = "WHAT=COLUMN,…")]
    columns: Option<String>,
    /// 03/04/2024 is the 3rd of April
    #[arg(long, conflicts_with = "month_first")]
    day_first: bool,
    /// 03/04/2024 is the 4th of March
    #[arg(long)]
    month_first: bool,
}

impl Written {
    /// For the reader.
    pub(crate) fn options(&self) -> Result<Options, Failure> {
        let day_first = match (self.day_first, self.month_first) {
            (true, _) => Some(true),
            (_, true) => Some(false),
            _ => None,
        };
        let columns = self.columns.as_deref().map_or(Ok(Vec::new()), columns)?;
        Ok(Options { day_first, columns })
    }
}

fn columns(text: &str) -> Result<Vec<(String, Role)>, Failure> {
    text.split(',').map(column).collect()
}

fn column(text: &str) -> Result<(String, Role), Failure> {
    let (what, name) = text.split_once('=').unwrap_or((text, ""));
    let role = match what.trim().to_lowercase().as_str() {
        "time" => Role::Time,
        "date" => Role::Date,
        "power" => Role::Power,
        "voltage" => Role::Voltage,
        "current" => Role::Current,
        "pf" => Role::PowerFactor,
        "va" => Role::ApparentPower,
        "energy" => Role::Energy,
        _ => return Err(not_understood(text)),
    };
    if name.trim().is_empty() {
        return Err(not_understood(text));
    }
    Ok((name.trim().to_owned(), role))
}

fn not_understood(text: &str) -> Failure {
    Failure::asked_wrongly(
        &format!("--columns: `{text}` is not understood"),
        "write for instance --columns time=1,power=3 (time, date, power, voltage, current, pf, va, energy)",
    )
}

/// The stated supply; 1 % where no tolerance is given, a plug-in meter's.
pub(super) fn supply(text: &str) -> Result<Supply, Failure> {
    let remedy = "write for instance --supply \"238V\", 1 to 440 V";
    let volts = parse_toleranced(text, Dimension::Voltage)
        .map_err(|e| Failure::asked_wrongly(&format!("--supply: {e}"), remedy))?;
    if !(1.0..=HIGHEST_V).contains(&volts.nominal) {
        return Err(Failure::asked_wrongly(&format!("--supply: {text} is out of reach"), remedy));
    }
    let stated = volts.standard_uncertainty();
    let u_v = if stated > 0.0 { stated } else { 0.01 * volts.nominal / 3.0_f64.sqrt() };
    Ok(Supply { volts: volts.nominal, u_v })
}

const FULL_SCALE: &str =
    "write for instance --full-scale 325V,20A: what the loudest sample of each channel stands for";

/// A WAV file came without its scales.
pub(super) fn no_scale() -> Failure {
    Failure::asked_wrongly("a WAV file does not say how many volts and amperes it holds", FULL_SCALE)
}

/// What full scale of a waveform's channels stands for.
pub(super) fn full_scale(text: &str) -> Result<Scales, Failure> {
    let unread = |why: &str| Failure::asked_wrongly(&format!("--full-scale: {why}"), FULL_SCALE);
    let (volts, amperes) = text.split_once(',').ok_or_else(|| unread("volts and amperes are wanted"))?;
    let scales = Scales {
        volts: parse(volts, Dimension::Voltage).map_err(|e| unread(&e.to_string()))?,
        amperes: parse(amperes, Dimension::Current).map_err(|e| unread(&e.to_string()))?,
        ..Scales::default()
    };
    // A clamp the wrong way round is a negative scale; none at all is a slip.
    let sound = |scale: f64| scale.is_finite() && scale != 0.0;
    if sound(scales.volts) && sound(scales.amperes) { Ok(scales) } else { Err(unread("0 is no scale")) }
}

#[cfg(test)]
mod tests {
    use super::{column, supply};
    use trace::read::Role;

    #[test]
    fn columns_go_by_header_or_number() {
        assert!(matches!(column("power=3"), Ok((name, Role::Power)) if name == "3"));
        assert!(matches!(column("voltage= U L1"), Ok((name, Role::Voltage)) if name == "U L1"));
        assert!(column("power").is_err());
        assert!(column("colour=2").is_err());
    }

    #[test]
    fn a_supply_out_of_reach_is_refused() {
        assert!(supply("2380V").is_err());
        assert!(supply("238V").is_ok_and(|s| s.u_v > 1.0 && s.u_v < 2.0));
    }
}
