//! How units are spelt, and what they are worth in the base unit.

use crate::Dimension;
use crate::Dimension as D;

/// `base = number * factor + offset`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Conversion {
    pub(crate) factor: f64,
    pub(crate) offset: f64,
}

/// A unit, its spellings in the normal form of [`normalise`], and the prefixes it takes.
struct Unit {
    dimension: Dimension,
    spellings: &'static [&'static str],
    factor: f64,
    prefixes: &'static str,
}

const fn unit(
    dimension: Dimension,
    spellings: &'static [&'static str],
    factor: f64,
    prefixes: &'static str,
) -> Unit {
    Unit { dimension, spellings, factor, prefixes }
}

/// Zero of the Celsius scale in kelvin (SI brochure, 2.3.1).
const ZERO_CELSIUS: f64 = 273.15;
/// Conventional millimetre of water, 1 kg/m² times standard gravity (ISO 80000-3).
const MM_H2O: f64 = 9.806_65;
const RAD_PER_S: f64 = 60.0 / std::f64::consts::TAU;
/// International foot and inch (NIST SP 811, appendix B.8, exact; this and the factors below from memory).
const FOOT: f64 = 0.3048;
const INCH: f64 = 0.0254;
/// US gallon of 231 cubic inches, and imperial gallon, litres (NIST SP 811, appendices B.6 and B.8, exact).
pub(crate) const US_GALLON: f64 = 3.785_411_784;
pub(crate) const IMPERIAL_GALLON: f64 = 4.546_09;
/// Pound-force on a square inch: 4.448 221 615 260 5 N on (0.0254 m)² (NIST SP 811, appendix B.8).
const PSI: f64 = 4.448_221_615_260_5 / (INCH * INCH);
/// Degrees Fahrenheit in a kelvin (NIST SP 811, appendix B.8: t/°C = (t/°F − 32)/1.8).
const FAHRENHEIT: f64 = 1.8;

/// All units but those of temperature, which have an offset and stand in [`conversion`].
static UNITS: &[Unit] = &[
    unit(D::Voltage, &["V", "volt", "volts", "V AC", "VAC", "V~", "V DC", "VDC"], 1.0, "numkM"),
    unit(D::Current, &["A", "amp", "amps"], 1.0, "numk"),
    unit(D::Resistance, &["Ω"], 1.0, "umkKMG"),
    // No "mohm": typed in haste it means megohm as often as milliohm, see `ambiguous_milliohm`.
    unit(D::Resistance, &["ohm", "ohms", "Ohm", "Ohms"], 1.0, "ukKMG"),
    unit(D::Resistance, &["R", "r"], 1.0, ""),
    unit(D::Resistance, &["milliohm", "milliohms"], 1e-3, ""),
    unit(D::Resistance, &["kiloohm", "kiloohms", "kilohm", "kilohms"], 1e3, ""),
    unit(D::Resistance, &["megohm", "megohms", "megaohm", "megaohms"], 1e6, ""),
    unit(D::Power, &["W", "watt", "watts"], 1.0, "umkM"),
    unit(D::ApparentPower, &["VA"], 1.0, "mkM"),
    unit(D::ReactivePower, &["var", "VAr", "VAR"], 1.0, "mkM"),
    unit(D::Frequency, &["Hz"], 1.0, "mkMG"),
    unit(D::Time, &["s", "sec", "second", "seconds"], 1.0, "num"),
    unit(D::Time, &["min", "mins", "m", "minute", "minutes"], 60.0, ""),
    unit(D::Time, &["h", "hour", "hours"], 3600.0, ""),
    unit(D::Volume, &["l", "L", "litre", "litres", "liter", "liters"], 1.0, "umcd"),
    unit(D::Volume, &["m3"], 1000.0, ""),
    unit(D::Volume, &["dm3"], 1.0, ""),
    unit(D::Volume, &["cm3"], 1e-3, ""),
    // No "gal" alone: it is one volume in the United States and another in Britain, see `which_gallon`.
    unit(
        D::Volume,
        &["US gal", "USgal", "us gal", "US gallon", "US gallons", "gal US", "gal (US)"],
        US_GALLON,
        "",
    ),
    unit(D::Volume, &["US qt", "US quart", "US quarts"], US_GALLON / 4.0, ""),
    unit(
        D::Volume,
        &[
            "imp gal",
            "impgal",
            "Imp gal",
            "imperial gallon",
            "imperial gallons",
            "UK gal",
            "gal (imp)",
            "gal (UK)",
        ],
        IMPERIAL_GALLON,
        "",
    ),
    unit(D::Volume, &["imp qt", "imperial quart", "imperial quarts", "UK qt"], IMPERIAL_GALLON / 4.0, ""),
    unit(D::Flow, &["l/min", "L/min", "litres/min"], 1.0, "m"),
    unit(D::Flow, &["l/s", "L/s"], 60.0, "m"),
    unit(D::Flow, &["l/h", "L/h"], 1.0 / 60.0, "m"),
    unit(D::Flow, &["m3/h"], 1000.0 / 60.0, ""),
    unit(D::Flow, &["US gal/min", "US gpm"], US_GALLON, ""),
    unit(D::Flow, &["imp gal/min", "imp gpm"], IMPERIAL_GALLON, ""),
    unit(D::Length, &["m", "metre", "metres"], 1.0, "numcdk"),
    unit(D::Length, &["ft", "foot", "feet"], FOOT, ""),
    unit(D::Length, &["in", "inch", "inches"], INCH, ""),
    unit(D::Mass, &["g"], 1e-3, "umk"),
    unit(D::Capacitance, &["F"], 1.0, "pnum"),
    unit(D::Inductance, &["H"], 1.0, "num"),
    unit(D::Speed, &["rpm", "/min", "1/min", "r/min", "rev/min", "min-1"], 1.0, ""),
    unit(D::Speed, &["/s", "1/s", "r/s", "rev/s"], 60.0, ""),
    unit(D::Speed, &["rad/s"], RAD_PER_S, ""),
    unit(D::Energy, &["J", "Ws"], 1.0, "mkM"),
    unit(D::Energy, &["Wh"], 3600.0, "mkM"),
    unit(D::Pressure, &["Pa"], 1.0, "hkM"),
    unit(D::Pressure, &["bar"], 1e5, "m"),
    unit(D::Pressure, &["mmH2O", "mm H2O"], MM_H2O, ""),
    unit(D::Pressure, &["cmH2O", "cm H2O"], 10.0 * MM_H2O, ""),
    unit(D::Pressure, &["psi", "PSI", "lbf/in2"], PSI, ""),
    unit(D::Pressure, &["inH2O", "in H2O"], 25.4 * MM_H2O, ""),
    unit(D::Torque, &["Nm", "N m"], 1.0, "umck"),
    unit(D::Inertia, &["kgm2", "kg m2"], 1.0, ""),
    unit(D::Inertia, &["gm2", "g m2"], 1e-3, ""),
    unit(D::Inertia, &["kgcm2", "kg cm2"], 1e-4, ""),
    unit(D::HeatCapacity, &["J/K"], 1.0, "kM"),
    unit(D::HeatCapacity, &["Wh/K"], 3600.0, "k"),
    unit(D::Ratio, &["%", "percent", "per cent"], 0.01, ""),
    unit(D::Ratio, &["‰"], 0.001, ""),
    unit(D::PulsesPerLitre, &["1/l", "/l", "1/L", "/L", "pulses/l", "pulses/litre"], 1.0, ""),
    unit(D::PulsesPerLitre, &["pulses per l", "pulses per litre"], 1.0, ""),
];

/// One spelling for the characters that are typed in several ways; product dots go, white space becomes one blank.
pub(crate) fn normalise(unit: &str) -> String {
    let mut out = String::with_capacity(unit.len());
    for c in unit.trim().chars() {
        match c {
            '\u{2126}' => out.push('Ω'),
            '\u{b5}' | '\u{3bc}' => out.push('u'),
            '\u{2103}' => out.push_str("°C"),
            '\u{2109}' => out.push_str("°F"),
            'º' | '˚' => out.push('°'),
            '²' | '₂' => out.push('2'),
            '³' => out.push('3'),
            '¹' => out.push('1'),
            '⁻' | '−' => out.push('-'),
            '·' | '⋅' | '*' => {}
            c if c.is_whitespace() => {
                if !out.ends_with(' ') {
                    out.push(' ');
                }
            }
            c => out.push(c),
        }
    }
    out
}

fn prefix_factor(prefix: char) -> Option<f64> {
    Some(match prefix {
        'p' => 1e-12,
        'n' => 1e-9,
        'u' => 1e-6,
        'm' => 1e-3,
        'c' => 1e-2,
        'd' => 1e-1,
        'h' => 1e2,
        'k' | 'K' => 1e3,
        'M' => 1e6,
        'G' => 1e9,
        _ => return None,
    })
}

impl Unit {
    /// What `spelling` (in normal form) is worth if it names this unit.
    fn worth(&self, spelling: &str) -> Option<f64> {
        if self.spellings.contains(&spelling) {
            return Some(self.factor);
        }
        let mut chars = spelling.chars();
        let prefix = chars.next()?;
        let known = self.prefixes.contains(prefix) && self.spellings.contains(&chars.as_str());
        known.then(|| prefix_factor(prefix).map(|p| p * self.factor)).flatten()
    }
}

/// How `unit` converts to the base unit of `dimension`; nothing if it is not a unit of it.
pub(crate) fn conversion(unit: &str, dimension: Dimension) -> Option<Conversion> {
    let spelling = normalise(unit);
    let celsius = matches!(spelling.as_str(), "°C" | "degC" | "deg C" | "° C" | "C");
    // No "F" alone: it is the farad.
    let fahrenheit = matches!(spelling.as_str(), "°F" | "degF" | "deg F" | "° F");
    let scale = |factor| Conversion { factor, offset: 0.0 };
    match dimension {
        D::Temperature if fahrenheit => {
            Some(Conversion { factor: 1.0 / FAHRENHEIT, offset: -32.0 / FAHRENHEIT })
        }
        D::TemperatureDifference if fahrenheit => Some(scale(1.0 / FAHRENHEIT)),
        D::Temperature if celsius => Some(scale(1.0)),
        D::Temperature if spelling == "K" => Some(Conversion { factor: 1.0, offset: -ZERO_CELSIUS }),
        D::TemperatureDifference if celsius || spelling == "K" => Some(scale(1.0)),
        _ => UNITS.iter().filter(|u| u.dimension == dimension).find_map(|u| u.worth(&spelling)).map(scale),
    }
}

/// All dimensions that have a unit so spelt. A Celsius temperature is not offered as a difference, nor a kelvin as
/// a temperature: each stands for what it is mostly written for.
pub(crate) fn dimensions_of(unit: &str) -> Vec<Dimension> {
    let kelvin = normalise(unit) == "K";
    let all = Dimension::ALL.into_iter().filter(|&d| conversion(unit, d).is_some());
    let mut found: Vec<_> = all.collect();
    if found.contains(&D::Temperature) {
        found.retain(|&d| d != if kelvin { D::Temperature } else { D::TemperatureDifference });
    }
    found
}

/// The spelling of a unit of `dimension` that differs from `unit` in upper and lower case only, if there is just one:
/// where milli and mega both exist the case cannot be repaired by guessing.
pub(crate) fn other_case(unit: &str, dimension: Dimension) -> Option<String> {
    let wanted = normalise(unit).to_lowercase();
    let mut found: Option<String> = None;
    for unit in UNITS.iter().filter(|u| u.dimension == dimension) {
        let prefixes = unit.prefixes.chars().map(Some).chain([None]);
        for (prefix, spelling) in prefixes.flat_map(|p| unit.spellings.iter().map(move |s| (p, s))) {
            let candidate = || prefix.into_iter().chain(spelling.chars());
            if !candidate().flat_map(char::to_lowercase).eq(wanted.chars()) {
                continue;
            }
            let candidate: String = candidate().collect();
            if found.as_ref().is_some_and(|f| *f != candidate) {
                return None;
            }
            found = Some(candidate);
        }
    }
    found
}
