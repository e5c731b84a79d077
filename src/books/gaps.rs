//! The longest pauses between arrivals, with their times.

use super::longest::{Lasting, Longest, MAX_LONGEST};
use crate::soon;
use crate::time::{Span, Time};

impl Lasting for Span {
    fn micros(&self) -> i64 {
        Self::micros(*self)
    }
}

/// The longest pauses of a stream, at most `MAX_LONGEST` of them.
#[derive(Debug, Clone, Default)]
pub struct Gaps(Longest<Span>);

impl Gaps {
    /// Books the interval between two neighbours.
    #[inline]
    pub fn interval(&mut self, from: Time, to: Time) {
        self.interval_of(to.micros_since(from), from, to);
    }

    /// As [`interval`](Self::interval), by one who knows that it is `us` microseconds long.
    #[inline(always)]
    pub(super) fn interval_of(&mut self, us: i64, from: Time, to: Time) {
        if self.0.admits(us) {
            self.0.add(Span::new(from, to));
        }
    }

    /// Fetches where the next pause comes to stand.
    pub(super) fn fetch(&self) {
        self.0.latest().inspect(|span| soon::fetch(*span));
    }

    /// The pause that half of the remembered ones exceed, seconds, once all places are taken: what is usual on irregular
    /// traffic.
    #[must_use]
    pub fn usual_s(&self) -> Option<f64> {
        let longest = self.0.get();
        if longest.len() < MAX_LONGEST {
            return None;
        }
        let mut lengths: Vec<f64> = longest.iter().map(|g| g.seconds()).collect();
        lengths.sort_unstable_by(f64::total_cmp);
        lengths.get(MAX_LONGEST / 2).copied()
    }

    /// The remembered pauses longer than `seconds`, in order of time.
    #[must_use]
    pub fn over(&self, seconds: f64) -> Vec<Span> {
        let mut spans: Vec<_> = self.0.get().iter().copied().filter(|g| g.seconds() > seconds).collect();
        spans.sort_unstable();
        spans
    }
}
