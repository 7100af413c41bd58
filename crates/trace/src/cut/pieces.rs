//! The search: best cost as a function of the last level, in quadratic pieces.

use super::Charge;

/// Cost a·μ² + b·μ + c of ending at level μ, for μ from the end of the piece before up to `high`, when the last segment
/// starts at sample `start`.
#[derive(Debug, Clone, Copy)]
struct Piece {
    high: f64,
    a: f64,
    b: f64,
    c: f64,
    start: u32,
}

impl Piece {
    fn least_on(&self, low: f64) -> f64 {
        if self.a <= 0.0 {
            return self.c;
        }
        let at = (-self.b / (2.0 * self.a)).clamp(low, self.high);
        (self.a * at + self.b) * at + self.c
    }
}

/// Best cost of the samples so far as a function of the last level. Costs are kept relative to the best of all cuts so
/// far, or their digits would be used up by the length of the recording.
pub(super) struct Levels {
    now: Vec<Piece>,
    next: Vec<Piece>,
    charge: Charge,
    low: f64,
    middle: f64,
}

impl Levels {
    /// Levels are taken from the middle of the range so that squares stay small.
    pub(super) fn new(series: &[f64], charge: Charge) -> Self {
        let (low, high) =
            series.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), &y| (l.min(y), h.max(y)));
        let middle = f64::midpoint(low, high);
        let whole = Piece { high: high - middle, a: 0.0, b: 0.0, c: 0.0, start: 0 };
        Self { now: vec![whole], next: Vec::new(), charge, low: low - middle, middle }
    }

    /// Adds a sample: the cost of the cheapest cut that ends in a level, and where this level starts.
    pub(super) fn add(&mut self, y: f64) -> (f64, u32) {
        let y = y - self.middle;
        if self.charge.cap.is_infinite() {
            add_square(&mut self.now, self.low, y)
        } else {
            add_capped(&mut self.now, &mut self.next, self.low, y, self.charge.cap)
        }
    }

    /// From here on costs are relative to `best`, and a new segment may start at sample `start`.
    pub(super) fn settle(&mut self, best: f64, start: u32) {
        ceiling(&self.now, &mut self.next, self.low, best, self.charge.penalty, start);
        std::mem::swap(&mut self.now, &mut self.next);
    }
}

/// For each sample, the start of the last level in the cheapest cut that ends with it.
pub(super) fn last_changes(series: &[f64], charge: Charge) -> Vec<u32> {
    let mut levels = Levels::new(series, charge);
    let mut last_change = Vec::with_capacity(series.len());
    for (i, &y) in series.iter().enumerate() {
        let (best, start) = levels.add(y);
        last_change.push(start);
        levels.settle(best, i as u32 + 1);
    }
    last_change
}

fn add_square(pieces: &mut [Piece], low: f64, y: f64) -> (f64, u32) {
    let (mut best, mut start) = (f64::INFINITY, 0);
    let mut from = low;
    for piece in pieces {
        piece.a += 1.0;
        piece.b -= 2.0 * y;
        piece.c += y * y;
        let least = piece.least_on(from);
        if least < best {
            (best, start) = (least, piece.start);
        }
        from = piece.high;
    }
    (best, start)
}

/// Adds min((y − μ)², K²), cutting pieces where it bends.
fn add_capped(pieces: &mut Vec<Piece>, next: &mut Vec<Piece>, low: f64, y: f64, cap: f64) -> (f64, u32) {
    next.clear();
    let (mut best, mut start) = (f64::INFINITY, 0);
    let mut from = low;
    for piece in pieces.iter() {
        let bends = [y - cap, y + cap, piece.high];
        for (k, bend) in bends.into_iter().enumerate() {
            let to = bend.min(piece.high);
            // A series of one value has one level: y itself.
            let only = k == 1 && piece.high == low;
            if to <= from && !only {
                continue;
            }
            let mut part = Piece { high: to, ..*piece };
            if k == 1 {
                part.a += 1.0;
                part.b -= 2.0 * y;
                part.c += y * y;
            } else {
                part.c += cap * cap;
            }
            let least = part.least_on(from);
            if least < best {
                (best, start) = (least, part.start);
            }
            push(next, part);
            from = to;
        }
    }
    std::mem::swap(pieces, next);
    (best, start)
}

/// Takes the best cost off every piece, and puts the ceiling `penalty` (a new segment from `start`) on them.
fn ceiling(pieces: &[Piece], next: &mut Vec<Piece>, low: f64, best: f64, penalty: f64, start: u32) {
    next.clear();
    let fresh = |high: f64| Piece { high, a: 0.0, b: 0.0, c: penalty, start };
    let mut from = low;
    for piece in pieces {
        let kept = Piece { c: piece.c - best, ..*piece };
        let (left, right) = below(&kept, penalty);
        let (left, right) = (left.max(from), right.min(kept.high));
        if left > right {
            push(next, fresh(kept.high));
        } else {
            if left > from {
                push(next, fresh(left));
            }
            push(next, Piece { high: right, ..kept });
            if right < kept.high {
                push(next, fresh(kept.high));
            }
        }
        from = kept.high;
    }
}

/// The stretch of levels on which a piece costs no more than the ceiling; left > right where there is none.
fn below(piece: &Piece, ceiling: f64) -> (f64, f64) {
    let over = piece.c - ceiling;
    if piece.a <= 0.0 {
        return if over <= 0.0 {
            (f64::NEG_INFINITY, f64::INFINITY)
        } else {
            (f64::INFINITY, f64::NEG_INFINITY)
        };
    }
    let discriminant = piece.b * piece.b - 4.0 * piece.a * over;
    if discriminant < 0.0 {
        return (f64::INFINITY, f64::NEG_INFINITY);
    }
    let root = discriminant.sqrt();
    let scale = 0.5 / piece.a;
    ((-piece.b - root) * scale, (-piece.b + root) * scale)
}

/// Appends a piece, growing the last one where it only goes on.
fn push(pieces: &mut Vec<Piece>, piece: Piece) {
    if let Some(last) = pieces.last_mut()
        && last.start == piece.start
        && last.a == piece.a
        && last.b == piece.b
        && last.c == piece.c
    {
        last.high = piece.high;
        return;
    }
    pieces.push(piece);
}
