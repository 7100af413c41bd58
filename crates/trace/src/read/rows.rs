//! From a line of readings to a sample, checked against itself.

use super::calendar::{self, DateOrder};
use super::cells::{self, Cell};
use super::columns::{Column, Role};
use super::dialect::Plan;
use super::number;
use super::summary::{Remark, Summary, TimeFormat};
use super::timeline::{Timeline, Wall};
use super::watch::Watch;
use crate::Sample;

/// Times beyond this (3000 years, in s) are garbage.
const LATEST_S: f64 = 1e11;

/// Below this a plug meter's V, A and W are too coarse to check against each other.
const CHECKED_OVER_VA: f64 = 50.0;

/// The columns that are read, and what they add up to.
pub(super) struct Rows {
    delimiter: u8,
    point: u8,
    time: TimeFormat,
    time_column: usize,
    date_column: Option<usize>,
    power: Option<Column>,
    voltage: Option<Column>,
    current: Option<Column>,
    factor: Option<Column>,
    apparent: Option<Column>,
    energy: Option<Column>,
    /// Two columns, a count and a power: read without being cut into cells.
    quick: Option<(f64, f64)>,
    places: Vec<(usize, usize)>,
    timeline: Timeline,
    watch: Watch,
    origin_s: Option<f64>,
    /// Time and counter, Wh, of the last step of the energy counter.
    counter: Option<(f64, f64)>,
}

/// Why a line gives no sample.
type Why = &'static str;

impl Rows {
    pub(super) fn new(plan: &Plan, time: TimeFormat) -> Self {
        let column = |role| plan.column(role).cloned();
        let power = column(Role::Power);
        let time_column = column(Role::Time).map_or(0, |c| c.index);
        let quick = match (time, &power) {
            (TimeFormat::Count { scale } | TimeFormat::Epoch { scale }, Some(p))
                if plan.columns.len() == 2 && time_column == 0 && p.index == 1 =>
            {
                Some((scale, p.scale))
            }
            _ => None,
        };
        Self {
            delimiter: plan.delimiter,
            point: plan.point,
            time,
            time_column,
            date_column: column(Role::Date).map(|c| c.index),
            energy: column(Role::Energy).filter(|_| power.is_none()),
            power,
            voltage: column(Role::Voltage),
            current: column(Role::Current),
            factor: column(Role::PowerFactor),
            apparent: column(Role::ApparentPower),
            quick,
            places: Vec::new(),
            timeline: Timeline::default(),
            watch: Watch::default(),
            origin_s: None,
            counter: None,
        }
    }

    /// Takes a line; None where it gives no sample, with the reason in the summary.
    #[inline]
    pub(super) fn take(&mut self, line: &[u8], number: u64, summary: &mut Summary) -> Option<Sample> {
        if let Some((time, power)) = self.quick.and_then(|scales| self.two_numbers(line, scales)) {
            return self.give(time, Wall::Steady, Sample::new(0.0, power), number, summary);
        }
        if line.trim_ascii().is_empty() {
            return None;
        }
        match self.cells(line, number, summary) {
            Ok((time, wall, sample)) => self.give(time, wall, sample, number, summary),
            Err("") => None,
            Err(why) => {
                summary.skipped.add(|| Remark { line: number, why: why.to_owned() });
                None
            }
        }
    }

    #[inline]
    fn two_numbers(&self, line: &[u8], scales: (f64, f64)) -> Option<(f64, f64)> {
        let (time, used) = number::scan(line, self.point)?;
        let rest = line.get(used..)?.strip_prefix(&[self.delimiter])?;
        let (power, used) = number::scan(rest, self.point)?;
        let (time, power) = (time * scales.0, power * scales.1);
        (used == rest.len() && time.abs() < LATEST_S && power.abs() < 1e15).then_some((time, power))
    }

    fn give(
        &mut self,
        time: f64,
        wall: Wall,
        sample: Sample,
        line: u64,
        summary: &mut Summary,
    ) -> Option<Sample> {
        let origin = *self.origin_s.get_or_insert_with(|| {
            let unix = matches!(self.time, TimeFormat::Epoch { .. } | TimeFormat::Date(_));
            summary.start_unix_s = unix.then_some(time);
            if matches!(self.time, TimeFormat::Count { .. }) { 0.0 } else { time }
        });
        let time_s = self.timeline.place(time - origin, wall, line, summary)?;
        let power_w = if self.energy.is_some() {
            self.counted(time_s, sample.power_w, line, summary)?
        } else {
            sample.power_w
        };
        self.watch.see(time_s, power_w, line, summary);
        summary.samples += 1;
        Some(Sample { time_s, power_w, ..sample })
    }

    /// Brings the summary up to date with what only shows over many rows.
    pub(super) fn sum_up(&mut self, line: u64, summary: &mut Summary) {
        self.watch.end(line, summary);
        summary.quantum_w = self.watch.quantum_w();
        summary.step_s = self.timeline.step_s();
    }

    fn cells(&mut self, line: &[u8], number: u64, summary: &mut Summary) -> Result<(f64, Wall, Sample), Why> {
        cells::split(line, self.delimiter, &mut self.places);
        let cell = |index: usize| self.places.get(index).map(|&(from, to)| &line[from..to]);
        let (time, wall) = self.time(&cell).ok_or("the time cannot be read")?;
        let mut missing = None;
        let mut value = |column: &Option<Column>| {
            let Some(column) = column else { return Ok(None) };
            match cells::reading(cell(column.index).unwrap_or(b""), self.point, column.role, column.scale) {
                Cell::Value(value) => Ok(Some(value)),
                Cell::Missing => {
                    missing = Some(column.index + 1);
                    Ok(None)
                }
                Cell::Garbage => Err("a cell that should hold a number holds something else"),
            }
        };
        let (power, apparent, energy) = (value(&self.power)?, value(&self.apparent)?, value(&self.energy)?);
        let mut sample = Sample {
            time_s: 0.0,
            power_w: 0.0,
            voltage_v: value(&self.voltage)?,
            current_a: value(&self.current)?,
            power_factor: value(&self.factor)?,
        };
        let computed = if self.power.is_some() { None } else { energy };
        let watts = power.or(computed).or_else(|| power_of(&sample, apparent, self.power.is_none()));
        sample.power_w = watts.ok_or("no reading of power")?;
        if let Some(column) = missing {
            let done =
                if power.is_none() && self.power.is_some() { "; power computed from the others" } else { "" };
            summary.missing.add(|| Remark { line: number, why: format!("nothing in column {column}{done}") });
        }
        if power.is_some()
            && let Some(why) = contradiction(&sample)
        {
            summary.contradictions.add(|| Remark { line: number, why });
        }
        Ok((time, wall, sample))
    }

    fn time<'l>(&self, cell: &impl Fn(usize) -> Option<&'l [u8]>) -> Option<(f64, Wall)> {
        let text = cell(self.time_column)?;
        let (time, wall) = match self.time {
            TimeFormat::Count { scale } | TimeFormat::Epoch { scale } => {
                (number::whole(text, self.point)? * scale, Wall::Steady)
            }
            TimeFormat::Clock => {
                let (time, rest) = calendar::clock(text)?;
                (rest.is_empty().then_some(time)?, Wall::Daily)
            }
            TimeFormat::Date(order) => self.date(text, cell, order)?,
        };
        (time.abs() < LATEST_S).then_some((time, wall))
    }

    fn date<'l>(
        &self,
        text: &[u8],
        cell: &impl Fn(usize) -> Option<&'l [u8]>,
        order: DateOrder,
    ) -> Option<(f64, Wall)> {
        let moment = match self.date_column {
            Some(date) => calendar::moment_of_two(cell(date)?, text, order)?,
            None => calendar::moment(text, order)?,
        };
        Some((moment.unix_s, if moment.zoned { Wall::Steady } else { Wall::Local }))
    }

    /// Mean power since the energy counter's last step, at each of its steps.
    fn counted(&mut self, time_s: f64, energy_wh: f64, line: u64, summary: &mut Summary) -> Option<f64> {
        let Some((since_s, since_wh)) = self.counter else {
            self.counter = Some((time_s, energy_wh));
            return None;
        };
        if energy_wh == since_wh || time_s == since_s {
            return None;
        }
        self.counter = Some((time_s, energy_wh));
        if energy_wh < since_wh {
            summary
                .skipped
                .add(|| Remark { line, why: "the energy counter went back; counted anew from here".into() });
            return None;
        }
        Some((energy_wh - since_wh) * 3600.0 / (time_s - since_s)).filter(|w| w.is_finite())
    }
}

/// Real power from what else a row holds. Volt-amperes alone will do only where no power column exists.
fn power_of(sample: &Sample, apparent_va: Option<f64>, bare: bool) -> Option<f64> {
    let va = apparent_va.or_else(|| Some(sample.voltage_v? * sample.current_a?))?;
    let watts = match sample.power_factor {
        Some(factor) => va * factor,
        None => bare.then_some(va)?,
    };
    (watts.abs() < 1e15).then_some(watts)
}

/// P ≤ V·I and PF = P/(V·I), with room for a plug meter's accuracy (3 % of the reading) and the last digit.
fn contradiction(sample: &Sample) -> Option<String> {
    let va = sample.voltage_v? * sample.current_a?;
    let power = sample.power_w.abs();
    if va.max(power) < CHECKED_OVER_VA {
        return None;
    }
    if power > va * 1.03 + 3.0 {
        return Some(format!("{power:.1} W is more than voltage × current allow ({va:.1} VA)"));
    }
    let factor = sample.power_factor?.abs();
    let off = (factor - power / va).abs() > 0.05;
    off.then(|| format!("power factor {factor:.2}, but power over voltage × current is {:.2}", power / va))
}
