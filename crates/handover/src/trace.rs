//! The trace with the steps of the service test in it, as an SVG for paper: black on white, told apart without colour.

/// Size of the picture, in its own units; set at 170 mm wide, 10 units are about 2 mm.
const WIDE: f64 = 860.0;
const HIGH: f64 = 270.0;
const LEFT: f64 = 58.0;
const TOP: f64 = 40.0;
const BOTTOM: f64 = 28.0;
const RIGHT: f64 = 8.0;

/// Columns that the curve is drawn in: each holds its lowest and highest reading, so no peak is lost, however long the trace.
const COLUMNS: usize = 800;

/// Room that a letter takes.
const LETTER: f64 = 6.2;

/// A step where it lies in the trace.
#[derive(Clone, Debug, PartialEq)]
pub struct Span {
    /// Its name.
    pub name: String,
    /// From, s on the clock of the samples.
    pub start_s: f64,
    /// To, s.
    pub end_s: f64,
}

/// Power over time. `samples` are seconds and W, oldest first; nothing without at least two that can be drawn.
pub fn trace_svg(samples: &[(f64, f64)], steps: &[Span]) -> Option<String> {
    let good: Vec<(f64, f64)> =
        samples.iter().copied().filter(|(t, w)| t.is_finite() && w.is_finite()).collect();
    let (from, to) = (good.first()?.0, good.last()?.0);
    if to <= from {
        return None;
    }
    let low = good.iter().map(|s| s.1).fold(0.0, f64::min);
    let high = good.iter().map(|s| s.1).fold(1.0, f64::max) * 1.05;
    let x = |t: f64| LEFT + (t - from) / (to - from) * (WIDE - LEFT - RIGHT);
    let y = |w: f64| HIGH - BOTTOM - (w - low) / (high - low) * (HIGH - TOP - BOTTOM);
    let mut out = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {WIDE} {HIGH}\" width=\"{WIDE}\" height=\"{HIGH}\" \
         font-family=\"Libertinus Serif\" font-size=\"13\">\n<rect width=\"{WIDE}\" height=\"{HIGH}\" fill=\"#fff\"/>\n"
    );
    for (at, step) in steps.iter().enumerate() {
        let (a, b) = (x(step.start_s.clamp(from, to)), x(step.end_s.clamp(from, to)));
        let fill = if at.is_multiple_of(2) { "#eee" } else { "#fff" };
        out.push_str(&format!(
            "<rect x=\"{a:.1}\" y=\"{TOP}\" width=\"{:.1}\" height=\"{:.1}\" fill=\"{fill}\"/>\n",
            (b - a).max(0.0),
            HIGH - TOP - BOTTOM
        ));
        out.push_str(&name(step, at, a, b));
    }
    for w in ticks(low, high, 5.0) {
        out.push_str(&format!(
            "<path d=\"M{LEFT} {0:.1}H{1:.1}\" stroke=\"#bbb\" stroke-width=\"0.6\"/><text x=\"{2:.1}\" y=\"{3:.1}\" \
             text-anchor=\"end\">{w} W</text>\n",
            y(w),
            WIDE - RIGHT,
            LEFT - 5.0,
            y(w) + 4.0
        ));
    }
    for s in ticks(0.0, to - from, 8.0) {
        let (minutes, seconds) = ((s / 60.0).floor(), s % 60.0);
        out.push_str(&format!(
            "<text x=\"{:.1}\" y=\"{:.1}\" text-anchor=\"middle\">{minutes}:{seconds:02}</text>\n",
            x(from + s).min(WIDE - RIGHT - 14.0),
            HIGH - BOTTOM + 17.0
        ));
    }
    out.push_str(&format!(
        "<path d=\"{}\" fill=\"none\" stroke=\"#000\" stroke-width=\"1.1\" stroke-linejoin=\"round\"/>\n</svg>\n",
        curve(&good, from, to, x, y)
    ));
    Some(out)
}

/// Its name above, in two rows in turn; its number alone where the name has no room.
fn name(step: &Span, at: usize, a: f64, b: f64) -> String {
    let room = 2.0 * (b - a);
    let number = (at + 1).to_string();
    let whole = format!("{number} {}", step.name);
    let text = if whole.chars().count() as f64 * LETTER < room { whole } else { number };
    let row = TOP - 6.0 - if at.is_multiple_of(2) { 15.0 } else { 0.0 };
    let text = text.replace('&', "&amp;").replace('<', "&lt;");
    format!("<text x=\"{:.1}\" y=\"{row:.1}\" text-anchor=\"middle\">{text}</text>\n", f64::midpoint(a, b))
}

fn curve(
    samples: &[(f64, f64)],
    from: f64,
    to: f64,
    x: impl Fn(f64) -> f64,
    y: impl Fn(f64) -> f64,
) -> String {
    let column = |t: f64| ((t - from) / (to - from) * COLUMNS as f64) as usize;
    let mut path = String::new();
    let mut to_point = |(t, w): (f64, f64)| {
        let letter = if path.is_empty() { 'M' } else { 'L' };
        path.push_str(&format!("{letter}{:.1} {:.1}", x(t), y(w)));
    };
    for run in samples.chunk_by(|a, b| column(a.0) == column(b.0)) {
        let lowest = run.iter().copied().min_by(|a, b| a.1.total_cmp(&b.1));
        let highest = run.iter().copied().max_by(|a, b| a.1.total_cmp(&b.1));
        let mut kept: Vec<(f64, f64)> =
            [run.first().copied(), lowest, highest, run.last().copied()].into_iter().flatten().collect();
        kept.sort_by(|a, b| a.0.total_cmp(&b.0));
        kept.dedup();
        kept.into_iter().for_each(&mut to_point);
    }
    path
}

/// Round values from low to high, about so many.
fn ticks(low: f64, high: f64, about: f64) -> Vec<f64> {
    let raw = (high - low) / about;
    let ten = 10f64.powf(raw.log10().floor());
    let step = [1.0, 2.0, 5.0, 10.0].into_iter().map(|m| m * ten).find(|s| *s >= raw).unwrap_or(raw);
    let step = if (15.0..3600.0).contains(&step) && about > 6.0 { (step / 30.0).ceil() * 30.0 } else { step };
    (0..50)
        .map(|k| ((low / step).ceil() + f64::from(k)) * step)
        .take_while(|v| *v <= high)
        .map(|v| (v * 1e6).round() / 1e6)
        .collect()
}

#[cfg(test)]
mod tests {
    use super::{Span, trace_svg};

    #[test]
    fn a_peak_of_one_sample_is_drawn_however_long_the_trace() {
        let mut samples: Vec<(f64, f64)> = (0..200_000).map(|k| (f64::from(k), 5.0)).collect();
        samples[123_456].1 = 2000.0;
        let svg = trace_svg(&samples, &[]).unwrap();
        // 2000 W is 1/1.05 of the height from the bottom.
        let top = 270.0 - 28.0 - (270.0 - 40.0 - 28.0) / 1.05;
        assert!(svg.contains(&format!(" {top:.1}L")), "no point at {top:.1}");
        assert!(svg.len() < 60_000, "{} bytes", svg.len());
        roxmltree::Document::parse(&svg).unwrap();
    }

    #[test]
    fn what_cannot_be_drawn_is_no_picture() {
        assert_eq!(trace_svg(&[], &[]), None);
        assert_eq!(trace_svg(&[(1.0, 5.0)], &[]), None);
        assert_eq!(trace_svg(&[(1.0, f64::NAN), (2.0, f64::INFINITY)], &[]), None);
        let step = Span { name: "<a & b>".to_owned(), start_s: -5.0, end_s: 99.0 };
        let svg = trace_svg(&[(0.0, -3.0), (10.0, 5.0)], &[step]).unwrap();
        roxmltree::Document::parse(&svg).unwrap();
    }
}
