//! The true course of what the plug draws: levels, one after the other, and surges on top of them.

use crate::rig::Level;
use machine::model::OutputId;

/// A surge is forgotten after so many of its time constants: 0.03 % is left.
const SURGE_LASTS: f64 = 8.0;

/// A stretch over which the level goes in a straight line.
#[derive(Clone, Debug)]
pub(crate) struct Piece {
    pub(crate) end_s: f64,
    from: Drawn,
    to: Drawn,
}

/// More than the level, from the moment of switching on, dying away.
#[derive(Clone, Debug)]
struct Surge {
    start_s: f64,
    end_s: f64,
    watts: f64,
    tau_s: f64,
    output: OutputId,
}

/// Outputs have no more loads on than this: so many of the latest surges may still run.
const RECENT: usize = 64;

/// What is drawn at one moment, at the supply voltage that the levels were worked out for.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(crate) struct Drawn {
    pub(crate) watts: f64,
    pub(crate) vars: f64,
    pub(crate) exponent: f64,
    pub(crate) stir_w: f64,
}

impl From<&Level> for Drawn {
    fn from(level: &Level) -> Drawn {
        Drawn { watts: level.watts, vars: level.vars, exponent: level.exponent, stir_w: level.stir_w }
    }
}

impl Drawn {
    fn towards(self, other: Drawn, share: f64) -> Drawn {
        let mix = |a: f64, b: f64| a + (b - a) * share;
        Drawn {
            watts: mix(self.watts, other.watts),
            vars: mix(self.vars, other.vars),
            exponent: mix(self.exponent, other.exponent),
            stir_w: mix(self.stir_w, other.stir_w),
        }
    }
}

/// The course, as it is being made.
#[derive(Clone, Debug, Default)]
pub(crate) struct Course {
    pieces: Vec<Piece>,
    surges: Vec<Surge>,
    pub(crate) now_s: f64,
    dead_from_s: Option<f64>,
}

impl Course {
    /// The same level for so long.
    pub(crate) fn hold(&mut self, level: &Level, seconds: f64) {
        self.line(Drawn::from(level), Drawn::from(level), seconds);
    }

    /// From one level to another in a straight line.
    pub(crate) fn line(&mut self, from: Drawn, to: Drawn, seconds: f64) {
        if seconds <= 0.0 {
            return;
        }
        self.now_s += seconds;
        let (from, to) = if self.is_dead() { (Drawn::default(), Drawn::default()) } else { (from, to) };
        self.pieces.push(Piece { end_s: self.now_s, from, to });
    }

    /// An output came on and draws so much more for a while.
    pub(crate) fn surge(&mut self, output: OutputId, watts: f64, tau_s: f64) {
        if watts > 0.05 && tau_s > 0.0 && !self.is_dead() {
            let (start_s, end_s) = (self.now_s, self.now_s + SURGE_LASTS * tau_s);
            self.surges.push(Surge { start_s, end_s, watts, tau_s, output });
        }
    }

    /// An output went off.
    pub(crate) fn cut(&mut self, output: OutputId) {
        let now = self.now_s;
        for surge in self.surges.iter_mut().rev().take(RECENT) {
            if surge.output == output {
                surge.end_s = surge.end_s.min(now);
            }
        }
    }

    /// A protection of the house went off: nothing from here on.
    pub(crate) fn kill(&mut self) {
        let now = self.now_s;
        self.dead_from_s.get_or_insert(now);
        for surge in &mut self.surges {
            surge.end_s = surge.end_s.min(now);
        }
    }

    /// Did a protection go off?
    pub(crate) fn is_dead(&self) -> bool {
        self.dead_from_s.is_some()
    }

    /// When it did, s.
    pub(crate) fn dead_from_s(&self) -> Option<f64> {
        self.dead_from_s
    }

    /// Reads it from the start.
    pub(crate) fn reader(&self) -> Reader<'_> {
        Reader { course: self, piece: 0, piece_from_s: 0.0, next_surge: 0, running: Vec::new() }
    }
}

/// Reads a course at times that do not decrease.
pub(crate) struct Reader<'c> {
    course: &'c Course,
    piece: usize,
    piece_from_s: f64,
    next_surge: usize,
    running: Vec<&'c Surge>,
}

impl Reader<'_> {
    /// What is drawn at a time; nothing after the end.
    pub(crate) fn at(&mut self, t: f64) -> Drawn {
        while let Some(piece) = self.course.pieces.get(self.piece)
            && piece.end_s <= t
        {
            self.piece_from_s = piece.end_s;
            self.piece += 1;
        }
        let Some(piece) = self.course.pieces.get(self.piece) else { return Drawn::default() };
        let share = ((t - self.piece_from_s) / (piece.end_s - self.piece_from_s)).clamp(0.0, 1.0);
        let mut drawn = piece.from.towards(piece.to, share);
        while let Some(surge) = self.course.surges.get(self.next_surge)
            && surge.start_s <= t
        {
            self.running.push(surge);
            self.next_surge += 1;
        }
        self.running.retain(|s| s.end_s > t);
        drawn.watts += self.running.iter().map(|s| s.watts * (-(t - s.start_s) / s.tau_s).exp()).sum::<f64>();
        drawn
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn level(watts: f64) -> Level {
        Level { watts, ..Level::default() }
    }

    #[test]
    fn levels_follow_one_another_and_surges_die_away() {
        let mut course = Course::default();
        course.hold(&level(10.0), 5.0);
        course.surge(0, 100.0, 2.0);
        course.hold(&level(50.0), 5.0);
        course.cut(0);
        course.line(Drawn::from(&level(0.0)), Drawn::from(&level(20.0)), 10.0);
        let mut reader = course.reader();
        assert_eq!(reader.at(4.9).watts, 10.0);
        assert_eq!(reader.at(5.0).watts, 150.0);
        assert!((reader.at(7.0).watts - (50.0 + 100.0 / std::f64::consts::E)).abs() < 1e-9);
        assert!((reader.at(15.0).watts - 10.0).abs() < 1e-9);
        assert_eq!(reader.at(21.0).watts, 0.0);
    }

    #[test]
    fn a_tripped_course_draws_nothing_more() {
        let mut course = Course::default();
        course.surge(0, 100.0, 2.0);
        course.hold(&level(10.0), 1.0);
        course.kill();
        course.surge(0, 100.0, 2.0);
        course.hold(&level(10.0), 1.0);
        let mut reader = course.reader();
        assert!(reader.at(0.5).watts > 10.0);
        assert_eq!(reader.at(1.5).watts, 0.0);
    }
}
