//! The circumstances of a recording: meter, supply, operator, water, room.
//!
//! The figures of the presets are common practice, no source, but where one is named.

/// What the meter at the plug does to the truth.
#[derive(Clone, Debug, PartialEq)]
pub struct MeterModel {
    /// Time from one sample to the next, s.
    pub every_s: f64,
    /// A sample comes up to this much early or late, s.
    pub jitter_s: f64,
    /// Time constant of its filter, s; 0 for none.
    pub lag_s: f64,
    /// Smallest step of the power shown, W; 0 for none.
    pub quantum_w: f64,
    /// Limit of error in proportion to the reading; the actual error is drawn once a recording.
    pub gain_error: f64,
    /// Limit of error beside that, W; the actual error is drawn once a recording.
    pub offset_w: f64,
    /// Share of samples that are lost, in bursts of a few.
    pub drop_share: f64,
    /// Share of samples that repeat the one before.
    pub stuck_share: f64,
    /// It logs volts.
    pub logs_volts: bool,
    /// It logs amperes and power factor.
    pub logs_amps: bool,
}

impl MeterModel {
    /// A plug-in meter with a display, read off by eye or camera: whole watts, a second behind.
    pub fn display() -> MeterModel {
        MeterModel {
            every_s: 1.0,
            jitter_s: 0.2,
            lag_s: 1.2,
            quantum_w: 1.0,
            gain_error: 0.01,
            offset_w: 1.0,
            drop_share: 0.0,
            stuck_share: 0.05,
            logs_volts: true,
            logs_amps: true,
        }
    }

    /// A bench instrument: ten samples a second, 10 mW, nothing lost.
    pub fn fine() -> MeterModel {
        MeterModel {
            every_s: 0.1,
            jitter_s: 0.0,
            lag_s: 0.05,
            quantum_w: 0.01,
            gain_error: 0.001,
            offset_w: 0.02,
            drop_share: 0.0,
            stuck_share: 0.0,
            logs_volts: true,
            logs_amps: true,
        }
    }

    /// A plug that reports by radio, power alone: steps of 2.13 W, late, lost and repeated samples. Steps, losses and
    /// repeats are like those of the tracebase recordings (Reinhardt et al., SustainIT 2012).
    pub fn logger() -> MeterModel {
        MeterModel {
            every_s: 1.0,
            jitter_s: 0.3,
            lag_s: 0.6,
            quantum_w: 2.13,
            gain_error: 0.015,
            offset_w: 1.0,
            drop_share: 0.04,
            stuck_share: 0.02,
            logs_volts: false,
            logs_amps: false,
        }
    }
}

/// The supply at the socket.
#[derive(Clone, Debug, PartialEq)]
pub struct SupplyModel {
    /// Without load, V.
    pub volts: f64,
    /// It wanders about so much (standard deviation), V.
    pub drift_v: f64,
    /// Resistance from the socket back to the transformer, Ω.
    pub source_ohm: f64,
    /// Now and then it dips for a second, as when a neighbour's motor starts.
    pub dips: bool,
}

impl SupplyModel {
    /// A steady supply with this voltage behind nothing: for comparisons with the bench.
    pub fn stiff(volts: f64) -> SupplyModel {
        SupplyModel { volts, drift_v: 0.0, source_ohm: 0.0, dips: false }
    }

    /// A kitchen's socket. Source resistance: about the reference 0.4 Ω of IEC TR 60725.
    pub fn kitchen(volts: f64) -> SupplyModel {
        SupplyModel { volts, drift_v: 1.0, source_ohm: 0.4, dips: true }
    }
}

/// Another appliance on the same socket.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ForeignLoad {
    /// Power at the rated voltage, taken as a resistance, W.
    pub watts: f64,
    /// How long it is on, s.
    pub seconds: f64,
    /// Chance that it is switched on in a recording.
    pub chance: f64,
}

impl ForeignLoad {
    /// A kettle.
    pub fn kettle() -> ForeignLoad {
        ForeignLoad { watts: 2000.0, seconds: 120.0, chance: 0.3 }
    }
}

/// What the person at the machine does. All shares are probabilities per step that goes on by a press.
#[derive(Clone, Debug, PartialEq)]
pub struct Operator {
    /// Seconds from when a step may go on to the press: least and most.
    pub reaction_s: (f64, f64),
    /// Presses on at once.
    pub skips: f64,
    /// The press registers twice: the next step is passed over within half a second.
    pub presses_twice: f64,
    /// Is called away for a while.
    pub pauses: f64,
    /// Switches off and enters the test again, pressing fast up to where it was.
    pub leaves_and_reenters: f64,
    /// The press does not register; it is repeated some seconds later.
    pub unregistered: f64,
    /// Another appliance on the same socket.
    pub foreign_load: Option<ForeignLoad>,
    /// Marks the presses, up to half a second off.
    pub marks: bool,
    /// Chance that what is seen or heard in a step is noted wrong.
    pub misses: f64,
}

impl Operator {
    /// Does everything as the sheet says, and marks every press.
    pub fn careful() -> Operator {
        Operator {
            reaction_s: (0.5, 3.0),
            skips: 0.0,
            presses_twice: 0.0,
            pauses: 0.0,
            leaves_and_reenters: 0.0,
            unregistered: 0.0,
            foreign_load: None,
            marks: true,
            misses: 0.0,
        }
    }

    /// Twenty minutes before the next call.
    pub fn hurried() -> Operator {
        Operator {
            reaction_s: (0.0, 12.0),
            skips: 0.04,
            presses_twice: 0.03,
            pauses: 0.05,
            leaves_and_reenters: 0.015,
            unregistered: 0.05,
            foreign_load: Some(ForeignLoad::kettle()),
            marks: false,
            misses: 0.03,
        }
    }
}

/// All circumstances of a recording.
#[derive(Clone, Debug, PartialEq)]
pub struct Setting {
    /// The meter.
    pub meter: MeterModel,
    /// The supply.
    pub supply: SupplyModel,
    /// The person.
    pub operator: Operator,
    /// Water in the machine at the start, l.
    pub water_l: f64,
    /// Temperature of water, parts and room, °C.
    pub ambient_c: f64,
    /// The faults show only this share of the time (0 … 1); `None`: always.
    pub intermittent: Option<f64>,
}

impl Setting {
    /// A careful operator with a display meter in a kitchen at this voltage.
    pub fn kitchen(volts: f64) -> Setting {
        Setting {
            meter: MeterModel::display(),
            supply: SupplyModel::kitchen(volts),
            operator: Operator::careful(),
            water_l: 0.0,
            ambient_c: 20.0,
            intermittent: None,
        }
    }
}
