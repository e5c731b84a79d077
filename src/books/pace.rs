//! The interval that prevails at one time, where a message comes at another pace than it mostly does: a sensor that is set to
//! another interval, or sends less while it sleeps.

use super::longest::MAX_LONGEST;
use super::timing::Stream;
use crate::time::Span;

/// An interval belongs to a slower pace from so many of the usual ones on: what is shorter may be two, between which one was lost.
const SLOWER: f64 = 2.5;

/// Intervals follow each other that leave no more than this between them, seconds: two arrivals of one batch.
const BETWEEN_S: f64 = 0.015;

/// Intervals of one pace differ by this share of it where there are few of them, and by the next where there are
/// [`MANY`] (common practice, no source): two or three that are equal by chance are rare, and a clock may jitter.
const ALIKE: f64 = 0.05;
const ALIKE_OF_MANY: f64 = 0.25;
const MANY: usize = 5;

/// A stamp is late by one of its steps at most, and an interval lies between two of them.
const STAMPS: f64 = 2.0;

/// So many intervals may be one where the recorder lost what came between.
const LOST: [f64; 3] = [1.0, 2.0, 3.0];

/// So much of its time a slower pace fills; pauses leave room for what comes at the usual one (common practice, no source).
const FILLED: f64 = 0.85;

/// Fewer intervals than these are pauses with a message between them, however equal, and so are some that are this many times as long as
/// the usual ones: what restarts itself comes back so. As many as the last are a pace of any length (common practice, no source).
const FEWEST: usize = 4;
const FAR: f64 = 25.0;
const ANY_LENGTH: usize = 10;

/// A message may change its pace so often and be seen to have two, where its slow intervals are too many to be remembered.
const CHANGES: usize = 2;

/// Equal intervals end to end are a pace, and none of them is a pause.
impl Stream {
    /// The interval that prevails about a pause, seconds; `None` where it is the usual one.
    #[must_use]
    pub fn pace_near(&self, pause: Span, stamp_s: f64) -> Option<f64> {
        let pulse = self.pulse_s()?;
        let long = self.gaps.over(SLOWER * pulse);
        let pace = |run: &[Span], stamp_s: f64| pace(run, pulse, stamp_s);
        let all = || Some(Span::new(long.first()?.from, long.last()?.to));
        let near = end_to_end(&long).find(|run| run.iter().any(|gap| gap.touches(pause, BETWEEN_S)));
        near.and_then(|run| pace(run, stamp_s)).or_else(|| {
            let forgotten =
                long.len() >= MAX_LONGEST && all().is_some_and(|all| all.touches(pause, BETWEEN_S));
            pace(&long, stamp_s).filter(|pace| forgotten && self.fills(&long, *pace))
        })
    }

    /// The remembered intervals that belong to a slower pace, as far as each is seen to follow another one.
    #[must_use]
    pub fn at_slower_pace(&self, stamp_s: f64) -> Vec<Span> {
        let Some(pulse) = self.pulse_s() else { return Vec::new() };
        let long = self.gaps.over(SLOWER * pulse);
        end_to_end(&long).filter(|run| pace(run, pulse, stamp_s).is_some()).flatten().copied().collect()
    }

    /// Whether the intervals of about this length and longer ones fill the time in which the remembered ones lie.
    fn fills(&self, long: &[Span], pace: f64) -> bool {
        let mut holes: Vec<f64> =
            long.windows(2).filter_map(|pair| Some(pair.last()?.from.since(pair.first()?.to))).collect();
        holes.sort_unstable_by(f64::total_cmp);
        let largest: f64 = holes.iter().rev().take(CHANGES).sum();
        let Some((first, last)) = long.first().zip(long.last()) else { return false };
        let least_us = ((1.0 - ALIKE_OF_MANY) * pace * 1e6) as u64;
        let filled = self.intervals.count_between(least_us, u64::MAX) as f64 * pace;
        filled >= FILLED * (last.to.since(first.from) - largest)
    }
}

/// Those of some intervals, in order, that follow each other.
fn end_to_end(long: &[Span]) -> impl Iterator<Item = &[Span]> {
    long.chunk_by(|a, b| b.from.since(a.to) <= BETWEEN_S).filter(|run| run.len() >= FEWEST)
}

/// The pace that most of these intervals have: half of them and three in four with those in which some were lost. The usual interval is
/// `pulse` seconds.
fn pace(run: &[Span], pulse: f64, stamp_s: f64) -> Option<f64> {
    let mut lengths: Vec<f64> = run.iter().map(|gap| gap.seconds()).collect();
    lengths.sort_unstable_by(f64::total_cmp);
    let n = lengths.len();
    let mid = lengths.get(n.checked_sub(1)? / 2).copied()?;
    let share = if n < MANY { ALIKE } else { ALIKE_OF_MANY };
    let slack = mid.mul_add(share, STAMPS * stamp_s);
    let are = |times: &[f64]| {
        let is = |length: &&f64| times.iter().any(|times| (**length - times * mid).abs() <= slack);
        lengths.iter().filter(is).count()
    };
    let single = are(&[1.0]);
    let near = mid <= FAR * pulse || n >= ANY_LENGTH;
    (near && single >= 2 && 2 * single >= n && 4 * are(&LOST) >= 3 * n).then_some(mid)
}

#[cfg(test)]
mod tests {
    use super::super::inventory::DeviceId;
    use super::super::timing::{Message, Timing};
    use crate::time::Time;

    /// A message that comes at these seconds, with the pace about its longest pause.
    fn near_longest(times: impl IntoIterator<Item = f64>) -> Option<f64> {
        let mut timing = Timing::default();
        for at in times {
            timing.message(DeviceId(0), Message::Pgn(127_508), 0, Some(1.5), Some(Time(0).plus(at)));
        }
        let stream = timing.iter().next()?;
        let longest = stream.gaps.over(0.0).into_iter().max_by_key(|gap| gap.micros())?;
        stream.pace_near(longest, 0.0)
    }

    /// The moments between intervals that follow each other, the first and the last too.
    fn after(intervals: impl IntoIterator<Item = f64>) -> Vec<f64> {
        let mut at = 0.0;
        std::iter::once(0.0)
            .chain(intervals)
            .map(|step| {
                at += step;
                at
            })
            .collect()
    }

    fn of(count: usize, interval: f64) -> impl Iterator<Item = f64> {
        std::iter::repeat_n(interval, count)
    }

    #[test]
    fn equal_intervals_end_to_end_are_a_pace() {
        for slow in [4, 5, 30, 64, 65, 90] {
            // Most come at the usual pace, else there is none.
            let fast = || of(600, 1.5);
            let slowly = || of(slow, 10.0);
            assert_eq!(near_longest(after(slowly().chain(fast()))), Some(10.0), "{slow}");
            assert_eq!(near_longest(after(fast().chain(slowly()).chain(fast()))), Some(10.0), "{slow}");
            let lost = slowly().enumerate().map(|(i, s)| if i % 20 == 3 { 2.0 * s } else { s });
            assert_eq!(near_longest(after(fast().chain(lost))), Some(10.0), "{slow}, some lost");
        }
    }

    #[test]
    fn pauses_are_no_pace() {
        for pauses in [1, 5, 64, 65, 90] {
            let between = (0..pauses).flat_map(|_| of(1, 10.0).chain(of(6, 1.5)));
            assert_eq!(near_longest(after(between.chain(of(1000, 1.5)))), None, "{pauses}");
        }
        for (pauses, long) in [(2, 10.0), (3, 20.0), (6, 60.0)] {
            let with = of(200, 1.5).chain(of(pauses, long)).chain(of(200, 1.5));
            assert_eq!(near_longest(after(with)), None, "{pauses} of {long} s");
        }
        assert_eq!(near_longest(after(of(200, 1.5).chain(of(12, 60.0)))), Some(60.0));
        let once_heard = [9.0, 14.0, 22.0, 11.0, 31.0, 8.0];
        assert_eq!(near_longest(after(of(100, 1.5).chain(once_heard).chain(of(100, 1.5)))), None);
    }
}
