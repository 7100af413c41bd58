//! A motor that turns and pauses.

use super::level::Step;

/// Least rise of a turn, in watts.
const RISE_W: f64 = 20.0;
/// A turn is over when at most this share of its rise is left.
const OVER: f64 = 0.35;
/// Longest turn, and longest pause between turns that belong together, in seconds.
const TURN_S: f64 = 30.0;
const PAUSE_S: f64 = 30.0;
/// From this many turns on a motor reverses.
const TURNS: u32 = 3;

/// Counts turns.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Turns {
    /// Level while it pauses, W.
    base_w: Option<f64>,
    /// The turn that is going on: since when, and its highest level.
    turn: Option<(f64, f64)>,
    /// Turns that belong together: since when, until when, how many.
    train: Option<(f64, f64, u32)>,
}

impl Turns {
    /// Since when a motor turns and pauses, and how often it did.
    pub(super) fn turning(&self) -> Option<(f64, u32)> {
        self.train.filter(|t| t.2 >= TURNS).map(|t| (t.0, t.2))
    }

    /// Takes a change of level; gives the beginning of reversing that it bears out.
    pub(super) fn step(&mut self, step: &Step) -> Option<f64> {
        let base_w = *self.base_w.get_or_insert(step.from_w);
        let Some((since_s, peak_w)) = self.turn else {
            if step.to_w > base_w + RISE_W {
                self.turn = Some((step.at_s, step.to_w));
            } else {
                self.base_w = Some(step.to_w);
            }
            return None;
        };
        let peak_w = peak_w.max(step.to_w);
        self.turn = Some((since_s, peak_w));
        let long_s = step.at_s - since_s;
        let over = step.to_w <= base_w + OVER * (peak_w - base_w);
        if over || long_s > TURN_S {
            self.turn = None;
            self.base_w = Some(step.to_w);
        }
        if !over || long_s > TURN_S {
            return None;
        }
        let before = self.train.filter(|t| since_s - t.1 <= PAUSE_S);
        let (first_s, _, count) = before.unwrap_or((since_s, 0.0, 0));
        self.train = Some((first_s, step.at_s, count + 1));
        (count + 1 == TURNS).then_some(first_s)
    }

    /// Takes the time; gives when reversing ended, once that is sure.
    pub(super) fn pass(&mut self, now_s: f64) -> Option<f64> {
        // A turn that is going on may still end in time.
        let turning = self.turn.is_some_and(|turn| now_s - turn.0 <= TURN_S);
        let (_, until_s, count) = self.train.filter(|t| !turning && now_s - t.1 > PAUSE_S)?;
        self.train = None;
        (count >= TURNS).then_some(until_s)
    }
}
