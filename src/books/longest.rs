//! The longest of many: what lasted longest is remembered, and nothing else.

use std::borrow::Cow;

/// Most that are remembered.
pub(super) const MAX_LONGEST: usize = 64;

/// Most that wait until they are sorted in.
const MAX_WAITING: usize = 16;

/// What lasts for some time.
pub(super) trait Lasting: Copy {
    /// How long, microseconds.
    fn micros(&self) -> i64;
}

/// The longest of its kind, at most `MAX_LONGEST` of them. Of some that last equally long the earlier ones stay.
#[derive(Debug, Clone)]
pub(super) struct Longest<T> {
    /// The longest ones; once there are `MAX_LONGEST`, some that may be longer wait behind: of thousands of lists none is in the
    /// cache, and to look one through for each that comes takes long.
    items: Vec<T>,
    /// The shortest of the first `MAX_LONGEST`, microseconds.
    least_us: i64,
}

impl<T> Default for Longest<T> {
    fn default() -> Self {
        Self { items: Vec::new(), least_us: 0 }
    }
}

impl<T: Lasting> Longest<T> {
    /// Whether one that lasts so long may be among them.
    #[inline(always)]
    pub(super) fn admits(&self, us: i64) -> bool {
        self.items.len() < MAX_LONGEST || us > self.least_us
    }

    /// Remembers one that is [admitted](Self::admits).
    pub(super) fn add(&mut self, item: T) {
        if self.items.len() == self.items.capacity() {
            // Few steps to the end: there are thousands of these lists, and most become full.
            let capacity = match self.items.capacity() {
                MAX_LONGEST.. => MAX_LONGEST + MAX_WAITING,
                capacity => (4 * capacity).clamp(4, MAX_LONGEST),
            };
            self.items.reserve_exact(capacity - self.items.len());
        }
        self.items.push(item);
        if self.items.len() == MAX_LONGEST {
            self.least_us = self.items.iter().map(T::micros).min().unwrap_or(0);
        } else if self.items.len() == MAX_LONGEST + MAX_WAITING {
            self.sort_in();
        }
    }

    /// Takes up those that wait, one after the other, as far as they are longer than the shortest.
    fn sort_in(&mut self) {
        let Some((longest, waiting)) = self.items.split_at_mut_checked(MAX_LONGEST) else { return };
        // Those that may have to make room, the first of the shortest last.
        let mut order: Vec<_> = longest.iter().map(T::micros).zip(0..).collect();
        order.select_nth_unstable(MAX_WAITING);
        order.truncate(MAX_WAITING + 1);
        order.sort_unstable_by(|a, b| b.cmp(a));
        let bound = order.first().copied();
        for new in waiting {
            let us = new.micros();
            let Some((_, place)) = order.pop_if(|(least_us, _)| us > *least_us) else { continue };
            if let Some(item) = longest.get_mut(place) {
                *item = *new;
            }
            if Some((us, place)) < bound {
                order.insert(order.partition_point(|other| *other > (us, place)), (us, place));
            }
        }
        self.least_us = order.last().map_or(self.least_us, |(us, _)| *us);
        self.items.truncate(MAX_LONGEST);
    }

    /// Those that are remembered, in no order.
    pub(super) fn get(&self) -> Cow<'_, [T]> {
        if self.items.len() <= MAX_LONGEST {
            return Cow::Borrowed(&self.items);
        }
        let mut all = self.clone();
        all.sort_in();
        Cow::Owned(all.items)
    }

    /// The one that was added last; what is added next comes to stand beside it in memory.
    pub(super) fn latest(&self) -> Option<&T> {
        self.items.last()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// Its length, and which one it is.
    impl Lasting for (i64, usize) {
        fn micros(&self) -> i64 {
            self.0
        }
    }

    proptest! {
        /// As when each takes the place of the first of the shortest at once.
        #[test]
        fn waiting_changes_nothing(lengths in prop::collection::vec(prop_oneof![-3_i64..40, 0_i64..100_000], 0..400)) {
            let mut longest = Longest::default();
            let mut at_once: Vec<(i64, usize)> = Vec::new();
            for item in lengths.into_iter().zip(0..) {
                if longest.admits(item.0) {
                    longest.add(item);
                }
                if at_once.len() < MAX_LONGEST {
                    at_once.push(item);
                } else if let Some(shortest) = at_once.iter_mut().min_by_key(|(us, _)| *us)
                    && item.0 > shortest.0
                {
                    *shortest = item;
                }
                prop_assert_eq!(&*longest.get(), at_once.as_slice());
            }
        }
    }
}
