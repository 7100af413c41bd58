//! Trouble with the supply: dips and interruptions of the voltage, power that is gone altogether, samples that stay away.
//!
//! A plug-in meter logs means over a second or so: a dip shorter than that shows less deep than it was, or not at all.

use crate::Sample;
use crate::loads::{QUIET_S, Run};

/// A dip is a voltage below this share of the reference, and ends 2 % above it; EN 50160 as manuals of power-quality meters
/// quote it (the standard itself was not at hand).
const DIP: f64 = 0.90;
const OVER: f64 = 0.92;
/// An interruption is a voltage below this share of the reference, EN 50160 as above.
const INTERRUPTED: f64 = 0.05;
/// The reference slides: a first-order filter of this time constant that stands still during a dip, IEC 61000-4-30 (from
/// memory), in seconds.
const SLIDING_S: f64 = 60.0;
/// A dip lasts at most this long, EN 50160 as above; a voltage that stays low longer is the new reference.
const LONGEST_DIP_S: f64 = 60.0;
/// What a machine still draws when nothing runs is known after this many seconds and samples of a run, ten of them at it.
const FLOOR_S: f64 = 300.0;
const FLOOR_SAMPLES: u32 = 60;
const AT_FLOOR: u32 = 10;
/// It is electronics if it is at most this much, in watts, and this share of the run's highest power.
const FLOOR_W: f64 = 30.0;
const FLOOR_SHARE: f64 = 0.05;
/// And at least this much and so many of the meter's steps: less may read as 0 now and then.
const LEAST_FLOOR_W: f64 = 1.0;
const LEAST_FLOOR_STEPS: f64 = 2.5;
/// Fewer samples and seconds of exactly 0 W are a meter's slip.
const ZERO_SAMPLES: u32 = 3;
const ZERO_S: f64 = 3.0;
/// What ends within this time after a disturbance ended just after it, in seconds; also two steps of the recording.
const JUST_AFTER_S: f64 = 10.0;
/// A gap shorter than this counts as a disturbance only where something ended with it, in seconds.
const LONG_GAP_S: f64 = 60.0;
/// Disturbances kept; more are only counted.
const KEPT: usize = 1000;

/// What was the matter with the supply.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Trouble {
    /// The voltage fell below 90 % of what it was before.
    Dip {
        /// Lowest voltage logged, V.
        lowest_v: f64,
        /// Voltage before, V.
        reference_v: f64,
    },
    /// The voltage was below 5 % of what it was before.
    Interruption {
        /// Voltage before, V.
        reference_v: f64,
    },
    /// The power fell to exactly 0 W, standby too, while the meter went on: plug, switch, fuse or door contact after the
    /// meter, or the mains where the meter runs on a battery.
    NoPower,
    /// The meter gave no samples in the middle of a run: the mains was gone, or its link.
    NoSamples,
}

/// What ended with a disturbance or just after it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Ended {
    /// A heater that was on.
    Heater,
    /// The final spin.
    Spin,
    /// The run.
    Run,
}

/// A disturbance of the supply.
#[derive(Debug, Clone, PartialEq)]
pub struct Disturbance {
    /// What it was.
    pub trouble: Trouble,
    /// First sample of it, and first after it, in seconds; of a gap the samples on both sides.
    pub start_s: f64,
    /// See `start_s`.
    pub end_s: f64,
    /// Place in the list of the run in which it was; none while nothing ran.
    pub run: Option<usize>,
    /// It came as a heater came on: the machine's own load on a weak supply.
    pub with_heater: bool,
    /// What ended with it or within 10 s after it. After it does not always mean because of it.
    pub ended: Vec<Ended>,
}

/// Looks for trouble sample by sample.
#[derive(Debug, Default)]
pub(super) struct Watch {
    reference: Option<Reference>,
    dip: Option<(f64, f64)>,
    /// The machine read exactly 0 W before the run: its electronics do not show, so that 0 W says nothing.
    idle_at_0: bool,
    floor: Floor,
    found: Vec<Disturbance>,
    settled: usize,
    count: u64,
}

#[derive(Debug, Clone, Copy)]
struct Reference {
    volts: f64,
    since_s: f64,
}

/// What a machine draws when nothing runs, and whether that is gone.
#[derive(Debug, Clone, Copy, Default)]
struct Floor {
    since_s: f64,
    samples: u32,
    least_w: f64,
    at_least: u32,
    top_w: f64,
    last_w: f64,
    /// Smallest step between readings; 0 before there was one.
    step_w: f64,
    /// 0 W was read before the floor was known: this meter or machine shows standby as 0.
    spoilt: bool,
    /// Since when 0 W is read, how many samples, and what was drawn before.
    zero: Option<(f64, u32, f64)>,
}

impl Watch {
    /// Takes a sample, the one before, whether there is a gap between them, and whether a run is going on.
    pub(super) fn push(&mut self, sample: &Sample, last: Option<&Sample>, gap: bool, running: bool) {
        if let Some(last) = last.filter(|_| gap && running) {
            self.add(Trouble::NoSamples, last.time_s, sample.time_s);
        }
        if let Some(volts) = sample.voltage_v {
            self.voltage(sample.time_s, volts, last.map_or(0.0, |l| sample.time_s - l.time_s));
        }
        if !running {
            // The run's first sample with a load comes here too, and says nothing of what was before.
            let first_load = last.is_some_and(|last| sample.power_w > 2.0 * last.power_w + 3.0);
            self.idle_at_0 = sample.power_w == 0.0 || (self.idle_at_0 && first_load);
        } else if !self.idle_at_0
            && let Some((from_s, to_s)) = self.floor.push(sample)
        {
            self.add(Trouble::NoPower, from_s, to_s);
        }
    }

    fn voltage(&mut self, time_s: f64, volts: f64, step_s: f64) {
        let Some(Reference { volts: usual, since_s }) = self.reference else {
            if volts > 0.0 {
                self.reference = Some(Reference { volts, since_s: time_s });
            }
            return;
        };
        if let Some((start_s, lowest_v)) = self.dip {
            let lowest_v = lowest_v.min(volts);
            let long = time_s - start_s > LONGEST_DIP_S;
            if volts < OVER * usual && (!long || volts < INTERRUPTED * usual) {
                self.dip = Some((start_s, lowest_v));
                return;
            }
            self.close_dip(time_s);
            if long && volts < OVER * usual {
                self.reference = Some(Reference { volts, since_s: time_s });
            }
            return;
        }
        // The recording began in a dip.
        let began_low = volts * DIP > usual && time_s - since_s < SLIDING_S;
        if began_low {
            self.reference = Some(Reference { volts, since_s: time_s });
        } else if volts < DIP * usual {
            self.dip = Some((time_s, volts));
        } else {
            let share = 1.0 - (-step_s.max(0.0) / SLIDING_S).exp();
            self.reference = Some(Reference { volts: usual + share * (volts - usual), since_s });
        }
    }

    fn close_dip(&mut self, end_s: f64) {
        let Some(((start_s, lowest_v), reference)) = self.dip.take().zip(self.reference) else { return };
        let reference_v = reference.volts;
        let trouble = if lowest_v < INTERRUPTED * reference_v {
            Trouble::Interruption { reference_v }
        } else {
            Trouble::Dip { lowest_v, reference_v }
        };
        self.add(trouble, start_s, end_s);
    }

    fn add(&mut self, trouble: Trouble, start_s: f64, end_s: f64) {
        self.count += 1;
        if self.found.len() < KEPT {
            let ended = Vec::new();
            self.found.push(Disturbance { trouble, start_s, end_s, run: None, with_heater: false, ended });
        }
    }

    /// A run is over: gives its disturbances their place in it.
    pub(super) fn settle(&mut self, run: &Run, place: usize, step_s: f64, now_s: f64) {
        if self.dip.is_some_and(|(start_s, _)| start_s <= run.end_s) {
            self.close_dip(now_s);
        }
        if let Some(from_s) = std::mem::take(&mut self.floor).gone_for_good() {
            self.add(Trouble::NoPower, from_s, now_s);
        }
        let mut fresh = self.found.split_off(self.settled);
        for found in &mut fresh {
            if (run.start_s..=run.end_s + JUST_AFTER_S).contains(&found.start_s) {
                found.run = Some(place);
                find_ended(found, run, 2.0 * step_s);
            }
        }
        let volts_told: Vec<(f64, f64)> =
            fresh.iter().filter(|d| is_voltage(d.trouble)).map(|d| (d.start_s, d.end_s)).collect();
        let before = fresh.len();
        fresh.retain(|d| match d.trouble {
            Trouble::NoSamples => {
                d.run.is_some() && (!d.ended.is_empty() || d.end_s - d.start_s >= LONG_GAP_S)
            }
            // The voltage says it already.
            Trouble::NoPower => !volts_told.iter().any(|v| v.0 <= d.end_s && d.start_s <= v.1),
            Trouble::Dip { .. } | Trouble::Interruption { .. } => true,
        });
        fresh.sort_by(|a, b| a.start_s.total_cmp(&b.start_s));
        self.count -= (before - fresh.len()) as u64;
        self.found.append(&mut fresh);
        self.settled = self.found.len();
    }

    /// All of them in order, and how many there were.
    pub(super) fn finish(mut self, now_s: f64) -> (Vec<Disturbance>, u64) {
        self.close_dip(now_s);
        (self.found, self.count)
    }
}

fn is_voltage(trouble: Trouble) -> bool {
    matches!(trouble, Trouble::Dip { .. } | Trouble::Interruption { .. })
}

fn find_ended(found: &mut Disturbance, run: &Run, slack_s: f64) {
    let soon = |at_s: f64| (found.start_s - slack_s..=found.end_s + JUST_AFTER_S + slack_s).contains(&at_s);
    // What went off before the last sample in front of the missing ones did not go off with them.
    let went_off = |at_s: f64| soon(at_s) && (found.trouble != Trouble::NoSamples || at_s >= found.start_s);
    let on = &run.loads.heater_on;
    let heater = on.iter().any(|h| went_off(h.end_s) && h.start_s < found.start_s);
    let spin = run.loads.spins.iter().any(|s| went_off(s.end_s) && s.start_s < found.start_s);
    let ended = [(heater, Ended::Heater), (spin, Ended::Spin), (soon(run.end_s), Ended::Run)];
    let with_heater = on.iter().any(|h| (found.start_s - h.start_s).abs() <= slack_s.max(3.0));
    found.with_heater = with_heater && matches!(found.trouble, Trouble::Dip { .. });
    found.ended = ended.into_iter().filter_map(|(did, what)| did.then_some(what)).collect();
}

impl Floor {
    /// Gives back the stretch without power that this sample ends.
    fn push(&mut self, sample: &Sample) -> Option<(f64, f64)> {
        let (time_s, power_w) = (sample.time_s, sample.power_w);
        if power_w == 0.0 {
            let before_w = self.last_w;
            if self.zero.is_none() && !self.known(time_s) {
                self.spoilt = true;
            }
            let zero = self.zero.get_or_insert((time_s, 0, before_w));
            zero.1 += 1;
            return None;
        }
        if self.zero.is_some_and(|zero| time_s - zero.0 > QUIET_S) {
            return None;
        }
        let gone = self.zero.take().filter(|zero| self.known(zero.0) && long(*zero, time_s));
        if self.samples == 0 {
            *self = Self { since_s: time_s, least_w: power_w, ..*self };
        }
        if power_w < 0.67 * self.least_w {
            self.at_least = 0;
        }
        self.samples += 1;
        self.least_w = self.least_w.min(power_w);
        self.at_least += u32::from(power_w <= 1.5 * self.least_w + 1.0);
        self.top_w = self.top_w.max(power_w);
        let step_w = (power_w - self.last_w).abs();
        if step_w > 1e-6 && self.samples > 1 {
            self.step_w = if self.step_w > 0.0 { self.step_w.min(step_w) } else { step_w };
        }
        self.last_w = power_w;
        gone.map(|(from_s, ..)| (from_s, time_s))
    }

    fn known(&self, at_s: f64) -> bool {
        !self.spoilt
            && self.samples >= FLOOR_SAMPLES
            && at_s - self.since_s >= FLOOR_S
            && self.at_least >= AT_FLOOR
            && self.least_w >= LEAST_FLOOR_W.max(LEAST_FLOOR_STEPS * self.step_w)
            && self.least_w <= FLOOR_W.min(FLOOR_SHARE * self.top_w)
    }

    /// Since when the power is gone that never came back within the run, where it went while a load was on: a machine
    /// that is switched off when it is done goes from standby to nothing.
    fn gone_for_good(self) -> Option<f64> {
        let zero = self.zero.filter(|zero| self.known(zero.0) && zero.1 >= ZERO_SAMPLES)?;
        (zero.2 >= 0.2 * self.top_w).then_some(zero.0)
    }
}

fn long(zero: (f64, u32, f64), until_s: f64) -> bool {
    zero.1 >= ZERO_SAMPLES && until_s - zero.0 >= ZERO_S
}
