//! What came in the steps of time just before the running one.

/// Units of the last `N` steps of time, and their sum.
#[derive(Debug, Clone, Copy)]
pub(super) struct Lately<const N: usize> {
    sum: u64,
    /// Where the latest step stands.
    latest: usize,
    /// A ring.
    steps: [u64; N],
}

impl<const N: usize> Default for Lately<N> {
    fn default() -> Self {
        Self { sum: 0, latest: 0, steps: [0; N] }
    }
}

impl<const N: usize> Lately<N> {
    /// The units of all steps.
    #[inline(always)]
    pub(super) const fn sum(&self) -> u64 {
        self.sum
    }

    /// Adds the step that ended; the one that is `N` steps older goes.
    #[inline(always)]
    pub(super) fn push(&mut self, units: u64) {
        self.latest = if self.latest + 1 < N { self.latest + 1 } else { 0 };
        if let Some(step) = self.steps.get_mut(self.latest) {
            self.sum = self.sum - *step + units;
            *step = units;
        }
    }

    /// Adds so many steps in which nothing came.
    #[inline(always)]
    pub(super) fn skip(&mut self, steps: usize) {
        if steps >= N {
            *self = Self::default();
        } else {
            (0..steps).for_each(|_| self.push(0));
        }
    }

    /// The steps, the latest first.
    pub(super) fn iter(&self) -> impl Iterator<Item = u64> {
        let (newer, older) = self.steps.split_at_checked(self.latest + 1).unwrap_or_default();
        newer.iter().rev().chain(older.iter().rev()).copied()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn it_holds_the_last_steps(steps in prop::collection::vec((0..1000_u64, 0..7_usize), 0..40)) {
            let mut lately = Lately::<4>::default();
            let mut all = vec![0; 4];
            for (units, skipped) in steps {
                lately.push(units);
                lately.skip(skipped);
                all.push(units);
                all.resize(all.len() + skipped, 0);
                let last: Vec<_> = all.iter().rev().take(4).copied().collect();
                prop_assert_eq!(lately.sum(), last.iter().sum::<u64>());
                prop_assert_eq!(lately.iter().collect::<Vec<_>>(), last);
            }
        }
    }
}
