//! What the technician has and what things cost: the frame in which a diagnosis is made.

use crate::check::Instrument;
use crate::hypotheses::Limits;
use crate::plan::Effort;
use machine::model::PartId;
use std::collections::BTreeMap;

/// The frame of a diagnosis.
#[derive(Clone, Debug, PartialEq)]
pub struct Setup {
    /// Instruments at hand, with their limits of error.
    pub instruments: Vec<Owned>,
    /// Live measurements may be asked for: for competent persons, under local rules.
    pub live: bool,
    /// What things cost.
    pub costs: Costs,
    /// When to stop making hypotheses.
    pub limits: Limits,
    /// How much work the next check may take.
    pub effort: Effort,
    /// A suspect this probable is sure.
    pub sure_from: f64,
}

/// An instrument and its limits of error.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Owned {
    /// What it is.
    pub instrument: Instrument,
    /// Limit of error in proportion to the reading.
    pub relative: f64,
    /// Limit of error beside that, in the base unit of what it measures.
    pub absolute: f64,
}

/// Prices, all in minutes of work: money divided by the labour rate.
#[derive(Clone, Debug, PartialEq)]
pub struct Costs {
    /// A part whose price is not known.
    pub part: f64,
    /// Prices of parts that are.
    pub parts: BTreeMap<PartId, f64>,
    /// Fitting a part once it is reached.
    pub fitting: f64,
    /// Cleaning, clearing or re-making a joint once it is reached.
    pub clearing: f64,
    /// The run that proves the machine right after a repair.
    pub proof: f64,
    /// Showing the customer all functions of a machine that is right.
    pub showing: f64,
    /// What a repair that does not help costs beyond its own: a part that cannot be sent back, a second visit, trust.
    pub in_vain: f64,
    /// Ending the job without a cure.
    pub give_up: f64,
    /// What a live measurement costs beyond its minutes.
    pub live: f64,
}

impl Setup {
    /// The instrument with its accuracy, if it is owned.
    pub fn owns(&self, instrument: Instrument) -> Option<&Owned> {
        self.instruments.iter().find(|o| o.instrument == instrument)
    }
}

impl Costs {
    /// Minutes of hands-on work once the part is reached: fitting a new one, or clearing or re-making the old. Without the proving run.
    pub fn mending(&self, fit: bool) -> f64 {
        if fit { self.fitting } else { self.clearing }
    }
}

impl Default for Costs {
    /// A part at 40 minutes' worth, 12 minutes to fit it, 8 to clear, 10 to prove, 25 to show all functions; a repair in vain costs two
    /// hours more (common practice, no source).
    fn default() -> Self {
        Costs {
            part: 40.0,
            parts: BTreeMap::new(),
            fitting: 12.0,
            clearing: 8.0,
            proof: 10.0,
            showing: 25.0,
            in_vain: 120.0,
            give_up: 400.0,
            live: 60.0,
        }
    }
}

impl Default for Setup {
    /// Power meter ±1 % ± 1 W, multimeter ±1 % ± 0.3 Ω, hands and eyes; no live measurements. A suspect is sure from 97 %.
    fn default() -> Self {
        let owned = |instrument, relative, absolute| Owned { instrument, relative, absolute };
        Setup {
            instruments: vec![
                owned(Instrument::None, 0.0, 0.0),
                owned(Instrument::PowerMeter, 0.01, 1.0),
                owned(Instrument::Multimeter, 0.01, 0.3),
            ],
            live: false,
            costs: Costs::default(),
            limits: Limits::default(),
            effort: Effort::default(),
            sure_from: 0.97,
        }
    }
}
