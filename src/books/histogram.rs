//! Histograms of intervals: how often each length came, to two digits.

use crate::soon;

/// Classes of a power of two: each is at most one 128th of what it holds.
const HALF: u64 = 128;

/// Bits of [`HALF`].
const HALF_BITS: u32 = HALF.trailing_zeros();

/// How often each length came. Lengths up to 255 have a class each; from there on every power of two has 128 classes.
///
/// Only the classes between the shortest and the longest length take room: a steady message needs a few dozen bytes, and
/// whatever comes no more than 14 KiB for lengths up to an hour.
#[derive(Debug, Clone)]
#[repr(C)]
pub struct Histogram {
    /// The class that the first count is of.
    first: u32,
    /// The class that was counted last.
    latest: u32,
    /// How often it came again since, which its count does not hold yet: what comes steadily does not look at the counts,
    /// which for thousands of streams are in no cache.
    again: u32,
    total: u64,
    counts: Vec<u32>,
}

/// No length has this class.
const NO_CLASS: u32 = u32::MAX;

impl Default for Histogram {
    fn default() -> Self {
        Self { first: 0, latest: NO_CLASS, again: 0, counts: Vec::new(), total: 0 }
    }
}

impl Histogram {
    /// Counts a length. The room grows with the logarithm of the longest: the caller bounds it.
    #[inline]
    pub(super) fn record(&mut self, value: u64) {
        let mut room = usize::MAX;
        self.record_within(value, &mut room);
    }

    /// As [`record`](Self::record), as long as there is `room` to grow, bytes; says whether the length was counted.
    #[inline(always)]
    pub(super) fn record_within(&mut self, value: u64, room: &mut usize) -> bool {
        let class = class_of(value);
        self.total += 1;
        if class == self.latest {
            self.again = self.again.saturating_add(1);
            return true;
        }
        self.record_other(class, room)
    }

    /// Counts one in another class than the last.
    fn record_other(&mut self, class: u32, room: &mut usize) -> bool {
        if self.again > 0 {
            self.settle();
        }
        self.latest = class;
        // A class before the first makes a place far behind the last.
        match self.counts.get_mut(class.wrapping_sub(self.first) as usize) {
            Some(count) => {
                *count = count.saturating_add(1);
                true
            }
            None => self.record_new(class, room),
        }
    }

    /// Takes back one that was counted; says whether there was one.
    pub(super) fn take_back(&mut self, value: u64) -> bool {
        self.settle();
        let count = self.counts.get_mut(class_of(value).wrapping_sub(self.first) as usize);
        let Some(count) = count.filter(|count| **count > 0) else { return false };
        *count -= 1;
        self.total -= 1;
        true
    }

    /// Fetches the count of the class that was counted last.
    pub(super) fn fetch(&self) {
        if let Some(count) = self.counts.get(self.latest.wrapping_sub(self.first) as usize) {
            soon::fetch(count);
        }
    }

    /// Counts what came again.
    fn settle(&mut self) {
        let again = std::mem::take(&mut self.again);
        if let Some(count) = self.counts.get_mut(self.latest.wrapping_sub(self.first) as usize) {
            *count = count.saturating_add(again);
        }
    }

    /// Counts one in a class outside what there is, when there is room for it.
    #[cold]
    fn record_new(&mut self, class: u32, room: &mut usize) -> bool {
        let (first, last) = (self.first, self.first + self.counts.len() as u32);
        let missing = if self.counts.is_empty() {
            1
        } else if class < first {
            first - class
        } else {
            class + 1 - last
        };
        let Some(left) = room.checked_sub(missing as usize * size_of::<u32>()) else {
            self.total -= 1;
            self.latest = NO_CLASS;
            return false;
        };
        *room = left;
        self.grow(class);
        if let Some(count) = self.counts.get_mut((class - self.first) as usize) {
            *count = 1;
        }
        true
    }

    /// A copy of it, as long as there is `room` for that, bytes.
    pub(super) fn copy_within(&self, room: &mut usize) -> Option<Self> {
        *room = room.checked_sub(self.counts.len() * size_of::<u32>())?;
        Some(self.clone())
    }

    /// Makes room for a class outside what there is.
    fn grow(&mut self, class: u32) {
        if self.counts.is_empty() {
            self.first = class;
        }
        if let Some(missing) = self.first.checked_sub(class).filter(|missing| *missing > 0) {
            self.counts.splice(0..0, std::iter::repeat_n(0, missing as usize));
            self.first = class;
        }
        let at = (class - self.first) as usize;
        if at >= self.counts.len() {
            // No more than is needed: there are thousands of histograms, and each grows but a few times.
            self.counts.reserve_exact(at + 1 - self.counts.len());
            self.counts.resize(at + 1, 0);
        }
    }

    /// How many lengths were counted.
    #[must_use]
    pub const fn len(&self) -> u64 {
        self.total
    }

    /// Whether none was.
    #[must_use]
    pub const fn is_empty(&self) -> bool {
        self.total == 0
    }

    /// The length that a share `q` (0 to 1) of the lengths does not exceed (nearest rank): the upper end of its class. 0
    /// when there are none.
    #[must_use]
    pub fn value_at_quantile(&self, q: f64) -> u64 {
        // Most of the counts are passed over so many at a time.
        const STRIDE: usize = 16;
        let rank = ((q.min(1.0) * self.total as f64).ceil() as u64).max(1);
        let latest = (self.latest.saturating_sub(self.first)) as usize;
        let mut sum = 0;
        for (stride, counts) in self.counts.chunks(STRIDE).enumerate() {
            let before = stride * STRIDE;
            let again = |at: usize| if before + at == latest { u64::from(self.again) } else { 0 };
            let counted: u64 = counts.iter().map(|count| u64::from(*count)).sum();
            let more = latest.checked_sub(before).filter(|at| *at < STRIDE).map_or(0, again);
            if sum + counted + more < rank {
                sum += counted + more;
                continue;
            }
            for (at, count) in counts.iter().enumerate() {
                sum += u64::from(*count) + again(at);
                if sum >= rank {
                    return highest_of(self.first + (before + at) as u32);
                }
            }
        }
        0
    }

    /// How many lengths lie from the class of `low` up to that of `high`, which is left out: of ranges that follow each
    /// other, each length is in one.
    #[must_use]
    pub fn count_between(&self, low: u64, high: u64) -> u64 {
        let classes = class_of(low)..class_of(high);
        let place = |class: u32| (class.saturating_sub(self.first) as usize).min(self.counts.len());
        let counts = self.counts.get(place(classes.start)..place(classes.end)).unwrap_or_default();
        let again = if classes.contains(&self.latest) { self.again } else { 0 };
        counts.iter().chain([&again]).map(|count| u64::from(*count)).sum()
    }
}

/// The class of a length.
const fn class_of(value: u64) -> u32 {
    let doublings = u64::BITS - (value | (2 * HALF - 1)).leading_zeros() - (HALF_BITS + 1);
    ((doublings as u64 * HALF) + (value >> doublings)) as u32
}

/// The longest length of a class.
const fn highest_of(class: u32) -> u64 {
    let class = class as u64;
    if class < 2 * HALF {
        return class;
    }
    let doublings = class / HALF - 1;
    (((class % HALF + HALF) + 1) << doublings) - 1
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_taken_back_was_not_counted() {
        let mut histogram = Histogram::default();
        for value in [100, 100, 100, 700_000_000, 100] {
            histogram.record(value);
        }
        assert!(histogram.take_back(700_000_000) && !histogram.take_back(700_000_000));
        assert!(histogram.take_back(100) && !histogram.take_back(5));
        assert_eq!((histogram.len(), histogram.value_at_quantile(1.0)), (3, 100));
    }
    use proptest::prelude::*;

    #[test]
    fn classes_are_narrow_and_in_order() {
        let mut before = 0;
        for value in
            (0..100_000).chain((17..32).flat_map(|bits| [(1 << bits) - 1, 1 << bits, (1 << bits) + 1]))
        {
            let class = class_of(value);
            assert!(value <= highest_of(class) && class_of(highest_of(class)) == class, "{value}");
            assert!(highest_of(class) - value <= value / HALF, "{value}");
            assert!(class == before || class == before + 1 || value > 100_000, "{value}");
            before = class;
        }
        assert!(class_of(3_600_000_000) * 4 < 14 << 10, "an hour in microseconds");
    }

    #[test]
    fn a_steady_message_takes_little_room() {
        let mut histogram = Histogram::default();
        (0..100_000).for_each(|n| histogram.record(1_000_000 + n % 7 * 1000));
        assert!(histogram.counts.capacity() < 16);
        assert_eq!((histogram.len(), histogram.is_empty()), (100_000, false));
        assert_eq!(Histogram::default().value_at_quantile(0.5), 0);
    }

    proptest! {
        /// The crate `hdrhistogram`, which has the same classes, says the same.
        #[test]
        fn an_independent_histogram_agrees(
            values in prop::collection::vec((0_u32..32, any::<u32>()).prop_map(|(bits, v)| u64::from(v >> bits).max(1)), 1..200),
            low in 1_u64..1_000_000,
            width in 0_u64..10_000_000,
        ) {
            let mut ours = Histogram::default();
            let mut theirs = hdrhistogram::Histogram::<u32>::new(2).unwrap();
            theirs.auto(true);
            for value in &values {
                ours.record(*value);
                theirs.record(*value).unwrap();
            }
            prop_assert_eq!(ours.len(), theirs.len());
            for q in [0.01, 0.15, 0.5, 0.85, 0.9, 0.99, 1.0] {
                prop_assert_eq!(ours.value_at_quantile(q), theirs.value_at_quantile(q));
            }
            let from = |low: u64| if low > theirs.max() { 0 } else { theirs.count_between(low, theirs.max()) };
            let high = low + width;
            prop_assert_eq!(ours.count_between(low, u64::MAX), from(low));
            prop_assert_eq!(ours.count_between(low, high), from(low) - from(high));
            prop_assert_eq!(ours.count_between(0, low) + ours.count_between(low, u64::MAX), ours.len());
        }
    }
}
