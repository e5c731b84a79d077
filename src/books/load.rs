//! How much a wire carries, second by second.

use super::second::Second;
use super::traces::Trace;
use crate::time::Time;

/// Load by the second: the total, the busiest second, and bounded sums in between.
#[derive(Debug, Clone, Default)]
pub struct Load {
    /// The running one.
    pub(super) second: Option<Second>,
    now: u64,
    /// Units in all.
    pub total: u64,
    /// The busiest second and its units.
    pub peak: Option<(Time, u64)>,
    /// Units of each second over the recording; seconds without a frame are left out.
    pub trace: Trace,
}

impl Load {
    #[inline(always)]
    pub(super) fn add(&mut self, time: Time, units: u64) {
        if !self.second.is_some_and(|second| second.holds(time)) {
            self.begin(time);
        }
        self.take(units);
    }

    /// Takes units of the running second.
    pub(super) fn take(&mut self, units: u64) {
        self.now += units;
        self.total += units;
    }

    /// Begins the second of this moment.
    #[cold]
    pub(super) fn begin(&mut self, time: Time) -> Second {
        self.settle();
        self.now = 0;
        *self.second.insert(Second::of(time))
    }

    /// Takes the running second into account; call once at the end.
    pub fn settle(&mut self) {
        let Some(second) = self.second.take().map(Second::begin) else { return };
        self.trace.push(second, self.now as f64);
        if self.peak.is_none_or(|(_, units)| units < self.now) {
            self.peak = Some((second, self.now));
        }
    }
}
