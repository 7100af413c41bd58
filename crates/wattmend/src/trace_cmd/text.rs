//! A recording on the terminal: a picture, a table, and what it says in plain words. Writing into a String cannot fail.

use super::Recording;
use super::words::{self, span};
use crate::render::Screen;
use crate::render::table::{Column, Table};
use crate::render::wrap;
use std::fmt::Write;
use trace::analysis::Read;
use trace::loads::{HeaterOn, State};
use trace::measures::{Reversals, main_power_w};

/// Lines of the picture.
const HEIGHT: usize = 8;
/// Columns left of the picture.
const MARGIN: usize = 8;
/// Most states in the table; the JSON has all.
const MOST_STATES: usize = 60;
/// Most runs in the list of runs; of more only those that differ.
const MOST_RUNS: usize = 60;
/// Up to so many runs are told one by one as well.
const MOST_RUNS_IN_FULL: usize = 4;
/// Eighths of a block, from none to full.
const BLOCKS: [char; 9] = [' ', '▁', '▂', '▃', '▄', '▅', '▆', '▇', '█'];

/// In the bottom line where samples are missing.
const GAP: char = '·';

/// All of it.
pub(super) fn render(recording: &Recording, screen: &Screen) -> String {
    let mut out = head(recording, screen.columns);
    out.push_str(&picture(recording, screen.columns));
    let all = &recording.analysis.runs;
    if all.len() <= MOST_RUNS_IN_FULL {
        out.push_str(&states(recording, screen.columns));
        out.push('\n');
    }
    if all.len() > 1 {
        out.push_str(&runs(recording, screen.columns));
        out.push('\n');
    }
    if all.len() <= MOST_RUNS_IN_FULL {
        for (number, run) in all.iter().enumerate() {
            out.push_str(&findings(number + 1, run, all.len() > 1, screen.columns));
        }
    }
    out.push_str(&whole(recording, screen.columns));
    for warning in words::warnings(recording) {
        out.push_str(&wrap::wrap("! ", "  ", &warning, screen.columns));
    }
    out
}

fn head(recording: &Recording, columns: usize) -> String {
    let found = &recording.analysis;
    let long_s = found.span_s.map_or(0.0, |s| s.1 - s.0);
    let samples = if found.samples == 1 { "sample" } else { "samples" };
    let mut text = format!("{}: {} {samples} over {}", recording.name, found.samples, span(long_s));
    if recording.summary.step_s > 0.0 {
        let _ = write!(text, ", usually every {:.1} s", recording.summary.step_s);
    }
    wrap::wrap("", "  ", &text, columns)
}

fn picture(recording: &Recording, columns: usize) -> String {
    let wide = columns.saturating_sub(MARGIN + 1).max(10);
    let bins = recording.picture.in_columns(wide);
    let top_w = nice(recording.analysis.peak_w.max(1.0));
    let mut out = String::new();
    let (from_s, to_s) = recording.analysis.span_s.unwrap_or((0.0, 0.0));
    let in_gap = |column: usize| {
        let at_s = from_s + (to_s - from_s) * (column as f64 + 0.5) / wide as f64;
        recording.analysis.gaps.iter().any(|g| (g.0..g.1).contains(&at_s))
    };
    // A bin without a sample lies between samples that come seldom and stays empty, or in a gap.
    for line in (0..HEIGHT).rev() {
        let label = match line {
            l if l == HEIGHT - 1 => format!("{top_w:.0} W"),
            l if l == HEIGHT / 2 - 1 => format!("{:.0} W", top_w / 2.0),
            _ => String::new(),
        };
        let cells = bins.iter().enumerate().map(|(column, bin)| {
            if line == 0 && bin.count == 0 && in_gap(column) {
                return GAP;
            }
            let eighths = if bin.count == 0 { 0.0 } else { bin.high_w / top_w * (HEIGHT * 8) as f64 };
            let here = (eighths - (line * 8) as f64).round().clamp(0.0, 8.0);
            BLOCKS[here as usize]
        });
        out.push_str(format!("{label:>MARGIN$}▏{}", cells.collect::<String>()).trim_end());
        out.push('\n');
    }
    let (left, right) = (span(from_s), span(to_s));
    let middle = span(f64::midpoint(from_s, to_s));
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
    let analysis = &recording.analysis;
    if analysis.runs.is_empty() {
        return "Nothing ran in this recording.\n".to_owned();
    }
    let all: usize = analysis.runs.iter().map(|r| r.run.loads.states.len()).sum();
    let listed = || analysis.runs.iter().flat_map(|r| &r.run.loads.states).take(MOST_STATES);
    let gaps = listed().any(|s| missing_s(s, &analysis.gaps) > 0.0);
    let rows: Vec<Vec<String>> = listed()
        .map(|s| {
            let kind = words::state(Some(s.kind)).to_owned();
            let mut row = vec![span(s.start_s), span(s.end_s - s.start_s), words::watts(s), kind];
            let missing_s = missing_s(s, &analysis.gaps);
            row.extend(gaps.then(|| if missing_s > 0.0 { span(missing_s) } else { String::new() }));
            row
        })
        .collect();
    let titles = ["from", "for", "mean", "taken for", "no samples"];
    let mut out = table(&titles[..if gaps { 5 } else { 4 }], &rows, columns);
    if all > rows.len() {
        let _ = writeln!(out, "… and {} more (--json has all)", all - rows.len());
    }
    out
}

/// How much of a state lies in stretches without samples, in seconds.
fn missing_s(state: &State, gaps: &[(f64, f64)]) -> f64 {
    let first = gaps.partition_point(|g| g.1 <= state.start_s);
    let inside = gaps[first..].iter().take_while(|g| g.0 < state.end_s);
    inside.map(|g| g.1.min(state.end_s) - g.0.max(state.start_s)).sum()
}

fn table(titles: &[&'static str], rows: &[Vec<String>], columns: usize) -> String {
    let columns_of = titles.iter().map(|title| Column { title, leave_out: 0 }).collect();
    let table = Table::fit(columns_of, rows, columns);
    let mut out = table.head();
    for row in rows {
        out.push_str(&table.row(row));
    }
    out
}

/// A line for each run: what a service book would say of it.
fn runs(recording: &Recording, columns: usize) -> String {
    let all = &recording.analysis.runs;
    let differs = |at: usize| {
        recording.analysis.differences.iter().any(|d| d.run() == at)
            || recording.analysis.disturbances.iter().any(|d| d.run == Some(at) && !d.ended.is_empty())
    };
    let row = |(at, read): (usize, &Read)| {
        let run = &read.run;
        let heated_s: f64 = run.loads.heater_on.iter().map(|h| h.end_s - h.start_s).sum();
        let or_none = |some: bool, text: String| if some { text } else { "–".to_owned() };
        let heater_w = main_power_w(&run.loads.heater_on);
        let spin = run.loads.spins.last();
        vec![
            format!("{}", at + 1),
            span(run.start_s),
            span(run.end_s - run.start_s),
            format!("{:.0} Wh", read.energy_wh),
            or_none(heated_s > 0.0, span(heated_s)),
            heater_w.map_or("–".to_owned(), |w| format!("{w:.0} W")),
            spin.map_or("–".to_owned(), |s| span(s.end_s - s.start_s)),
            read.lowest_v.map_or("–".to_owned(), |v| format!("{v:.0} V")),
            if differs(at) { "differs, see below".to_owned() } else { String::new() },
        ]
    };
    // Of a long list the runs that differ are what it was recorded for.
    let long = all.len() > MOST_RUNS;
    let rows: Vec<Vec<String>> =
        all.iter().enumerate().filter(|(at, _)| !long || differs(*at)).take(MOST_RUNS).map(row).collect();
    let titles = ["run", "from", "for", "energy", "heated", "heater", "spun", "lowest", ""];
    let mut out = table(&titles, &rows, columns);
    if all.len() > rows.len() {
        let _ = writeln!(out, "{} runs in all (--json has all); listed are such as differ", all.len());
    }
    out
}

fn findings(number: usize, read: &Read, several: bool, columns: usize) -> String {
    let mut out = String::new();
    let run = &read.run;
    if several {
        let long = span(run.end_s - run.start_s);
        let _ = writeln!(out, "Run {number}: from {}, {long} long", span(run.start_s));
    }
    for ((on, u), doubts) in run.loads.heater_on.iter().zip(&read.resistance_u_ohm).zip(&read.doubts) {
        out.push_str(&heater(on, *u, columns));
        for doubt in words::doubts(doubts) {
            out.push_str(&wrap::wrap("  ", "  ", &doubt, columns));
        }
    }
    if let Some(r) = &read.reversals {
        out.push_str(&wrap::wrap("", "  ", &reversing(r), columns));
    }
    let interim = run.loads.interim_spins.len();
    for (at, (spin, up)) in run.loads.spins_and_run_ups().enumerate() {
        let what = words::spin_name(at < interim);
        out.push_str(&wrap::wrap("", "  ", &words::spin(what, spin, up), columns));
    }
    if run.loads.heater_on.is_empty() && run.loads.spins.is_empty() && read.reversals.is_none() {
        let highest = run.loads.states.iter().map(|s| s.power_w).fold(f64::NEG_INFINITY, f64::max);
        let text = format!(
            "No heater, spin or reversing drum in it; highest state {highest:.0} W, highest sample {:.0} W at {}",
            read.peak_w,
            span(read.peak_s)
        );
        out.push_str(&wrap::wrap("", "  ", &text, columns));
    }
    out
}

fn reversing(r: &Reversals) -> String {
    let times = match r.on_by_turns_s {
        Some((less, more)) => format!("{less:.0} s and {more:.0} s on by turns"),
        None => format!("{:.0} s on", r.on_s),
    };
    let powers = match r.symmetry {
        Some(share) => format!(
            "every second turn draws {:.0} % less than the one between (power does not tell which way it turns)",
            100.0 * (1.0 - share)
        ),
        None => "no difference from turn to turn beyond their scatter, so nothing to say of left and right"
            .to_owned(),
    };
    format!(
        "Reversing: {} turns, {times}, {:.0} s off, turning {:.0} % of the time; {powers}",
        r.turns,
        r.pause_s,
        100.0 * r.duty
    )
}

fn heater(on: &HeaterOn, u_ohm: Option<f64>, columns: usize) -> String {
    let ohms = match (on.resistance_ohm, u_ohm) {
        (Some(r), Some(u)) => format!(", {r:.1} Ω ±{:.1}", 2.0 * u),
        _ => String::new(),
    };
    let watts: Vec<String> = on.stages.iter().map(|s| format!("{:.0} W", s.power_w)).collect();
    let stages = if watts.is_empty() { String::new() } else { format!("; in stages: {}", watts.join(", ")) };
    let text = format!(
        "Heater on from {} for {}: {:.0} W by itself{ohms}{stages}",
        span(on.start_s),
        span(on.end_s - on.start_s),
        on.power_w
    );
    wrap::wrap("", "  ", &text, columns)
}

fn whole(recording: &Recording, columns: usize) -> String {
    let found = &recording.analysis;
    let standby = found.standby_w.map_or(String::new(), |w| format!("; {w:.1} W on standby"));
    let mut out =
        format!("Energy {:.1} Wh, peak {:.0} W{standby}\n", found.energy_wh + 0.0, found.peak_w + 0.0);
    let mains = if let Some(s) = &found.source {
        format!(
            "The mains sags by {:.3} Ω ±{:.3} (line and neutral, lead and joints; {} heater edges)",
            s.ohm,
            2.0 * s.uncertainty_ohm,
            s.edges
        )
    } else if found.runs.iter().any(|r| !r.run.loads.heater_on.is_empty()) {
        "The resistance of the mains cannot be told: it takes volts before and after the heater's edges"
            .to_owned()
    } else {
        return out;
    };
    out.push_str(&wrap::wrap("", "  ", &mains, columns));
    out
}

#[cfg(test)]
mod tests {
    use super::nice;

    #[test]
    fn scales_are_round() {
        assert_eq!([nice(1900.0), nice(2100.0), nice(99.0)], [2000.0, 2500.0, 100.0]);
    }
}
