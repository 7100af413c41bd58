//! A check: something a technician can do that yields evidence, in a form that a program can carry out as well.

pub use machine::caution::RUNS;
pub use machine::kind::Power;
use machine::model::PanelId;

/// What a check is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum CheckKind {
    /// Ohms between two points of the dead machine.
    Resistance,
    /// Ohms to the metal, with an insulation tester.
    Insulation,
    /// Volts between two points in a step; live.
    Voltage,
    /// Amperes at the plug in a step.
    Current,
    /// Watts at the plug in a step.
    Power,
    /// Drum speed in a step.
    Speed,
    /// Temperature reached in a step.
    Temperature,
    /// Eye, ear or hand; answered yes or no.
    Observation,
    /// A step of the service test once more, all its readings.
    Rerun,
    /// A known-good part in place of the suspect one.
    Swap,
}

/// What it takes.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Instrument {
    /// Eyes, ears, hands.
    None,
    /// Plug-in power meter.
    PowerMeter,
    /// Multimeter.
    Multimeter,
    /// Insulation tester.
    InsulationTester,
    /// Tachometer.
    Tachometer,
    /// Thermometer.
    Thermometer,
}

/// Something a technician can do that yields evidence.
#[derive(Clone, Debug, PartialEq)]
pub struct Check {
    /// Names it; the same check of the same machine file always has the same id:
    /// `ohms element.1 element.2`, `ohms J2.1 J2.3 off J2`, `hand drum turn`, `own tray`, `step warm`, `swap element`.
    pub id: String,
    /// What it is.
    pub kind: CheckKind,
    /// What to do, as one sentence to the technician.
    pub says: String,
    /// The points of the probes.
    pub between: Option<[String; 2]>,
    /// Connectors and tabs to take off first.
    pub unplugged: Vec<String>,
    /// The step of the service test that it needs, by place.
    pub step: Option<usize>,
    /// What it takes.
    pub instrument: Instrument,
    /// Minutes, access not counted.
    pub minutes: f64,
    /// Panels that must be off.
    pub access: Vec<PanelId>,
    /// How the machine must be supplied.
    pub power: Power,
    /// What could hurt and what to do about it; never empty where the machine is opened or runs.
    pub caution: String,
}
