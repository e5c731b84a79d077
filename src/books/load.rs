//! How much a wire carries, second by second.

use super::lately::Lately;
use super::second::Second;
use super::traces::Trace;
use crate::time::Time;

/// A load that lasts so long shows through the stamps of batches, which shift frames by some tenths of a second (common practice, no
/// source).
pub const LASTING_S: usize = 5;

/// A load that lasts so long shows through stamps of whole seconds, and through a clock of the boat of which some of the steps are
/// lost, seconds (common practice, no source).
pub const LONG_S: usize = 30;

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
    /// The busiest [`LASTING_S`] seconds and their units.
    pub lasting: Option<(Time, u64)>,
    /// Units of the busiest [`LONG_S`] seconds.
    pub long: u64,
    /// Units of the seconds before the one that ended last, and of this.
    before: Lately<u64, { LONG_S - 1 }>,
    ended: Option<Time>,
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
        self.lasts(second);
    }

    /// Takes a second into account with those before it.
    fn lasts(&mut self, second: Time) {
        let ahead = self.ended.replace(second).map(|ended| second.micros_since(ended) / 1_000_000);
        match ahead {
            Some(ahead @ 1..) => self.before.skip((ahead - 1) as usize),
            _ => self.before = Lately::default(),
        }
        self.long = self.long.max(self.before.sum() + self.now);
        let units = self.now + self.before.iter().take(LASTING_S - 1).sum::<u64>();
        self.before.push(self.now);
        if self.lasting.is_none_or(|(_, most)| most < units) {
            self.lasting = Some((second.plus(1.0 - LASTING_S as f64), units));
        }
    }
}
