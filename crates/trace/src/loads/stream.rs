//! Sample by sample: a long recording as runs of a machine, each read when it is over.
//!
//! What is found in a run depends on the whole of it (a heater is known by being the largest load that lasts, the
//! final spin by being the last), so the look-back is one run: from two minutes before its first load to fifteen
//! minutes without one, and never more than `LONGEST` (100,000) rows. Idle time between runs is not kept.

use std::collections::VecDeque;

use super::{Loads, loads};

/// Longest run in rows; a longer one is read in parts.
const LONGEST: usize = 100_000;
/// A run ends after this long without a load, in seconds.
pub(crate) const QUIET_S: f64 = 900.0;
/// What is kept from before the first load, in seconds and in rows.
const LEAD_S: f64 = 120.0;
const LEAD: usize = 2400;
/// No load: at most this share of the run's highest power, and at most this many watts before there is one.
const IDLE: f64 = 0.01;
const IDLE_W: f64 = 5.0;

/// One run of a machine in a recording.
#[derive(Debug, Clone, PartialEq)]
pub struct Run {
    /// First row of it, in seconds.
    pub start_s: f64,
    /// Last row with a load, in seconds.
    pub end_s: f64,
    /// What was found in it.
    pub loads: Loads,
}

/// What a sample changed.
#[derive(Debug, Clone, PartialEq)]
pub enum Change {
    /// A load came on after a quiet time, at this second.
    Started(f64),
    /// A run is over, and this was in it. Where a run is cut for its length the next begins with the same sample.
    Ended(Box<Run>),
}

/// Reads a recording sample by sample. Memory is bounded by 100,000 rows, however long the recording.
#[derive(Debug, Clone, Default)]
pub struct Stream {
    volts: Option<f64>,
    time_s: VecDeque<f64>,
    power_w: VecDeque<f64>,
    /// Latest second with a load, and the highest power, of the run that is going on.
    running: Option<(f64, f64)>,
    /// Rows of the run that ended last.
    ended: (VecDeque<f64>, VecDeque<f64>),
}

impl Stream {
    /// A stream at its start; `volts` as for [`loads`].
    pub fn new(volts: Option<f64>) -> Self {
        Self { volts, ..Self::default() }
    }

    /// Takes one sample and says what it changed. Samples that are not finite are left out.
    pub fn push(&mut self, time_s: f64, power_w: f64) -> Option<Change> {
        if !time_s.is_finite() || !power_w.is_finite() {
            return None;
        }
        let Some((last_s, top_w)) = self.running else { return self.wait(time_s, power_w) };
        if time_s - last_s > QUIET_S || self.time_s.len() >= LONGEST {
            let run = self.close(last_s);
            // Where this very sample begins the next run, its end will say so.
            let _ = self.wait(time_s, power_w);
            return Some(Change::Ended(Box::new(run)));
        }
        if power_w > IDLE_W.max(IDLE * top_w) {
            self.running = Some((last_s.max(time_s), top_w.max(power_w)));
        }
        self.keep(time_s, power_w);
        None
    }

    /// Whether a run is going on.
    pub fn is_running(&self) -> bool {
        self.running.is_some()
    }

    /// What can be said of the run that is going on, from its rows so far; none while nothing runs.
    pub fn so_far(&self) -> Option<Run> {
        let (last_s, _) = self.running?;
        let (time_s, power_w): (Vec<f64>, Vec<f64>) = self.time_s.iter().zip(&self.power_w).unzip();
        Some(Run { start_s: time_s[0], end_s: last_s, loads: loads(&time_s, &power_w, self.volts) })
    }

    /// The end of the recording: the run that was going on.
    pub fn finish(&mut self) -> Option<Run> {
        let (last_s, _) = self.running?;
        Some(self.close(last_s))
    }

    /// Seconds and watts of the run that ended last, as they were pushed; held until the next run ends.
    pub fn ended_rows(&self) -> (&[f64], &[f64]) {
        (self.ended.0.as_slices().0, self.ended.1.as_slices().0)
    }

    fn keep(&mut self, time_s: f64, power_w: f64) {
        self.time_s.push_back(time_s);
        self.power_w.push_back(power_w);
    }

    fn wait(&mut self, time_s: f64, power_w: f64) -> Option<Change> {
        self.keep(time_s, power_w);
        while self.time_s.len() > LEAD || self.time_s.front().is_some_and(|&t| time_s - t > LEAD_S) {
            self.time_s.pop_front();
            self.power_w.pop_front();
        }
        if power_w <= IDLE_W {
            return None;
        }
        self.running = Some((time_s, power_w));
        Some(Change::Started(time_s))
    }

    fn close(&mut self, last_s: f64) -> Run {
        self.running = None;
        // Swapped, so that the room of the run before is used again.
        std::mem::swap(&mut self.time_s, &mut self.ended.0);
        std::mem::swap(&mut self.power_w, &mut self.ended.1);
        self.time_s.clear();
        self.power_w.clear();
        let (time_s, power_w) = (self.ended.0.make_contiguous(), self.ended.1.make_contiguous());
        read(time_s, power_w, last_s, self.volts)
    }
}

fn read(time_s: &[f64], power_w: &[f64], last_s: f64, volts: Option<f64>) -> Run {
    let start_s = time_s.first().copied().unwrap_or(last_s);
    Run { start_s, end_s: last_s, loads: loads(time_s, power_w, volts) }
}

/// The batch form: all runs of a recording, found in the slices themselves and nothing copied. Rows that are not
/// finite must have been taken out.
pub fn runs(time_s: &[f64], power_w: &[f64], volts: Option<f64>) -> Vec<Run> {
    let n = time_s.len().min(power_w.len());
    let mut found = Vec::new();
    let mut free = 0;
    while let Some(first) = (free..n).find(|&i| power_w[i] > IDLE_W) {
        // As it comes row by row: what a row left behind stays so, even where the next steps back in time.
        let mut start = free;
        for row in free..=first {
            while row - start >= LEAD || time_s[row] - time_s[start] > LEAD_S {
                start += 1;
            }
        }
        let (mut last_s, mut top_w) = (time_s[first], power_w[first]);
        let mut end = first + 1;
        while end < n && time_s[end] - last_s <= QUIET_S && end - start < LONGEST {
            if power_w[end] > IDLE_W.max(IDLE * top_w) {
                last_s = last_s.max(time_s[end]);
                top_w = top_w.max(power_w[end]);
            }
            end += 1;
        }
        found.push(read(&time_s[start..end], &power_w[start..end], last_s, volts));
        free = end;
    }
    found
}
