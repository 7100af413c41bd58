//! What the supply makes of the course, and the meter of that.

use crate::course::Course;
use crate::dice::{Dice, Purpose};
use crate::record::Stretch;
use crate::setting::{MeterModel, SupplyModel};
use trace::Sample;

/// Ripple of moving parts holds together for about so long, s: half a turn of a tumbling drum.
const RIPPLE_S: f64 = 0.6;

/// The supply wanders in about this time, s. Common practice, no source.
const DRIFT_S: f64 = 90.0;

/// Mean time between two dips, s. Common practice, no source.
const DIP_EVERY_S: f64 = 400.0;

/// Mean length of a run of lost samples.
const BURST: f64 = 3.0;

/// Volts and amperes are shown in these steps.
const QUANTUM_V: f64 = 0.1;
const QUANTUM_A: f64 = 0.001;

/// Another load on the same socket.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Foreign {
    pub(crate) start_s: f64,
    pub(crate) end_s: f64,
    pub(crate) ohms: f64,
}

/// The supply as it moves.
struct Supply<'m> {
    model: &'m SupplyModel,
    dice: Dice,
    drift: f64,
    dip_from_s: f64,
    dip_to_s: f64,
    dip: f64,
}

impl<'m> Supply<'m> {
    fn new(model: &'m SupplyModel, seed: u64) -> Supply<'m> {
        let mut dice = Dice::new(seed, Purpose::Supply);
        let drift = dice.normal();
        let dip_from_s = dice.wait(DIP_EVERY_S);
        Supply { model, drift, dip_from_s, dip_to_s: dip_from_s, dip: 0.0, dice }
    }

    /// Volts without load, so many seconds after the last time.
    fn open_v(&mut self, t: f64, h: f64) -> f64 {
        self.drift += -self.drift * h / DRIFT_S + (2.0 * h / DRIFT_S).sqrt() * self.dice.normal();
        if t > self.dip_to_s {
            self.dip_from_s = t + self.dice.wait(DIP_EVERY_S);
            self.dip_to_s = self.dip_from_s + self.dice.between(0.1, 0.8);
            self.dip = self.dice.between(0.03, 0.12);
        }
        let dipped = self.model.dips && t >= self.dip_from_s;
        let volts = self.model.volts + self.model.drift_v * self.drift;
        if dipped { volts * (1.0 - self.dip) } else { volts }
    }
}

/// The errors that a meter has all through a recording, and its memory.
struct Meter<'m> {
    model: &'m MeterModel,
    dice: Dice,
    gain: f64,
    offset_w: f64,
    lost: bool,
}

impl Meter<'_> {
    /// Is this sample lost?
    fn loses(&mut self) -> bool {
        let share = self.model.drop_share.clamp(0.0, 0.95);
        self.lost = if self.lost {
            self.dice.chance(1.0 - 1.0 / BURST)
        } else {
            self.dice.chance(share / (BURST * (1.0 - share)))
        };
        self.lost
    }

    fn shows(&self, t: f64, watts: f64, vars: f64, volts: f64) -> Sample {
        let live = volts > 1.0;
        // Plug-in meters do not count backwards below nothing.
        let power_w = if live {
            quantised((watts * self.gain + self.offset_w).max(0.0), self.model.quantum_w)
        } else {
            0.0
        };
        let amps = if live { watts.hypot(vars) / volts } else { 0.0 };
        let logs = self.model.logs_amps;
        Sample {
            time_s: t,
            power_w,
            voltage_v: self.model.logs_volts.then(|| quantised(volts, QUANTUM_V)),
            current_a: logs.then(|| quantised(amps * self.gain, QUANTUM_A)),
            power_factor: (logs && amps > QUANTUM_A)
                .then(|| quantised((watts / (amps * volts)).clamp(0.0, 1.0), 0.01)),
        }
    }
}

fn quantised(x: f64, quantum: f64) -> f64 {
    if quantum > 0.0 { (x / quantum).round() * quantum } else { x }
}

/// What the meter records of a course, and into `stretches` the true energy of each.
pub(crate) fn samples(
    course: &Course,
    meter: &MeterModel,
    supply: &SupplyModel,
    foreign: &[Foreign],
    stretches: &mut [Stretch],
    seed: u64,
) -> Vec<Sample> {
    let every_s = meter.every_s.max(0.01);
    let h = (every_s / 10.0).clamp(0.005, 0.2);
    let mut dice = Dice::new(seed, Purpose::Meter);
    let mut meter = Meter {
        gain: 1.0 + meter.gain_error * dice.between(-1.0, 1.0),
        offset_w: meter.offset_w * dice.between(-1.0, 1.0),
        model: meter,
        dice,
        lost: false,
    };
    let mut mains = Supply::new(supply, seed);
    let mut reader = course.reader();
    let (mut watts, mut vars, mut ripple) = (0.0, 0.0, 0.0);
    let keeps = if meter.model.lag_s > 0.0 { (-h / meter.model.lag_s).exp() } else { 0.0 };
    let mut taken = Vec::new();
    let (mut due, mut next_s) = (0u64, 0.0);
    let mut stretch = 0;
    for step in 0u64.. {
        let t = step as f64 * h;
        if t > course.now_s {
            break;
        }
        let dead = course.dead_from_s().is_some_and(|from| t >= from);
        let mut drawn = reader.at(t);
        ripple += -ripple * h.min(RIPPLE_S) / RIPPLE_S
            + (2.0 * h.min(RIPPLE_S) / RIPPLE_S).sqrt() * mains.dice.normal();
        drawn.watts = (drawn.watts + drawn.stir_w * ripple).max(0.0);
        let open_v = mains.open_v(t, h);
        let conductance: f64 =
            foreign.iter().filter(|f| (f.start_s..f.end_s).contains(&t)).map(|f| 1.0 / f.ohms).sum();
        let reference_v = supply.volts.max(1.0);
        // One round is enough: the source resistance is a hundredth of the load.
        let amps = drawn.watts.hypot(drawn.vars) / reference_v + open_v * conductance;
        let volts = if dead { 0.0 } else { (open_v - supply.source_ohm * amps).max(0.0) };
        let factor = (volts / reference_v).powf(drawn.exponent);
        let (true_w, true_var) = if dead {
            (0.0, 0.0)
        } else {
            (drawn.watts * factor + volts * volts * conductance, drawn.vars * factor)
        };
        while stretches.get(stretch).is_some_and(|s| s.end_s <= t) {
            stretch += 1;
        }
        if let Some(here) = stretches.get_mut(stretch)
            && here.start_s <= t
        {
            here.energy_j += true_w * h;
        }
        watts = true_w + (watts - true_w) * keeps;
        vars = true_var + (vars - true_var) * keeps;
        if t < next_s {
            continue;
        }
        if !meter.loses() {
            let mut sample = meter.shows(t, watts, vars, volts);
            if meter.dice.chance(meter.model.stuck_share)
                && let Some(&last) = taken.last()
            {
                sample = Sample { time_s: t, ..last };
            }
            taken.push(sample);
        }
        due += 1;
        let jitter = meter.model.jitter_s * meter.dice.between(-1.0, 1.0);
        next_s = (due as f64 * every_s + jitter).max(t + h);
    }
    taken
}
