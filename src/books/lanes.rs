//! Two sensors behind one sender: values that belong to two lanes in turn.

use super::bounded;
use crate::time::{Span, Time};

/// Most stretches of two lanes that are remembered, a source.
const MAX_STRETCHES: usize = 16;

/// A stretch counts from so many changes of lane.
const ENOUGH: u32 = 30;

/// One of two lanes that gets no value for so many is none.
const STARVED: u8 = 6;

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
}

/// A stretch that goes on.
#[derive(Debug, Clone)]
struct Open {
    span: Span,
    /// The other lane's last value, seen from the last value.
    other: [f64; 2],
    unfed: u8,
    strayed: u8,
    values: u32,
    changes: u32,
    sums: (f64, f64),
    times: (f64, f64),
}

impl Lanes {
    /// Books the step from one value to the next; distances up to `least` make no lanes.
    #[inline]
    pub(super) fn step(&mut self, from: Time, to: Time, step: [f64; 2], least: f64) {
        let [x, y] = step;
        let size = x.hypot(y);
        match &mut self.open {
            None if size <= least => {}
            None => self.open = Some(Open::new(from, to, step)),
            Some(open) => {
                if !open.follow(from, to, step, size, least) {
                    self.close();
                    if size > least {
                        self.open = Some(Open::new(from, to, step));
                    }
                }
            }
        }
    }

    /// The two lanes, where there were ever two.
    #[must_use]
    pub fn turns(&self) -> Option<Turns> {
        let mut all = self.clone();
        all.close();
        let Self { stretches: spans, values, changes, sums, times, .. } = all;
        let apart = mean_and_deviation(sums, changes as f64);
        let every = mean_and_deviation(times, values as f64);
        (changes > 0).then_some(Turns { spans, values, changes, apart, every })
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
    fn new(from: Time, to: Time, [x, y]: [f64; 2]) -> Self {
        Self {
            span: Span::new(from, to),
            other: [-x, -y],
            unfed: 0,
            strayed: 0,
            values: 0,
            changes: 0,
            sums: (0.0, 0.0),
            times: (0.0, 0.0),
        }
    }

    /// Whether the stretch goes on with this step.
    fn follow(&mut self, from: Time, to: Time, [x, y]: [f64; 2], size: f64, least: f64) -> bool {
        if !(0.0..=LONGEST_S).contains(&to.since(from)) {
            return false;
        }
        let [other_x, other_y] = self.other;
        let from_other = [other_x - x, other_y - y];
        let away = from_other[0].hypot(from_other[1]);
        self.values += 1;
        self.unfed += 1;
        let late = to.since(from);
        self.times.0 += late;
        self.times.1 += late * late;
        if size > least && away < size / 2.0 {
            self.other = [-x, -y];
            self.unfed = 0;
            self.strayed = self.strayed.saturating_sub(1);
            self.changes += 1;
            self.sums.0 += size;
            self.sums.1 += size * size;
            self.span.to = to;
        } else {
            self.other = from_other;
            self.strayed += u8::from(size >= away / 2.0);
        }
        self.unfed < STARVED && self.strayed < STRAYED
    }

    fn is_real(&self) -> bool {
        if self.changes < ENOUGH || self.changes * 5 < self.values * 2 {
            return false;
        }
        let (mean, deviation) = mean_and_deviation(self.sums, f64::from(self.changes));
        deviation <= STEADY * mean
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
    }
}
