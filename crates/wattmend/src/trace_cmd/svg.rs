//! A plot of a recording: power over time, states shaded and named.

use super::{Recording, word};
use std::fmt::Write;
use trace::loads::{Kind, State};

const WIDE: f64 = 1200.0;
const HIGH: f64 = 400.0;
const LEFT: f64 = 70.0;
const BOTTOM: f64 = 40.0;
const TOP: f64 = 30.0;
/// Narrower states carry no name, in units of the plot.
const NAMED: f64 = 48.0;

struct Scale {
    from_s: f64,
    long_s: f64,
    top_w: f64,
}

impl Scale {
    fn x(&self, time_s: f64) -> f64 {
        LEFT + (time_s - self.from_s) / self.long_s * (WIDE - LEFT - 10.0)
    }

    fn y(&self, watts: f64) -> f64 {
        HIGH - BOTTOM - watts.max(0.0) / self.top_w * (HIGH - BOTTOM - TOP)
    }
}

/// The plot as SVG.
pub(super) fn render(recording: &Recording) -> String {
    let (from_s, to_s) = recording.analysis.span_s.unwrap_or((0.0, 1.0));
    let scale =
        Scale { from_s, long_s: (to_s - from_s).max(1e-9), top_w: 1.05 * recording.analysis.peak_w.max(1.0) };
    let mut out = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {WIDE} {HIGH}\" font-family=\"sans-serif\" \
         font-size=\"12\">\n<title>{}</title>\n<rect width=\"{WIDE}\" height=\"{HIGH}\" fill=\"#fff\"/>\n",
        escaped(&recording.name)
    );
    for state in recording.analysis.runs.iter().flat_map(|r| &r.run.loads.states) {
        shade(&mut out, &scale, state);
    }
    axes(&mut out, &scale);
    curve(&mut out, &scale, recording);
    out.push_str("</svg>\n");
    out
}

fn shade(out: &mut String, scale: &Scale, state: &State) {
    let fill = match state.kind {
        Kind::Standby => return,
        Kind::Draining => "#d9ecff",
        Kind::Reversing => "#e6e0f5",
        Kind::Steady => "#e8e8d0",
        Kind::Heating => "#ffd9cc",
        Kind::Spinning => "#d5f0d5",
    };
    let (x, end) = (scale.x(state.start_s), scale.x(state.end_s));
    let wide = (end - x).max(0.5);
    // Writing into a String cannot fail.
    let _ = writeln!(
        out,
        "<rect x=\"{x:.1}\" y=\"{TOP}\" width=\"{wide:.1}\" height=\"{:.1}\" fill=\"{fill}\"><title>{} {:.0} W</title></rect>",
        HIGH - BOTTOM - TOP,
        word(state.kind),
        state.power_w
    );
    if wide >= NAMED {
        let _ = writeln!(
            out,
            "<text x=\"{:.1}\" y=\"{}\" text-anchor=\"middle\">{}</text>",
            x + wide / 2.0,
            TOP - 8.0,
            word(state.kind)
        );
    }
}

fn axes(out: &mut String, scale: &Scale) {
    let step_w = round_step(scale.top_w / 5.0);
    let mut watts = 0.0;
    while watts <= scale.top_w {
        let y = scale.y(watts);
        let _ = writeln!(
            out,
            "<path d=\"M{LEFT} {y:.1}H{}\" stroke=\"#ccc\"/><text x=\"{}\" y=\"{:.1}\" text-anchor=\"end\">{watts:.0} W</text>",
            WIDE - 10.0,
            LEFT - 6.0,
            y + 4.0
        );
        watts += step_w;
    }
    let step_s = round_step(scale.long_s / 8.0);
    let mut at = (scale.from_s / step_s).ceil() * step_s;
    for _ in 0..20 {
        if at > scale.from_s + scale.long_s {
            break;
        }
        let _ = writeln!(
            out,
            "<text x=\"{:.1}\" y=\"{}\" text-anchor=\"middle\">{at:.0} s</text>",
            scale.x(at),
            HIGH - BOTTOM + 18.0
        );
        at += step_s;
    }
}

fn round_step(rough: f64) -> f64 {
    let decade = 10.0_f64.powf(rough.max(1e-9).log10().floor());
    [1.0, 2.0, 5.0, 10.0].iter().map(|s| s * decade).find(|s| *s >= rough).unwrap_or(rough)
}

/// Lowest and highest of each bin, so that no spike is lost; broken where nothing was recorded for long.
fn curve(out: &mut String, scale: &Scale, recording: &Recording) {
    let picture = &recording.picture;
    let silent_s = (5.0 * recording.summary.step_s).max(10.0);
    let (mut path, mut last_s) = (String::new(), f64::NEG_INFINITY);
    for (at, bin) in picture.bins.iter().enumerate().filter(|(_, bin)| bin.count > 0) {
        let time_s = picture.start_s + at as f64 * picture.width_s;
        let pen = if time_s - last_s > silent_s.max(1.5 * picture.width_s) { 'M' } else { 'L' };
        let x = scale.x(time_s);
        let _ = write!(path, "{pen}{x:.1} {:.1}", scale.y(bin.low_w));
        if bin.high_w > bin.low_w {
            let _ = write!(path, "V{:.1}", scale.y(bin.high_w));
        }
        last_s = time_s;
    }
    let _ = writeln!(out, "<path d=\"{path}\" fill=\"none\" stroke=\"#222\" stroke-width=\"1\"/>");
}

fn escaped(text: &str) -> String {
    text.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;")
}
