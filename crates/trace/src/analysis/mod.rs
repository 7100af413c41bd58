//! What a recording of any length says, sample by sample.
//!
//! [`Analyser::push`] takes a sample and gives back the run that it ended, if it ended one; [`analyse`] pushes a whole
//! recording. There is one code path, so both give the same. The look-back is that of [`crate::loads::Stream`], one
//! run; memory grows with what was found, not with the samples.

mod doubt;
mod parts;
mod picture;
mod supply;

pub use doubt::Doubt;
pub use parts::Part;
pub use picture::{Bin, Picture};
pub use supply::{Disturbance, Ended, Trouble};

use crate::Sample;
use crate::loads::{Change, Kind, Run, Stream};
use crate::measures::{Difference, Reversals, SourceResistance, differences, reversals, source_resistance};
use crate::pace::Pace;

/// The supply as the technician states it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Supply {
    /// Voltage at the socket with the machine drawing, V.
    pub volts: f64,
    /// Its standard uncertainty, V.
    pub u_v: f64,
}

/// A run, and what was measured in it.
#[derive(Debug, Clone, PartialEq)]
pub struct Read {
    /// The run; its heater intervals carry ohms where a voltage was logged or stated. Its pulses have been taken out,
    /// so that a year of them takes no memory.
    pub run: Run,
    /// Standard uncertainty of the ohms of each heater interval, Ω.
    pub resistance_u_ohm: Vec<Option<f64>>,
    /// What can't be told about each heater interval.
    pub doubts: Vec<Vec<Doubt>>,
    /// Peaks of one or two samples above half the heater's watts outside its intervals, how many and the first second: a
    /// heater shorter than the sampling, an inrush or a slip of the meter, which power alone does not part.
    pub lone_peaks: Option<(usize, f64)>,
    /// Energy in Wh, as [`Analysis::energy_wh`].
    pub energy_wh: f64,
    /// Highest sample, W, and its time, s.
    pub peak_w: f64,
    /// See `peak_w`.
    pub peak_s: f64,
    /// A load was on at the last sample of the recording.
    pub unfinished: bool,
    /// How the drum reversed.
    pub reversals: Option<Reversals>,
    /// Lowest voltage logged, V.
    pub lowest_v: Option<f64>,
    /// Longest stretch without samples, s.
    pub longest_gap_s: f64,
}

/// What a whole recording says.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Analysis {
    /// Samples taken.
    pub samples: u64,
    /// Time of the first and the last sample, s.
    pub span_s: Option<(f64, f64)>,
    /// Energy, each sample's power up to the next sample, Wh; steps over 60 s are left out.
    pub energy_wh: f64,
    /// Highest power of a sample, W.
    pub peak_w: f64,
    /// Mean power while nothing but electronics ran, W.
    pub standby_w: Option<f64>,
    /// Runs in order.
    pub runs: Vec<Read>,
    /// Resistance of the source, from how far the voltage sags at heater edges.
    pub source: Option<SourceResistance>,
    /// How runs differ from what most of them do.
    pub differences: Vec<Difference>,
    /// Trouble with the supply, in order; the first 1000.
    pub disturbances: Vec<Disturbance>,
    /// How many disturbances there were.
    pub disturbances_count: u64,
    /// Stretches without samples as [`Pace`] tells them: the sample before and the sample after, in seconds. The first
    /// 100,000.
    pub gaps: Vec<(f64, f64)>,
}

/// Takes samples one by one.
#[derive(Debug)]
pub struct Analyser {
    supply: Option<Supply>,
    stream: Stream,
    /// Volts of the latest samples back to the first of the run, NaN where none was logged; empty where none ever was.
    volts: Vec<f32>,
    pace: Pace,
    supply_watch: supply::Watch,
    longest_gap_s: f64,
    picture: Picture,
    sources: Vec<SourceResistance>,
    joules: f64,
    last: Option<Sample>,
    out: Analysis,
}

/// Longest step that energy is counted over, s.
const KNOWN_S: f64 = 60.0;
/// Relative standard uncertainty of a heater's own watts: that of the labels it was held against.
const POWER_U: f64 = 0.015;
/// Samples with voltage kept from before a run.
const LEAD: usize = 2400;
/// Gaps kept.
const MOST_GAPS: usize = 100_000;

impl Analyser {
    /// For a recording whose supply is as stated, or not.
    pub fn new(supply: Option<Supply>) -> Self {
        Self {
            supply,
            stream: Stream::new(None),
            volts: Vec::new(),
            pace: Pace::default(),
            supply_watch: supply::Watch::default(),
            longest_gap_s: 0.0,
            picture: Picture::default(),
            sources: Vec::new(),
            joules: 0.0,
            last: None,
            out: Analysis::default(),
        }
    }

    /// Takes a sample; gives back the run that it ended.
    pub fn push(&mut self, sample: Sample) -> Option<&Read> {
        self.count(&sample);
        if let Some(Change::Ended(run)) = self.stream.push(sample.time_s, sample.power_w) {
            self.keep(*run);
            self.remember(sample);
            return self.out.runs.last();
        }
        self.remember(sample);
        None
    }

    /// Ends the recording.
    pub fn finish(mut self) -> (Analysis, Picture) {
        if let Some(run) = self.stream.finish() {
            self.keep(run);
        }
        let now_s = self.out.span_s.map_or(0.0, |s| s.1);
        (self.out.disturbances, self.out.disturbances_count) = self.supply_watch.finish(now_s);
        self.out.energy_wh = self.joules / 3600.0;
        self.out.standby_w = standby(&self.out.runs);
        self.out.source = together(&self.sources);
        let runs: Vec<Run> = self.out.runs.iter().map(|r| r.run.clone()).collect();
        self.out.differences = differences(&runs);
        // A run that the recording's end cuts off does not say what it would still have done.
        if let Some(last) = self.out.runs.last_mut().filter(|last| last.run.end_s >= now_s) {
            last.unfinished = true;
            let last = self.out.runs.len() - 1;
            let told = |d: &Difference| d.run() != last || matches!(d, Difference::HeaterPower { .. });
            self.out.differences.retain(told);
        }
        (self.out, self.picture)
    }

    fn count(&mut self, sample: &Sample) {
        let mut gap = false;
        if let Some(last) = self.last {
            let step_s = sample.time_s - last.time_s;
            if (0.0..=KNOWN_S).contains(&step_s) {
                self.joules += last.power_w * step_s;
            }
            self.longest_gap_s = self.longest_gap_s.max(step_s);
            gap = step_s > 0.0 && self.pace.is_gap(step_s);
            if gap && self.out.gaps.len() < MOST_GAPS {
                self.out.gaps.push((last.time_s, sample.time_s));
            }
        }
        self.supply_watch.push(sample, self.last.as_ref(), gap, self.stream.is_running());
        let first_s = self.out.span_s.map_or(sample.time_s, |s| s.0);
        self.out.span_s = Some((first_s, sample.time_s));
        let first = self.out.samples == 0;
        self.out.peak_w = if first { sample.power_w } else { self.out.peak_w.max(sample.power_w) };
        self.out.samples += 1;
        self.picture.push(sample.time_s, sample.power_w);
        self.last = Some(*sample);
    }

    fn remember(&mut self, sample: Sample) {
        let running = self.stream.is_running();
        if !running {
            self.longest_gap_s = 0.0;
        }
        if !sample.time_s.is_finite() || !sample.power_w.is_finite() {
            // The stream leaves it out as well, and volts stand beside its rows.
            return;
        }
        if sample.voltage_v.is_none() && self.volts.is_empty() {
            return;
        }
        self.volts.push(sample.voltage_v.map_or(f32::NAN, |v| v as f32));
        if !running && self.volts.len() > 2 * LEAD {
            self.volts.drain(..LEAD);
        }
    }

    fn keep(&mut self, run: Run) {
        let now_s = self.out.span_s.map_or(0.0, |s| s.1);
        self.supply_watch.settle(&run, self.out.runs.len(), self.pace.step_s(), now_s);
        let (time_s, power_w) = self.stream.ended_rows();
        let volts = beside(&std::mem::take(&mut self.volts), time_s.len());
        self.sources.extend(source_resistance(time_s, power_w, &volts, &run.loads.heater_on));
        let mut read = read(run, time_s, &volts, self.supply, self.longest_gap_s);
        let on = &read.run.loads.heater_on;
        let beside = |at: usize| {
            let before_s = at.checked_sub(1).map_or(f64::NEG_INFINITY, |before| on[before].end_s);
            (before_s, on.get(at + 1).map_or(f64::INFINITY, |next| next.start_s))
        };
        let doubts = |(at, h)| doubt::doubts(h, beside(at), time_s, power_w, &self.out.gaps);
        read.doubts = on.iter().enumerate().map(doubts).collect();
        read.lone_peaks = doubt::lone_peaks(on, time_s, power_w);
        read.energy_wh = energy_wh(time_s, power_w);
        if let Some((t, w)) = time_s.iter().zip(power_w).max_by(|a, b| a.1.total_cmp(b.1)) {
            (read.peak_s, read.peak_w) = (*t, *w);
        }
        self.out.runs.push(read);
        self.longest_gap_s = 0.0;
    }
}

/// All of a recording at once.
pub fn analyse(samples: &[Sample], supply: Option<Supply>) -> Analysis {
    let mut analyser = Analyser::new(supply);
    for sample in samples {
        analyser.push(*sample);
    }
    analyser.finish().0
}

fn read(mut run: Run, time_s: &[f64], volts: &[f64], supply: Option<Supply>, longest_gap_s: f64) -> Read {
    let reversals = reversals(&run.loads.pulses);
    run.loads.pulses = Vec::new();
    let mut resistance_u_ohm = Vec::new();
    for on in &mut run.loads.heater_on {
        let inside = between(time_s, volts, on.start_s, on.end_s);
        let known = logged(inside).or(supply).filter(|s| on.power_w > 0.0 && s.volts > 0.0);
        on.resistance_ohm = known.map(|s| s.volts * s.volts / on.power_w);
        // u(R)/R = √((2·u(U)/U)² + (u(P)/P)²): JCGM 100, 5.1.6.
        let relative = known.map(|s| (2.0 * s.u_v / s.volts).hypot(POWER_U));
        resistance_u_ohm.push(on.resistance_ohm.zip(relative).map(|(ohm, u)| ohm * u));
    }
    let during = between(time_s, volts, run.start_s, run.end_s);
    let lowest_v = during.iter().copied().filter(|v| v.is_finite()).reduce(f64::min);
    Read {
        run,
        resistance_u_ohm,
        doubts: Vec::new(),
        lone_peaks: None,
        energy_wh: 0.0,
        peak_w: 0.0,
        peak_s: 0.0,
        unfinished: false,
        reversals,
        lowest_v,
        longest_gap_s,
    }
}

fn energy_wh(time_s: &[f64], power_w: &[f64]) -> f64 {
    let steps = time_s.windows(2).map(|pair| pair[1] - pair[0]);
    let known = steps.zip(power_w).filter(|(step_s, _)| (0.0..=KNOWN_S).contains(step_s));
    known.map(|(step_s, w)| w * step_s).sum::<f64>() / 3600.0
}

/// Median voltage, and its standard uncertainty from the spread.
fn logged(volts: &[f64]) -> Option<Supply> {
    let volts: Vec<f64> = volts.iter().copied().filter(|v| v.is_finite()).collect();
    if volts.is_empty() {
        return None;
    }
    let middle = crate::loads::quantile(&volts, 0.5);
    let away: Vec<f64> = volts.iter().map(|v| (v - middle).abs()).collect();
    let spread = 1.4826 * crate::loads::quantile(&away, 0.5);
    Some(Supply { volts: middle, u_v: spread / (volts.len() as f64).sqrt() })
}

/// Volts as logged from one moment to another; empty where none were.
fn between<'a>(time_s: &[f64], volts: &'a [f64], from_s: f64, to_s: f64) -> &'a [f64] {
    let first = time_s.partition_point(|&t| t < from_s);
    let last = time_s.partition_point(|&t| t < to_s).max(first);
    volts.get(first..last).unwrap_or(&[])
}

/// The latest volts beside as many rows, NaN before the first of them; empty where none were logged.
fn beside(volts: &[f32], rows: usize) -> Vec<f64> {
    if volts.is_empty() {
        return Vec::new();
    }
    let known = &volts[volts.len().saturating_sub(rows)..];
    std::iter::repeat_n(f64::NAN, rows - known.len()).chain(known.iter().map(|v| f64::from(*v))).collect()
}

/// The runs' resistances as one, each weighted by 1/u².
fn together(sources: &[SourceResistance]) -> Option<SourceResistance> {
    let weight = |s: &SourceResistance| 1.0 / s.uncertainty_ohm.max(1e-6).powi(2);
    let all: f64 = sources.iter().map(weight).sum();
    let worst = sources.iter().max_by(|a, b| a.ohm.total_cmp(&b.ohm))?;
    Some(SourceResistance {
        ohm: sources.iter().map(|s| s.ohm * weight(s)).sum::<f64>() / all,
        uncertainty_ohm: all.sqrt().recip(),
        edges: sources.iter().map(|s| s.edges).sum(),
        // A joint that was bad in one run is bad.
        warning: worst.warning.clone(),
    })
}

fn standby(runs: &[Read]) -> Option<f64> {
    let idle = runs.iter().flat_map(|r| &r.run.loads.states).filter(|s| s.kind == Kind::Standby);
    let (energy, time) = idle.fold((0.0, 0.0), |(e, t), s| {
        let long_s = s.end_s - s.start_s;
        (e + s.power_w * long_s, t + long_s)
    });
    (time > 0.0).then(|| energy / time)
}

#[cfg(test)]
mod tests;
