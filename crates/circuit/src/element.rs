//! What a branch holds: its impedance at mains frequency and its resistance to direct current.

use std::f64::consts::TAU;

use num_complex::Complex64;

use crate::CircuitError;

/// Anything below this counts as a short: a hundred-thousandth of the best contact there is.
const SHORT_BELOW_OHM: f64 = 1e-9;
/// Anything above this counts as open: ten thousand times the leak that an insulation tester can tell from none.
const OPEN_ABOVE_OHM: f64 = 1e15;

/// Impedance at mains frequency.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Impedance {
    /// Conducts nothing: a blown fuse, an unplugged connector.
    Open,
    /// Drops no voltage whatever flows: a wire, a closed contact.
    Short,
    /// Resistance (real part, never negative) and reactance (imaginary part, negative for a capacitor), in Ω.
    /// A magnitude below 1 nΩ is a [`Short`](Self::Short), one above 10¹⁵ Ω or infinite is [`Open`](Self::Open).
    Ohms(Complex64),
}

/// Resistance to direct current, as an ohmmeter sees it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Resistance {
    /// Resistance in Ω, never negative; 0 is a short.
    Ohms(f64),
    /// No path for direct current at all.
    Open,
}

/// A branch's behaviour at mains frequency and to direct current; the two differ for capacitors and coils.
///
/// An [`Impedance`] alone converts: a negative reactance is taken for a capacitor (open to direct current), of anything
/// else the real part is what an ohmmeter sees.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Element {
    /// At mains frequency.
    pub ac: Impedance,
    /// Under an ohmmeter.
    pub dc: Resistance,
}

impl Element {
    /// No connection at all.
    pub const OPEN: Self = Self { ac: Impedance::Open, dc: Resistance::Open };
    /// A wire or closed contact without resistance.
    pub const SHORT: Self = Self { ac: Impedance::Short, dc: Resistance::Ohms(0.0) };

    /// A plain resistance in Ω.
    pub fn resistor(ohm: f64) -> Self {
        Self { ac: Impedance::Ohms(Complex64::new(ohm, 0.0)), dc: Resistance::Ohms(ohm) }
    }

    /// An ideal capacitor, `Z = −j / (2π·f·C)`; open to direct current.
    pub fn capacitor(farad: f64, hertz: f64) -> Self {
        let reactance = -1.0 / (TAU * hertz * farad);
        Self { ac: Impedance::Ohms(Complex64::new(0.0, reactance)), dc: Resistance::Open }
    }

    /// A coil, `Z = R + j·2π·f·L`; an ohmmeter sees its copper `R` only.
    pub fn coil(ohm: f64, henry: f64, hertz: f64) -> Self {
        Self { ac: Impedance::Ohms(Complex64::new(ohm, TAU * hertz * henry)), dc: Resistance::Ohms(ohm) }
    }

    /// The same element with its limits made plain: what is as good as short or open says so.
    pub(crate) fn checked(self) -> Result<Self, CircuitError> {
        Ok(Self { ac: self.ac.checked()?, dc: self.dc.checked()? })
    }
}

impl From<Impedance> for Element {
    fn from(ac: Impedance) -> Self {
        let dc = match ac {
            Impedance::Open => Resistance::Open,
            Impedance::Short => Resistance::Ohms(0.0),
            Impedance::Ohms(z) if z.im < 0.0 => Resistance::Open,
            Impedance::Ohms(z) => Resistance::Ohms(z.re),
        };
        Self { ac, dc }
    }
}

impl Impedance {
    fn checked(self) -> Result<Self, CircuitError> {
        let Self::Ohms(z) = self else { return Ok(self) };
        if z.is_nan() {
            return Err(CircuitError::NotANumber);
        }
        if z.re < 0.0 {
            return Err(CircuitError::NegativeResistance { ohm: z.re });
        }
        // The larger part, not the modulus: squaring could overflow.
        let size = z.re.max(z.im.abs());
        Ok(if size < SHORT_BELOW_OHM {
            Self::Short
        } else if size > OPEN_ABOVE_OHM {
            Self::Open
        } else {
            self
        })
    }
}

impl Resistance {
    fn checked(self) -> Result<Self, CircuitError> {
        match self {
            Self::Ohms(ohm) if ohm.is_nan() => Err(CircuitError::NotANumber),
            Self::Ohms(ohm) if ohm < 0.0 => Err(CircuitError::NegativeResistance { ohm }),
            Self::Ohms(ohm) if ohm < SHORT_BELOW_OHM => Ok(Self::Ohms(0.0)),
            Self::Ohms(ohm) if ohm > OPEN_ABOVE_OHM => Ok(Self::Open),
            as_it_is => Ok(as_it_is),
        }
    }
}
