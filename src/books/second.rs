//! Whole seconds of recording time, for what is counted second by second.

use crate::time::Time;

/// A second, microseconds.
const SECOND_US: u64 = 1_000_000;

/// A whole second, by its first microsecond: whether a moment lies in it is told without a division.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(super) struct Second(Time);

impl Second {
    /// The second that a moment lies in.
    pub(super) const fn of(Time(us): Time) -> Self {
        Self(Time(us.saturating_sub(us.rem_euclid(SECOND_US as i64))))
    }

    /// Whether a moment lies in it.
    #[inline(always)]
    pub(super) const fn holds(self, time: Time) -> bool {
        // Before its begin the difference is negative: a very large number without sign.
        (time.0.wrapping_sub(self.0.0) as u64) < SECOND_US
    }

    /// When it begins.
    pub(super) const fn begin(self) -> Time {
        self.0
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn a_second_holds_what_lies_in_it(us in -5_000_000_i64..5_000_000, other in -5_000_000_i64..5_000_000) {
            let second = Second::of(Time(us));
            prop_assert!(second.holds(Time(us)) && second.begin().0 % 1_000_000 == 0 && second.begin().0 <= us);
            prop_assert_eq!(second.holds(Time(other)), us.div_euclid(1_000_000) == other.div_euclid(1_000_000));
        }

        #[test]
        fn any_moment_lies_in_its_second(us: i64) {
            for us in [us, i64::MIN, i64::MAX] {
                prop_assert!(Second::of(Time(us)).holds(Time(us)));
            }
        }
    }
}
