//! One case: a machine that is not quite as its file says, what is wrong with it, and how it is measured.

use crate::dice::Dice;
use bench::Hypothesis;
use machine::kind::Takes;
use machine::model::Machine;
use machine::params::Value;
use quantity::{Dimension, Toleranced};
use simulator::{MeterModel, Operator, Setting, Subject, SupplyModel, specimen, specimen_at_limits};

/// How the faults of a case are drawn.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum Draw {
    /// One fault, as often as the machine file says.
    ByRate,
    /// One fault, each as often as every other.
    Uniform,
    /// Two faults of different parts, by rate.
    Double,
    /// Nothing is wrong; the customer complains all the same.
    Healthy,
}

impl Draw {
    pub(crate) const ALL: [Draw; 4] = [Draw::ByRate, Draw::Uniform, Draw::Double, Draw::Healthy];

    pub(crate) fn says(self) -> &'static str {
        match self {
            Draw::ByRate => "one fault, by rate",
            Draw::Uniform => "one fault, each alike",
            Draw::Double => "two faults",
            Draw::Healthy => "healthy",
        }
    }
}

/// How the service test is measured.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum Way {
    /// Watts, signs and codes typed step by step from a meter with a display.
    Typed,
    /// A recording of a plug that logs watts by radio.
    Logged,
}

impl Way {
    pub(crate) const ALL: [Way; 2] = [Way::Typed, Way::Logged];

    pub(crate) fn says(self) -> &'static str {
        match self {
            Way::Typed => "typed",
            Way::Logged => "recording",
        }
    }
}

/// Whose machines, supplies and technicians these are: what is right in one world only was fitted to it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum World {
    /// As the simulator has it.
    Usual,
    /// Harder: every parameter near one of its limits, supply ±10 % and seldom read, a meter of whole watts whose figures are
    /// rounded when typed, few signs asked for, codes often not looked up.
    Rough,
}

/// A case.
pub(crate) struct Case {
    pub(crate) world: World,
    /// The machine in the kitchen.
    pub(crate) real: Machine,
    /// What is wrong with it.
    pub(crate) truth: Hypothesis,
    /// The circumstances.
    pub(crate) setting: Setting,
    pub(crate) way: Way,
    pub(crate) seed: u64,
}

/// A motor's rated watts differ so much between two of a kind, in proportion. Common practice, no source.
const MOTOR_WATTS: f64 = 0.15;

/// What comes from this tap and goes down this drain against the rated flows. Common practice, no source.
const FLOWS: (f64, f64) = (0.75, 1.15);

/// Share of single faults drawn by rate that show only sometimes, and how often they do. Common practice, no source.
const SOMETIMES: f64 = 0.05;
const SHOWS: (f64, f64) = (0.3, 0.8);

/// Faults that nobody complains of lead to no call: drawn again, so often at most.
const TRIES: usize = 40;

impl Case {
    /// The case with this seed; none where no fault could be drawn that is complained of.
    pub(crate) fn draw(machine: &Machine, draw: Draw, way: Way, world: World, seed: u64) -> Option<Case> {
        let mut dice = Dice::new(seed);
        let real = match world {
            World::Usual => unlike(&specimen(machine, seed), machine, &mut dice),
            World::Rough => specimen_at_limits(machine, seed),
        };
        let mut setting = setting(machine, way, world, &mut dice);
        for _ in 0..TRIES {
            let truth = faults(machine, draw, &mut dice);
            let fitful = draw == Draw::ByRate && dice.chance(SOMETIMES);
            setting.intermittent = fitful.then(|| dice.between(SHOWS.0, SHOWS.1));
            let subject = Subject::new(real.clone(), truth.clone(), setting.clone(), seed);
            if draw == Draw::Healthy || !subject.complaint().is_empty() {
                return Some(Case { world, real, truth, setting, way, seed });
            }
        }
        None
    }
}

fn faults(machine: &Machine, draw: Draw, dice: &mut Dice) -> Hypothesis {
    let all: Vec<(usize, usize)> = machine.single_faults().collect();
    let rates: Vec<f64> = all.iter().map(|&(p, m)| machine.parts[p].rates[m]).collect();
    match draw {
        Draw::Healthy => Hypothesis::healthy(),
        Draw::ByRate => Hypothesis::of([all[dice.weighted(&rates)]]),
        Draw::Uniform => Hypothesis::of([all[dice.below(all.len())]]),
        Draw::Double => {
            let first = all[dice.weighted(&rates)];
            let other =
                |dice: &mut Dice| (0..50).map(|_| all[dice.weighted(&rates)]).find(|f| f.0 != first.0);
            let second = other(dice);
            Hypothesis::of(std::iter::once(first).chain(second))
        }
    }
}

/// What the bench's model does not know of this machine: rated watts of motors and pumps beyond the file's tolerance, and the water.
fn unlike(specimen: &Machine, file: &Machine, dice: &mut Dice) -> Machine {
    let mut real = specimen.clone();
    let flows = dice.between(FLOWS.0, FLOWS.1);
    for (id, part) in file.parts.iter().enumerate() {
        for param in part.kind.params {
            match part.params.get(param.name) {
                Some(Value::Table(rows)) if matches!(param.takes, Takes::Table(_, Dimension::Power)) => {
                    let by = 1.0 + MOTOR_WATTS * dice.between(-1.0, 1.0);
                    let rows = rows.iter().map(|&(x, y)| (x, y * by)).collect();
                    real.parts[id].params.set(param.name, Value::Table(rows));
                }
                Some(Value::Quantity(_)) if matches!(param.takes, Takes::Quantity(Dimension::Flow)) => {
                    let drawn = real.parts[id].params.nominal(param.name);
                    let flow = Value::Quantity(Toleranced::exact(drawn * flows));
                    real.parts[id].params.set(param.name, flow);
                }
                _ => {}
            }
        }
    }
    real
}

fn setting(machine: &Machine, way: Way, world: World, dice: &mut Dice) -> Setting {
    let rated_v = machine.plate.supply_v;
    let (low, high) = if world == World::Usual { (0.96, 1.06) } else { (0.9, 1.1) };
    let volts = rated_v * dice.between(low, high);
    let careful = dice.chance(0.5);
    let operator =
        if careful { Operator { misses: 0.02, ..Operator::careful() } } else { Operator::hurried() };
    Setting {
        meter: match way {
            Way::Typed => MeterModel::display(),
            Way::Logged if world == World::Rough => {
                MeterModel { quantum_w: 1.0, gain_error: 0.03, offset_w: 2.0, ..MeterModel::logger() }
            }
            Way::Logged => MeterModel::logger(),
        },
        supply: SupplyModel { source_ohm: dice.between(0.2, 0.8), ..SupplyModel::kitchen(volts) },
        operator,
        ambient_c: dice.between(12.0, 28.0),
        ..Setting::kitchen(volts)
    }
}
