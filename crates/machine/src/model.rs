//! A machine after reading: every name resolved to an index, every text to a value with a unit.

use crate::kind::{PartKind, Power};
use crate::params::Params;
use quantity::Toleranced;
use std::ops::Range;

/// Bytes of the file that something came from, for diagnostics.
pub type Span = Range<usize>;

/// Index into [`Machine::parts`].
pub type PartId = usize;
/// Index into [`Machine::nodes`].
pub type NodeId = usize;
/// Index into [`Machine::panels`].
pub type PanelId = usize;
/// Index into [`Machine::outputs`].
pub type OutputId = usize;
/// Index into [`Machine::inputs`].
pub type InputId = usize;
/// Index into [`Machine::codes`].
pub type CodeId = usize;

/// A whole machine: what is there, how it is wired, what its board does.
#[derive(Clone, Debug)]
pub struct Machine {
    /// The rating plate.
    pub plate: Plate,
    /// Panels and flaps, in file order.
    pub panels: Vec<Panel>,
    /// Parts: those of the file, then the board's outputs, then the wires of the looms.
    pub parts: Vec<Part>,
    /// Names of the electrical nodes. The first four are the supply's and the cabinet's, see [`node`].
    pub nodes: Vec<String>,
    /// Joints that can be opened by hand: pins of connectors and tabs of wires.
    pub joints: Vec<Joint>,
    /// What the board switches.
    pub outputs: Vec<Output>,
    /// What the board senses.
    pub inputs: Vec<Input>,
    /// What the board refuses.
    pub guards: Vec<Guard>,
    /// Ordinary use.
    pub functions: Vec<Function>,
    /// The built-in test.
    pub test: ServiceTest,
    /// Fault codes.
    pub codes: Vec<Code>,
    /// Checks that only this model needs.
    pub checks: Vec<OwnCheck>,
}

/// The nodes that every machine has.
pub mod node {
    /// The socket's line contact.
    pub const LINE: usize = 0;
    /// The socket's neutral contact.
    pub const NEUTRAL: usize = 1;
    /// The socket's protective contact.
    pub const EARTH: usize = 2;
    /// The metal of the cabinet.
    pub const CHASSIS: usize = 3;
}

/// The rating plate and what stands beside it.
#[derive(Clone, Debug)]
pub struct Plate {
    /// "washing machine", …
    pub kind: String,
    /// Maker.
    pub maker: String,
    /// Model.
    pub model: String,
    /// The variants that this file covers; the machine was read as the first, or the one asked for.
    pub variants: Vec<String>,
    /// Rated voltage, V.
    pub supply_v: f64,
    /// Rated frequency, Hz.
    pub supply_hz: f64,
    /// Rated power, W.
    pub rated_w: Option<f64>,
    /// Protection class.
    pub class: Class,
    /// Capacity of the tub or sum of water and metal that is heated beside the water, J/K.
    pub heat_capacity_j_k: f64,
    /// Where the plate stands in the file.
    pub at: Span,
}

/// Protection class after IEC 61140.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Class {
    /// Earthed metal.
    I,
    /// Double insulation.
    II,
    /// Safety extra-low voltage.
    III,
}

/// A panel, flap or lid.
#[derive(Clone, Debug)]
pub struct Panel {
    /// Name.
    pub name: String,
    /// Minutes to take it off and put it back.
    pub minutes: f64,
    /// Panels that must be off before.
    pub after: Vec<PanelId>,
    /// What could hurt.
    pub caution: String,
}

/// A part.
#[derive(Clone, Debug)]
pub struct Part {
    /// Name in the file; `board.heat` for an output, `loom.heater.2` for a wire.
    pub id: String,
    /// Its kind.
    pub kind: &'static PartKind,
    /// Parameters.
    pub params: Params,
    /// Node of each terminal of the kind, in the kind's order; `None` where an optional one is free.
    pub terminals: Vec<Option<NodeId>>,
    /// Panels to take off to reach it.
    pub behind: Vec<PanelId>,
    /// Order code.
    pub order: String,
    /// Parts its motion, water or pressure goes through, in order.
    pub through: Vec<PartId>,
    /// For a motor or sensor: the part it turns or watches.
    pub watches: Option<PartId>,
    /// Weight of each mode of the kind in this machine: share of jobs, per cent.
    pub rates: Vec<f64>,
    /// What the file adds for a person.
    pub note: String,
    /// For a wire: the two ends as written.
    pub ends: Option<(String, String)>,
    /// Where the part stands in the file.
    pub at: Span,
}

/// Two nodes joined by a contact that a hand can open: a pin of a connector, or a tab on a terminal.
#[derive(Clone, Debug)]
pub struct Joint {
    /// What to name to open it: the connector for a pin (`J2`), the terminal for a tab (`element.1`).
    pub opens_with: String,
    /// The pin or terminal itself: `J2.1`, `element.1`.
    pub name: String,
    /// Board side, or the part's side.
    pub inner: NodeId,
    /// Wire side.
    pub outer: NodeId,
}

/// Something that the board switches or drives.
#[derive(Clone, Debug)]
pub struct Output {
    /// Name: `heat`.
    pub name: String,
    /// The part that models its switch or inverter.
    pub part: PartId,
    /// The board it sits on.
    pub board: PartId,
    /// The motor whose speed it sets.
    pub motor: Option<PartId>,
    /// Outputs that are driven too when the motor shall turn left.
    pub reverse: Vec<OutputId>,
    /// Where it stands in the file.
    pub at: Span,
}

/// Something that the board senses.
#[derive(Clone, Debug)]
pub struct Input {
    /// Name: `water-temp`.
    pub name: String,
    /// The board that senses it.
    pub board: PartId,
    /// How.
    pub senses: Senses,
    /// What the board takes for plausible, in the base unit of what it senses.
    pub plausible: Option<(f64, f64)>,
    /// Where it stands in the file.
    pub at: Span,
}

/// How a board input senses.
#[derive(Clone, Debug, PartialEq)]
pub enum Senses {
    /// Volts of a node against neutral: true above the limit.
    Volts {
        /// The node.
        node: NodeId,
        /// Threshold, V.
        above: f64,
    },
    /// Ohms between two nodes.
    Ohms(NodeId, NodeId),
    /// A contact between two nodes: true when closed.
    Contact(NodeId, NodeId),
    /// A value that a part reports, over the pins that must connect to it (none: not wired in this file).
    Part {
        /// The part.
        part: PartId,
        /// Board-side nodes; each must reach the part.
        pins: Vec<NodeId>,
    },
}

/// A condition on what the board senses.
#[derive(Clone, Debug, PartialEq)]
pub struct Condition {
    /// The input.
    pub input: InputId,
    /// What must hold of it.
    pub test: Test,
    /// As written.
    pub text: String,
}

/// What must hold of an input.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Test {
    /// It is true.
    True,
    /// It is not true.
    False,
    /// Its value lies in the plausible range.
    Plausible,
    /// At least so much (base unit).
    AtLeast(f64),
    /// At most so much (base unit).
    AtMost(f64),
    /// It follows what is driven within so many seconds.
    FollowsWithin(f64),
}

/// What the board refuses.
#[derive(Clone, Debug)]
pub struct Guard {
    /// The output it guards.
    pub output: OutputId,
    /// Checked before switching on, or all the while.
    pub moment: Moment,
    /// All must hold. With each, the code shown when it does not.
    pub needs: Vec<(Condition, Option<CodeId>)>,
    /// What happens when one does not hold.
    pub otherwise: Otherwise,
    /// Where it stands in the file.
    pub at: Span,
}

/// When a guard is looked at.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Moment {
    /// Before the output is driven.
    Before,
    /// All the while it is driven: it runs until the guard trips.
    While,
}

/// What a failing guard does.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Otherwise {
    /// The output stays off; the step goes on without it.
    KeepsOff,
    /// All outputs go off for the rest of the step, but those that hold the door: a drum may turn on.
    StopsStep,
    /// The service test ends; what holds the door stays on in this step.
    EndsTest,
}

/// An output, driven: `drum 45 rpm right`.
#[derive(Clone, Debug, PartialEq)]
pub struct Drive {
    /// The output.
    pub output: OutputId,
    /// Wanted drum speed, rpm, right positive; 0 for a plain switch.
    pub rpm: f64,
    /// Turns both ways in turn.
    pub both_ways: bool,
}

/// A function in ordinary use, so that a complaint means something.
#[derive(Clone, Debug)]
pub struct Function {
    /// Name: `heats`.
    pub name: String,
    /// What the customer says when it fails.
    pub complaints: Vec<String>,
    /// What the board drives for it.
    pub drives: Vec<Drive>,
    /// Water in the machine, litres.
    pub water_l: f64,
    /// What must come about, and within which time (s).
    pub until: Option<(Condition, f64)>,
    /// Where it stands in the file.
    pub at: Span,
}

/// The machine's own test.
#[derive(Clone, Debug, Default)]
pub struct ServiceTest {
    /// How to enter it.
    pub enter: String,
    /// What must be so before.
    pub before: Vec<String>,
    /// How to leave it.
    pub leave: String,
    /// The steps in order.
    pub steps: Vec<Step>,
}

/// A step of the service test.
#[derive(Clone, Debug)]
pub struct Step {
    /// Its key.
    pub id: String,
    /// What it is, in the maker's words.
    pub says: String,
    /// What the board drives.
    pub drives: Vec<Drive>,
    /// What should be seen.
    pub see: String,
    /// What should be heard.
    pub hear: String,
    /// The step shows the stored code.
    pub shows_code: bool,
    /// How the machine goes on to the next step: a press in the maker's words, or by itself.
    pub goes_on: GoesOn,
    /// Ends by itself once this holds.
    pub until: Option<Condition>,
    /// Longest time, s.
    pub at_most_s: Option<f64>,
    /// Nominal time, s.
    pub lasts_s: f64,
    /// Time in which a motor comes up to speed, s.
    pub ramp_s: f64,
    /// Caution before the step.
    pub caution: String,
    /// Danger on the way into the next step.
    pub then: Option<Then>,
    /// Where it stands in the file.
    pub at: Span,
}

/// How a step ends.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum GoesOn {
    /// By itself.
    ByItself,
    /// The operator does this.
    Press(String),
}

/// A hazard between a step and the next.
#[derive(Clone, Debug)]
pub struct Then {
    /// What can happen and what to do.
    pub caution: String,
    /// What to wait for.
    pub wait: String,
    /// Seconds until a drum at this step's speed stands still.
    pub run_down_s: f64,
}

/// A fault code, shown as text or as lamps.
#[derive(Clone, Debug)]
pub struct Code {
    /// Name: `F2`.
    pub id: String,
    /// Meaning in the maker's words.
    pub says: String,
    /// Lamps that show it on a machine without display.
    pub lamps: Vec<String>,
    /// Where it stands in the file.
    pub at: Span,
}

/// A check of the file's own.
#[derive(Clone, Debug)]
pub struct OwnCheck {
    /// Key.
    pub id: String,
    /// The question, answered yes or no.
    pub ask: String,
    /// Minutes.
    pub minutes: f64,
    /// Panels that must be off.
    pub behind: Vec<PanelId>,
    /// How the machine is supplied meanwhile.
    pub power: Power,
    /// What could hurt.
    pub caution: String,
    /// Faults (`part`, mode name) in which the answer is yes.
    pub yes_with: Vec<(PartId, String)>,
    /// The answer when nothing is wrong.
    pub yes_when_healthy: bool,
}

impl Machine {
    /// The part with this name.
    pub fn part(&self, id: &str) -> Option<PartId> {
        self.parts.iter().position(|p| p.id == id)
    }

    /// The node with this name.
    pub fn node(&self, name: &str) -> Option<NodeId> {
        self.nodes.iter().position(|n| n == name)
    }

    /// The step with this key.
    pub fn step(&self, id: &str) -> Option<&Step> {
        self.test.steps.iter().find(|s| s.id == id)
    }

    /// Rated power of the heaters that may be on together, W: all parts that heat as their purpose, no more than the rated power
    /// of the plate. Without that the largest alone counts, since nothing says that more are on together. 0 where none heats.
    pub fn heating_w(&self) -> f64 {
        let rated = || self.parts.iter().map(|p| p.kind.behaviour.heats_w(&p.params));
        let most = self.plate.rated_w.unwrap_or_else(|| rated().fold(0.0, f64::max));
        rated().sum::<f64>().min(most)
    }

    /// The boards, in file order.
    pub fn boards(&self) -> impl Iterator<Item = PartId> + '_ {
        (0..self.parts.len()).filter(|&p| self.parts[p].kind.behaviour.is_board())
    }

    /// All faults of single parts, in file order: part and index of the mode in its kind.
    pub fn single_faults(&self) -> impl Iterator<Item = (PartId, usize)> + '_ {
        self.parts.iter().enumerate().flat_map(|(p, part)| {
            (0..part.kind.modes.len()).filter(move |&m| part.rates[m] > 0.0).map(move |m| (p, m))
        })
    }

    /// Names that open joints: connectors and terminals with a tab.
    pub fn unpluggable(&self) -> impl Iterator<Item = &str> {
        self.joints.iter().map(|j| j.opens_with.as_str())
    }
}

impl Part {
    /// Its name and kind for a person: `heater (heating element)`, `wire a.1 – b.2`; once, where they are the same word.
    pub fn in_words(&self) -> String {
        match &self.ends {
            Some((a, b)) => format!("wire {a} – {b}"),
            None if self.id == self.kind.name => self.id.clone(),
            None => format!("{} ({})", self.id, self.kind.name),
        }
    }
}

impl ServiceTest {
    /// What could hurt on the way through the test to the step at this place: each hazard between two steps before it, and
    /// what to wait for. Empty where there is none.
    pub fn on_the_way(&self, at: usize) -> String {
        let of = |step: &Step| {
            let then = step.then.as_ref()?;
            Some(format!("After {}: {} Wait until: {}.", step.id, then.caution, then.wait))
        };
        self.steps.iter().take(at).filter_map(of).collect::<Vec<_>>().join(" ")
    }
}

/// A value with tolerance that the plate or a person states of the supply.
pub type Supply = Toleranced;
