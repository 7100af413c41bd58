//! The recording that an evidence file names, and the operator's marks in it.

use super::{NotUnderstood, Recording};
use crate::evidence::piece::Piece;
use machine::model::Span;
use quantity::{Dimension, parse};
use trace::Trace;

const DAY_S: f64 = 86_400.0;

/// A recording named by an evidence file, still to be read.
#[derive(Clone, Debug, PartialEq)]
pub struct TraceFile {
    /// Path as written, from the folder of the evidence file.
    pub path: String,
    /// Where the evidence file names it.
    pub span: Span,
    /// The operator's marks.
    pub marks: Vec<Mark>,
}

/// "Now this step begins", as the operator noted it.
#[derive(Clone, Debug, PartialEq)]
pub struct Mark {
    /// When.
    pub at: At,
    /// The step that began then, by place.
    pub step: usize,
    /// Set by hand on the trace, and believed.
    pub edge: bool,
    /// Where the evidence file says so.
    pub span: Span,
}

/// A moment in a recording.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum At {
    /// So long after its first sample, s.
    After(f64),
    /// By its own clock, s from midnight.
    Clock(f64),
}

impl At {
    /// `12:03:05` or `12:03` by the recording's clock; `85 s` or `1m25s` after its first sample.
    pub fn parse(text: &str) -> Result<At, NotUnderstood> {
        let whole = Piece::whole(text);
        if whole.text.contains(':') {
            return clock(whole.text).map(At::Clock).ok_or_else(|| {
                whole.refused("not-a-time", "this is no time of day").mend("write it as 12:03:05")
            });
        }
        let seconds =
            whole.notation(|t| parse(t, Dimension::Time)).map_err(|e| e.or("the time of day, 12:03:05"))?;
        if !(0.0..=366.0 * DAY_S).contains(&seconds) {
            return Err(whole
                .refused("out-of-reach", "this lies in no recording")
                .mend("give the time after the first sample, such as 85 s"));
        }
        Ok(At::After(seconds))
    }
}

/// Hours, minutes and perhaps seconds.
fn clock(text: &str) -> Option<f64> {
    let parts: Vec<&str> = text.split(':').map(str::trim).collect();
    let [hours, minutes, seconds] = match parts[..] {
        [h, m] => [h, m, "0"],
        [h, m, s] => [h, m, s],
        _ => return None,
    };
    let plain = |t: &str| !t.is_empty() && t.bytes().all(|b| b.is_ascii_digit() || b == b'.');
    let (h, m, s): (f64, f64, f64) =
        (hours.parse().ok()?, minutes.parse().ok()?, Some(seconds).filter(|s| plain(s))?.parse().ok()?);
    let whole = plain(hours) && plain(minutes) && h.fract() == 0.0 && m.fract() == 0.0;
    (whole && h < 24.0 && m < 60.0 && s < 60.0).then_some(h * 3600.0 + m * 60.0 + s)
}

impl TraceFile {
    /// The recording with its marks on the samples' clock, once it was read.
    ///
    /// # Errors
    /// A mark by the clock where the recording has none, or a mark outside it; with the place of the mark.
    pub fn recording(&self, trace: Trace) -> Result<Recording, (Span, NotUnderstood)> {
        let (mut marks, mut edges) = (Vec::new(), Vec::new());
        for mark in &self.marks {
            let time_s = moment(mark.at, &trace).map_err(|e| (mark.span.clone(), e))?;
            if mark.edge { &mut edges } else { &mut marks }.push((time_s, mark.step));
        }
        for all in [&mut marks, &mut edges] {
            all.sort_by(|a, b| a.0.total_cmp(&b.0));
        }
        Ok(Recording { name: self.path.clone(), samples: trace.samples, marks, edges })
    }
}

/// Seconds on the samples' clock.
fn moment(at: At, trace: &Trace) -> Result<f64, NotUnderstood> {
    let (Some(first), Some(last)) = (trace.samples.first(), trace.samples.last()) else {
        return Err(outside("the recording is empty".to_owned()));
    };
    let time_s = match (at, trace.start_unix_s) {
        (At::After(seconds), _) => first.time_s + seconds,
        (At::Clock(of_day), Some(start)) => {
            // The first such time of day from the first sample on.
            let begins = start + first.time_s;
            first.time_s + (of_day - begins).rem_euclid(DAY_S)
        }
        (At::Clock(_), None) => {
            return Err(NotUnderstood {
                rule: "no-clock",
                span: None,
                message: "the recording has no time of day".to_owned(),
                remedy: "give the time after its first sample, such as 85 s".to_owned(),
            });
        }
    };
    if time_s > last.time_s {
        let lasts = quantity::format(last.time_s - first.time_s, Dimension::Time);
        return Err(outside(format!("the recording ends before that, {lasts} after its first sample")));
    }
    Ok(time_s)
}

fn outside(message: String) -> NotUnderstood {
    NotUnderstood {
        rule: "outside-recording",
        span: None,
        message,
        remedy: "compare the meter's clock with the one that the mark was noted by, or take the mark out"
            .to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::{At, Mark, TraceFile};
    use trace::{Sample, Trace};

    fn marked(at: &str, start_unix_s: Option<f64>) -> Result<f64, &'static str> {
        let at = At::parse(at).map_err(|e| e.rule)?;
        let file = TraceFile {
            path: "t.csv".into(),
            span: 0..1,
            marks: vec![Mark { at, step: 2, edge: false, span: 0..1 }],
        };
        let samples = (10..=300).map(|s| Sample::new(f64::from(s), 1.0)).collect();
        file.recording(Trace { samples, start_unix_s }).map(|r| r.marks[0].0).map_err(|(_, e)| e.rule)
    }

    #[test]
    fn marks_go_by_the_clock_or_from_the_first_sample() {
        assert_eq!(marked("85 s", None), Ok(95.0));
        assert_eq!(marked("1m25s", None), Ok(95.0));
        // Time 0 is 11:59:50, the first sample stands at noon.
        let start = Some(86_400.0 * 19_000.0 + 12.0 * 3600.0 - 10.0);
        assert_eq!(marked("12:00:00", start), Ok(10.0));
        assert_eq!(marked("12:01", start), Ok(70.0));
        assert_eq!(marked("12:01:02.5", start), Ok(72.5));
        // Noted past midnight.
        assert_eq!(marked("00:00:10", Some(86_400.0 * 3.0 - 60.0)), Ok(70.0));
    }

    #[test]
    fn marks_outside_the_recording_are_refused() {
        assert_eq!(marked("12:00:00", None), Err("no-clock"));
        assert_eq!(marked("11:59", Some(86_400.0 * 19_000.0 + 12.0 * 3600.0)), Err("outside-recording"));
        assert_eq!(marked("291 s", None), Err("outside-recording"));
        for nonsense in ["25:00", "12:60", "1:2:3:4", ":", "12:", "1e2:00", "-1:00", "soon", "", "nan:00"] {
            assert!(
                marked(nonsense, None).is_err_and(|e| e == "not-a-time" || e == "notation"),
                "{nonsense}"
            );
        }
    }
}
