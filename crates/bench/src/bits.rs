//! Sets of small numbers: parts, nodes.

/// A set of numbers below a bound that is given when it is made. Small ones lie in place, without allocation.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(crate) struct Bits {
    first: [u64; IN_PLACE],
    more: Box<[u64]>,
}

/// Words of 64 numbers that lie in place.
const IN_PLACE: usize = 4;

impl Bits {
    /// The empty set of numbers below `bound`.
    pub(crate) fn none(bound: usize) -> Bits {
        let words = bound.div_ceil(64).saturating_sub(IN_PLACE);
        Bits { first: [0; IN_PLACE], more: if words == 0 { Box::default() } else { vec![0; words].into() } }
    }

    pub(crate) fn clear(&mut self) {
        self.first.fill(0);
        self.more.fill(0);
    }

    pub(crate) fn insert(&mut self, number: usize) {
        let (word, bit) = (number / 64, 1 << (number % 64));
        if word < IN_PLACE {
            self.first[word] |= bit;
        } else {
            self.more[word - IN_PLACE] |= bit;
        }
    }

    pub(crate) fn has(&self, number: usize) -> bool {
        let word = number / 64;
        let word = if word < IN_PLACE { self.first[word] } else { self.more[word - IN_PLACE] };
        word & (1 << (number % 64)) != 0
    }

    fn words(&self) -> impl Iterator<Item = &u64> {
        self.first.iter().chain(&self.more)
    }

    /// Has it a number in common with the other?
    pub(crate) fn meets(&self, other: &Bits) -> bool {
        self.words().zip(other.words()).any(|(a, b)| a & b != 0)
    }

    /// Takes in all of the other.
    pub(crate) fn join(&mut self, other: &Bits) {
        self.first.iter_mut().zip(&other.first).for_each(|(a, b)| *a |= b);
        self.more.iter_mut().zip(&other.more).for_each(|(a, b)| *a |= b);
    }

    /// Its numbers in order.
    pub(crate) fn iter(&self) -> impl Iterator<Item = usize> + '_ {
        self.words().enumerate().flat_map(|(place, &word)| {
            let mut left = word;
            std::iter::from_fn(move || {
                (left != 0).then(|| {
                    let low = left.trailing_zeros();
                    left &= left - 1;
                    place * 64 + low as usize
                })
            })
        })
    }
}
