//! What was found, in plain words.

use super::Recording;
use trace::analysis::{Analysis, Disturbance, Doubt, Ended, Read, Trouble};
use trace::loads::{Kind, RunUp, Spin, State};
use trace::measures::Difference;

/// Samples this far apart miss what a machine does in between, in seconds: the shortest turns and elements' breaks.
const SELDOM_S: f64 = 7.0;
/// A heater shows if it is on for three samples and 20 s (`trace::loads`).
const LEAST_SAMPLES: f64 = 3.0;
/// Most gaps in a heater interval told one by one.
const MOST_GAPS: usize = 2;
/// Most runs and disturbances told one by one.
const MOST: usize = 20;

/// The highest sample of a spin is the kick of its motor where it comes so soon, in seconds, and stands so far above what
/// the run-up reaches.
const KICK_S: f64 = 6.0;
const KICK: f64 = 1.2;

/// A state as the JSON names it.
pub(super) fn key(kind: Option<Kind>) -> &'static str {
    match kind {
        None => "gap",
        Some(Kind::Heating) => "heater",
        Some(Kind::Spinning) => "spin",
        Some(Kind::RunUp) => "run-up",
        Some(Kind::RunDown) => "run-down",
        Some(Kind::Reversing) => "reversing",
        Some(Kind::Draining) => "drain",
        Some(Kind::Steady) => "steady",
        Some(Kind::Standby) => "standby",
    }
}

/// A state as one would say it.
pub(super) fn state(kind: Option<Kind>) -> &'static str {
    match kind {
        None => "no samples",
        Some(Kind::Reversing) => "drum reversing",
        Some(Kind::Draining) => "drain pump",
        Some(Kind::Steady) => "steady load",
        kind => key(kind),
    }
}

/// Watts of a state: of a ramp from where to where.
pub(super) fn watts(state: &State) -> String {
    match state.ramp_w {
        Some((from_w, to_w)) => format!("{from_w:.0} → {to_w:.0} W"),
        None => format!("{:.0} W", state.power_w),
    }
}

/// Which of the spins it is.
pub(super) fn spin_name(interim: bool) -> &'static str {
    if interim { "Spin between rinses" } else { "Final spin" }
}

/// Whether the highest sample of a spin is the kick of its motor as it starts.
pub(super) fn is_kick(s: &Spin, up: Option<&RunUp>) -> bool {
    up.is_some_and(|up| s.peak_s - s.start_s <= KICK_S && s.peak_w > KICK * up.to_w)
}

/// A spin, and how the drum came up to it.
pub(super) fn spin(what: &str, s: &Spin, up: Option<&RunUp>) -> String {
    let is_kick = is_kick(s, up);
    let up = up.map_or(String::new(), |up| {
        format!("up from {:.0} W to {:.0} W in {:.0} s, ", up.from_w, up.to_w, up.end_s - up.start_s)
    });
    let to_peak_s = s.peak_s - s.start_s;
    let peak = if is_kick {
        format!("a kick of {:.0} W as the motor starts", s.peak_w)
    } else {
        format!("peak {:.0} W after {to_peak_s:.0} s", s.peak_w)
    };
    format!(
        "{what} from {} for {}: {up}{peak}, settled at {:.0} W",
        span(s.start_s),
        span(s.end_s - s.start_s),
        s.plateau_w
    )
}

/// 75 s as 1:15, with hours and days where there are some.
pub(super) fn span(seconds: f64) -> String {
    let sign = if seconds < -0.5 { "-" } else { "" };
    let s = seconds.abs().round() as u64;
    let (days, h, m, s) = (s / 86_400, s / 3600 % 24, s / 60 % 60, s % 60);
    match (days, h) {
        (0, 0) => format!("{sign}{m}:{s:02}"),
        (0, _) => format!("{sign}{h}:{m:02}:{s:02}"),
        _ => format!("{sign}{days}d {h:02}:{m:02}:{s:02}"),
    }
}

/// What a technician should know: from the reading, then from what was read.
pub(super) fn warnings(recording: &Recording) -> Vec<String> {
    let s = &recording.summary;
    let counted = [
        (s.gaps.count, "stretch without samples", "stretches without samples"),
        (s.skipped.count, "line left out", "lines left out"),
        (s.missing.count, "cell without a reading", "cells without a reading"),
        (s.duplicates.count, "sample repeats a time: kept", "samples repeat a time: kept"),
        (
            s.backward.count,
            "line older than the one before: left out",
            "lines older than the one before: left out",
        ),
        (s.clock_changes.count, "change of the recorder's clock", "changes of the recorder's clock"),
        (s.stuck.count, "stretch with a stuck reading", "stretches with a stuck reading"),
        (
            s.contradictions.count,
            "line whose power, voltage and current contradict each other",
            "lines whose power, voltage and current contradict each other",
        ),
    ];
    let found = counted
        .iter()
        .filter(|c| c.0 > 0)
        .map(|(count, one, many)| format!("{count} {}", if *count == 1 { one } else { many }));
    let broken = recording.broken_off.iter().map(|e| format!("read only in part: {e}"));
    let analysis = &recording.analysis;
    let unfinished = analysis.runs.last().filter(|r| r.unfinished);
    let unfinished = unfinished.map(|_| "the recording ends with a load on: what came after is not known");
    broken
        .chain(found)
        .chain(s.notes.iter().cloned())
        .chain(s.questions.iter().cloned())
        .chain(backward(analysis))
        .chain(seldom(s.step_s, !analysis.runs.is_empty()))
        .chain(analysis.source.iter().filter_map(|s| s.warning.clone()))
        .chain(at_most(idle_troubles(analysis), "troubles with the supply while nothing ran"))
        .chain(at_most(run_troubles(analysis), "runs that differ or whose supply was troubled"))
        .chain(unfinished.map(str::to_owned))
        .chain(untold(&analysis.runs))
        .collect()
}

fn backward(analysis: &Analysis) -> Option<String> {
    (analysis.samples > 0 && analysis.peak_w <= 0.0 && analysis.energy_wh < 0.0).then(|| {
        "the power is never above 0: a clamp sits the wrong way round, or power is fed back; nothing was looked for"
            .to_owned()
    })
}

fn seldom(step_s: f64, anything_ran: bool) -> Option<String> {
    (step_s > SELDOM_S && anything_ran).then(|| {
        format!(
            "one sample every {step_s:.0} s: a heater on for less than {:.0} s, turns of the drum and loads that switch \
             within {step_s:.0} s of each other cannot be told apart",
            (LEAST_SAMPLES * step_s).max(20.0)
        )
    })
}

/// How a run differs from the others.
pub(super) fn difference(found: &Difference) -> String {
    match found {
        Difference::HeatedLess { heated_s, usual_s, .. } => {
            format!("heated for {} only, the others for {}", span(*heated_s), span(*usual_s))
        }
        Difference::NotHeated { .. } => "not heated, as most runs are".to_owned(),
        Difference::NoSpin { .. } => "no final spin, as most runs have".to_owned(),
        Difference::SpunLess { spun_s, usual_s, .. } => {
            format!("the final spin was given up after {}, the others take {}", span(*spun_s), span(*usual_s))
        }
        Difference::Shorter { long_s, usual_s, .. } => {
            format!("over after {}, the others take {}", span(*long_s), span(*usual_s))
        }
        Difference::HeaterPower { power_w, usual_w, .. } => {
            format!("the heater drew {power_w:.0} W, in the others {usual_w:.0} W")
        }
    }
}

/// The first of a long list, and how many more there are.
fn at_most(mut lines: Vec<String>, of: &str) -> Vec<String> {
    if lines.len() > MOST {
        let more = lines.len() - MOST;
        lines.truncate(MOST);
        lines.push(format!("and {more} more {of} (--json has all)"));
    }
    lines
}

/// Gaps that ended nothing are told by number already.
fn is_telling(d: &Disturbance) -> bool {
    d.trouble != Trouble::NoSamples || !d.ended.is_empty()
}

fn idle_troubles(analysis: &Analysis) -> Vec<String> {
    let idle = analysis.disturbances.iter().filter(|d| d.run.is_none() && is_telling(d));
    idle.map(|d| format!("{}, while nothing ran", disturbance(d))).collect()
}

/// What troubled each run's supply and how it differs from the others, in one line.
fn run_troubles(analysis: &Analysis) -> Vec<String> {
    let several = analysis.runs.len() > 1;
    let of_run = |at: usize| {
        let supply = analysis.disturbances.iter().filter(|d| d.run == Some(at) && is_telling(d));
        let differences = analysis.differences.iter().filter(|d| d.run() == at).map(difference);
        let gone = supply.clone().any(|d| d.trouble == Trouble::NoSamples);
        let gone =
            gone.then(|| "where samples are missing, the mains or the meter's link was gone".to_owned());
        let said: Vec<String> = differences.chain(supply.map(disturbance)).chain(gone).collect();
        let place = if several { format!("run {}: ", at + 1) } else { String::new() };
        (!said.is_empty()).then(|| format!("{place}{}", said.join("; ")))
    };
    (0..analysis.runs.len()).filter_map(of_run).collect()
}

/// A disturbance, and what ended with it.
pub(super) fn disturbance(d: &Disturbance) -> String {
    let (at, long) = (span(d.start_s), length(d.end_s - d.start_s));
    let what = match d.trouble {
        Trouble::Dip { lowest_v, reference_v } => format!(
            "the voltage dipped at {at} for {long} to {lowest_v:.0} V, {:.0} % of the {reference_v:.0} V before",
            100.0 * lowest_v / reference_v
        ),
        Trouble::Interruption { reference_v } => {
            format!("the voltage was gone at {at} for {long}; it was {reference_v:.0} V before")
        }
        Trouble::NoPower => format!(
            "the power fell to exactly 0 W at {at} for {long}, the electronics too, while the meter went on: look at plug, \
             lead, mains switch and filter"
        ),
        Trouble::NoSamples => format!("no samples from {at} for {long} with a load on"),
    };
    let own = if d.with_heater { ", as the heater came on: the supply gives way under it" } else { "" };
    let ended: Vec<&str> = d
        .ended
        .iter()
        .map(|e| match e {
            Ended::Heater => "the heater went off",
            Ended::Spin => "the final spin ended",
            Ended::Run => "the run ended",
        })
        .collect();
    let ended = match ended[..] {
        [] => String::new(),
        _ => format!(" (with it or just after it {})", ended.join(" and ")),
    };
    format!("{what}{own}{ended}")
}

fn length(seconds: f64) -> String {
    if seconds < 60.0 { format!("{} s", (seconds * 10.0).round() / 10.0) } else { span(seconds) }
}

/// What can't be told about runs, but for their heater intervals, which say it themselves.
fn untold(runs: &[Read]) -> Option<String> {
    let peaks = || runs.iter().enumerate().filter_map(|(at, run)| Some((at, run.lone_peaks?)));
    let (first, (_, first_s)) = peaks().next()?;
    let count: usize = peaks().map(|(_, (count, _))| count).sum();
    let times = if count == 1 { "a peak".to_owned() } else { format!("{count} peaks") };
    let place = match (peaks().count(), runs.len()) {
        (_, 1) => format!("at {}", span(first_s)),
        (1, _) => format!("in run {}, at {}", first + 1, span(first_s)),
        (in_runs, _) => format!("in {in_runs} runs, the first in run {} at {}", first + 1, span(first_s)),
    };
    let place = if count > 1 && runs.len() == 1 { format!("first {place}") } else { place };
    Some(format!(
        "{times} of one or two samples above half the heater's watts ({place}): a heater that was on very briefly, a \
         motor's start or a slip of the meter, which power alone does not tell"
    ))
}

/// What can't be told about a heater interval; gaps in it in one line where there are many.
pub(super) fn doubts(found: &[Doubt]) -> Vec<String> {
    let inside = |d: &&Doubt| matches!(d, Doubt::GapInside { .. });
    let gaps = found.iter().filter(inside).count();
    if gaps <= MOST_GAPS {
        return found.iter().map(doubt).collect();
    }
    let long_s: f64 = found
        .iter()
        .map(|d| if let Doubt::GapInside { from_s, to_s } = d { to_s - from_s } else { 0.0 })
        .sum();
    let all = format!(
        "{gaps} stretches without samples in it, {} in all: breaks there would not show",
        span(long_s)
    );
    found.iter().filter(|d| !inside(d)).map(doubt).chain([all]).collect()
}

fn doubt(found: &Doubt) -> String {
    match *found {
        Doubt::StartInGap { from_s, to_s } => {
            format!("it came on between {} and {}, where samples are missing", span(from_s), span(to_s))
        }
        Doubt::EndInGap { from_s, to_s } => {
            format!("it went off between {} and {}, where samples are missing", span(from_s), span(to_s))
        }
        Doubt::GapInside { from_s, to_s } => {
            format!("no samples from {} to {}: a break there would not show", span(from_s), span(to_s))
        }
        Doubt::OnAtStart => "it was on when the recording, or this part of it, began".to_owned(),
        Doubt::OnAtEnd => "it was still on when the recording ended".to_owned(),
        Doubt::FewSamples(count) => format!("only {count} samples: its watts are rough"),
        Doubt::Together { at_s, other_w } => format!(
            "at {} another load of about {:.0} W went {} in the same moment: which of the two switched first cannot be told",
            span(at_s),
            other_w.abs(),
            if other_w > 0.0 { "on" } else { "off" }
        ),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn spans_are_round() {
        assert_eq!([span(75.0), span(3_723.0), span(90_061.0)], ["1:15", "1:02:03", "1d 01:01:01"]);
    }

    #[test]
    fn a_kick_is_not_told_as_the_peak_of_a_spin() {
        let spin = |peak_s, peak_w| Spin { start_s: 60.0, peak_s, end_s: 165.0, peak_w, plateau_w: 223.0 };
        let up = RunUp { start_s: 59.0, end_s: 119.0, from_w: 77.0, to_w: 279.0, straight: 0.9 };
        assert_eq!(
            super::spin("Final spin", &spin(118.0, 286.0), Some(&up)),
            "Final spin from 1:00 for 1:45: up from 77 W to 279 W in 60 s, peak 286 W after 58 s, settled at 223 W"
        );
        assert_eq!(
            super::spin("Final spin", &spin(62.0, 567.0), Some(&up)),
            "Final spin from 1:00 for 1:45: up from 77 W to 279 W in 60 s, a kick of 567 W as the motor starts, \
             settled at 223 W"
        );
    }

    #[test]
    fn a_dip_says_what_it_ended() {
        let dip = Disturbance {
            trouble: Trouble::Dip { lowest_v: 178.0, reference_v: 232.0 },
            start_s: 3723.0,
            end_s: 3724.5,
            run: Some(2),
            with_heater: false,
            ended: vec![Ended::Heater, Ended::Run],
        };
        assert_eq!(
            disturbance(&dip),
            "the voltage dipped at 1:02:03 for 1.5 s to 178 V, 77 % of the 232 V before (with it or just after it the \
             heater went off and the run ended)"
        );
    }

    #[test]
    fn a_long_list_is_cut_and_counted() {
        let lines = at_most((0..30).map(|k| k.to_string()).collect(), "lines");
        assert_eq!((lines.len(), lines[20].as_str()), (21, "and 10 more lines (--json has all)"));
    }
}
