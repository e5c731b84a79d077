//! Which moments are asked for.

use super::Options;
use crate::time::Time;

/// The time window of a run; its ends are known with the first moment, for they may be given as times of day.
pub(super) struct Window<'a> {
    options: &'a Options,
    ends: Option<(Time, Time)>,
}

impl<'a> Window<'a> {
    pub(super) fn new(options: &'a Options) -> Self {
        Self { options, ends: None }
    }

    /// Both ends, which lie in it, for a run of which this is a moment and perhaps the first.
    #[inline(always)]
    pub(super) fn ends_by(&mut self, time: Time) -> (Time, Time) {
        let everything = (Time(i64::MIN), Time(i64::MAX));
        if self.options.from.is_none() && self.options.to.is_none() {
            return everything;
        }
        *self.ends.get_or_insert_with(|| {
            let (from, to) = self.options.window(time);
            (from.unwrap_or(everything.0), to.unwrap_or(everything.1))
        })
    }

    /// Whether a moment lies in it; what has no time does.
    #[inline(always)]
    pub(super) fn holds(&mut self, time: Option<Time>) -> bool {
        time.is_none_or(|time| {
            let (from, to) = self.ends_by(time);
            (from..=to).contains(&time)
        })
    }

    /// Both ends, once they are known and if any is asked for.
    pub(super) const fn ends(&self) -> Option<(Time, Time)> {
        self.ends
    }
}
