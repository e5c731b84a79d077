//! What shows that a 0183 line is faster than a baud rate: bursts that this rate cannot carry.

use super::second::Second;
use super::wires::BAUD_RATES;
use crate::time::Time;

/// Characters of the longest sentence (IEC 61162-1): its stamp tells when it had come, and not when it began.
pub const SENTENCE: f64 = 82.0;

/// As a rule a serial driver hands characters over within this time of their coming, seconds: adapters wait for some 16 ms, a busy
/// computer some times as long (common practice, no source). Longer waits are rare.
const HELD_S: f64 = 0.1;

/// Baud rates run fast or slow by no more than this, the recorder's clock too.
const OVER: f64 = 1.05;

/// Characters a second of the fastest serial ports of a boat (115200 baud). Sentences that are stamped closer together came out
/// of one buffer, where they may have waited for however long.
const FASTEST_PER_S: f64 = 11_520.0;

/// For each baud rate, the seconds in which more had come than a line of that rate can have carried.
#[derive(Debug, Clone, Copy, Default)]
pub struct LineRate {
    last: Option<Time>,
    rates: [Rate; BAUD_RATES.len()],
}

#[derive(Debug, Clone, Copy, Default)]
struct Rate {
    /// Characters that a line of this rate would still have to carry.
    behind: f64,
    /// Seconds in which these were too many.
    seconds: u64,
    /// The last of them.
    second: Option<Second>,
}

impl LineRate {
    /// Books a sentence of so many characters, whole or not.
    pub(super) fn sentence(&mut self, time: Time, characters: u64) {
        let Some(last) = self.last.replace(time) else { return };
        let passed = time.since(last);
        if passed < 0.0 {
            self.rates.iter_mut().for_each(|rate| rate.behind = 0.0);
            return;
        }
        let characters = characters as f64;
        let waited = passed * FASTEST_PER_S < characters;
        for (rate, baud) in self.rates.iter_mut().zip(BAUD_RATES) {
            let per_s = f64::from(baud) / 10.0;
            rate.behind = (rate.behind - OVER * per_s * passed).max(0.0);
            if waited {
                continue;
            }
            rate.behind += characters;
            let too_many = rate.behind > SENTENCE + HELD_S * per_s;
            if too_many && !rate.second.is_some_and(|second| second.holds(time)) {
                rate.seconds += 1;
                rate.second = Some(Second::of(time));
            }
        }
    }

    /// The seconds in which more had come than so many baud can have carried.
    #[must_use]
    pub fn seconds_over(&self, baud: u32) -> u64 {
        let rates = BAUD_RATES.iter().zip(&self.rates);
        rates.filter(|(of, _)| **of == baud).map(|(_, rate)| rate.seconds).sum()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Seconds over 4800 baud of a minute in which each second brings three sentences of 65 characters, each so long after the
    /// one before.
    fn seconds_over(apart_s: f64) -> u64 {
        let mut rate = LineRate::default();
        for second in 0..60 {
            (1..=3).for_each(|n| {
                rate.sentence(Time(0).plus(f64::from(second) + apart_s * f64::from(n)), 65);
            });
        }
        rate.seconds_over(4800)
    }

    #[test]
    fn what_comes_faster_than_the_rate_shows() {
        assert!(seconds_over(65.0 / 3840.0) >= 59, "38400 baud");
        assert_eq!(seconds_over(65.0 / 480.0), 0, "4800 baud");
        assert_eq!(seconds_over(65.0 / 480.0 - 0.02), 0, "4800 baud, handed over late");
        assert_eq!(seconds_over(0.001), 0, "out of one buffer");
    }
}
