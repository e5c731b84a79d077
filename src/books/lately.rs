//! What came in the steps of time just before the running one.

/// What came in a step of time.
pub(super) trait Units: Copy + Default {
    /// Its units, which can be added up.
    fn units(self) -> u64;
}

impl Units for u64 {
    fn units(self) -> u64 {
        self
    }
}

/// The last `N` steps of time, and the sum of their units.
#[derive(Debug, Clone, Copy)]
pub(super) struct Lately<T, const N: usize> {
    sum: u64,
    /// Where the latest step stands.
    latest: usize,
    /// A ring.
    steps: [T; N],
}

impl<T: Units, const N: usize> Default for Lately<T, N> {
    fn default() -> Self {
        Self { sum: 0, latest: 0, steps: [T::default(); N] }
    }
}

impl<T: Units, const N: usize> Lately<T, N> {
    /// The units of all steps.
    #[inline(always)]
    pub(super) const fn sum(&self) -> u64 {
        self.sum
    }

    /// Adds the step that ended; the one that is `N` steps older goes.
    #[inline(always)]
    pub(super) fn push(&mut self, ended: T) {
        self.latest = if self.latest + 1 < N { self.latest + 1 } else { 0 };
        if let Some(step) = self.steps.get_mut(self.latest) {
            self.sum = self.sum - step.units() + ended.units();
            *step = ended;
        }
    }

    /// Adds so many steps in which nothing came.
    #[inline(always)]
    pub(super) fn skip(&mut self, steps: usize) {
        if steps >= N {
            *self = Self::default();
        } else {
            (0..steps).for_each(|_| self.push(T::default()));
        }
    }

    /// The steps, the latest first.
    pub(super) fn iter(&self) -> impl Iterator<Item = T> {
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
            let mut lately = Lately::<u64, 4>::default();
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
