//! How long to wait before a broken connection is tried again.

use std::time::Duration;

const FIRST: Duration = Duration::from_millis(500);

/// A technician who plugs a meter back in sees it again within this.
const LONGEST: Duration = Duration::from_secs(5);

/// Doubles from wait to wait, up to a limit.
#[derive(Debug)]
pub(crate) struct Backoff {
    next: Duration,
}

impl Backoff {
    pub(crate) fn new() -> Backoff {
        Backoff { next: FIRST }
    }

    /// How long to wait now.
    pub(crate) fn wait(&mut self) -> Duration {
        let wait = self.next;
        self.next = (wait * 2).min(LONGEST);
        wait
    }

    /// The meter was heard: the next break is a new one.
    pub(crate) fn heard(&mut self) {
        self.next = FIRST;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn waits_double_up_to_the_longest_and_start_again_once_heard() {
        let mut backoff = Backoff::new();
        let waits: Vec<u128> = (0..6).map(|_| backoff.wait().as_millis()).collect();
        assert_eq!(waits, [500, 1000, 2000, 4000, 5000, 5000]);
        backoff.heard();
        assert_eq!(backoff.wait(), FIRST);
    }
}
