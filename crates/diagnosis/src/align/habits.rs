//! What operators do, how loads settle, what meters add: every constant of the alignment, in one place.
//!
//! None of these has a published source: they are common practice, chosen broad, and the tests show that the answers do
//! not hang on them. Probabilities are per step of the service test unless they say otherwise.

/// Smallest load of another machine that is looked for by itself, W: a kettle, an iron, a heater.
pub(super) const LEAST_W: f64 = 1000.0;

/// Constants of the alignment.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Habits {
    /// A step is skipped, or over before the meter sees it.
    pub skips: f64,
    /// The same for a step that ends by level or temperature: when the test is entered again, the water is in already.
    pub skips_reached: f64,
    /// A step is run once more.
    pub repeats: f64,
    /// The test is left and entered again from the first step.
    pub again: f64,
    /// Entered again, the operator presses on fast to the step that is wanted.
    pub fast: f64,
    /// The test is broken off.
    pub stops: f64,
    /// The recording ends within a step: whoever works has seen enough, or wants to know what it could be so far.
    pub breaks_off: f64,
    /// The test is broken off at a step in which the machine draws nothing.
    pub dead: f64,
    /// The recording holds no test at all.
    pub nothing: f64,
    /// The test goes on although a guard ended it: the operator walks through what is left.
    pub past_end: f64,
    /// Something lies between two steps: the operator looks, waits, or enters the next step by a menu.
    pub pauses: f64,
    /// The recording begins before the test.
    pub early: f64,
    /// The recording begins after the first step.
    pub late: f64,
    /// Median pause between steps, s, and the steepness of its log-logistic distribution.
    pub pause_s: (f64, f64),
    /// The same before the test and after it.
    pub outside_s: (f64, f64),
    /// Steepness for a step that goes on by a press: about ±35 %; a share of them, much quicker or much later, with the
    /// second steepness.
    pub pressed: (f64, f64),
    /// That share.
    pub distracted: f64,
    /// Share that is pressed on within a second or two.
    pub quick: f64,
    /// Steepness for a step that ends by level or temperature: water pressure and tolerances, about ±15 %.
    pub reached: f64,
    /// Steepness for a step that ends by the board's clock: about ±6 %, the cell of the recording with it.
    pub timed: f64,
    /// Share of steps that should end by themselves and are cut short or held by a hand.
    pub hurried: f64,
    /// A mark by a press of the operator may be off by this much, s.
    pub mark_s: f64,
    /// Factor on a start of a step that no mark speaks of, and on a mark at which no step starts.
    pub unmarked: f64,
    /// Factor on what goes on past an edge that was set by hand, and on what else begins there. Chosen: it outweighs an odd
    /// level or two, and not a whole step that is not there; no source.
    pub against_edge: f64,
    /// How far the model of a healthy step is off beside its tolerances, in proportion and in W.
    pub model: (f64, f64),
    /// A level repeats within this share of itself, or so many W: what tells one turn of a drum from the next.
    pub repeats_within: (f64, f64),
    /// Share of levels in a step that are on the way to another one: relays, locks, ramps.
    pub passing: f64,
    /// Mean time on the way, s; for a step with a ramp, this share of it.
    pub passing_s: (f64, f64),
    /// A motor draws at most so many times its plateau on the way up.
    pub peak: f64,
    /// Longest ordinary rest of a drum between turns, s, and how fast longer ones become rare, s.
    pub rest_s: (f64, f64),
    /// A turn of a drum in which its motor does nothing looks like a rest of at least about this, s.
    pub idle_turn_s: f64,
    /// And at most about so long, s, longer ones becoming rare, s; so is a turn in which it turns.
    pub idle_turn_most_s: (f64, f64),
    /// Share of recordings that do not show a drum's rests: of a slow meter, or one that smooths.
    pub rests_unseen: f64,
    /// How long a guard lets an output try, s, and how fast longer becomes rare, s.
    pub tries_s: (f64, f64),
    /// Another load on the meter comes and goes just with a level: one an hour, within 2 s both ends.
    pub foreign: f64,
    /// A strong load on the meter outside the steps, where it needs to come and go with nothing: one an hour, in half a minute.
    pub foreign_outside: f64,
    /// Mean time of another load, s.
    pub foreign_s: f64,
    /// A level that nothing accounts for.
    pub odd: f64,
    /// Factor on weak loads and odd levels outside the steps of a dead machine, where they cannot be its own. Chosen: another
    /// appliance on the meter, and just then; no source.
    pub beside_dead: f64,
    /// Mean time of such a level, s.
    pub odd_s: f64,
    /// The most a socket gives, W: the range of what cannot be accounted for.
    pub range_w: f64,
}

impl Default for Habits {
    fn default() -> Self {
        Habits {
            skips: 0.02,
            skips_reached: 0.06,
            repeats: 0.02,
            again: 0.005,
            fast: 0.5,
            stops: 0.005,
            breaks_off: 0.02,
            dead: 0.5,
            nothing: 1e-5,
            past_end: 0.1,
            pauses: 0.3,
            early: 0.7,
            late: 1e-4,
            pause_s: (4.0, 1.2),
            outside_s: (30.0, 0.8),
            pressed: (5.0, 2.2),
            distracted: 0.1,
            quick: 0.03,
            reached: 10.0,
            timed: 24.0,
            hurried: 0.05,
            mark_s: 2.0,
            unmarked: 0.1,
            against_edge: 1e-6,
            model: (0.04, 0.7),
            repeats_within: (0.02, 1.0),
            passing: 0.12,
            passing_s: (2.0, 0.3),
            peak: 2.5,
            rest_s: (6.0, 3.0),
            idle_turn_s: 9.0,
            idle_turn_most_s: (27.0, 8.0),
            rests_unseen: 0.1,
            tries_s: (4.0, 3.0),
            foreign: 2e-5,
            foreign_outside: 0.01,
            foreign_s: 180.0,
            odd: 2e-4,
            beside_dead: 0.03,
            odd_s: 20.0,
            range_w: 3700.0,
        }
    }
}
