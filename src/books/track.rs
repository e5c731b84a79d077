//! The values of one source over time, in bounded room.

use crate::time::Time;

/// Most samples of one track; when it is full, every second block of time is given up.
const MAX_SAMPLES: usize = 16_384;

/// Most blocks of one track, an hour and eight minutes; when there are more, every second is given up. So a slow source
/// takes no more and no less room after a day than after the first hours, and a message sent four times a second meets
/// both bounds at once.
const MAX_BLOCKS: usize = 128;

/// Length of a block of time: what is kept of a long track is kept whole for this long.
const BLOCK_US: i64 = 32_000_000;

/// No block but the first has a number that is a multiple of twice this: a time has 63 bits, a block takes 24 of them. So
/// nothing is gained by going on.
const LAST_STRIDE: i64 = 1 << 39;

/// One value of a track. What the two numbers are depends on the quantity; a number that is absent is NaN.
///
/// Heading: degrees, variation the message carries. Position: latitude, longitude. Depth: metres, the boat's speed in
/// knots. Course and speed over ground: degrees, knots. Fix quality: dilution of precision, satellites. Others: the
/// value, nothing.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sample {
    /// When.
    pub time: Time,
    /// The first number.
    pub a: f64,
    /// The second number.
    pub b: f64,
}

/// The values of one source, thinned by whole blocks of time so that what is left keeps its full resolution.
#[derive(Debug, Clone, Default)]
pub struct Track {
    samples: Vec<Sample>,
    /// Only blocks whose number is a multiple of this are kept.
    stride: i64,
    /// The block of the last sample.
    block: i64,
    /// How often a sample lay in another block than the one before.
    blocks: usize,
    /// When the block of the last time that was asked for began, and its number.
    running: (i64, i64),
}

fn block(sample: &Sample) -> i64 {
    sample.time.0.div_euclid(BLOCK_US)
}

impl Track {
    pub(super) fn push(&mut self, sample: Sample) {
        let number = self.block_of(&sample);
        self.stride = self.stride.max(1);
        // The stride is a power of two.
        if number & (self.stride - 1) != 0 {
            return;
        }
        let opens = self.samples.is_empty() || number != self.block;
        if self.samples.len() >= MAX_SAMPLES || (opens && self.blocks >= MAX_BLOCKS) {
            if self.stride > LAST_STRIDE {
                return;
            }
            self.thin();
            if self.samples.len() >= MAX_SAMPLES || number & (self.stride - 1) != 0 {
                return;
            }
        }
        self.blocks += usize::from(self.samples.is_empty() || number != self.block);
        self.block = number;
        self.samples.push(sample);
    }

    /// As [`block`], without a division while the same block goes on.
    #[inline(always)]
    fn block_of(&mut self, sample: &Sample) -> i64 {
        if !(0..BLOCK_US).contains(&sample.time.0.saturating_sub(self.running.0)) {
            let number = block(sample);
            self.running = (number * BLOCK_US, number);
        }
        self.running.1
    }

    /// Gives up every second block.
    fn thin(&mut self) {
        self.stride *= 2;
        let mask = self.stride - 1;
        self.samples.retain(|s| block(s) & mask == 0);
        self.blocks = self.samples.chunk_by(|a, b| block(a) == block(b)).count();
        self.block = self.samples.last().map_or(0, block);
    }

    /// The samples in the order of arrival. Between two kept blocks lies at least one block of time.
    #[must_use]
    pub fn samples(&self) -> &[Sample] {
        &self.samples
    }
}

/// Two samples further apart are not joined by a straight line, seconds.
const JOIN_S: f64 = 2.5;

/// The two samples around a moment, when they are near enough to be joined, and the share of the way from the first to
/// the second at which the moment lies. `samples` must be in order of time, each moment once.
#[must_use]
pub fn around(samples: &[Sample], time: Time) -> Option<(Sample, Sample, f64)> {
    joined(samples, samples.partition_point(|s| s.time < time), time)
}

/// As [`around`], by the place of the first sample that is not before the moment.
fn joined(samples: &[Sample], after: usize, time: Time) -> Option<(Sample, Sample, f64)> {
    let b = *samples.get(after)?;
    if b.time == time {
        return Some((b, b, 0.0));
    }
    let a = *samples.get(after.checked_sub(1)?)?;
    let whole = b.time.since(a.time);
    (whole <= JOIN_S).then(|| (a, b, time.since(a.time) / whole))
}

/// As [`around`] for one moment after the other, quick when the moments come in order.
#[derive(Debug, Clone)]
pub struct Walk<'a> {
    samples: &'a [Sample],
    after: usize,
}

impl<'a> Walk<'a> {
    /// From the beginning of samples in order of time, each moment once.
    #[must_use]
    pub const fn new(samples: &'a [Sample]) -> Self {
        Self { samples, after: 0 }
    }

    /// The two samples around a moment, and the share of the way between them; see [`around`].
    pub fn around(&mut self, time: Time) -> Option<(Sample, Sample, f64)> {
        // Steps of more than this are found sooner by halves.
        const NEAR: usize = 16;
        let is_before = |at: usize| self.samples.get(at).is_some_and(|s| s.time < time);
        let mut after = self.after;
        let turns_back = after.checked_sub(1).is_some_and(|at| !is_before(at));
        let end = after.saturating_add(NEAR);
        while !turns_back && after < end && is_before(after) {
            after += 1;
        }
        if turns_back || is_before(after) {
            after = self.samples.partition_point(|s| s.time < time);
        }
        self.after = after;
        joined(self.samples, after, time)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_walk_finds_what_a_search_finds() {
        let samples: Vec<Sample> = (0..300_i64)
            .map(|i| Sample { time: Time(i * 100_000 + i % 7 * 11_000), a: i as f64, b: 0.0 })
            .collect();
        let mut walk = Walk::new(&samples);
        for at in (0..400).map(|i| i * 77_777).chain([5_000_000, -1, 29_000_000, 3_000_000, 3_000_000]) {
            assert_eq!(walk.around(Time(at)), around(&samples, Time(at)), "{at}");
        }
    }

    #[test]
    fn a_long_track_keeps_whole_blocks_and_stays_bounded() {
        let mut track = Track::default();
        for i in 0..200_000_i64 {
            track.push(Sample { time: Time(i * 100_000), a: 0.0, b: 0.0 });
        }
        let kept = track.samples();
        assert!(kept.len() <= MAX_SAMPLES && kept.len() > MAX_SAMPLES / 4, "{}", kept.len());
        let steps = kept.windows(2).map(|w| w[1].time.micros_since(w[0].time));
        assert!(steps.clone().all(|s| s == 100_000 || s > BLOCK_US));
        assert!(kept[0].time.0 < BLOCK_US && kept[kept.len() - 1].time.0 > 15_000_000_000);
    }

    #[test]
    fn a_slow_track_does_not_grow_for_hours() {
        let mut track = Track::default();
        let mut most = [0; 2];
        for second in 0..200_000_i64 {
            track.push(Sample { time: Time(second * 1_000_000), a: 0.0, b: 0.0 });
            let after = usize::from(second >= 4100);
            most[after] = most[after].max(track.samples().len());
        }
        assert_eq!(most, [MAX_BLOCKS * 32; 2]);
        assert!(track.samples().len() > MAX_BLOCKS * 32 / 3);
    }

    #[test]
    fn times_that_leap_to_and_fro_stay_bounded() {
        let mut track = Track::default();
        for i in 0..100_000_i64 {
            let leap = if i % 2 == 0 { 0 } else { 1 << 50 };
            track.push(Sample { time: Time(leap + i * 1000), a: 0.0, b: 0.0 });
        }
        assert!(track.samples().len() <= MAX_SAMPLES);
    }
}
