//! Octets on one direction of a link, by seconds that begin at any tenth.

use super::bounded;
use super::lately::{Lately, Units};
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

/// More than this a 100 Mbit/s link does not carry in a tenth of a second, whose stamps may be off by a few milliseconds, octets.
const TENTH_OCTETS: u32 = 1_312_500;

/// Who records many packets a second and none for this long may have gathered them, microseconds; that long it takes at most to
/// stamp what was gathered (common practice, no source).
const PAUSE_US: i64 = 20_000;

/// A recorder gathers packets for some tenths of a second at most, microseconds: what a silence is longer is the network's (common
/// practice, no source).
const GATHERED_US: i64 = 500_000;

/// When nothing was recorded of a network for a moment. Where a recorder stamps what it gathered, it all came since then.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Pause {
    latest: Time,
    /// The last frame before the last pause, and the first after it.
    from: Time,
    to: Time,
}

impl Pause {
    /// Books a frame of anybody.
    #[inline(always)]
    pub(super) fn frame(&mut self, time: Time) {
        if time.micros_since(self.latest) >= PAUSE_US {
            (self.from, self.to) = (self.latest, time);
        }
        self.latest = time;
    }

    /// Since when a frame with this stamp may have waited to be stamped.
    fn since(&self, time: Time) -> Time {
        let just_after = (0..=PAUSE_US).contains(&time.micros_since(self.to));
        if just_after { self.from.max(Time(self.to.0.saturating_sub(GATHERED_US))) } else { time }
    }
}

/// A tenth of a second that is over.
#[derive(Debug, Clone, Copy, Default)]
struct Tenth {
    octets: u32,
    /// For how long what came first in it may have waited when it began, microseconds.
    waited: u32,
}

impl Units for Tenth {
    fn units(self) -> u64 {
        self.octets.into()
    }
}

/// Octets on one direction of a link. What every frame touches stands first.
#[derive(Debug, Clone, Default)]
#[repr(C)]
pub struct Rate {
    /// When the running tenth of a second began.
    began: Time,
    /// Octets in it.
    pub(super) octets: u64,
    /// The latest stamp.
    latest: Time,
    /// The busiest second and its octets, none when there is none; of seconds that are not busy, with what was gathered before.
    peak: (Time, u64),
    /// As in [`Tenth`], of the running one.
    waited: u32,
    /// The tenths before.
    before: Lately<Tenth, BEFORE>,
    /// Stretches of seconds with more than 70 % of 100 Mbit/s.
    pub busy: Vec<Span>,
}

impl Rate {
    #[inline(always)]
    pub(super) fn add(&mut self, time: Time, octets: u64, pause: &Pause) {
        // Before its begin the difference is negative: a very large number without sign.
        if time.0.wrapping_sub(self.began.0) as u64 >= TENTH_US as u64 {
            self.roll(time, pause);
        }
        self.octets += octets;
        self.latest = time;
    }

    /// The busiest second and its octets.
    #[must_use]
    pub fn peak(&self) -> Option<(Time, u64)> {
        Some(self.peak).filter(|(_, octets)| *octets > 0)
    }

    /// Begins the tenth of a second that a moment lies in.
    #[inline(never)]
    fn roll(&mut self, time: Time, pause: &Pause) {
        self.settle();
        // As in `add`.
        let passed = time.0.wrapping_sub(self.began.0) as u64 / TENTH_US as u64;
        if passed <= BEFORE as u64 {
            let octets = self.octets.min(u32::MAX.into()) as u32;
            self.before.push(Tenth { octets, waited: self.waited });
            self.before.skip(passed as usize - 1);
            self.began = Time(self.began.0 + passed as i64 * TENTH_US);
        } else {
            self.before = Lately::default();
            self.began = Time(time.0.saturating_sub(time.0.rem_euclid(TENTH_US)));
        }
        self.octets = 0;
        self.waited = u32::try_from(self.began.micros_since(pause.since(time))).unwrap_or(0);
    }

    /// Takes the second that ends with the running tenth into account; call once at the end.
    #[inline(always)]
    pub(super) fn settle(&mut self) {
        let all = self.before.sum() + self.octets;
        if all >= BUSY_OCTETS {
            self.note_full(all);
        } else if self.peak.1 < all {
            self.peak = (self.before_it(BEFORE), all);
        }
    }

    /// Notes that so many octets came within the second that ends with the running tenth, more than 70 % of 100 Mbit/s as it seems.
    #[cold]
    fn note_full(&mut self, all: u64) {
        let all = (all as f64 * 1e6 / self.lasted_us() as f64) as u64;
        if self.peak.1 < all {
            self.peak = (self.before_it(BEFORE), all);
        }
        if all >= BUSY_OCTETS {
            self.note_busy();
        }
    }

    /// The tenths of the second that ends with the running one, the latest first.
    fn tenths(&self) -> [Tenth; BEFORE + 1] {
        let octets = self.octets.min(u32::MAX.into()) as u32;
        let mut tenths = [Tenth { octets, waited: self.waited }; BEFORE + 1];
        for (place, tenth) in tenths.iter_mut().skip(1).zip(self.before.iter()) {
            *place = tenth;
        }
        tenths
    }

    /// For how long the octets of the second that ends with the running tenth were coming, microseconds: longer than a second where
    /// they were gathered before they were stamped, the first of them since before. It shows by more in a tenth than the link can
    /// carry, or by pauses before most of them.
    fn lasted_us(&self) -> i64 {
        const SECOND_US: i64 = TENTH_US * (BEFORE as i64 + 1);
        let tenths = self.tenths();
        let filled = || tenths.iter().filter(|tenth| tenth.octets > 0);
        let late = filled().filter(|tenth| tenth.waited > 0).count();
        if 2 * late <= filled().count() && tenths.iter().all(|tenth| tenth.octets <= TENTH_OCTETS) {
            return SECOND_US;
        }
        let first = tenths.iter().enumerate().rfind(|(_, tenth)| tenth.octets > 0);
        let (tenths, waited) = first.map_or((0, 0), |(place, tenth)| (place as i64, tenth.waited.into()));
        let since_began = self.latest.micros_since(self.began).clamp(0, TENTH_US);
        (tenths * TENTH_US + since_began + waited).max(SECOND_US)
    }

    /// When the tenth began that is so many before the running one.
    fn before_it(&self, tenths: usize) -> Time {
        self.began.moved(-TENTH_US * tenths as i64)
    }

    /// Notes a stretch from the first to the last tenth that is busy itself.
    fn note_busy(&mut self) {
        let busy = |tenth: Tenth| u64::from(tenth.octets) >= BUSY_OCTETS / (BEFORE as u64 + 1);
        // By how many tenths before the running one.
        let tenths = self.tenths().into_iter().map(busy).enumerate();
        let mut found = tenths.filter_map(|(tenth, is_busy)| is_busy.then_some(tenth));
        let last = found.next().unwrap_or(0);
        let first = found.next_back().unwrap_or(last);
        let span = Span::new(self.before_it(first), self.before_it(last).moved(TENTH_US));
        bounded::stretch(&mut self.busy, MAX_BUSY, span, JOIN_S);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Loads of so many octets a millisecond between two moments, in seconds.
    fn rate(loads: &[(f64, f64, u64)]) -> Rate {
        stamped(loads, |us| us)
    }

    /// The same, by a recorder that stamps them so.
    fn stamped(loads: &[(f64, f64, u64)], stamp: impl Fn(i64) -> i64) -> Rate {
        let (mut rate, mut pause) = (Rate::default(), Pause::default());
        for (from, to, octets) in loads {
            for ms in (from * 1000.0) as i64..(to * 1000.0) as i64 {
                let time = Time(stamp(ms * 1000 + 777));
                pause.frame(time);
                rate.add(time, *octets, &pause);
            }
        }
        rate.settle();
        rate
    }

    #[test]
    fn batches_fill_no_second() {
        // The first batch after a silence may be longer than those behind it; what a second holds is told without it.
        for (batch_us, octets) in [
            (100_300, 7_500),
            (70_000, 8_500),
            (170_000, 7_500),
            (233_000, 7_500),
            (300_000, 6_500),
            (210_000, 11_900),
        ] {
            let batches = |us: i64| us / batch_us * batch_us + batch_us + us % batch_us / 100;
            let most = stamped(&[(5.0, 15.0, octets)], batches).peak().unwrap().1;
            let real = 1000 * octets;
            // Whether a second below the bound is told as it was nobody asks.
            let bounds = real * 95 / 100..=(real * 101 / 100).max(BUSY_OCTETS);
            assert!(bounds.contains(&most), "{batch_us}: {most} of {real}");
        }
    }

    #[test]
    fn a_recorder_that_stood_still_for_a_moment_shows_no_faster_link() {
        let late =
            |us: i64| if (8_000_000..8_300_000).contains(&us) { 8_300_000 + us % 100_000 / 1000 } else { us };
        let most = stamped(&[(5.0, 15.0, 11_900)], late).peak().unwrap().1;
        assert!((11_500_000..=12_100_000).contains(&most), "{most}");
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
