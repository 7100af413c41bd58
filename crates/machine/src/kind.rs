//! What a part kind is: its terminals, parameters, fault modes with their rates, behaviour and checks.
//!
//! A kind lives in one file of `kinds/` as `pub(super) static KIND: PartKind`. Nothing outside that file knows its
//! physics: `circuit` takes its branches, `bench` its effects, `diagnosis` its modes, rates and checks.

#[cfg(test)]
mod at_rest;
/// What drain pumps and circulation pumps have in common.
mod pump;
/// What motors have in common.
mod work;

use crate::params::Params;
use quantity::Dimension;

/// A kind of part, such as "heating element": everything that is true of all parts of the kind.
pub struct PartKind {
    /// The trade's word, as a machine file writes it: `kind = "heating element"`.
    pub name: &'static str,
    /// One sentence for a person choosing a kind.
    pub about: &'static str,
    /// Where it connects electrically; empty for a belt or a hose.
    pub terminals: &'static [Terminal],
    /// What a machine file says of one such part.
    pub params: &'static [Param],
    /// How often parts of this kind are the cause of a job.
    pub rate: Rate,
    /// The ways in which it fails.
    pub modes: &'static [Mode],
    /// Its electrical, mechanical and thermal behaviour, healthy and in each mode.
    pub behaviour: &'static dyn Behaviour,
    /// Checks done with eye, ear or hand (ohms between terminals follow from the wiring and are not listed).
    pub checks: &'static [HandCheck],
    /// Pairs that come together more often than chance, such as a heater leak that takes its relay with it.
    pub consequences: &'static [Consequence],
}

/// An electrical terminal of a part.
pub struct Terminal {
    /// Its name within the part: `1`, `2`, `earth`.
    pub name: &'static str,
    /// Must it be wired? An optional terminal (a field tap) may stay free.
    pub must: bool,
    /// What it is for; decides which checks of the file apply.
    pub role: Role,
}

/// What a terminal carries.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Role {
    /// Mains current.
    Power,
    /// A sensor or low-voltage signal.
    Signal,
    /// The protective conductor, or the metal that it must reach.
    Earth,
}

/// A parameter that a machine file may state of a part.
pub struct Param {
    /// The key.
    pub name: &'static str,
    /// What its text must hold.
    pub takes: Takes,
    /// Used where the file is silent, in the file's own notation; `None` with `must` makes the key obligatory.
    pub default: Option<&'static str>,
    /// Is the key obligatory?
    pub must: bool,
    /// What it means.
    pub about: &'static str,
}

/// The form of a parameter's text.
#[derive(Clone, Copy, Debug)]
pub enum Takes {
    /// A quantity, with tolerance where known: `"9R4 ±7 %"`.
    Quantity(Dimension),
    /// A quantity at a stated condition: `"1850 W at 230 V"`.
    RatedAt(Dimension, Dimension),
    /// A range: `"800R .. 40k"`.
    Range(Dimension),
    /// Pairs: `[["45 rpm", "23 W"], ["1350 rpm", "415 W"]]`, ascending in the first.
    Table(Dimension, Dimension),
    /// One of the words.
    Choice(&'static [&'static str]),
    /// `true` or `false`.
    Flag,
    /// Free words for a person.
    Words,
    /// The name of another part of the same file.
    Part,
}

/// A share of jobs in per cent, with where the figure comes from.
pub struct Rate {
    /// Share of jobs, in per cent, in which a part of this kind is the cause, in a machine that has one.
    pub percent: f64,
    /// Source, or `common practice, no source`, or `from memory: …`.
    pub source: &'static str,
}

/// A way in which a part of the kind fails.
pub struct Mode {
    /// The key: `open`, `short`, `leak`, …
    pub name: &'static str,
    /// Completes "the … is/has …" for a person: "open circuit", "leaking to earth".
    pub says: &'static str,
    /// Weight among the modes of this kind (any scale; only ratios count).
    pub share: f64,
    /// Source of the share, or `common practice, no source`.
    pub source: &'static str,
    /// What the technician does about it: `Mend::Fit` a new part, clean, re-make a joint.
    pub mend: Mend,
}

/// How a fault mode is mended.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Mend {
    /// Fit a new part.
    Fit,
    /// Clean or clear it; no part needed.
    Clean,
    /// Adjust, re-seat or re-make it; no part needed.
    Remake,
}

/// A check done by eye, ear or hand, answered yes or no.
pub struct HandCheck {
    /// Name within the kind: `look`, `turn by hand`.
    pub id: &'static str,
    /// The question, answered yes or no.
    pub ask: &'static str,
    /// Minutes, once the part is reached.
    pub minutes: f64,
    /// Done at the part, behind its panels; else from outside or through the door, whatever the part is behind.
    pub at_part: bool,
    /// How the machine is supplied while it is answered.
    pub power: Power,
    /// What could hurt and what to do about it; empty where nothing can.
    pub caution: &'static str,
    /// Modes in which the answer is yes; `""` stands for healthy.
    pub yes_in: &'static [&'static str],
    /// Chance that the answer misleads (0 … 0.5).
    pub slip: f64,
}

/// How a machine is supplied while something is checked.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Power {
    /// Unplugged, discharged, proven dead.
    Dead,
    /// Plugged in and closed up: nothing live can be touched.
    Closed,
    /// Live with something open: for competent persons only, off unless asked for.
    Live,
}

impl Power {
    /// As a machine file writes it.
    pub const WORDS: &'static [&'static str] = &["dead", "closed", "live"];

    /// From a machine file.
    pub fn parse(text: &str) -> Option<Power> {
        [Power::Dead, Power::Closed, Power::Live]
            .into_iter()
            .zip(Self::WORDS)
            .find(|p| *p.1 == text)
            .map(|p| p.0)
    }
}

/// A fault of one part that tends to bring another with it.
pub struct Consequence {
    /// The mode here.
    pub mode: &'static str,
    /// Kind of the other part.
    pub kind: &'static str,
    /// Its mode.
    pub brings: &'static str,
    /// Probability that the second follows, given the first.
    pub probability: f64,
    /// Source, or `common practice, no source`.
    pub source: &'static str,
}

/// A path between two ends, as mains frequency or an ohmmeter sees it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Path {
    /// No path.
    Open,
    /// A path of no resistance.
    Closed,
    /// Resistance and reactance (positive is inductive), ohms.
    Ohms {
        /// Resistance.
        r: f64,
        /// Reactance at mains frequency.
        x: f64,
    },
}

impl Path {
    /// A plain resistance.
    pub fn resistor(r: f64) -> Path {
        Path::Ohms { r, x: 0.0 }
    }

    /// The impedance that takes `watts` at `volts` with the given power factor (lagging).
    pub fn load(watts: f64, volts: f64, power_factor: f64) -> Path {
        if !(watts > 0.0 && volts > 0.0 && power_factor > 0.0) {
            return Path::Open;
        }
        let pf = power_factor.min(1.0);
        let z = volts * volts * pf / watts;
        Path::Ohms { r: z * pf, x: z * (1.0 - pf * pf).sqrt() }
    }
}

/// A branch that a part puts between two of its ends.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Branch {
    /// Name within the part: `rod`, `coil`, `contact`.
    pub name: &'static str,
    /// One end: a terminal's name, or one of [`SUPPLY_LINE`], [`SUPPLY_NEUTRAL`], [`SUPPLY_EARTH`], [`CHASSIS`].
    pub from: &'static str,
    /// The other end.
    pub to: &'static str,
    /// As mains frequency sees it.
    pub ac: Path,
    /// As an ohmmeter sees it, cold and dead.
    pub dc: Path,
    /// Relative standard uncertainty of the ohms that an ohmmeter sees, from the part's tolerance.
    pub u_rel: f64,
    /// Relative standard uncertainty of the impedance at work, and so of its watts.
    pub ac_u_rel: f64,
}

/// The socket's line contact, as an end of a branch.
pub const SUPPLY_LINE: &str = "@line";
/// The socket's neutral contact.
pub const SUPPLY_NEUTRAL: &str = "@neutral";
/// The socket's protective contact.
pub const SUPPLY_EARTH: &str = "@earth";
/// The metal of the cabinet.
pub const CHASSIS: &str = "@chassis";

/// The circumstances in which a part is asked for its branches.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Situation {
    /// Rated supply, volts: loads given by their watts are worked out at this.
    pub rated_v: f64,
    /// Mains frequency, Hz.
    pub hz: f64,
    /// The board drives this part (or, for an output, switches it on).
    pub driven: bool,
    /// Wanted drum speed, rpm; 0 where the drive has none. Negative turns left.
    pub wanted_rpm: f64,
    /// Motors: is it taken to run (`true`) or to stand still? `bench` tries running first.
    pub moving: bool,
    /// Locks: is the bolt home and the contact made?
    pub locked: bool,
    /// Water in the tub or sump, litres.
    pub level_l: f64,
    /// Temperature where the part sits, °C.
    pub temperature_c: f64,
    /// Speed of what the part watches or turns, drum rpm, signed (right positive).
    pub speed_rpm: f64,
    /// Outputs only: what the load behind an inverter takes, watts at the mains side.
    pub demand_w: f64,
    /// Its standard uncertainty, watts.
    pub demand_u_w: f64,
    /// Motors and pumps: factor on the mechanical load from what they move (1 = as healthy).
    pub drag: f64,
}

/// What flowed in a part, once the network was solved.
#[derive(Clone, Debug, Default)]
pub struct Flows {
    /// Per branch, in the order in which the part gave them: volts across it (magnitude).
    pub volts: Vec<f64>,
    /// Per branch: amperes as real and imaginary part against the supply.
    pub amps: Vec<(f64, f64)>,
    /// Per branch: watts.
    pub watts: Vec<f64>,
    /// Motors on an inverter: how many of the three phases reach it (0 where no inverter drives it).
    pub phases: u8,
}

/// What a part does to the machine around it, at this moment.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Effect {
    /// Heat given to the medium the part sits in, watts.
    pub heat_w: f64,
    /// Water let in, l/min.
    pub water_in_l_min: f64,
    /// Water pumped out, l/min.
    pub water_out_l_min: f64,
    /// Rotation given to what the part turns: drum rpm, right positive; `None` where it turns nothing.
    pub turns_rpm: Option<f64>,
    /// The part would start or keep running. Compared with [`Situation::moving`].
    pub runs: bool,
    /// Watts that an inverter must take from the mains for it.
    pub demand_w: f64,
    /// Their standard uncertainty, watts.
    pub demand_u_w: f64,
    /// The bolt is home.
    pub locks: bool,
    /// It decides what is driven, and measures every resistance wrongly.
    pub misreads: bool,
    /// What is wrong with the panel.
    pub panel: Panel,
    /// What is seen, heard or felt, in the words of an observation: "drum turns", "clicks", "hums".
    pub signs: Vec<&'static str>,
}

/// What a person has of the panel of a machine that is on.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Panel {
    /// It shows and answers.
    #[default]
    Sound,
    /// Figures or lamps are missing: what it shows may be misread.
    Patchy,
    /// It shows nothing; the machine obeys.
    Dark,
    /// It does not answer to keys: no test can be entered.
    Deaf,
}

/// What moves through a chain of parts: motion over a belt, water through a hose, pressure in an air hose.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Medium {
    /// Rotation.
    Motion,
    /// Water.
    Water,
    /// Air of a fan.
    Air,
    /// Pressure of the level sensing.
    Pressure,
}

/// How a part passes on what moves through it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Passage {
    /// Share of speed, flow or pressure that comes out at the far end (1 = all).
    pub factor: f64,
    /// Factor on the power which the driving part takes (1 = as healthy).
    pub load: f64,
}

impl Passage {
    /// Everything passes; nothing drags.
    pub const CLEAR: Passage = Passage { factor: 1.0, load: 1.0 };
}

/// What a sensing part reports to the board.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Sensed {
    /// Nothing usable.
    Nothing,
    /// A value in the base unit of what it senses.
    Value(f64),
}

/// What a kind does. `mode` is `None` for healthy, else the name of one of the kind's modes.
pub trait Behaviour: Sync {
    /// The branches it puts into the network, appended to `out`; the number and order may depend on the mode.
    fn electrics(&self, params: &Params, mode: Option<&str>, situation: &Situation, out: &mut Vec<Branch>) {
        let _ = (params, mode, situation, out);
    }

    /// What it does to the machine, given what flows in it.
    fn effect(&self, params: &Params, mode: Option<&str>, situation: &Situation, flows: &Flows) -> Effect {
        let _ = (params, mode, situation, flows);
        Effect::default()
    }

    /// How it passes on what moves through it.
    fn passage(&self, params: &Params, mode: Option<&str>, medium: Medium) -> Passage {
        let _ = (params, mode, medium);
        Passage::CLEAR
    }

    /// What it reports, where the board reads it as a value. `situation` holds the true values, already reduced by
    /// the chain the part senses through.
    fn sense(&self, params: &Params, mode: Option<&str>, situation: &Situation) -> Sensed {
        let _ = (params, mode, situation);
        Sensed::Nothing
    }

    /// Can such a part fail in this mode? An element of one rod has no second to lose.
    fn applies(&self, params: &Params, mode: &str) -> bool {
        let _ = (params, mode);
        true
    }

    /// Rated power that it turns into heat as its purpose, W: 0 for all that only gets warm at its work.
    fn heats_w(&self, params: &Params) -> f64 {
        let _ = params;
        0.0
    }

    /// How far a parameter of a good part may lie from what the file says where the file states no tolerance: a limit
    /// either way, in proportion. 0: it is as stated.
    fn spread(&self, params: &Params, param: &str) -> f64 {
        let _ = (params, param);
        0.0
    }

    /// What it keeps moving while it runs: behind a fan that stands there is no air.
    fn moves(&self) -> Option<Medium> {
        None
    }

    /// A mode that is another one now and then: which one it is while it shows.
    fn now_and_then(&self, mode: &str) -> Option<&'static str> {
        let _ = mode;
        None
    }

    /// Can it stand still under voltage, so that [`Situation::moving`] makes a difference? Motors can.
    fn can_stall(&self) -> bool {
        false
    }

    /// Has it a bolt, so that [`Situation::locked`] makes a difference? Door locks have.
    fn has_bolt(&self) -> bool {
        false
    }

    /// Does it nothing but conduct, as its mode alone decides: the same branches in every situation, and no effect?
    fn only_conducts(&self) -> bool {
        false
    }

    /// Is it a board: does it decide, with outputs and inputs of its own?
    fn is_board(&self) -> bool {
        false
    }

    /// What [`Behaviour::sense`] reports; its value is in this dimension's base unit.
    fn reports(&self) -> Dimension {
        Dimension::Volume
    }
}

/// A kind without electrical or mechanical behaviour of its own.
pub struct Inert;
impl Behaviour for Inert {}

/// The source of a rate or share that is trade lore.
const COMMON: &str = "common practice, no source";

/// The kinds themselves, one file each, listed by `build.rs`.
mod kinds {
    #[allow(unused_imports, reason = "the one import list of all kinds, present and to come")]
    use super::{
        Behaviour, Branch, CHASSIS, COMMON, Consequence, Dimension, Effect, Flows, HandCheck, Inert, Medium,
        Mend, Mode, Panel, Param, Params, PartKind, Passage, Path, Power, Rate, Role, SUPPLY_EARTH,
        SUPPLY_LINE, SUPPLY_NEUTRAL, Sensed, Situation, Takes, Terminal, pump, work,
    };
    include!(concat!(env!("OUT_DIR"), "/kinds.rs"));
    pub(super) fn all() -> &'static [&'static PartKind] {
        ALL
    }
}

/// All part kinds of the library, sorted by file name.
pub fn all() -> &'static [&'static PartKind] {
    kinds::all()
}

/// The kind with this name.
pub fn by_name(name: &str) -> Option<&'static PartKind> {
    all().iter().find(|k| k.name == name).copied()
}

impl PartKind {
    /// The mode that a mode which comes and goes shows as while it is there; none for modes that last. Both by place.
    pub fn shows_as(&self, mode: usize) -> Option<usize> {
        let shown = self.behaviour.now_and_then(self.modes.get(mode)?.name)?;
        self.modes.iter().position(|m| m.name == shown)
    }

    /// The mode with this name.
    pub fn mode(&self, name: &str) -> Option<&'static Mode> {
        self.modes.iter().find(|m| m.name == name)
    }
}

impl std::fmt::Debug for PartKind {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "PartKind({})", self.name)
    }
}
