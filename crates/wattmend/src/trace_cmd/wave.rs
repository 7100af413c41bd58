//! A recording of the mains cycle itself: power quantities after IEEE Std 1459-2010, and harmonics. Writing into a String
//! cannot fail.

use super::Found;
use super::plot::{Frame, head, round_step};
use crate::input;
use serde_json::{Value, json};
use std::fmt::Write;
use std::path::Path;
use trace::read::ReadError;
use trace::waveform::{Analysis, Cycle, Harmonic, Power, Waveform, analyse};

/// A waveform and what it shows.
pub(super) struct Wave {
    name: String,
    samples: Waveform,
    found: Analysis,
}

/// Harmonics under this share of the fundamental, in volts and amperes, are left out of the text.
const SMALL: f64 = 0.005;
/// Cycles drawn.
const DRAWN: usize = 3;

/// Finds what flows in a waveform.
pub(super) fn read(file: &Path, samples: Waveform) -> Result<Found, ReadError> {
    let found = analyse(&samples)?;
    Ok(Found::Wave(Box::new(Wave { name: input::shown(file), samples, found })))
}

/// On the terminal.
pub(super) fn text(wave: &Wave) -> String {
    let found = &wave.found;
    let p = &found.power;
    let mut out = format!(
        "{}: a waveform, {:.0} samples a second\n{} cycles of {:.2} Hz: {:.1} V, {:.3} A\n\
         P {:.1} W, S {:.1} VA, Q1 {:.1} var, N {:.1} var, PF {:.3} (fundamental {:.3})\n",
        wave.name,
        wave.samples.rate_hz,
        found.cycles.len(),
        found.frequency_hz,
        p.v,
        p.i,
        p.p,
        p.s,
        p.q1,
        p.n,
        p.pf,
        p.pf1
    );
    let _ = writeln!(out, "Distortion: volts {:.1} %, amperes {:.1} %", 100.0 * p.thd_v, 100.0 * p.thd_i);
    let _ = writeln!(out, "harmonic   volts   amperes   watts");
    let small = |h: &Harmonic| h.voltage_v < SMALL * p.v1 && h.current_a < SMALL * p.i1;
    for h in found.harmonics.iter().filter(|h| !small(h)) {
        // No "-0.00".
        let watts = (100.0 * h.power_w).round() / 100.0 + 0.0;
        let _ = writeln!(out, "{:>8} {:>7.2} {:>9.4} {watts:>7.2}", h.order, h.voltage_v, h.current_a);
    }
    let left_out = found.harmonics.iter().filter(|h| small(h)).count();
    if left_out > 0 {
        let _ =
            writeln!(out, "({left_out} harmonics under {} % are left out; --json has them)", 100.0 * SMALL);
    }
    if p.p < -0.01 * p.s {
        out.push_str("! The power is negative: the clamp sits the wrong way round, or power is fed back\n");
    }
    if wave.samples.clipped > 0 {
        let _ = writeln!(
            out,
            "! {} samples are at the end of the recorder's range: all figures are too low",
            wave.samples.clipped
        );
    }
    out
}

/// As JSON; `docs/trace-json.md` says what the keys mean.
pub(super) fn json(wave: &Wave) -> String {
    let found = &wave.found;
    let whole = json!({
        "format": 1,
        "file": wave.name,
        "samples": wave.samples.voltage_v.len(),
        "rate_hz": wave.samples.rate_hz,
        "frequency_hz": found.frequency_hz,
        "power": power(&found.power),
        "harmonics": found.harmonics.iter().map(harmonic).collect::<Vec<_>>(),
        "cycles": found.cycles.iter().map(cycle).collect::<Vec<_>>(),
        "clipped": wave.samples.clipped,
    });
    format!("{whole:#}\n")
}

fn power(p: &Power) -> Value {
    json!({
        "v": p.v, "i": p.i, "v1": p.v1, "i1": p.i1, "p": p.p, "p1": p.p1, "ph": p.ph, "q1": p.q1, "s": p.s,
        "s1": p.s1, "sn": p.sn, "di": p.di, "dv": p.dv, "sh": p.sh, "dh": p.dh, "n": p.n, "pf": p.pf,
        "pf1": p.pf1, "thd_v": p.thd_v, "thd_i": p.thd_i,
    })
}

fn harmonic(h: &Harmonic) -> Value {
    json!({
        "order": h.order, "voltage_v": h.voltage_v, "current_a": h.current_a, "lag_rad": h.lag_rad,
        "power_w": h.power_w,
    })
}

fn cycle(c: &Cycle) -> Value {
    json!({ "start_s": c.start_s, "frequency_hz": c.frequency_hz, "power": power(&c.power) })
}

const VOLTS: &str = "#1f5fa8";
const AMPERES: &str = "#b3401a";

/// The first cycles, the harmonics, and power cycle by cycle, as SVG.
pub(super) fn svg(wave: &Wave) -> String {
    let mut out = head(1200.0, 640.0, &wave.name);
    cycles(&mut out, wave);
    harmonics(&mut out, &wave.found);
    course(&mut out, &wave.found);
    out.push_str("</svg>\n");
    out
}

fn title(out: &mut String, frame: &Frame, text: &str) {
    let _ =
        writeln!(out, "<text x=\"{}\" y=\"{}\" font-size=\"14\">{text}</text>", frame.left, frame.top - 10.0);
}

fn cycles(out: &mut String, wave: &Wave) {
    let found = &wave.found;
    let shown = found.cycles.len().min(DRAWN);
    let Some((first, last)) = found.cycles.first().zip(found.cycles.get(shown.saturating_sub(1))) else {
        return;
    };
    let x = (first.start_s, last.start_s + 1.0 / last.frequency_hz);
    let rows = (x.0 * wave.samples.rate_hz) as usize
        ..((x.1 * wave.samples.rate_hz).ceil() as usize + 1).min(wave.samples.voltage_v.len());
    let top = |values: &[f64]| 1.1 * values.iter().fold(1e-3, |top: f64, v| top.max(v.abs()));
    let (volts, amperes) = (&wave.samples.voltage_v[rows.clone()], &wave.samples.current_a[rows.clone()]);
    let frame = |values: &[f64]| Frame {
        left: 70.0,
        top: 40.0,
        wide: 600.0,
        high: 270.0,
        x: (1e3 * x.0, 1e3 * x.1),
        y: (-top(values), top(values)),
    };
    let (left, right) = (frame(volts), frame(amperes));
    title(
        out,
        &left,
        &format!("The first {shown} cycles: volts (left scale) and amperes (right scale, dashed)"),
    );
    left.rows(out, "V");
    left.below(out, round_step(1e3 * (x.1 - x.0) / 8.0), |ms| format!("{ms:.0} ms"));
    let step = round_step(right.y.1 / 2.5);
    for at in [-2.0, -1.0, 0.0, 1.0, 2.0].map(|k| k * step).into_iter().filter(|at| at.abs() <= right.y.1) {
        let _ = writeln!(
            out,
            "<text x=\"{:.1}\" y=\"{:.1}\">{at} A</text>",
            right.right() + 6.0,
            right.y(at) + 4.0
        );
    }
    for (frame, values, colour, dashes) in [(&left, volts, VOLTS, "none"), (&right, amperes, AMPERES, "6 3")]
    {
        let mut path = String::new();
        for (row, value) in rows.clone().zip(values) {
            let ms = (1e3 * row as f64 / wave.samples.rate_hz).clamp(frame.x.0, frame.x.1);
            let pen = if path.is_empty() { 'M' } else { 'L' };
            let _ = write!(path, "{pen}{:.1} {:.1}", frame.x(ms), frame.y(*value));
        }
        let _ = writeln!(
            out,
            "<path d=\"{path}\" fill=\"none\" stroke=\"{colour}\" stroke-width=\"1.5\" stroke-dasharray=\"{dashes}\"/>"
        );
    }
}

fn harmonics(out: &mut String, found: &Analysis) {
    let p = &found.power;
    let share = |value: f64, first: f64| if first > 0.0 { 100.0 * value / first } else { 0.0 };
    let above: Vec<(usize, f64, f64)> = found
        .harmonics
        .iter()
        .filter(|h| h.order > 1)
        .map(|h| (h.order, share(h.voltage_v, p.v1), share(h.current_a, p.i1)))
        .collect();
    let top = above.iter().fold(5.0, |top: f64, h| top.max(h.1).max(h.2));
    let frame =
        Frame { left: 800.0, top: 40.0, wide: 380.0, high: 270.0, x: (1.0, 41.0), y: (0.0, 1.1 * top) };
    title(
        out,
        &frame,
        &format!("Harmonics in %; together {:.1} (volts), {:.1} (amperes)", 100.0 * p.thd_v, 100.0 * p.thd_i),
    );
    frame.rows(out, "%");
    frame.below(out, 5.0, |order| format!("{order:.0}"));
    for (order, volts, amperes) in above {
        for (value, shift, colour) in [(volts, -3.5, VOLTS), (amperes, 0.0, AMPERES)] {
            let y = frame.y(value);
            let _ = writeln!(
                out,
                "<rect x=\"{:.1}\" y=\"{y:.1}\" width=\"3.5\" height=\"{:.1}\" fill=\"{colour}\"><title>{order}: {value:.2} %</title></rect>",
                frame.x(order as f64) + shift,
                frame.bottom() - y
            );
        }
    }
    for (at, colour, name) in [(0.0, VOLTS, "volts"), (70.0, AMPERES, "amperes")] {
        let x = frame.right() - 140.0 + at;
        let _ = writeln!(
            out,
            "<rect x=\"{x}\" y=\"{0}\" width=\"10\" height=\"10\" fill=\"{colour}\"/><text x=\"{1}\" y=\"{2}\">{name}</text>",
            frame.top + 6.0,
            x + 14.0,
            frame.top + 15.0
        );
    }
}

fn course(out: &mut String, found: &Analysis) {
    let cycles = &found.cycles;
    let Some((first, last)) = cycles.first().zip(cycles.last()) else { return };
    let (low, high) = cycles
        .iter()
        .fold((0.0, 1.0), |(low, high): (f64, f64), c| (low.min(c.power.p), high.max(c.power.p)));
    let end_s = last.start_s + 1.0 / last.frequency_hz;
    let frame = Frame {
        left: 70.0,
        top: 400.0,
        wide: 1110.0,
        high: 190.0,
        x: (first.start_s, end_s),
        y: (1.05 * low, 1.05 * high),
    };
    title(
        out,
        &frame,
        &format!("Power of each of the {} cycles; {:.1} W over all", cycles.len(), found.power.p),
    );
    frame.rows(out, "W");
    frame.below(out, round_step((end_s - first.start_s) / 8.0), |s| format!("{} s", (s * 1e6).round() / 1e6));
    let mut path = String::new();
    // As many points as the plot has room for, lowest and highest of each bunch.
    let bunch = cycles.len().div_ceil(1110).max(1);
    for some in cycles.chunks(bunch) {
        let (low, high) = some.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), c| {
            (low.min(c.power.p), high.max(c.power.p))
        });
        let pen = if path.is_empty() { 'M' } else { 'L' };
        let end = some.last().map_or(0.0, |c| c.start_s + 1.0 / c.frequency_hz);
        let (from, to) = (frame.x(some[0].start_s), frame.x(end));
        let _ = write!(path, "{pen}{from:.1} {:.1}L{to:.1} {:.1}", frame.y(low), frame.y(high));
    }
    let _ = writeln!(out, "<path d=\"{path}\" fill=\"none\" stroke=\"#222\"/>");
}
