//! What the aligner needs of a prediction, and what may follow what.

use super::chain::Order;
use super::emission::Profile;
use super::habits::Habits;
use super::lengths::Length;
use bench::{Estimate, Prediction};
use machine::model::{GoesOn, Machine, Step};

/// A step that is shorter than this may pass unseen, s.
const BRIEF_S: f64 = 3.0;
/// Probability to see a step that short.
const SEEN: f64 = 0.5;

/// A machine that draws less than this share of what it draws when on, with nothing driven, looks dead.
pub(super) const DEAD: f64 = 0.6;

/// What stands in the machine file of a step.
#[derive(Clone, Copy, Debug)]
pub(super) struct Frame {
    pub both_ways: bool,
    pub ramp_s: f64,
    pub by_itself: bool,
    pub until: bool,
    pub lasts_s: f64,
}

impl Frame {
    /// Length of a step without a condition to end it, which no fault changes.
    pub(super) fn length(&self, habits: &Habits) -> Length {
        length(self.lasts_s, self.by_itself, habits.timed, habits)
    }

    pub(super) fn all(machine: &Machine) -> Vec<Frame> {
        machine.test.steps.iter().map(Frame::of).collect()
    }

    fn of(step: &Step) -> Frame {
        Frame {
            both_ways: step.drives.iter().any(|d| d.both_ways),
            ramp_s: step.ramp_s,
            by_itself: step.goes_on == GoesOn::ByItself,
            until: step.until.is_some(),
            lasts_s: step.lasts_s,
        }
    }
}

/// A prediction as far as power and time show it, in steps finer than any meter's, so that equal ones are seen to be
/// equal. Levels in 0.05 W or 0.05 %, uncertainty in 5 %, time in 0.1 s.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub(super) struct Shape {
    levels: [(i32, i32); 2],
    rest: Option<i32>,
    tried: Option<i32>,
    lasts: i32,
    timed: bool,
}

/// Logarithmic steps above, linear below 100 W.
fn grid(power_w: f64) -> i32 {
    let size = power_w.abs();
    let steps = if size < 100.0 { size / 0.05 } else { 2000.0 + (size / 100.0).ln() / 0.0005 };
    steps.round() as i32 * if power_w < 0.0 { -1 } else { 1 }
}

fn from_grid(steps: i32) -> f64 {
    let size = f64::from(steps.abs());
    let power = if size < 2000.0 { size * 0.05 } else { 100.0 * ((size - 2000.0) * 0.0005).exp() };
    if steps < 0 { -power } else { power }
}

impl Shape {
    pub(super) fn of(prediction: &Prediction, frame: &Frame) -> Shape {
        let p = prediction;
        let [a, b] = p.directions_w.unwrap_or([p.power_w; 2]);
        let (low, high) = if a.value <= b.value { (a, b) } else { (b, a) };
        let level = |e: Estimate| (grid(e.value), (e.u.max(0.05).ln() / 0.05).round() as i32);
        Shape {
            levels: [level(low), level(high)],
            rest: p.rest_w.map(grid),
            tried: p.tried_w.map(grid),
            lasts: (p.lasts_s.clamp(0.0, 1e6) * 10.0).round() as i32,
            timed: frame.by_itself && (p.timed_out || !frame.until),
        }
    }

    /// The lower of its levels, W.
    pub(super) fn low_w(&self) -> f64 {
        from_grid(self.levels[0].0)
    }

    pub(super) fn lasts_s(&self) -> f64 {
        f64::from(self.lasts) * 0.1
    }

    pub(super) fn profile(&self, frame: &Frame) -> Profile {
        let mut levels: Vec<Estimate> = self
            .levels
            .iter()
            .map(|&(w, u)| Estimate { value: from_grid(w), u: (f64::from(u) * 0.05).exp() })
            .collect();
        levels.dedup();
        let rest = self.rest.map(|w| Estimate { value: from_grid(w), u: levels[0].u });
        Profile {
            levels,
            rest,
            ramp_s: frame.ramp_s,
            tried_w: self.tried.map(from_grid),
            floor_w: f64::NEG_INFINITY,
            outside: false,
            dead: None,
        }
    }

    pub(super) fn length(&self, frame: &Frame, habits: &Habits) -> Length {
        length(
            self.lasts_s(),
            frame.by_itself,
            if self.timed { habits.timed } else { habits.reached },
            habits,
        )
    }
}

fn length(median_s: f64, by_itself: bool, steep: f64, habits: &Habits) -> Length {
    let (pressed, loose) = habits.pressed;
    if by_itself {
        Length { median_s, steep, hurried: habits.hurried, loose, quick: 0.0 }
    } else {
        Length { median_s, steep: pressed, hurried: habits.distracted, loose, quick: habits.quick }
    }
}

/// What a step means for what follows it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[allow(clippy::struct_excessive_bools, reason = "facts that are independent of one another")]
pub(super) struct Turn {
    /// The test is over by then.
    pub ended: bool,
    /// The machine looks dead.
    pub dead: bool,
    /// Too short to be sure to be seen.
    pub brief: bool,
    /// It ends by level or temperature.
    pub reached: bool,
}

impl Turn {
    pub(super) fn of(prediction: &Prediction, frame: &Frame, idle_w: f64) -> Turn {
        Turn {
            ended: prediction.ended,
            dead: prediction.power_w.value < DEAD * idle_w,
            brief: prediction.lasts_s < BRIEF_S,
            reached: frame.until,
        }
    }
}

/// The states of the chain: the steps, the pause after each, before the test, after it, before one more go at it.
#[derive(Clone, Copy, Debug)]
pub(super) struct States {
    pub steps: usize,
}

impl States {
    pub(super) fn all(self) -> usize {
        2 * self.steps + 3
    }

    pub(super) fn pause_after(self, step: usize) -> usize {
        self.steps + step
    }

    pub(super) fn before(self) -> usize {
        2 * self.steps
    }

    pub(super) fn after(self) -> usize {
        2 * self.steps + 1
    }

    /// Left, and about to be entered again.
    pub(super) fn again(self) -> usize {
        2 * self.steps + 2
    }
}

/// Least and greatest probability of what a step does to the order.
#[derive(Clone, Copy, Debug)]
pub(super) struct Odds {
    /// To be skipped.
    skips: (f64, f64),
    /// That the test is over after it.
    over: (f64, f64),
    /// That the recording may well end with it.
    last: f64,
}

impl Odds {
    pub(super) fn of(turn: Turn, habits: &Habits) -> Odds {
        let skips = match turn {
            Turn { brief: true, .. } => 1.0 - SEEN,
            Turn { reached: true, .. } => habits.skips_reached,
            _ => habits.skips,
        };
        let over = match turn {
            Turn { ended: true, .. } => 1.0 - habits.past_end,
            Turn { dead: true, .. } => habits.dead,
            _ => habits.stops,
        };
        let last = if turn.ended { 1.0 } else { over.max(habits.breaks_off) };
        Odds { skips: (skips, skips), over: (over, over), last }
    }

    /// Of a step that may be the one or the other, at even odds.
    pub(super) fn mean(self, other: Odds) -> Odds {
        let between = |a: (f64, f64), b: (f64, f64)| (f64::midpoint(a.0, b.0), f64::midpoint(a.1, b.1));
        Odds {
            skips: between(self.skips, other.skips),
            over: between(self.over, other.over),
            last: f64::midpoint(self.last, other.last),
        }
    }

    /// What covers both.
    pub(super) fn or(self, other: Odds) -> Odds {
        let wider = |a: (f64, f64), b: (f64, f64)| (a.0.min(b.0), a.1.max(b.1));
        Odds {
            skips: wider(self.skips, other.skips),
            over: wider(self.over, other.over),
            last: self.last.max(other.last),
        }
    }

    /// Whatever a hypothesis may predict of the step.
    pub(super) fn any(frame: &Frame, habits: &Habits) -> Odds {
        let usual = if frame.until { habits.skips_reached } else { habits.skips };
        let skips = if frame.until || frame.lasts_s < BRIEF_S { (usual, 1.0 - SEEN) } else { (usual, usual) };
        Odds { skips, over: (habits.stops, 1.0 - habits.past_end), last: 1.0 }
    }
}

/// What follows what, under what the steps of one hypothesis mean.
pub(super) fn order(turns: &[Turn], habits: &Habits) -> Order {
    order_of(&turns.iter().map(|&t| Odds::of(t, habits)).collect::<Vec<_>>(), habits)
}

/// What follows what; where odds are a range, the greatest probability of each.
pub(super) fn order_of(odds: &[Odds], habits: &Habits) -> Order {
    let n = odds.len();
    let states = States { steps: n };
    // At the door of a step: that step, or one after it, or none.
    let door = |first: usize, weight: f64, to: &mut Vec<(usize, f64)>| {
        let mut left = weight;
        for (step, odds) in odds.iter().enumerate().skip(first) {
            to.push((step, left * (1.0 - odds.skips.0)));
            left *= odds.skips.1;
            if left < 1e-9 * weight {
                return;
            }
        }
        to.push((states.after(), left));
    };
    let mut order =
        Order { begin: vec![0.0; states.all()], next: Vec::new(), finish: vec![0.0; states.all()] };
    let mut first = Vec::new();
    door(0, 1.0 - habits.early - habits.late, &mut first);
    for step in 1..n {
        first.push((step, habits.late / n as f64));
    }
    first.push((states.before(), habits.early));
    for (state, weight) in first {
        order.begin[state] += weight;
    }
    let leave: Vec<Vec<(usize, f64)>> = (0..n)
        .map(|s| {
            let mut to = vec![(states.again(), habits.again)];
            let left = 1.0 - odds[s].over.0 - habits.again;
            to.extend([(states.after(), odds[s].over.1), (s, habits.repeats * left)]);
            door(s + 1, (1.0 - habits.repeats) * left, &mut to);
            merged(to)
        })
        .collect();
    for (s, to) in leave.iter().enumerate() {
        let mut next: Vec<(usize, f64)> = to.iter().map(|&(t, w)| (t, w * (1.0 - habits.pauses))).collect();
        next.push((states.pause_after(s), habits.pauses));
        order.next.push(next);
    }
    order.next.extend(leave);
    let mut enter = Vec::new();
    door(0, 1.0, &mut enter);
    order.next.push(enter);
    order.next.push(Vec::new());
    // Entered again, the operator may press on to any step too fast for the meter.
    let mut enter: Vec<(usize, f64)> = (0..n).map(|s| (s, habits.fast / n as f64)).collect();
    door(0, 1.0 - habits.fast, &mut enter);
    order.next.push(merged(enter));
    for (s, odds) in odds.iter().enumerate() {
        let finish = if s + 1 == n { 1.0 } else { odds.last };
        order.finish[s] = finish;
        order.finish[states.pause_after(s)] = finish;
    }
    order.finish[states.after()] = 1.0;
    order.finish[states.before()] = habits.nothing;
    order.finish[states.again()] = 1.0;
    order
}

/// One entry for each state.
fn merged(mut to: Vec<(usize, f64)>) -> Vec<(usize, f64)> {
    to.sort_by_key(|t| t.0);
    to.dedup_by(|later, first| {
        let same = later.0 == first.0;
        if same {
            first.1 += later.1;
        }
        same
    });
    to.retain(|t| t.1 > 0.0);
    to
}
