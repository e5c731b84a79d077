//! Octets on one direction of a link, by seconds that begin at any tenth.

use super::bounded;
use super::lately::Lately;
use crate::time::{Span, Time};

/// Most stretches of a busy link that are remembered, a host and direction.
const MAX_BUSY: usize = 64;

/// 70 % of what a 100 Mbit/s link carries in a second, octets.
const BUSY_OCTETS: u64 = 8_750_000;

/// Stretches of a busy link that are at most so far apart are one, seconds.
const JOIN_S: f64 = 1.5;

/// A tenth of a second, microseconds.
const TENTH_US: i64 = 100_000;

/// Tenths of a second before the running one.
const BEFORE: usize = 9;

/// Octets on one direction of a link. What every frame touches stands first.
#[derive(Debug, Clone, Default)]
#[repr(C)]
pub struct Rate {
    /// When the running tenth of a second began.
    began: Time,
    /// Octets in it.
    pub(super) octets: u64,
    /// The busiest second and its octets; no octets when there is none.
    peak: (Time, u64),
    /// Octets in the tenths before.
    before: Lately<BEFORE>,
    /// Stretches of seconds with more than 70 % of 100 Mbit/s.
    pub busy: Vec<Span>,
}

impl Rate {
    #[inline(always)]
    pub(super) fn add(&mut self, time: Time, octets: u64) {
        // Before its begin the difference is negative: a very large number without sign.
        if time.0.wrapping_sub(self.began.0) as u64 >= TENTH_US as u64 {
            self.roll(time);
        }
        self.octets += octets;
    }

    /// The busiest second and its octets.
    #[must_use]
    pub fn peak(&self) -> Option<(Time, u64)> {
        Some(self.peak).filter(|(_, octets)| *octets > 0)
    }

    /// Begins the tenth of a second that a moment lies in.
    #[inline(never)]
    fn roll(&mut self, time: Time) {
        self.settle();
        // As in `add`.
        let passed = time.0.wrapping_sub(self.began.0) as u64 / TENTH_US as u64;
        if passed <= BEFORE as u64 {
            self.before.push(self.octets);
            self.before.skip(passed as usize - 1);
            self.began = Time(self.began.0 + passed as i64 * TENTH_US);
        } else {
            self.before = Lately::default();
            self.began = Time(time.0.saturating_sub(time.0.rem_euclid(TENTH_US)));
        }
        self.octets = 0;
    }

    /// Takes the second that ends with the running tenth into account; call once at the end.
    #[inline(always)]
    pub(super) fn settle(&mut self) {
        let all = self.before.sum() + self.octets;
        if self.peak.1 < all {
            self.peak = (self.before_it(BEFORE), all);
        }
        if all >= BUSY_OCTETS {
            self.note_busy();
        }
    }

    /// When the tenth began that is so many before the running one.
    fn before_it(&self, tenths: usize) -> Time {
        self.began.moved(-TENTH_US * tenths as i64)
    }

    /// Notes a stretch from the first to the last tenth that is busy itself.
    #[cold]
    fn note_busy(&mut self) {
        let busy = |octets: u64| octets >= BUSY_OCTETS / (BEFORE as u64 + 1);
        // By how many tenths before the running one.
        let tenths = std::iter::once(self.octets).chain(self.before.iter()).map(busy).enumerate();
        let mut found = tenths.filter_map(|(tenth, is_busy)| is_busy.then_some(tenth));
        let last = found.next().unwrap_or(0);
        let first = found.last().unwrap_or(last);
        let span = Span::new(self.before_it(first), self.before_it(last).moved(TENTH_US));
        bounded::stretch(&mut self.busy, MAX_BUSY, span, JOIN_S);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Loads of so many octets a millisecond between two moments, in seconds.
    fn rate(loads: &[(f64, f64, u64)]) -> Rate {
        let mut rate = Rate::default();
        for (from, to, octets) in loads {
            let ms = (from * 1000.0) as i64..(to * 1000.0) as i64;
            ms.for_each(|ms| rate.add(Time(ms * 1000 + 777), *octets));
        }
        rate.settle();
        rate
    }

    #[test]
    fn a_short_burst_fills_the_second_that_it_lasts() {
        for shift in [0.0, 0.25, 0.5, 0.7] {
            let found = rate(&[(5.0 + shift, 6.4 + shift, 12_000)]);
            let (_, most) = found.peak().unwrap();
            assert!((11_900_000..=12_000_000).contains(&most), "{shift}: {most}");
            let [span] = found.busy[..] else { panic!("{:?}", found.busy) };
            assert!((1.3..=1.6).contains(&span.seconds()), "{shift}: {span:?}");
        }
    }

    #[test]
    fn what_is_a_second_apart_is_not_added_up() {
        let found = rate(&[(1.0, 1.5, 12_000), (2.5, 3.0, 12_000), (9.0, 9.2, 12_000)]);
        assert_eq!(found.peak().unwrap().1, 6_000_000);
        assert!(found.busy.is_empty());
    }

    #[test]
    fn a_clock_that_is_set_back_begins_anew() {
        let found = rate(&[(5.0, 5.9, 6_000), (2.0, 2.9, 6_000), (-1.0, -0.5, 6_000)]);
        assert_eq!(found.peak().unwrap().1, 5_400_000);
    }
}
