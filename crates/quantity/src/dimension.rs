//! What can be measured, and the base unit each value is kept in.

use std::fmt;

/// What a number measures. Each dimension has one base unit, in which every value inside Wattmend is held.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Dimension {
    /// Volts, root mean square where alternating.
    Voltage,
    /// Amperes, root mean square where alternating.
    Current,
    /// Ohms.
    Resistance,
    /// Active power in watts.
    Power,
    /// Apparent power in volt-amperes.
    ApparentPower,
    /// Reactive power in var.
    ReactivePower,
    /// Hertz.
    Frequency,
    /// Seconds.
    Time,
    /// Litres.
    Volume,
    /// Litres per minute.
    Flow,
    /// Metres.
    Length,
    /// Kilograms.
    Mass,
    /// A temperature on the Celsius scale.
    Temperature,
    /// A difference of temperatures, or a constant in kelvin such as the beta of an NTC.
    TemperatureDifference,
    /// Farads.
    Capacitance,
    /// Henries.
    Inductance,
    /// Revolutions per minute.
    Speed,
    /// Joules.
    Energy,
    /// Pascals.
    Pressure,
    /// Newton metres.
    Torque,
    /// Moment of inertia in kg·m².
    Inertia,
    /// Joules per kelvin.
    HeatCapacity,
    /// A share or a ratio of like quantities; 1 is 100 %.
    Ratio,
    /// Pulses of a flow meter per litre.
    PulsesPerLitre,
}

/// Name, base unit and an example of how a value is written.
struct Facts(&'static str, &'static str, &'static str);

impl Dimension {
    /// All dimensions, in the order of their declaration.
    pub const ALL: [Self; 24] = [
        Self::Voltage,
        Self::Current,
        Self::Resistance,
        Self::Power,
        Self::ApparentPower,
        Self::ReactivePower,
        Self::Frequency,
        Self::Time,
        Self::Volume,
        Self::Flow,
        Self::Length,
        Self::Mass,
        Self::Temperature,
        Self::TemperatureDifference,
        Self::Capacitance,
        Self::Inductance,
        Self::Speed,
        Self::Energy,
        Self::Pressure,
        Self::Torque,
        Self::Inertia,
        Self::HeatCapacity,
        Self::Ratio,
        Self::PulsesPerLitre,
    ];

    const fn facts(self) -> Facts {
        match self {
            Self::Voltage => Facts("voltage", "V", "230 V"),
            Self::Current => Facts("current", "A", "9.26 A"),
            Self::Resistance => Facts("resistance", "Ω", "26R4 or 26.4 Ω"),
            Self::Power => Facts("power", "W", "2.2 kW"),
            Self::ApparentPower => Facts("apparent power", "VA", "250 VA"),
            Self::ReactivePower => Facts("reactive power", "var", "120 var"),
            Self::Frequency => Facts("frequency", "Hz", "50 Hz"),
            Self::Time => Facts("time", "s", "1m20s or 80 s"),
            Self::Volume => Facts("volume", "l", "5 l"),
            Self::Flow => Facts("flow", "l/min", "8 l/min"),
            Self::Length => Facts("length", "m", "240 mm"),
            Self::Mass => Facts("mass", "kg", "7 kg"),
            Self::Temperature => Facts("temperature", "°C", "60 °C"),
            Self::TemperatureDifference => Facts("temperature difference", "K", "5 K"),
            Self::Capacitance => Facts("capacitance", "F", "16 µF or 100n"),
            Self::Inductance => Facts("inductance", "H", "12 mH"),
            Self::Speed => Facts("speed", "rpm", "1200 rpm"),
            Self::Energy => Facts("energy", "J", "0.9 kWh"),
            Self::Pressure => Facts("pressure", "Pa", "0.05 bar or 100 mmH2O"),
            Self::Torque => Facts("torque", "N·m", "1.5 N·m"),
            Self::Inertia => Facts("inertia", "kg·m²", "0.3 kg·m²"),
            Self::HeatCapacity => Facts("heat capacity", "J/K", "900 J/K"),
            Self::Ratio => Facts("ratio", "", "10 % or 0.1"),
            Self::PulsesPerLitre => Facts("pulses per litre", "1/l", "450 pulses/l"),
        }
    }

    /// Symbol of the base unit; empty for [`Dimension::Ratio`].
    pub const fn base_unit(self) -> &'static str {
        self.facts().1
    }

    /// The dimension in words, e.g. "voltage".
    pub const fn name(self) -> &'static str {
        self.facts().0
    }

    /// How a value of this dimension is written, for remedies.
    pub(crate) const fn example(self) -> &'static str {
        self.facts().2
    }

    /// The dimension in words with its article, e.g. "an energy".
    pub(crate) fn with_article(self) -> String {
        match self {
            Self::PulsesPerLitre => "a number of pulses per litre".to_owned(),
            Self::ApparentPower | Self::Inductance | Self::Energy | Self::Inertia => {
                format!("an {}", self.name())
            }
            _ => format!("a {}", self.name()),
        }
    }

    /// The dimension in which a tolerance of this one is written: differences of temperatures are kelvins.
    pub(crate) const fn of_deviation(self) -> Self {
        match self {
            Self::Temperature => Self::TemperatureDifference,
            other => other,
        }
    }
}

impl fmt::Display for Dimension {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.name())
    }
}
