//! A plot of a recording: power over time, states shaded and named, gaps hatched.

use super::Recording;
use super::plot::{Frame, head};
use super::words::{self, span};
use std::fmt::Write;
use trace::analysis::Part;
use trace::loads::Kind;

const WIDE: f64 = 1200.0;
const HIGH: f64 = 424.0;
/// Room that a letter of a name takes, in units of the plot; a state whose name has no room carries none.
const LETTER: f64 = 7.0;

/// The plot as SVG.
pub(super) fn render(recording: &Recording) -> String {
    let (from_s, to_s) = recording.analysis.span_s.unwrap_or((0.0, 1.0));
    let frame = Frame {
        left: 70.0,
        top: 30.0,
        wide: WIDE - 80.0,
        high: HIGH - 94.0,
        x: (from_s, to_s.max(from_s + 1e-9)),
        y: (0.0, 1.05 * recording.analysis.peak_w.max(1.0)),
    };
    let mut out = head(WIDE, HIGH, &recording.name);
    out.push_str(
        "<defs><pattern id=\"gap\" width=\"6\" height=\"6\" patternUnits=\"userSpaceOnUse\">\
         <path d=\"M0 6L6 0\" stroke=\"#ccc\"/></pattern></defs>\n",
    );
    for part in recording.analysis.parts() {
        shade(&mut out, &frame, &part);
    }
    frame.rows(&mut out, "W");
    frame.times(&mut out);
    curve(&mut out, &frame, recording);
    spins(&mut out, &frame, recording);
    legend(&mut out, &frame, recording);
    out.push_str("</svg>\n");
    out
}

/// Kinds that are shaded, in the order of the legend.
const SHADED: [Option<Kind>; 8] = [
    Some(Kind::Heating),
    Some(Kind::Reversing),
    Some(Kind::RunUp),
    Some(Kind::RunDown),
    Some(Kind::Spinning),
    Some(Kind::Draining),
    Some(Kind::Steady),
    None,
];

fn fill(kind: Option<Kind>) -> Option<&'static str> {
    Some(match kind {
        Some(Kind::Standby) => return None,
        Some(Kind::Draining) => "#d9ecff",
        Some(Kind::Reversing) => "#e6e0f5",
        Some(Kind::Steady) => "#e8e8d0",
        Some(Kind::Heating) => "#ffd9cc",
        Some(Kind::Spinning) => "#d5f0d5",
        Some(Kind::RunUp) => "#b5e0c0",
        Some(Kind::RunDown) => "#c0d8d8",
        None => "url(#gap)",
    })
}

/// What the shades that occur stand for.
fn legend(out: &mut String, frame: &Frame, recording: &Recording) {
    let occurs = |kind: Option<Kind>| recording.analysis.parts().any(|p| p.state.map(|s| s.kind) == kind);
    let (mut x, y) = (frame.left, HIGH - 22.0);
    for (kind, fill) in SHADED.into_iter().filter(|k| occurs(*k)).filter_map(|k| Some((k, fill(k)?))) {
        let name = words::state(kind);
        // Writing into a String cannot fail.
        let _ = writeln!(
            out,
            "<rect x=\"{x:.1}\" y=\"{y:.1}\" width=\"14\" height=\"12\" fill=\"{fill}\" stroke=\"#888\"/><text x=\"{:.1}\" y=\"{:.1}\">{name}</text>",
            x + 19.0,
            y + 10.0
        );
        x += 40.0 + LETTER * name.len() as f64;
    }
}

fn shade(out: &mut String, frame: &Frame, part: &Part<'_>) {
    let kind = part.state.map(|s| s.kind);
    let Some(fill) = fill(kind) else { return };
    let (x, end) = (frame.x(part.start_s), frame.x(part.end_s));
    let wide = (end - x).max(0.5);
    let name = words::state(kind);
    let watts = part.state.map_or(String::new(), |s| format!(", {}", words::watts(s)));
    // Writing into a String cannot fail.
    let _ = writeln!(
        out,
        "<rect x=\"{x:.1}\" y=\"{}\" width=\"{wide:.1}\" height=\"{:.1}\" fill=\"{fill}\"><title>{name} from {} for {}{watts}</title></rect>",
        frame.top,
        frame.high,
        span(part.start_s),
        span(part.end_s - part.start_s),
    );
    if wide >= LETTER * name.len() as f64 {
        let _ = writeln!(
            out,
            "<text x=\"{:.1}\" y=\"{}\" text-anchor=\"middle\">{name}</text>",
            x + wide / 2.0,
            frame.top - 8.0
        );
    }
}

/// How the drum came up to each spin as a line over the curve, and each peak, where it is not the kick of a motor that starts, as a ring; a pointer on either shows its words.
fn spins(out: &mut String, frame: &Frame, recording: &Recording) {
    for read in &recording.analysis.runs {
        let interim = read.run.loads.interim_spins.len();
        for (at, (spin, up)) in read.run.loads.spins_and_run_ups().enumerate() {
            let said = words::spin(words::spin_name(at < interim), spin, up);
            // Writing into a String cannot fail.
            if let Some(up) = up {
                let _ = writeln!(
                    out,
                    "<path d=\"M{:.1} {:.1}L{:.1} {:.1}\" stroke=\"#0a7d3c\" stroke-width=\"2.5\"><title>{said}</title></path>",
                    frame.x(up.start_s),
                    frame.y(up.from_w),
                    frame.x(up.end_s),
                    frame.y(up.to_w)
                );
            }
            if words::is_kick(spin, up) {
                continue;
            }
            let _ = writeln!(
                out,
                "<circle cx=\"{:.1}\" cy=\"{:.1}\" r=\"4\" fill=\"none\" stroke=\"#0a7d3c\" stroke-width=\"2\"><title>{said}</title></circle>",
                frame.x(spin.peak_s),
                frame.y(spin.peak_w)
            );
        }
    }
}

/// Lowest and highest of each bin, so that no spike is lost; broken where nothing was recorded for long.
fn curve(out: &mut String, frame: &Frame, recording: &Recording) {
    let picture = &recording.picture;
    let silent_s = (5.0 * recording.summary.step_s).max(10.0);
    let (mut path, mut last_s) = (String::new(), f64::NEG_INFINITY);
    for (at, bin) in picture.bins.iter().enumerate().filter(|(_, bin)| bin.count > 0) {
        let time_s = picture.start_s + at as f64 * picture.width_s;
        let pen = if time_s - last_s > silent_s.max(1.5 * picture.width_s) { 'M' } else { 'L' };
        let x = frame.x(time_s.min(frame.x.1));
        let _ = write!(path, "{pen}{x:.1} {:.1}", frame.y(bin.low_w));
        if bin.high_w > bin.low_w {
            let _ = write!(path, "V{:.1}", frame.y(bin.high_w));
        }
        last_s = time_s;
    }
    let _ = writeln!(out, "<path d=\"{path}\" fill=\"none\" stroke=\"#222\" stroke-width=\"1\"/>");
}
