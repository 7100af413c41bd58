//! How much weight all completions of a set of faults can have together, at most, without listing them.
//!
//! Each ceiling is seen coarsely, in three states: *bare*, no fault that makes a difference is there; *told*, just one,
//! and one that says little for the reading (a fault that would have shown), or several such where their ceiling says that they are
//! no likelier together; *free*, anything else, bounded by the
//! greatest that could be. Adding a fault moves each ceiling the same way whatever else is there, so the sum over all
//! sets of the parts from one on is carried backwards from part to part, every term ≥ 0.

use rustc_hash::{FxHashMap, FxHashSet};

use super::Fault;
use super::evidence::{Evidence, Level, Question};
use super::prior::{Folded, States};

/// Most coarse states; ceilings beyond them count as free, which is always safe.
const MAX_STATES: usize = 2048;
/// A single fault with less than this share of the greatest likelihood says little for a reading.
const LITTLE: f64 = 0.1;
/// The same where several of them count as little too, and may be likelier together.
const VERY_LITTLE: f64 = 0.02;

/// Ceilings touched at all, and those free, one bit each.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
struct Touch {
    touched: u64,
    free: u64,
}

impl Touch {
    /// Both; `freeing`: the ceilings that two faults free.
    fn and(self, other: Self, freeing: u64) -> Self {
        Self {
            touched: self.touched | other.touched,
            free: self.free | other.free | self.touched & other.touched & freeing,
        }
    }

    fn kept(self, bits: u64) -> Self {
        Self { touched: self.touched & bits, free: self.free & bits }
    }
}

pub(super) struct Lattice {
    states: usize,
    /// `step[pattern * states + state]`: the state after adding a fault with this pattern.
    step: Vec<u16>,
    /// The pattern of each part's states, in the order of the prior.
    patterns: Vec<Vec<usize>>,
    /// `sum[part * states + state]`: Σ over all sets of the parts from `part` on of ratio × greatest share.
    sum: Vec<f64>,
    /// The same over the sets that move one of those parts at least, and the greatest of what each of these parts adds to
    /// that when it is the first that is moved.
    moved: Vec<(f64, f64)>,
}

/// A ceiling as the lattice sees it.
struct Coarse {
    bare: f64,
    told: f64,
    free: f64,
    /// What ignoring it would lose, to choose by.
    telling: f64,
}

impl Lattice {
    pub(super) fn new<F: Fn(&[Question]) -> Vec<f64>>(prior: &Folded, evidence: &Evidence<F>) -> Self {
        let levels: Vec<&Level> = evidence.levels().collect();
        let coarse: Vec<Coarse> = levels.iter().map(|l| Coarse::new(l, prior, &evidence.faults)).collect();
        let mut order: Vec<usize> = (0..levels.len()).collect();
        order.sort_by(|&a, &b| coarse[b].telling.total_cmp(&coarse[a].telling));
        order.truncate(64);
        let freeing = order
            .iter()
            .enumerate()
            .filter(|(_, k)| levels[**k].rule.beyond.is_infinite())
            .fold(0, |bits: u64, (bit, _)| bits | 1 << bit);
        let touch = |fault: Option<Fault>| {
            let Some(fault) = fault else { return Touch::default() };
            let one = |f: Fault| {
                let place = evidence.faults.binary_search(&f).ok();
                let alone = |k: usize| place.and_then(|p| levels[k].alone[p]);
                let mut touch = Touch::default();
                for (bit, &k) in order.iter().enumerate() {
                    if let Some(share) = alone(k) {
                        touch.touched |= 1 << bit;
                        touch.free |= u64::from(!is_little(share, levels[k])) << bit;
                    }
                }
                touch
            };
            // What may follow frees all that it touches.
            prior
                .effects(fault)
                .map(one)
                .fold(one(fault), |t, e| Touch { touched: t.touched | e.touched, free: t.free | e.touched })
        };
        let of_part = |states: &States| states.faults.iter().map(|&f| touch(f)).collect::<Vec<_>>();
        let touches: Vec<Vec<Touch>> = prior.parts.iter().map(of_part).collect();
        let (bits, reached) = reachable(&touches, order.len(), freeing);
        let value = |state: &Touch| {
            let one = |(bit, &k): (usize, &usize)| match (state.touched >> bit & 1, state.free >> bit & 1) {
                _ if bits >> bit & 1 == 0 => coarse[k].free,
                (0, _) => coarse[k].bare,
                (_, 0) => coarse[k].told,
                _ => coarse[k].free,
            };
            order.iter().enumerate().map(one).product::<f64>()
        };
        let rest: f64 = (0..levels.len()).filter(|k| !order.contains(k)).map(|k| coarse[k].free).product();
        let most: Vec<f64> = reached.iter().map(|s| rest * value(s)).collect();
        Self::sums(prior, &touches, bits, &reached, &most, freeing)
    }

    fn sums(
        prior: &Folded,
        touches: &[Vec<Touch>],
        bits: u64,
        reached: &[Touch],
        most: &[f64],
        freeing: u64,
    ) -> Self {
        let states = reached.len();
        let index: FxHashMap<Touch, u16> = reached.iter().enumerate().map(|(i, t)| (*t, i as u16)).collect();
        let mut distinct: Vec<Touch> = Vec::new();
        let mut patterns = Vec::new();
        for part in touches {
            let mut of_part = Vec::new();
            for touch in part.iter().map(|t| t.kept(bits)) {
                let known = distinct.iter().position(|d| *d == touch);
                of_part.push(known.unwrap_or(distinct.len()));
                if known.is_none() {
                    distinct.push(touch);
                }
            }
            patterns.push(of_part);
        }
        let mut step = Vec::with_capacity(distinct.len() * states);
        for pattern in &distinct {
            step.extend(reached.iter().map(|s| index.get(&s.and(*pattern, freeing)).copied().unwrap_or(0)));
        }
        let all = (prior.parts.len() + 1) * states;
        let (sum, moved) = (vec![0.0; all], vec![(0.0, 0.0); all]);
        let mut lattice = Self { states, step, patterns, sum, moved };
        lattice.sum[prior.parts.len() * states..].copy_from_slice(most);
        for part in (0..prior.parts.len()).rev() {
            let (here, after) = lattice.sum[part * states..].split_at_mut(states);
            let (moved, moved_after) = lattice.moved[part * states..].split_at_mut(states);
            let ways = lattice.patterns[part].iter().zip(&prior.parts[part].ratios);
            for (rank, (pattern, ratio)) in ways.enumerate() {
                let step = &lattice.step[pattern * states..][..states];
                for ((sum, moved), next) in here.iter_mut().zip(moved.iter_mut()).zip(step) {
                    let adds = ratio * after[*next as usize];
                    *sum += adds;
                    if rank == 0 {
                        *moved = moved_after[*next as usize];
                    } else {
                        *moved = (moved.0 + adds, moved.1.max(adds));
                    }
                }
            }
        }
        lattice
    }

    /// The state after part `part` is in the state with rank `rank`. The start is state 0.
    pub(super) fn after(&self, state: u16, part: usize, rank: usize) -> u16 {
        self.step[self.patterns[part][rank] * self.states + state as usize]
    }

    /// Most that all completions from `part` on can weigh, as a multiple of the weight so far.
    pub(super) fn completions(&self, state: u16, part: usize) -> f64 {
        self.sum[part * self.states + state as usize]
    }

    /// Most that all sets can weigh that move a part from `part` on, as a multiple of the weight so far; and the greatest of
    /// what those make of it that move the same part first, to the same state.
    pub(super) fn moved(&self, state: u16, part: usize) -> (f64, f64) {
        self.moved[part * self.states + state as usize]
    }
}

fn is_little(share: f64, level: &Level) -> bool {
    share < if level.rule.beyond.is_finite() { VERY_LITTLE } else { LITTLE } * level.rule.together
}

impl Coarse {
    fn new(level: &Level, prior: &Folded, faults: &[Fault]) -> Self {
        let alone = || level.alone.iter().flatten().copied();
        let free = alone().fold(level.rule.together, f64::max);
        let told = alone().filter(|&a| is_little(a, level)).fold(0.0, f64::max);
        let told = if level.rule.beyond.is_finite() { free.min(told * level.rule.beyond) } else { told };
        let odds = |fault: Fault| {
            let ratio = |s: &States| s.faults.iter().position(|f| *f == Some(fault)).map(|r| s.ratios[r]);
            prior.parts.iter().find_map(ratio).unwrap_or(0.0)
        };
        let little = level.alone.iter().zip(faults).filter(|(a, _)| a.is_some_and(|a| is_little(a, level)));
        let lost: f64 = little.map(|(_, f)| odds(*f)).sum();
        // Where nothing is there that explains it, a reading tells most.
        let telling = if level.rule.without < LITTLE * free { 1.0 + lost } else { lost };
        Self { bare: level.rule.without, told, free: free.max(level.rule.without), telling }
    }
}

/// As many of the first ceilings as leave no more states than allowed, and those states; the first is the bare one.
fn reachable(touches: &[Vec<Touch>], ceilings: usize, freeing: u64) -> (u64, Vec<Touch>) {
    let mut best = (0, vec![Touch::default()]);
    let (mut least, mut most) = (0, ceilings);
    while least < most {
        let middle = (least + most).div_ceil(2);
        let bits = u64::MAX >> (64 - middle);
        if let Some(states) = closure(touches, bits, freeing) {
            (best, least) = ((bits, states), middle);
        } else {
            most = middle - 1;
        }
    }
    best
}

fn closure(touches: &[Vec<Touch>], bits: u64, freeing: u64) -> Option<Vec<Touch>> {
    let mut patterns: Vec<Touch> = touches.iter().flatten().map(|t| t.kept(bits)).collect();
    patterns.sort_unstable_by_key(|t| (t.touched, t.free));
    patterns.dedup();
    let mut states = vec![Touch::default()];
    let mut seen: FxHashSet<Touch> = states.iter().copied().collect();
    let mut next = 0;
    while let Some(&state) = states.get(next) {
        for after in patterns.iter().map(|p| state.and(*p, freeing)) {
            if seen.insert(after) {
                states.push(after);
                if states.len() > MAX_STATES {
                    return None;
                }
            }
        }
        next += 1;
    }
    Some(states)
}
