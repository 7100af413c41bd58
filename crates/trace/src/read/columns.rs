//! What a column holds, from how its header is spelt.

/// What a column of a recording is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Role {
    /// When: a number that counts, a clock, or a date with one.
    Time,
    /// The date, where the clock stands in a column of its own.
    Date,
    /// Real power; base unit W.
    Power,
    /// RMS voltage; V.
    Voltage,
    /// RMS current; A.
    Current,
    /// Power factor, 1.
    PowerFactor,
    /// Apparent power; VA.
    ApparentPower,
    /// Energy counter; Wh.
    Energy,
    /// Something else, left unread.
    Other,
}

/// One column as it is understood.
#[derive(Debug, Clone, PartialEq)]
pub struct Column {
    /// Its header as written; empty where there is none.
    pub name: String,
    /// Its place, counted from 0.
    pub index: usize,
    /// What it holds.
    pub role: Role,
    /// What a number in it is multiplied with to be in the role's base unit (time: s).
    pub scale: f64,
}

/// Units as headers and cells spell them, lower case, with role and scale.
const UNITS: &[(&str, Role, f64)] = &[
    ("w", Role::Power, 1.0),
    ("watt", Role::Power, 1.0),
    ("watts", Role::Power, 1.0),
    ("kw", Role::Power, 1e3),
    ("mw", Role::Power, 1e-3),
    ("v", Role::Voltage, 1.0),
    ("vac", Role::Voltage, 1.0),
    ("vrms", Role::Voltage, 1.0),
    ("volt", Role::Voltage, 1.0),
    ("volts", Role::Voltage, 1.0),
    ("mv", Role::Voltage, 1e-3),
    ("kv", Role::Voltage, 1e3),
    ("a", Role::Current, 1.0),
    ("aac", Role::Current, 1.0),
    ("arms", Role::Current, 1.0),
    ("amp", Role::Current, 1.0),
    ("amps", Role::Current, 1.0),
    ("ampere", Role::Current, 1.0),
    ("amperes", Role::Current, 1.0),
    ("ma", Role::Current, 1e-3),
    ("va", Role::ApparentPower, 1.0),
    ("kva", Role::ApparentPower, 1e3),
    ("wh", Role::Energy, 1.0),
    ("kwh", Role::Energy, 1e3),
    ("mwh", Role::Energy, 1e-3),
    ("var", Role::Other, 1.0),
    ("kvar", Role::Other, 1.0),
    ("varh", Role::Other, 1.0),
    ("vah", Role::Other, 1.0),
    ("hz", Role::Other, 1.0),
    ("°c", Role::Other, 1.0),
    ("°f", Role::Other, 1.0),
    ("degc", Role::Other, 1.0),
    ("rpm", Role::Other, 1.0),
    ("1/min", Role::Other, 1.0),
    ("%", Role::Other, 1.0),
    ("s", Role::Time, 1.0),
    ("sec", Role::Time, 1.0),
    ("secs", Role::Time, 1.0),
    ("second", Role::Time, 1.0),
    ("seconds", Role::Time, 1.0),
    ("ms", Role::Time, 1e-3),
    ("msec", Role::Time, 1e-3),
    ("millis", Role::Time, 1e-3),
    ("milliseconds", Role::Time, 1e-3),
    ("us", Role::Time, 1e-6),
    ("µs", Role::Time, 1e-6),
    ("μs", Role::Time, 1e-6),
    ("ns", Role::Time, 1e-9),
    ("min", Role::Time, 60.0),
    ("minutes", Role::Time, 60.0),
    ("h", Role::Time, 3600.0),
    ("hours", Role::Time, 3600.0),
];

/// Words in a header that say what it is, most telling first: "power factor" before "power".
const WORDS: &[(&str, Role)] = &[
    ("power factor", Role::PowerFactor),
    ("powerfactor", Role::PowerFactor),
    ("leistungsfaktor", Role::PowerFactor),
    ("facteur de puissance", Role::PowerFactor),
    ("factor de potencia", Role::PowerFactor),
    ("cos phi", Role::PowerFactor),
    ("cosphi", Role::PowerFactor),
    ("cos φ", Role::PowerFactor),
    ("cosφ", Role::PowerFactor),
    ("temperatur", Role::Other),
    ("frequen", Role::Other),
    ("humid", Role::Other),
    ("reactive", Role::Other),
    ("reaktiv", Role::Other),
    ("blindleistung", Role::Other),
    ("speed", Role::Other),
    ("cost", Role::Other),
    ("price", Role::Other),
    ("apparent", Role::ApparentPower),
    ("scheinleistung", Role::ApparentPower),
    ("energ", Role::Energy),
    ("énergie", Role::Energy),
    ("consumption", Role::Energy),
    ("verbrauch", Role::Energy),
    ("zähler", Role::Energy),
    ("power", Role::Power),
    ("leistung", Role::Power),
    ("puissance", Role::Power),
    ("potencia", Role::Power),
    ("potenza", Role::Power),
    ("vermogen", Role::Power),
    ("effekt", Role::Power),
    ("voltage", Role::Voltage),
    ("spannung", Role::Voltage),
    ("spanning", Role::Voltage),
    ("tension", Role::Voltage),
    ("tensión", Role::Voltage),
    ("tensione", Role::Voltage),
    ("voltaje", Role::Voltage),
    ("current", Role::Current),
    ("strom", Role::Current),
    ("stroom", Role::Current),
    ("courant", Role::Current),
    ("corriente", Role::Current),
    ("corrente", Role::Current),
    ("date time", Role::Time),
    ("datetime", Role::Time),
    ("datum zeit", Role::Time),
    ("timestamp", Role::Time),
    ("zeitstempel", Role::Time),
    ("uhrzeit", Role::Time),
    ("time", Role::Time),
    ("zeit", Role::Time),
    ("heure", Role::Time),
    ("temps", Role::Time),
    ("hora", Role::Time),
    ("tijd", Role::Time),
    ("epoch", Role::Time),
    ("unix", Role::Time),
    ("elapsed", Role::Time),
    ("date", Role::Date),
    ("datum", Role::Date),
    ("fecha", Role::Date),
];

/// Whole headers too short to look for inside others.
const SHORT: &[(&str, Role)] = &[
    ("p", Role::Power),
    ("pac", Role::Power),
    ("u", Role::Voltage),
    ("v", Role::Voltage),
    ("urms", Role::Voltage),
    ("vrms", Role::Voltage),
    ("i", Role::Current),
    ("irms", Role::Current),
    ("pf", Role::PowerFactor),
    ("cos", Role::PowerFactor),
    ("λ", Role::PowerFactor),
    ("q", Role::Other),
    ("e", Role::Energy),
    ("t", Role::Time),
    ("ts", Role::Time),
];

/// The role and scale of a unit.
pub(super) fn unit(text: &str) -> Option<(Role, f64)> {
    let text = text.trim();
    // Milli and mega differ by case alone: "MW" of an appliance is a slip of the pen, "mW" a standby meter.
    if text == "MW" || text == "MWh" {
        return Some((if text == "MW" { Role::Power } else { Role::Energy }, 1e6));
    }
    let lower = text.to_lowercase();
    UNITS.iter().find(|(name, ..)| *name == lower).map(|&(_, role, scale)| (role, scale))
}

/// Reads a header: what the column holds and its scale.
pub(super) fn role_of(header: &str) -> (Role, f64) {
    told(header).unwrap_or((Role::Other, 1.0))
}

/// What a header tells; None where it holds no word and no unit that is known.
pub(super) fn told(header: &str) -> Option<(Role, f64)> {
    let (name, unit_text) = split_unit(header);
    let found = unit_text.as_deref().and_then(unit);
    let lower = name.to_lowercase().replace(['_', '-', '/', '.', ':'], " ");
    let lower = lower.trim();
    let short = SHORT.iter().find(|(word, _)| *word == lower).map(|&(_, role)| role);
    let named = short.or_else(|| WORDS.iter().find(|(word, _)| lower.contains(word)).map(|&(_, role)| role));
    Some(match (named, found) {
        (Some(Role::PowerFactor), Some((Role::Other, _))) => (Role::PowerFactor, 0.01),
        // The unit is the surer of the two: "Consumption (W)" is power. Only "time" outweighs, as in "min".
        (Some(Role::Other), Some(_)) => (Role::Other, 1.0),
        (Some(Role::Time | Role::Date), Some((role, _))) if role != Role::Time => (Role::Time, 1.0),
        (Some(role), Some((Role::Time, _))) if !matches!(role, Role::Time) => (role, 1.0),
        (_, Some((role, scale))) => (role, scale),
        (Some(role), None) => (role, 1.0),
        (None, None) => return unit(lower),
    })
}

/// `Power (kW)`, `power_kW`, `P [kW]`, `Leistung in kW`, `P/kW`, `Power kW` → the name and the unit.
fn split_unit(header: &str) -> (String, Option<String>) {
    let header = header.trim();
    for (open, close) in [('(', ')'), ('[', ']'), ('{', '}')] {
        if let Some((before, rest)) = header.split_once(open)
            && let Some((inside, after)) = rest.split_once(close)
            && unit(inside).is_some()
        {
            return (format!("{before} {after}"), Some(inside.to_owned()));
        }
    }
    let split =
        header.char_indices().rev().find(|(_, c)| matches!(c, ' ' | '_' | '/' | ',' | '.' | '-' | ':'));
    if let Some((at, mark)) = split {
        let (before, after) = (&header[..at], &header[at + mark.len_utf8()..]);
        if unit(after).is_some() {
            let before = before.trim().trim_end_matches(" in").trim_end_matches([',', '_', '/']);
            return (before.to_owned(), Some(after.to_owned()));
        }
    }
    (header.to_owned(), None)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn headers() {
        for (header, role, scale) in [
            ("power_w", Role::Power, 1.0),
            ("Power (kW)", Role::Power, 1e3),
            ("P[W]", Role::Power, 1.0),
            ("Wirkleistung in W", Role::Power, 1.0),
            ("Puissance active, W", Role::Power, 1.0),
            ("Watts", Role::Power, 1.0),
            ("Consumption (W)", Role::Power, 1.0),
            ("Consumption", Role::Energy, 1.0),
            ("Active Energy [kWh]", Role::Energy, 1e3),
            ("Energy/Wh", Role::Energy, 1.0),
            ("Voltage", Role::Voltage, 1.0),
            ("U/V", Role::Voltage, 1.0),
            ("Spannung (V)", Role::Voltage, 1.0),
            ("current_mA", Role::Current, 1e-3),
            ("I", Role::Current, 1.0),
            ("Amps", Role::Current, 1.0),
            ("Power Factor", Role::PowerFactor, 1.0),
            ("PF", Role::PowerFactor, 1.0),
            ("PF (%)", Role::PowerFactor, 0.01),
            ("cos φ", Role::PowerFactor, 1.0),
            ("Apparent power (VA)", Role::ApparentPower, 1.0),
            ("Reactive power (VAR)", Role::Other, 1.0),
            ("Temperature (°C)", Role::Other, 1.0),
            ("Drum speed (rpm)", Role::Other, 1.0),
            ("time_s", Role::Time, 1.0),
            ("Time (ms)", Role::Time, 1e-3),
            ("timestamp_ms", Role::Time, 1e-3),
            ("Elapsed min", Role::Time, 60.0),
            ("Date/Time", Role::Time, 1.0),
            ("Datum", Role::Date, 1.0),
            ("Frequency [Hz]", Role::Other, 1.0),
        ] {
            assert_eq!(role_of(header), (role, scale), "{header}");
        }
    }
}
