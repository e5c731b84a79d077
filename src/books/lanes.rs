//! Two sensors behind one sender: values that belong to two lanes in turn.

use super::bounded;
use crate::time::{Span, Time};
use crate::units::length;

/// Most stretches of two lanes that are remembered, a source.
const MAX_STRETCHES: usize = 16;

/// A stretch counts from so many changes of lane.
const ENOUGH: u32 = 30;

/// One of two lanes that gets no value for so many is none.
const STARVED: u8 = 6;

/// The same where one sender is much faster than the other: ten values a second beside one in two seconds.
const STARVED_SLOW: u8 = 30;

/// Values of the slow lane that stand alone between two of the other, as a share of all that come between.
const ALONE: f64 = 0.9;

/// The fast lane goes on as if nothing came between: its pause around a value of the other is no longer than its usual
/// one, but for so much. A single sensor's own value that leaps takes the place of one that does not.
const NO_LATER: f64 = 1.4;

/// So many values in excess that fit neither lane end the stretch: two senders' clocks drift past each other now and then.
const STRAYED: u8 = 8;

/// The lanes' distance varies by no more than this share of itself (standard deviation).
const STEADY: f64 = 0.2;

/// After a longer pause both lanes may be anywhere, seconds.
const LONGEST_S: f64 = 5.0;

/// Stretches at most so far apart are one, seconds.
const TOGETHER_S: f64 = 60.0;

/// The lanes of one source, by the steps from value to value (north and east for a place, else one number).
#[derive(Debug, Clone, Default)]
pub struct Lanes {
    /// Two lanes that get about as many values.
    even: Strand,
    /// A lane that gets one value now and then beside another that gets many.
    uneven: Strand,
}

/// Lanes of one kind.
#[derive(Debug, Clone, Default)]
struct Strand {
    stretches: Vec<Span>,
    values: u64,
    changes: u64,
    /// Of the distances at those changes, and of their squares.
    sums: (f64, f64),
    /// Of the times from value to value, and of their squares.
    times: (f64, f64),
    open: Option<Open>,
}

/// What the lanes of a source tell.
#[derive(Debug, Clone)]
pub struct Turns {
    /// Stretches in which the values changed between two lanes.
    pub spans: Vec<Span>,
    /// Values within them.
    pub values: u64,
    /// Changes of lane within them.
    pub changes: u64,
    /// Distance of the lanes: mean and standard deviation, degrees or metres.
    pub apart: (f64, f64),
    /// Time from value to value: mean and standard deviation, seconds.
    pub every: (f64, f64),
    /// Whether the values of one lane come between those of the other, which comes as steadily as without.
    pub between: bool,
}

/// A stretch that goes on.
#[derive(Debug, Clone)]
struct Open {
    span: Span,
    /// The other lane's last value, seen from the last value.
    other: [f64; 2],
    /// Where one lane is slow: it is taken to move as the other one does.
    slow: Option<Slow>,
    unfed: u8,
    strayed: u8,
    values: u32,
    changes: u32,
    sums: (f64, f64),
    times: (f64, f64),
}

/// What is known of lanes of which one is slow.
#[derive(Debug, Clone, Copy, Default)]
struct Slow {
    /// When the value before the last one came, and whether that one was the slow lane's.
    before: Option<(Time, bool)>,
    /// Times from one value of the fast lane to the next: their sum and number.
    steady: (f64, u32),
    /// The same around a value of the slow lane.
    around: (f64, u32),
}

impl Lanes {
    /// Books the step from one value to the next; distances up to `least` make no lanes.
    #[inline]
    pub(super) fn step(&mut self, from: Time, to: Time, step: [f64; 2], least: f64) {
        let size = length(step);
        if size > least || self.even.open.is_some() || self.uneven.open.is_some() {
            self.even.step((from, to), step, size, least, false);
            self.uneven.step((from, to), step, size, least, true);
        }
    }

    /// The two lanes, where there were ever two.
    #[must_use]
    pub fn turns(&self) -> Option<Turns> {
        self.even.turns(false).or_else(|| self.uneven.turns(true))
    }
}

impl Strand {
    fn step(&mut self, times: (Time, Time), step: [f64; 2], size: f64, least: f64, slow: bool) {
        match &mut self.open {
            None if size <= least => {}
            None => self.open = Some(Open::new(times, step, slow)),
            Some(open) => {
                if !open.follow(times, step, size, least) {
                    self.close();
                    if size > least {
                        self.open = Some(Open::new(times, step, slow));
                    }
                }
            }
        }
    }

    fn turns(&self, between: bool) -> Option<Turns> {
        let mut all = self.clone();
        all.close();
        let Self { stretches: spans, values, changes, sums, times, .. } = all;
        let apart = mean_and_deviation(sums, changes as f64);
        let every = mean_and_deviation(times, values as f64);
        (changes > 0).then_some(Turns { spans, values, changes, apart, every, between })
    }

    fn close(&mut self) {
        let Some(open) = self.open.take() else { return };
        if !open.is_real() {
            return;
        }
        bounded::stretch(&mut self.stretches, MAX_STRETCHES, open.span, TOGETHER_S);
        self.values += u64::from(open.values);
        self.changes += u64::from(open.changes);
        self.sums.0 += open.sums.0;
        self.sums.1 += open.sums.1;
        self.times.0 += open.times.0;
        self.times.1 += open.times.1;
    }
}

impl Open {
    fn new((from, to): (Time, Time), [x, y]: [f64; 2], slow: bool) -> Self {
        Self {
            span: Span::new(from, to),
            other: [-x, -y],
            slow: slow.then(Slow::default),
            unfed: 0,
            strayed: 0,
            values: 0,
            changes: 0,
            sums: (0.0, 0.0),
            times: (0.0, 0.0),
        }
    }

    /// Whether the stretch goes on with this step.
    fn follow(&mut self, (from, to): (Time, Time), [x, y]: [f64; 2], size: f64, least: f64) -> bool {
        if !(0.0..=LONGEST_S).contains(&to.since(from)) {
            return false;
        }
        let [other_x, other_y] = self.other;
        let from_other = [other_x - x, other_y - y];
        let away = length(from_other);
        self.values += 1;
        self.unfed += 1;
        let late = to.since(from);
        self.times.0 += late;
        self.times.1 += late * late;
        let changed = size > least && away < size / 2.0;
        if let Some(slow) = &mut self.slow {
            slow.note(from, to, changed);
        }
        if changed {
            self.other = [-x, -y];
            self.unfed = 0;
            self.strayed = self.strayed.saturating_sub(1);
            self.changes += 1;
            self.sums.0 += size;
            self.sums.1 += size * size;
            self.span.to = to;
        } else {
            // A slow lane's next value is far off: until then it moves as this one does, for the boat does.
            if self.slow.is_none() {
                self.other = from_other;
            }
            self.strayed += u8::from(size >= away / 2.0);
        }
        self.unfed < if self.slow.is_some() { STARVED_SLOW } else { STARVED } && self.strayed < STRAYED
    }

    fn is_real(&self) -> bool {
        let often = match &self.slow {
            Some(slow) => slow.is_between(self.changes),
            None => self.changes * 5 >= self.values * 2,
        };
        if self.changes < ENOUGH || !often {
            return false;
        }
        let (mean, deviation) = mean_and_deviation(self.sums, f64::from(self.changes));
        deviation <= STEADY * mean
    }
}

impl Slow {
    /// Notes a value that came at `to` after one at `from`, and whether it is of the other lane than that.
    fn note(&mut self, from: Time, to: Time, changed: bool) {
        match self.before {
            // There and back.
            Some((before, true)) if changed => {
                self.around.0 += to.since(before);
                self.around.1 += 1;
            }
            _ if !changed => {
                self.steady.0 += to.since(from);
                self.steady.1 += 1;
            }
            _ => {}
        }
        let was_there_and_back = changed && matches!(self.before, Some((_, true)));
        self.before = Some((from, changed && !was_there_and_back));
    }

    /// Whether the values of one lane come one by one between those of the other, which come no later for them.
    fn is_between(&self, changes: u32) -> bool {
        let ((steady_s, steady), (around_s, around)) = (self.steady, self.around);
        let mean = |sum: f64, count: u32| sum / f64::from(count.max(1));
        steady > 0
            && 2.0 * f64::from(around) >= ALONE * f64::from(changes)
            && mean(around_s, around) <= NO_LATER * mean(steady_s, steady)
    }
}

fn mean_and_deviation((sum, squares): (f64, f64), n: f64) -> (f64, f64) {
    let mean = sum / n;
    (mean, (squares / n - mean * mean).max(0.0).sqrt())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn lanes(values: impl IntoIterator<Item = f64>) -> Option<Turns> {
        let mut lanes = Lanes::default();
        let mut last: Option<(Time, f64)> = None;
        for (i, value) in values.into_iter().enumerate() {
            let time = Time(i as i64 * 100_000);
            if let Some((from, before)) = last.replace((time, value)) {
                lanes.step(from, time, [value - before, 0.0], 3.0);
            }
        }
        lanes.turns()
    }

    /// Numbers that look random, between -1 and 1.
    fn noise(i: u32) -> f64 {
        f64::from(i.wrapping_mul(2_654_435_761).rotate_left(13).wrapping_mul(0x9E37_79B1) >> 8) / 8_388_608.0
            - 1.0
    }

    #[test]
    fn two_that_take_turns_are_two_lanes() {
        let turning = |i: u32| 3.0 * f64::from(i / 2) * 0.1 + 0.4 * noise(i);
        let found = lanes((0..400).map(|i| turning(i) + if i % 2 == 0 { 15.0 } else { 0.0 }));
        let Turns { spans, apart: (apart, deviation), .. } = found.unwrap();
        assert_eq!(spans.len(), 1);
        assert!((apart - 15.0).abs() < 0.2 && deviation < 1.0, "{apart} {deviation}");
        // Their clocks drift: once in a while the order changes.
        let found = lanes((0..400).map(|i| if (i + u32::from(i % 97 > 48)) % 2 == 0 { 15.0 } else { 0.0 }));
        assert_eq!(found.unwrap().spans.len(), 1);
    }

    #[test]
    fn the_order_of_the_two_need_not_be_the_same() {
        let first = |pair: u32| u32::from(noise(pair) > 0.0);
        let found = lanes((0..400).map(|i| if (i + first(i / 2)) % 2 == 0 { 8.0 } else { 0.0 }));
        let Turns { values, apart, .. } = found.unwrap();
        assert!((apart.0 - 8.0).abs() < 0.01);
        assert!(values > 250, "{values}");
    }

    #[test]
    fn noise_turns_and_jumps_are_none() {
        assert!(lanes((0..2000).map(|i| 20.0 * noise(i))).is_none());
        assert!(lanes((0..2000).map(|i| f64::from(i) * 6.0)).is_none());
        assert!(lanes((0..2000).map(|i| if i % 80 < 40 { 25.0 } else { 0.0 })).is_none());
        let held = lanes((0..2000).map(|i| f64::from(i / 2) * 9.0));
        assert!(held.is_none(), "each value sent twice");
        assert!(
            lanes((0..2000).map(|i| if i % 10 == 0 { 25.0 } else { 0.0 })).is_none(),
            "every tenth leaps"
        );
    }

    /// A boat that turns; one sensor says its heading every `fast` microseconds, another one with 25 degrees more every `slow`,
    /// and what comes first is booked first.
    fn two_senders(fast: i64, slow: i64) -> Option<Turns> {
        let mut values: Vec<(i64, f64)> = (0..3000).map(|i| (i * fast, 0.0)).collect();
        values.extend((0..3000 * fast / slow).map(|i| (i * slow + 31_000 + i * 37, 25.0)));
        values.sort_by_key(|(at, _)| *at);
        let mut lanes = Lanes::default();
        let mut last: Option<(Time, f64)> = None;
        for (i, (at, more)) in (0..).zip(values) {
            let (time, value) = (Time(at), more + 4.0 * at as f64 / 1e6 + 0.3 * noise(i));
            if let Some((from, before)) = last.replace((time, value)) {
                lanes.step(from, time, [value - before, 0.0], 3.0);
            }
        }
        lanes.turns()
    }

    #[test]
    fn a_slow_one_beside_a_fast_one_are_two_lanes() {
        for (fast, slow) in [
            (100_000, 200_000),
            (100_000, 500_000),
            (100_000, 1_000_000),
            (50_000, 1_000_000),
            (200_000, 1_000_000),
        ] {
            let turns = two_senders(fast, slow).unwrap_or_else(|| panic!("{fast} {slow}"));
            assert!((turns.apart.0 - 25.0).abs() < 0.5, "{turns:?}");
            assert!(turns.values as i64 > 3000 * 9 / 10, "{turns:?}");
        }
    }
}
