//! A recording as a row of states with its gaps between them.

use super::Analysis;
use crate::loads::State;

/// A state, or what is left of one beside a gap, or a gap.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Part<'a> {
    /// First sample of it, in seconds; of a gap the last sample before.
    pub start_s: f64,
    /// First sample after it, in seconds.
    pub end_s: f64,
    /// The state; none in a gap, of which nobody knows.
    pub state: Option<&'a State>,
}

impl Analysis {
    /// States of all runs and gaps, in order and cut so that none overlaps another. Idle time between runs is in none.
    pub fn parts(&self) -> impl Iterator<Item = Part<'_>> {
        let states = self.runs.iter().flat_map(|r| &r.run.loads.states);
        Parts { states: states.peekable(), gaps: self.gaps.iter().peekable(), from_s: f64::NEG_INFINITY }
    }
}

struct Parts<'a, S: Iterator<Item = &'a State>, G: Iterator<Item = &'a (f64, f64)>> {
    states: std::iter::Peekable<S>,
    gaps: std::iter::Peekable<G>,
    /// Up to here all has been given.
    from_s: f64,
}

impl<'a, S: Iterator<Item = &'a State>, G: Iterator<Item = &'a (f64, f64)>> Iterator for Parts<'a, S, G> {
    type Item = Part<'a>;

    fn next(&mut self) -> Option<Part<'a>> {
        while self.states.next_if(|s| s.end_s <= self.from_s).is_some() {}
        let gap = self.gaps.peek().map(|g| (g.0, g.1));
        if let Some(&state) = self.states.peek() {
            let start_s = state.start_s.max(self.from_s);
            if gap.is_none_or(|g| g.0 > start_s) {
                let end_s = gap.map_or(state.end_s, |g| g.0.min(state.end_s));
                self.from_s = end_s;
                return Some(Part { start_s, end_s, state: Some(state) });
            }
        }
        let (start_s, end_s) = gap?;
        self.gaps.next();
        self.from_s = end_s;
        Some(Part { start_s, end_s, state: None })
    }
}

#[cfg(test)]
mod tests {
    use super::super::Read;
    use super::*;
    use crate::loads::{Kind, Loads, Run};

    #[test]
    fn a_gap_parts_a_state_and_stands_between_runs() {
        let state =
            |start_s, end_s| State { start_s, end_s, power_w: 100.0, kind: Kind::Steady, ramp_w: None };
        let run = |states: Vec<State>| Read {
            run: Run { start_s: 0.0, end_s: 0.0, loads: Loads { states, ..Loads::default() } },
            resistance_u_ohm: Vec::new(),
            doubts: Vec::new(),
            lone_peaks: None,
            energy_wh: 0.0,
            peak_w: 0.0,
            peak_s: 0.0,
            unfinished: false,
            reversals: None,
            lowest_v: None,
            longest_gap_s: 0.0,
        };
        let found = Analysis {
            runs: vec![run(vec![state(0.0, 10.0), state(10.0, 50.0)]), run(vec![state(100.0, 120.0)])],
            gaps: vec![(10.0, 14.0), (20.0, 30.0), (45.0, 95.0), (118.0, 140.0)],
            ..Analysis::default()
        };
        let parts: Vec<_> = found.parts().map(|p| (p.start_s, p.end_s, p.state.is_some())).collect();
        assert_eq!(
            parts,
            [
                (0.0, 10.0, true),
                (10.0, 14.0, false),
                (14.0, 20.0, true),
                (20.0, 30.0, false),
                (30.0, 45.0, true),
                (45.0, 95.0, false),
                (100.0, 118.0, true),
                (118.0, 140.0, false)
            ]
        );
    }
}
