//! A frame with axes, for plots as SVG. Writing into a String cannot fail.

use super::words::span;
use std::fmt::Write;

/// Where a plot stands on the drawing, and what its edges stand for.
pub(super) struct Frame {
    pub(super) left: f64,
    pub(super) top: f64,
    pub(super) wide: f64,
    pub(super) high: f64,
    /// Values at the left and right edge, and at the bottom and top edge.
    pub(super) x: (f64, f64),
    pub(super) y: (f64, f64),
}

impl Frame {
    pub(super) fn x(&self, value: f64) -> f64 {
        self.left + (value - self.x.0) / (self.x.1 - self.x.0) * self.wide
    }

    pub(super) fn y(&self, value: f64) -> f64 {
        self.bottom() - (value.clamp(self.y.0, self.y.1) - self.y.0) / (self.y.1 - self.y.0) * self.high
    }

    pub(super) fn bottom(&self) -> f64 {
        self.top + self.high
    }

    pub(super) fn right(&self) -> f64 {
        self.left + self.wide
    }

    /// Lines across with their values, in the unit given.
    pub(super) fn rows(&self, out: &mut String, unit: &str) {
        let step = round_step((self.y.1 - self.y.0) / 5.0);
        let first = (self.y.0 / step).ceil() as i64;
        for at in (first..first + 20).map(|k| k as f64 * step).take_while(|v| *v <= self.y.1) {
            let y = self.y(at);
            let _ = writeln!(
                out,
                "<path d=\"M{} {y:.1}H{:.1}\" stroke=\"#ccc\"/><text x=\"{:.1}\" y=\"{:.1}\" text-anchor=\"end\">{} {unit}</text>",
                self.left,
                self.right(),
                self.left - 6.0,
                y + 4.0,
                (at * 1e6).round() / 1e6
            );
        }
    }

    /// Times below, as 1:15.
    pub(super) fn times(&self, out: &mut String) {
        let step = time_step((self.x.1 - self.x.0) / 8.0);
        self.below(out, step, span);
    }

    /// Values below.
    pub(super) fn below(&self, out: &mut String, step: f64, label: impl Fn(f64) -> String) {
        let first = (self.x.0 / step).ceil() as i64;
        for at in (first..first + 20).map(|k| k as f64 * step).take_while(|v| *v <= self.x.1) {
            let (x, y) = (self.x(at), self.bottom());
            let _ = writeln!(
                out,
                "<path d=\"M{x:.1} {y:.1}v5\" stroke=\"#888\"/><text x=\"{x:.1}\" y=\"{:.1}\" text-anchor=\"middle\">{}</text>",
                y + 18.0,
                label(at)
            );
        }
    }
}

/// The head of a drawing.
pub(super) fn head(wide: f64, high: f64, title: &str) -> String {
    format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {wide} {high}\" font-family=\"sans-serif\" \
         font-size=\"12\">\n<title>{}</title>\n<rect width=\"{wide}\" height=\"{high}\" fill=\"#fff\"/>\n",
        escaped(title)
    )
}

/// The next of 1, 2, 5 times a power of ten.
pub(super) fn round_step(rough: f64) -> f64 {
    let decade = 10.0_f64.powf(rough.max(1e-9).log10().floor());
    [1.0, 2.0, 5.0, 10.0].iter().map(|s| s * decade).find(|s| *s >= rough).unwrap_or(rough)
}

/// The next time that a clock counts in.
fn time_step(rough_s: f64) -> f64 {
    const STEPS_S: [f64; 19] = [
        1.0, 2.0, 5.0, 10.0, 15.0, 30.0, 60.0, 120.0, 300.0, 600.0, 900.0, 1800.0, 3600.0, 7200.0, 10_800.0,
        21_600.0, 43_200.0, 86_400.0, 172_800.0,
    ];
    STEPS_S
        .iter()
        .copied()
        .find(|s| *s >= rough_s)
        .unwrap_or_else(|| 86_400.0 * round_step(rough_s / 86_400.0))
}

fn escaped(text: &str) -> String {
    let shown = text.chars().map(|c| if c.is_control() { char::REPLACEMENT_CHARACTER } else { c });
    shown.collect::<String>().replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn steps_are_round() {
        assert_eq!([round_step(23.0), round_step(0.3)], [50.0, 0.5]);
        assert_eq!([time_step(40.0), time_step(1e3), time_step(4e5)], [60.0, 1800.0, 432_000.0]);
    }

    #[test]
    fn a_name_cannot_break_the_drawing() {
        assert!(head(1.0, 1.0, "<a>&\u{1}").contains("<title>&lt;a&gt;&amp;\u{fffd}</title>"));
    }
}
