//! The longest pauses between arrivals, with their times.

use crate::time::{Span, Time};

/// Longest pauses that are remembered with their times, a stream.
pub(super) const MAX_GAPS: usize = 64;

/// The longest pauses of a stream, at most `MAX_GAPS` of them.
#[derive(Debug, Clone, Default)]
pub struct Gaps {
    longest: Vec<Span>,
    least_us: i64,
}

impl Gaps {
    /// Books the interval between two neighbours.
    #[inline]
    pub fn interval(&mut self, from: Time, to: Time) {
        self.interval_of(to.micros_since(from), from, to);
    }

    /// As [`interval`](Self::interval), by one who knows that it is `us` microseconds long.
    #[inline(always)]
    pub(super) fn interval_of(&mut self, us: i64, from: Time, to: Time) {
        if self.longest.len() < MAX_GAPS || us > self.least_us {
            self.remember(from, to);
        }
    }

    fn remember(&mut self, from: Time, to: Time) {
        if self.longest.len() < MAX_GAPS {
            if self.longest.len() == self.longest.capacity() {
                // Few steps to the end: there are thousands of these lists, and most become full.
                let capacity = (4 * self.longest.capacity()).clamp(4, MAX_GAPS);
                self.longest.reserve_exact(capacity - self.longest.len());
            }
            self.longest.push(Span::new(from, to));
            if self.longest.len() == MAX_GAPS {
                self.least_us = self.longest.iter().map(|g| g.micros()).min().unwrap_or(0);
            }
            return;
        }
        // The new one takes the place of the first of the shortest; the shortest of all others is found on the way.
        let mut place = None;
        let mut others_us = i64::MAX;
        for gap in &mut self.longest {
            let us = gap.micros();
            if place.is_none() && us == self.least_us {
                place = Some(gap);
            } else {
                others_us = others_us.min(us);
            }
        }
        if let Some(place) = place {
            *place = Span::new(from, to);
        }
        self.least_us = others_us.min(to.micros_since(from));
    }

    /// The pause that half of the remembered ones exceed, seconds, once all places are taken: what is usual on irregular
    /// traffic.
    #[must_use]
    pub fn usual_s(&self) -> Option<f64> {
        if self.longest.len() < MAX_GAPS {
            return None;
        }
        let mut lengths: Vec<f64> = self.longest.iter().map(|g| g.seconds()).collect();
        lengths.sort_unstable_by(f64::total_cmp);
        lengths.get(MAX_GAPS / 2).copied()
    }

    /// The remembered pauses longer than `seconds`, in order of time.
    #[must_use]
    pub fn over(&self, seconds: f64) -> Vec<Span> {
        let mut spans: Vec<_> = self.longest.iter().copied().filter(|g| g.seconds() > seconds).collect();
        spans.sort_unstable();
        spans
    }
}
