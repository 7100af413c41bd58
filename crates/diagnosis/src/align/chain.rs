//! A semi-Markov chain over a row of pieces: every state takes a run of one or more pieces, then another follows.
//!
//! Nothing here knows what a piece or a state is: the weight of every run is given. The forward sum adds the weights of
//! all ways to part the pieces into runs of states, [`best`] finds the heaviest. Source of both: L. R. Rabiner, "A tutorial
//! on hidden Markov models", Proceedings of the IEEE 77 (1989) 257–286, section IV.D, explicit durations (from memory).
//!
//! `tests/align.rs` holds both to an enumeration of all ways and to published values.

/// Weights of the runs of one state: likelihood of the pieces times probability of the length.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Runs {
    /// Where the row of each first piece begins in `weights`; one entry more than pieces.
    rows: Vec<u32>,
    weights: Vec<f64>,
}

impl Runs {
    /// From a row for each first piece: entry n is the weight of the run of n + 1 pieces from there. What is not there
    /// weighs nothing; weights are not negative.
    pub fn from_rows<R: AsRef<[f64]>>(rows: impl IntoIterator<Item = R>) -> Runs {
        let mut runs = Runs { rows: vec![0], weights: Vec::new() };
        for row in rows {
            runs.weights.extend_from_slice(row.as_ref());
            runs.end_row();
        }
        runs
    }

    fn end_row(&mut self) {
        self.rows.push(self.weights.len() as u32);
    }

    /// Row by row, each filled by a function of its first piece.
    pub(super) fn build(pieces: usize, mut fill: impl FnMut(usize, &mut Vec<f64>)) -> Runs {
        let mut runs = Runs { rows: vec![0], weights: Vec::new() };
        for from in 0..pieces {
            fill(from, &mut runs.weights);
            runs.end_row();
        }
        runs
    }

    /// The greater of the weights of each run.
    pub(super) fn greatest(all: &[&Runs]) -> Runs {
        let pieces = all.iter().map(|runs| runs.rows.len() - 1).max().unwrap_or(0);
        Runs::build(pieces, |from, row| {
            let first = row.len();
            for runs in all {
                for (k, &weight) in runs.row(from).iter().enumerate() {
                    match row.get_mut(first + k) {
                        Some(most) => *most = most.max(weight),
                        None => row.push(weight),
                    }
                }
            }
        })
    }

    /// The mean of the weights of each run.
    pub(super) fn mean(a: &Runs, b: &Runs) -> Runs {
        Runs::build(a.rows.len().max(b.rows.len()) - 1, |from, row| {
            let (a, b) = (a.row(from), b.row(from));
            let at = |row: &[f64], k: usize| row.get(k).copied().unwrap_or(0.0);
            row.extend((0..a.len().max(b.len())).map(|k| 0.5 * (at(a, k) + at(b, k))));
        })
    }

    /// Weights of the runs from a piece on.
    pub fn row(&self, from: usize) -> &[f64] {
        match (self.rows.get(from), self.rows.get(from + 1)) {
            (Some(&a), Some(&b)) => &self.weights[a as usize..b as usize],
            _ => &[],
        }
    }
}

/// What follows what.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Order {
    /// Probability of each state to come first.
    pub begin: Vec<f64>,
    /// After each state: which may follow, with what probability. A state may follow itself.
    pub next: Vec<Vec<(usize, f64)>>,
    /// Probability of each state that nothing follows.
    pub finish: Vec<f64>,
}

/// A chain of states over pieces.
#[derive(Clone, Copy, Debug)]
pub struct Chain<'a> {
    /// How many pieces there are.
    pub pieces: usize,
    /// Weights of the runs, one for each state.
    pub runs: &'a [&'a Runs],
    /// What follows what.
    pub order: &'a Order,
    /// A factor on starting a state at a piece: `state · pieces + piece`; empty for none.
    pub doors: &'a [f64],
}

impl Chain<'_> {
    fn door(&self, state: usize, at: usize) -> f64 {
        self.doors.get(state * self.pieces + at).copied().unwrap_or(1.0)
    }
}

/// Sums below this are lifted by [`LIFT`], so that long and unlikely recordings do not run out of digits.
const LOW: f64 = 1e-120;
const LIFT: f64 = 1e120;

/// Work space of the forward sum.
#[derive(Clone, Debug, Default)]
pub struct Forward {
    /// Weight of all ways to end a state before a piece: `state · (pieces + 1) + piece`.
    ended: Vec<f64>,
    starts: Vec<f64>,
}

impl Forward {
    /// Natural logarithm of the sum over all ways; −∞ where there is none.
    pub fn ln_sum(&mut self, chain: &Chain<'_>) -> f64 {
        let (states, width) = (chain.runs.len(), chain.pieces + 1);
        self.ended.clear();
        self.ended.resize(states * width, 0.0);
        self.starts.clear();
        self.starts.extend_from_slice(&chain.order.begin);
        let mut lifted = 0.0;
        for at in 0..chain.pieces {
            if at > 0 {
                self.follow(chain, at);
            }
            let top = self.starts.iter().copied().fold(0.0, f64::max);
            if top < LOW && self.lift(at, width) {
                lifted += LIFT.ln();
            }
            for (state, &start) in self.starts.iter().enumerate() {
                if start > 0.0 {
                    let start = start * chain.door(state, at);
                    let first = state * width + at + 1;
                    let row = chain.runs[state].row(at);
                    for (sum, weight) in self.ended[first..first + row.len()].iter_mut().zip(row) {
                        *sum += start * weight;
                    }
                }
            }
        }
        let finish = chain.order.finish.iter().enumerate();
        let sum: f64 = finish.map(|(state, f)| f * self.ended[state * width + chain.pieces]).sum();
        sum.ln() - lifted
    }

    fn follow(&mut self, chain: &Chain<'_>, at: usize) {
        let width = chain.pieces + 1;
        self.starts.fill(0.0);
        for (state, followers) in chain.order.next.iter().enumerate() {
            let ended = self.ended[state * width + at];
            if ended > 0.0 {
                for &(to, probability) in followers {
                    self.starts[to] += ended * probability;
                }
            }
        }
    }

    /// Lifts everything not yet counted, if all of it is low.
    fn lift(&mut self, at: usize, width: usize) -> bool {
        let waiting = |row: &[f64]| row[at + 1..].iter().copied().fold(0.0, f64::max);
        if self.ended.chunks_exact(width).map(waiting).fold(0.0, f64::max) >= LOW {
            return false;
        }
        self.starts.iter_mut().for_each(|w| *w *= LIFT);
        self.ended.chunks_exact_mut(width).for_each(|row| row[at + 1..].iter_mut().for_each(|w| *w *= LIFT));
        true
    }
}

/// One visit of a state.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Visit {
    /// The state.
    pub state: usize,
    /// Its first piece.
    pub from: usize,
    /// The first piece after it.
    pub to: usize,
}

/// The heaviest way and the natural logarithm of its weight; no visits where there is no way. Of equal ways, the one
/// with the lower state, then the earlier start.
pub fn best(chain: &Chain<'_>) -> (f64, Vec<Visit>) {
    let (states, width) = (chain.runs.len(), chain.pieces + 1);
    // Best way to end a state before a piece, and where its run began; best way to start one, and which state ended.
    let mut ended = vec![(f64::NEG_INFINITY, 0); states * width];
    let mut started = vec![(f64::NEG_INFINITY, usize::MAX); states * width];
    for at in 0..chain.pieces {
        if at == 0 {
            for (state, begin) in chain.order.begin.iter().enumerate() {
                started[state * width].0 = begin.ln();
            }
        } else {
            for (state, followers) in chain.order.next.iter().enumerate() {
                let weight = ended[state * width + at].0;
                for &(to, probability) in followers {
                    let way = weight + probability.ln();
                    if way > started[to * width + at].0 {
                        started[to * width + at] = (way, state);
                    }
                }
            }
        }
        for state in 0..states {
            let start = started[state * width + at].0 + chain.door(state, at).ln();
            if start == f64::NEG_INFINITY {
                continue;
            }
            for (n, weight) in chain.runs[state].row(at).iter().enumerate() {
                let slot = &mut ended[state * width + at + n + 1];
                let way = start + weight.ln();
                if way > slot.0 {
                    *slot = (way, at);
                }
            }
        }
    }
    let mut last = (f64::NEG_INFINITY, 0);
    for (state, finish) in chain.order.finish.iter().enumerate() {
        let way = ended[state * width + chain.pieces].0 + finish.ln();
        if way > last.0 {
            last = (way, state);
        }
    }
    let mut visits = Vec::new();
    if last.0 > f64::NEG_INFINITY {
        let (mut state, mut to) = (last.1, chain.pieces);
        while to > 0 {
            let from = ended[state * width + to].1;
            visits.push(Visit { state, from, to });
            state = started[state * width + from].1;
            to = from;
        }
        visits.reverse();
    }
    (last.0, visits)
}
