//! A recording on the terminal: a picture, a table, and what it says in plain words. Writing into a String cannot fail.

use super::{Recording, word};
use crate::render::Screen;
use crate::render::table::{Column, Table};
use std::fmt::Write;
use trace::analysis::Read;
use trace::loads::{HeaterOn, State};

/// Lines of the picture.
const HEIGHT: usize = 8;
/// Columns left of the picture.
const MARGIN: usize = 8;
/// Most states in the table; the JSON has all.
const MOST_STATES: usize = 40;
/// Eighths of a block, from none to full.
const BLOCKS: [char; 9] = [' ', '▁', '▂', '▃', '▄', '▅', '▆', '▇', '█'];

/// All of it.
pub(super) fn render(recording: &Recording, screen: &Screen) -> String {
    let mut out = head(recording);
    out.push_str(&picture(recording, screen.columns));
    out.push_str(&states(recording, screen.columns));
    out.push('\n');
    for (number, run) in recording.analysis.runs.iter().enumerate() {
        out.push_str(&findings(number + 1, run, recording.analysis.runs.len() > 1));
    }
    out.push_str(&whole(recording));
    for warning in recording.warnings() {
        let _ = writeln!(out, "! {warning}");
    }
    out
}

fn head(recording: &Recording) -> String {
    let found = &recording.analysis;
    let long_s = found.span_s.map_or(0.0, |s| s.1 - s.0);
    format!(
        "{}: {} samples over {}, usually every {:.1} s\n",
        recording.name,
        found.samples,
        span(long_s),
        recording.summary.step_s
    )
}

fn picture(recording: &Recording, columns: usize) -> String {
    let wide = columns.saturating_sub(MARGIN + 1).max(10);
    let bins = recording.picture.in_columns(wide);
    let top_w = nice(recording.analysis.peak_w.max(1.0));
    let mut out = String::new();
    // A bin without a sample lies between samples that come seldom, or in a gap: it stays empty.
    for line in (0..HEIGHT).rev() {
        let label = match line {
            l if l == HEIGHT - 1 => format!("{top_w:.0} W"),
            l if l == HEIGHT / 2 - 1 => format!("{:.0} W", top_w / 2.0),
            _ => String::new(),
        };
        let cells = bins.iter().map(|bin| {
            let eighths = if bin.count == 0 { 0.0 } else { bin.high_w / top_w * (HEIGHT * 8) as f64 };
            let here = (eighths - (line * 8) as f64).round().clamp(0.0, 8.0);
            BLOCKS[here as usize]
        });
        out.push_str(format!("{label:>MARGIN$}▏{}", cells.collect::<String>()).trim_end());
        out.push('\n');
    }
    let (from, to) = recording.analysis.span_s.unwrap_or((0.0, 0.0));
    let (left, right) = (span(from), span(to));
    let middle = span(f64::midpoint(from, to));
    let half = wide / 2;
    let _ = writeln!(
        out,
        "{:MARGIN$} {left:<half$}{middle:<rest$}{right}",
        "",
        rest = (wide - half).saturating_sub(right.chars().count())
    );
    out
}

/// The next of 1, 2, 2.5, 5 times a power of ten.
fn nice(watts: f64) -> f64 {
    let decade = 10.0_f64.powf(watts.log10().floor());
    [1.0, 2.0, 2.5, 5.0, 10.0].iter().map(|s| s * decade).find(|w| *w >= watts).unwrap_or(watts)
}

fn states(recording: &Recording, columns: usize) -> String {
    let all: Vec<&State> = recording.analysis.runs.iter().flat_map(|r| &r.run.loads.states).collect();
    if all.is_empty() {
        return "Nothing ran in this recording.\n".to_owned();
    }
    let rows: Vec<Vec<String>> = all
        .iter()
        .take(MOST_STATES)
        .map(|s| {
            let watts = format!("{:.0} W", s.power_w);
            vec![span(s.start_s), span(s.end_s - s.start_s), watts, word(s.kind).to_owned()]
        })
        .collect();
    let titles = ["from", "for", "mean", "taken for"];
    let table = Table::fit(titles.map(|title| Column { title, leave_out: 0 }).into(), &rows, columns);
    let mut out = table.head();
    for row in &rows {
        out.push_str(&table.row(row));
    }
    if all.len() > MOST_STATES {
        let _ = writeln!(out, "… and {} more (--json has all)", all.len() - MOST_STATES);
    }
    out
}

fn findings(number: usize, read: &Read, several: bool) -> String {
    let mut out = String::new();
    let run = &read.run;
    if several {
        let long = span(run.end_s - run.start_s);
        let _ = writeln!(out, "Run {number}: from {}, {long} long", span(run.start_s));
    }
    for (on, u) in run.loads.heater_on.iter().zip(&read.resistance_u_ohm) {
        out.push_str(&heater(on, *u));
    }
    if let Some(r) = &read.reversals {
        let _ = writeln!(
            out,
            "Reversing: {} turns, {:.0} s on and {:.0} s off; power of one way over the other {:.2} (which is left cannot be told)",
            r.turns, r.on_s, r.pause_s, r.symmetry
        );
    }
    for s in &run.loads.spins {
        let _ = writeln!(
            out,
            "Final spin from {} to {}: peak {:.0} W after {:.0} s, {:.0} W in its last third",
            span(s.start_s),
            span(s.end_s),
            s.peak_w,
            s.peak_s - s.start_s,
            s.plateau_w
        );
    }
    out
}

fn heater(on: &HeaterOn, u_ohm: Option<f64>) -> String {
    let ohms = match (on.resistance_ohm, u_ohm) {
        (Some(r), Some(u)) => format!(", {r:.1} Ω ±{:.1}", 2.0 * u),
        _ => String::new(),
    };
    let watts: Vec<String> = on.stages.iter().map(|s| format!("{:.0} W", s.power_w)).collect();
    let stages = if watts.is_empty() { String::new() } else { format!("; in stages: {}", watts.join(", ")) };
    format!(
        "Heater on from {} for {}: {:.0} W by itself{ohms}{stages}\n",
        span(on.start_s),
        span(on.end_s - on.start_s),
        on.power_w
    )
}

fn whole(recording: &Recording) -> String {
    let found = &recording.analysis;
    let standby = found.standby_w.map_or(String::new(), |w| format!("; {w:.1} W on standby"));
    let mut out = format!("Energy {:.1} Wh, peak {:.0} W{standby}\n", found.energy_wh, found.peak_w);
    if let Some(s) = &found.source {
        let _ = writeln!(
            out,
            "The mains sags by {:.3} Ω ±{:.3} (line and neutral, lead and joints; {} heater edges)",
            s.ohm,
            2.0 * s.uncertainty_ohm,
            s.edges
        );
    } else if found.runs.iter().any(|r| !r.run.loads.heater_on.is_empty()) {
        out.push_str("The resistance of the mains cannot be told: it takes volts before and after the heater's edges\n");
    }
    out
}

/// 75 s as 1:15, with hours and days where there are some.
fn span(seconds: f64) -> String {
    let sign = if seconds < -0.5 { "-" } else { "" };
    let s = seconds.abs().round() as u64;
    let (days, h, m, s) = (s / 86_400, s / 3600 % 24, s / 60 % 60, s % 60);
    match (days, h) {
        (0, 0) => format!("{sign}{m}:{s:02}"),
        (0, _) => format!("{sign}{h}:{m:02}:{s:02}"),
        _ => format!("{sign}{days}d {h:02}:{m:02}:{s:02}"),
    }
}

#[cfg(test)]
mod tests {
    use super::{nice, span};

    #[test]
    fn spans_and_scales_are_round() {
        assert_eq!([span(75.0), span(3_723.0), span(90_061.0)], ["1:15", "1:02:03", "1d 01:01:01"]);
        assert_eq!([nice(1900.0), nice(2100.0), nice(99.0)], [2000.0, 2500.0, 100.0]);
    }
}
