//! What a recording says in numbers: energy, peak, duty, standby, how the drum reversed, the resistance of the supply,
//! and how the runs of a long recording differ.

use crate::loads::{HeaterOn, Kind, Loads, Pulse, Run};

/// Longest step between rows that energy is counted over, in seconds; what a longer gap held nobody knows.
const GAP_S: f64 = 60.0;

/// Energy, peak and levels of a recording.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Totals {
    /// Energy in watt hours, each row's power up to the next row; gaps over 60 s are left out.
    pub energy_wh: f64,
    /// Seconds in gaps over 60 s, whose energy is not counted.
    pub gaps_s: f64,
    /// Highest row, in watts, and when.
    pub peak_w: f64,
    /// Second of the highest row.
    pub peak_s: f64,
    /// Share of the time, gaps left out, above halfway between the least row and the highest (duty), 0 to 1.
    pub duty: f64,
    /// Mean power while nothing but electronics runs, in watts; none where no standby was seen.
    pub standby_w: Option<f64>,
}

/// Totals of rows in order of time; `None` for no rows.
pub fn totals(time_s: &[f64], power_w: &[f64], loads: &Loads) -> Option<Totals> {
    let peak =
        (0..power_w.len().min(time_s.len())).rev().max_by(|&a, &b| power_w[a].total_cmp(&power_w[b]))?;
    let least = power_w.iter().copied().fold(f64::INFINITY, f64::min);
    let half = f64::midpoint(least, power_w[peak]);
    let (mut energy_ws, mut gaps_s, mut on_s, mut seen_s) = (0.0, 0.0, 0.0, 0.0);
    for (pair, &power) in time_s.windows(2).zip(power_w) {
        let step = pair[1] - pair[0];
        if step > GAP_S {
            gaps_s += step;
        } else if step > 0.0 {
            energy_ws += power * step;
            seen_s += step;
            on_s += if power > half { step } else { 0.0 };
        }
    }
    let duty = if seen_s > 0.0 { on_s / seen_s } else { 0.0 };
    let (peak_w, peak_s) = (power_w[peak], time_s[peak]);
    Some(Totals { energy_wh: energy_ws / 3600.0, gaps_s, peak_w, peak_s, duty, standby_w: standby(loads) })
}

fn standby(loads: &Loads) -> Option<f64> {
    let idle = loads.states.iter().filter(|s| s.kind == Kind::Standby);
    let (energy, time) =
        idle.fold((0.0, 0.0), |(e, t), s| (e + s.power_w * (s.end_s - s.start_s), t + s.end_s - s.start_s));
    (time > 0.0).then(|| energy / time)
}

/// How a drum reversed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Reversals {
    /// Turns counted.
    pub turns: usize,
    /// Median time a turn lasted, in seconds.
    pub on_s: f64,
    /// Median pause between turns, in seconds.
    pub pause_s: f64,
    /// Share of the time the drum turned: on / (on + pause).
    pub duty: f64,
    /// Power of every second turn over that of the turns between, the smaller over the greater, 0 to 1, where the two
    /// differ clearly. Power does not tell direction: a drum that turns left and right by turns may draw more one way, but
    /// turns that differ may also be of different length. None where turns scatter too much or are too few to tell.
    pub symmetry: Option<f64>,
    /// How long the shorter and the longer turns last in seconds, where every second turn is clearly longer.
    pub on_by_turns_s: Option<(f64, f64)>,
}

/// Turns in a row from which it is looked whether every second one differs.
const BY_TURNS: usize = 16;
/// How many standard errors apart they must lie.
const CLEARLY: f64 = 4.0;

/// Reversals among a run's turns, those next to each other within half a minute; `None` for fewer than eight.
pub fn reversals(pulses: &[Pulse]) -> Option<Reversals> {
    let near: Vec<&[Pulse]> =
        pulses.chunk_by(|a, b| b.start_s - a.end_s <= 30.0).filter(|train| train.len() >= 4).collect();
    let turns: usize = near.iter().map(|train| train.len()).sum();
    if turns < 8 {
        return None;
    }
    let on_s = median(near.iter().flat_map(|t| t.iter()).map(|p| p.end_s - p.start_s));
    let pause_s = median(near.iter().flat_map(|t| t.windows(2)).map(|w| w[1].start_s - w[0].end_s));
    let duty = on_s / (on_s + pause_s).max(f64::MIN_POSITIVE);
    let symmetry = by_turns(&near, |p| p.power_w).map(|(less, more)| less / more);
    let on_by_turns_s = by_turns(&near, |p| p.end_s - p.start_s);
    Some(Reversals { turns, on_s, pause_s, duty, symmetry, on_by_turns_s })
}

/// Values of the turns by turns, the smaller and the greater, where they differ clearly in most of the longer trains.
fn by_turns(trains: &[&[Pulse]], value: impl Fn(&Pulse) -> f64) -> Option<(f64, f64)> {
    let long: Vec<&[Pulse]> = trains.iter().copied().filter(|t| t.len() >= BY_TURNS).collect();
    let all: usize = long.iter().map(|t| t.len()).sum();
    let (mut clear, mut less, mut more) = (0, 0.0, 0.0);
    for train in long {
        let values: Vec<f64> = train.iter().map(&value).collect();
        let middle = values.iter().sum::<f64>() / values.len() as f64;
        let Some(half) = alternation(&values) else { continue };
        clear += train.len();
        less += train.len() as f64 * (middle - half).max(0.0);
        more += train.len() as f64 * (middle + half);
    }
    (2 * clear > all && more > 0.0).then(|| (less / clear as f64, more / clear as f64))
}

/// Half of what values differ by from one to the next by turns, where that is clear. Of each four values
/// (3(y₂ − y₃) − y₁ + y₄)/8, which no level, slope or bend moves; these stand apart from each other, so that their mean has
/// the standard error s/√n.
fn alternation(values: &[f64]) -> Option<f64> {
    let fours: Vec<f64> = values.chunks_exact(4).map(|y| (3.0 * (y[1] - y[2]) - y[0] + y[3]) / 8.0).collect();
    let n = fours.len() as f64;
    let mean = fours.iter().sum::<f64>() / n;
    let spread = (fours.iter().map(|f| (f - mean).powi(2)).sum::<f64>() / (n - 1.0)).sqrt();
    (fours.len() >= BY_TURNS / 4 && mean.abs() > CLEARLY * spread / n.sqrt()).then_some(mean.abs())
}

fn median(values: impl Iterator<Item = f64>) -> f64 {
    let mut sorted: Vec<f64> = values.collect();
    sorted.sort_by(f64::total_cmp);
    sorted.get(sorted.len() / 2).copied().unwrap_or(0.0)
}

/// Resistance of the supply up to the meter, from what the voltage falls by as a heater comes on.
#[derive(Debug, Clone, PartialEq)]
pub struct SourceResistance {
    /// Ohms: ΔU/ΔI, median over the edges.
    pub ohm: f64,
    /// Standard uncertainty in ohms: spread of the edges over √edges, and for one edge a tenth of a volt over ΔI.
    pub uncertainty_ohm: f64,
    /// Edges used.
    pub edges: usize,
    /// In plain words, where the joint or lead looks bad.
    pub warning: Option<String>,
}

/// Resistance of the supply phase and neutral together that a good installation keeps under: 0.24 Ω + 0.16 Ω, the
/// resistive part of the reference impedance of IEC 60725 (from memory).
pub const REFERENCE_OHM: f64 = 0.40;

/// Source resistance from the edges of heater intervals; `volts` stands beside each row, NaN where it was not read.
///
/// At an edge U_off − U_on = R·(I_on − I_off) with I = P/U; the mains moves by itself, so three rows on each side are
/// taken and the median over all edges.
pub fn source_resistance(
    time_s: &[f64],
    power_w: &[f64],
    volts: &[f64],
    heater_on: &[HeaterOn],
) -> Option<SourceResistance> {
    let n = time_s.len().min(power_w.len()).min(volts.len());
    let edge = |at_s: f64, rising: bool| {
        let first = time_s[..n].partition_point(|&t| t < at_s);
        // The row of the edge is an average over the change.
        let (before, after) = (side(power_w, volts, first.checked_sub(4)?..first - 1)?, {
            side(power_w, volts, first + 1..(first + 4).min(n))?
        });
        let ((u_off, i_off), (u_on, i_on)) = if rising { (before, after) } else { (after, before) };
        (i_on - i_off > 0.5).then(|| ((u_off - u_on) / (i_on - i_off), i_on - i_off))
    };
    let edges: Vec<(f64, f64)> =
        heater_on.iter().flat_map(|h| [edge(h.start_s, true), edge(h.end_s, false)]).flatten().collect();
    if edges.is_empty() {
        return None;
    }
    let ohm = median(edges.iter().map(|e| e.0));
    let spread = 1.4826 * median(edges.iter().map(|e| (e.0 - ohm).abs()));
    let least = 0.1 / median(edges.iter().map(|e| e.1));
    let uncertainty_ohm = (spread / (edges.len() as f64).sqrt()).max(least / (edges.len() as f64).sqrt());
    let warning = (ohm - 2.0 * uncertainty_ohm > 2.0 * REFERENCE_OHM).then(|| {
        format!(
            "The voltage falls by {ohm:.2} Ω times the current, more than twice the {REFERENCE_OHM:.2} Ω of a good \
             supply: look for a warm plug, socket or joint, or a long thin extension lead."
        )
    });
    Some(SourceResistance { ohm, uncertainty_ohm, edges: edges.len(), warning })
}

fn side(power_w: &[f64], volts: &[f64], rows: std::ops::Range<usize>) -> Option<(f64, f64)> {
    let read: Vec<(f64, f64)> = rows
        .filter(|&i| i < power_w.len() && i < volts.len() && volts[i].is_finite() && volts[i] > 1.0)
        .map(|i| (volts[i], power_w[i] / volts[i]))
        .collect();
    (read.len() >= 2).then(|| (median(read.iter().map(|r| r.0)), median(read.iter().map(|r| r.1))))
}

/// What set one run of a long recording apart from the others.
#[derive(Debug, Clone, PartialEq)]
pub enum Difference {
    /// Heated for less than six tenths of the runs' median time, in seconds both.
    HeatedLess {
        /// Place of the run in the list.
        run: usize,
        /// Seconds heated.
        heated_s: f64,
        /// Median of the runs that heated.
        usual_s: f64,
    },
    /// No heating where most runs heat.
    NotHeated {
        /// Place of the run in the list.
        run: usize,
    },
    /// No final spin where most runs have one.
    NoSpin {
        /// Place of the run in the list.
        run: usize,
    },
    /// Its final spin lasted less than six tenths of the runs' median, in seconds both: given up.
    SpunLess {
        /// Place of the run in the list.
        run: usize,
        /// Seconds spun.
        spun_s: f64,
        /// Median of the runs that spun.
        usual_s: f64,
    },
    /// It was over in less than six tenths of the runs' median time, in seconds both.
    Shorter {
        /// Place of the run in the list.
        run: usize,
        /// How long it went on, s.
        long_s: f64,
        /// Median of the runs.
        usual_s: f64,
    },
    /// The heater drew over 5 % less or more than the runs' median, in watts both.
    HeaterPower {
        /// Place of the run in the list.
        run: usize,
        /// Watts in this run.
        power_w: f64,
        /// Median of the runs that heated.
        usual_w: f64,
    },
}

impl Difference {
    /// Place in the list of the run that differs.
    pub fn run(&self) -> usize {
        match *self {
            Difference::HeatedLess { run, .. }
            | Difference::NotHeated { run }
            | Difference::NoSpin { run }
            | Difference::SpunLess { run, .. }
            | Difference::Shorter { run, .. }
            | Difference::HeaterPower { run, .. } => run,
        }
    }
}

/// Less than this share of what most runs do is a difference.
const LESS: f64 = 0.6;

/// How runs differ from what most of them do; nothing for fewer than three, where there is no "most".
pub fn differences(runs: &[Run]) -> Vec<Difference> {
    if runs.len() < 3 {
        return Vec::new();
    }
    let heated: Vec<f64> =
        runs.iter().map(|r| r.loads.heater_on.iter().map(|h| h.end_s - h.start_s).sum::<f64>()).collect();
    let power: Vec<Option<f64>> = runs.iter().map(|r| main_power_w(&r.loads.heater_on)).collect();
    let spun: Vec<f64> =
        runs.iter().map(|r| r.loads.spins.iter().map(|s| s.end_s - s.start_s).sum::<f64>()).collect();
    let usual_s = median(heated.iter().copied().filter(|s| *s > 0.0));
    let usual_spin_s = median(spun.iter().copied().filter(|s| *s > 0.0));
    let usual_run_s = median(runs.iter().map(|r| r.end_s - r.start_s));
    let usual_w = median(power.iter().copied().flatten());
    let most = |count: usize| 2 * count > runs.len();
    let most_heat = most(heated.iter().filter(|s| **s > 0.0).count());
    let most_spin = most(runs.iter().filter(|r| !r.loads.spins.is_empty()).count());
    let mut found = Vec::new();
    for (run, read) in runs.iter().enumerate() {
        if most_heat && heated[run] == 0.0 {
            found.push(Difference::NotHeated { run });
        } else if most_heat && heated[run] < LESS * usual_s {
            found.push(Difference::HeatedLess { run, heated_s: heated[run], usual_s });
        }
        if let Some(power_w) = power[run].filter(|w| most_heat && (w / usual_w - 1.0).abs() > 0.05) {
            found.push(Difference::HeaterPower { run, power_w, usual_w });
        }
        if most_spin && read.loads.spins.is_empty() {
            found.push(Difference::NoSpin { run });
        } else if most_spin && spun[run] < LESS * usual_spin_s {
            found.push(Difference::SpunLess { run, spun_s: spun[run], usual_s: usual_spin_s });
        }
        let long_s = read.end_s - read.start_s;
        if long_s < LESS * usual_run_s {
            found.push(Difference::Shorter { run, long_s, usual_s: usual_run_s });
        }
    }
    found
}

/// Watts of the heater interval with the most energy.
pub fn main_power_w(heater_on: &[HeaterOn]) -> Option<f64> {
    let energy = |h: &HeaterOn| h.power_w * (h.end_s - h.start_s);
    heater_on.iter().max_by(|a, b| energy(a).total_cmp(&energy(b))).map(|h| h.power_w)
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test")]
    use super::*;
    use crate::loads::loads;

    /// 2000 W at 230 V behind 0.5 Ω and 1.2 Ω: the socket sags by R·I.
    fn heating(ohm: f64) -> (Vec<f64>, Vec<f64>, Vec<f64>) {
        let element = 26.0;
        let time_s: Vec<f64> = (0..400).map(f64::from).collect();
        let volts: Vec<f64> = time_s
            .iter()
            .map(|t| if (100.0..300.0).contains(t) { 230.0 * element / (element + ohm) } else { 230.0 })
            .collect();
        let power_w = volts.iter().map(|u| if *u < 230.0 { u * u / element } else { 0.0 }).collect();
        (time_s, power_w, volts)
    }

    #[test]
    fn source_resistance_is_what_the_voltage_sags_by() {
        for (ohm, bad) in [(0.5, false), (1.2, true)] {
            let (time_s, power_w, volts) = heating(ohm);
            let found = loads(&time_s, &power_w, None).heater_on;
            let source = source_resistance(&time_s, &power_w, &volts, &found).unwrap();
            assert!((source.ohm - ohm).abs() < 1e-9, "{source:?}");
            assert_eq!((source.edges, source.warning.is_some()), (2, bad));
        }
    }

    #[test]
    fn energy_is_power_times_time_and_gaps_are_told() {
        let time_s = [0.0, 30.0, 60.0, 660.0, 690.0];
        let totals = totals(&time_s, &[1200.0, 1200.0, 0.0, 600.0, 0.0], &Loads::default()).unwrap();
        assert!((totals.energy_wh - 25.0).abs() < 1e-12);
        assert_eq!((totals.gaps_s, totals.peak_w, totals.peak_s), (600.0, 1200.0, 0.0));
    }

    /// Turns of 10 s and so many watts, every 15 s.
    fn turns(count: usize, watts: impl Fn(usize) -> f64) -> Vec<Pulse> {
        let turn = |k: usize| {
            let start_s = k as f64 * 15.0;
            Pulse { start_s, end_s: start_s + 10.0, rise_w: 250.0, power_w: watts(k) }
        };
        (0..count).map(turn).collect()
    }

    #[test]
    fn a_drum_that_turns_harder_one_way_is_seen_through_a_slope() {
        let found = reversals(&turns(20, |k| [200.0, 150.0][k % 2] + k as f64)).unwrap();
        assert_eq!((found.turns, found.on_s, found.pause_s), (20, 10.0, 5.0));
        let ratio = found.symmetry.unwrap();
        assert!((ratio - 160.0 / 210.0).abs() < 0.01 && (found.duty - 2.0 / 3.0).abs() < 1e-12, "{ratio}");
        assert_eq!(found.on_by_turns_s, None);
    }

    #[test]
    fn nothing_is_said_of_turns_that_only_scatter() {
        // A fixed scatter without a pattern by turns (digits of pi).
        let digits =
            [3, 1, 4, 1, 5, 9, 2, 6, 5, 3, 5, 8, 9, 7, 9, 3, 2, 3, 8, 4, 6, 2, 6, 4, 3, 3, 8, 3, 2, 7];
        let found = reversals(&turns(28, |k| 150.0 + 10.0 * f64::from(digits[k]))).unwrap();
        assert_eq!(found.symmetry, None);
        assert_eq!(reversals(&turns(12, |k| [200.0, 150.0][k % 2])).unwrap().symmetry, None);
    }

    #[test]
    fn longer_turns_by_turns_are_told() {
        let mut pulses = turns(40, |_| 200.0);
        for pulse in pulses.iter_mut().skip(1).step_by(2) {
            pulse.end_s -= 4.0;
        }
        assert_eq!(reversals(&pulses).unwrap().on_by_turns_s, Some((6.0, 10.0)));
    }

    #[test]
    fn the_run_that_heated_less_and_was_not_spun_stands_out() {
        let heater =
            |end_s| HeaterOn { start_s: 0.0, end_s, power_w: 2000.0, resistance_ohm: None, stages: vec![] };
        let spin =
            crate::loads::Spin { start_s: 0.0, peak_s: 1.0, end_s: 2.0, peak_w: 300.0, plateau_w: 200.0 };
        let run = |heated_s, spun: bool| Run {
            start_s: 0.0,
            end_s: 0.0,
            loads: Loads {
                heater_on: vec![heater(heated_s)],
                spins: if spun { vec![spin] } else { vec![] },
                ..Loads::default()
            },
        };
        let found = differences(&[run(600.0, true), run(200.0, false), run(620.0, true)]);
        assert_eq!(
            found,
            [
                Difference::HeatedLess { run: 1, heated_s: 200.0, usual_s: 600.0 },
                Difference::NoSpin { run: 1 }
            ]
        );
    }
}
