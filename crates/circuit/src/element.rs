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

#[cfg(test)]
mod tests {
    use super::*;

    fn z(re: f64, im: f64) -> Element {
        Impedance::Ohms(Complex64::new(re, im)).into()
    }

    #[test]
    fn limits_are_made_plain() {
        for nothing in [0.0, -0.0, 1e-10] {
            assert_eq!(Element::resistor(nothing).checked(), Ok(Element::SHORT));
        }
        for endless in [1.1e15, f64::MAX, f64::INFINITY] {
            assert_eq!(Element::resistor(endless).checked(), Ok(Element::OPEN));
        }
        let ordinary = Element::resistor(26.4);
        assert_eq!(ordinary.checked(), Ok(ordinary));
    }

    #[test]
    fn what_no_part_can_have_is_refused() {
        assert_eq!(Element::resistor(f64::NAN).checked(), Err(CircuitError::NotANumber));
        assert_eq!(z(0.0, f64::NAN).checked(), Err(CircuitError::NotANumber));
        assert_eq!(Element::resistor(-1.0).checked(), Err(CircuitError::NegativeResistance { ohm: -1.0 }));
        let dc_only = Element { ac: Impedance::Short, dc: Resistance::Ohms(-2.0) };
        assert_eq!(dc_only.checked(), Err(CircuitError::NegativeResistance { ohm: -2.0 }));
    }

    #[test]
    fn an_impedance_alone_tells_what_an_ohmmeter_sees() {
        assert_eq!(z(5.0, 12.0).dc, Resistance::Ohms(5.0));
        assert_eq!(z(5.0, -12.0).dc, Resistance::Open);
        assert_eq!(Element::from(Impedance::Short), Element::SHORT);
        assert_eq!(Element::from(Impedance::Open), Element::OPEN);
    }

    #[test]
    fn capacitor_and_coil_have_their_reactance() {
        // 10 µF at 50 Hz: 1/(2π·50·10⁻⁵) Ω = 1000/π Ω; 1 H at 50 Hz: 100π Ω.
        let capacitor = Impedance::Ohms(Complex64::new(0.0, -1000.0 / std::f64::consts::PI));
        let Impedance::Ohms(found) = Element::capacitor(10e-6, 50.0).ac else { panic!("finite") };
        assert!(matches!(capacitor, Impedance::Ohms(z) if (z - found).norm() < 1e-10));
        let Impedance::Ohms(found) = Element::coil(7.0, 1.0, 50.0).ac else { panic!("finite") };
        assert!((found - Complex64::new(7.0, 100.0 * std::f64::consts::PI)).norm() < 1e-10);
        assert_eq!(Element::capacitor(0.0, 50.0).checked(), Ok(Element::OPEN));
    }
}
