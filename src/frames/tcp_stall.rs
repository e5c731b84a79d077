//! When a sender of TCP segments gets no further, for its peer acknowledges nothing.

use crate::time::{Span, Time};

/// A sender that hears nothing repeats its segment within this time, seconds (RFC 2988 2.1; RFC 6298 and common stacks: sooner).
const FIRST_REPEAT_S: f64 = 3.0;

/// A receiver that is there acknowledges a repeat within this time, seconds (RFC 1122 4.2.3.2: half a second, and the way).
const ANSWERS_S: f64 = 1.0;

/// A stretch in which a sender repeated what its peer did not acknowledge, and could not go on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Stall {
    /// From its last new data to the acknowledgment, to its next new data, or to the end of the connection.
    pub span: Span,
    /// When its first repeat came.
    pub shown: Time,
}

impl Stall {
    /// The part of it in which the sender was there and waited for its peer. Before its first repeat it may have been away
    /// itself: then this comes late, or is answered at once.
    #[must_use]
    pub fn waited(&self) -> Span {
        let in_time = self.shown.since(self.span.from) <= FIRST_REPEAT_S;
        if in_time && self.span.to.since(self.shown) > ANSWERS_S {
            self.span
        } else {
            Span::new(self.shown, self.span.to)
        }
    }
}

/// Whether one direction gets further.
#[derive(Default)]
pub(super) struct Progress {
    /// When data came last that was not seen before.
    last_new: Option<Time>,
    stalled: Option<Stalled>,
}

/// What is repeated and not acknowledged.
struct Stalled {
    from: Time,
    shown: Time,
    /// The sequence number behind it.
    end: u32,
}

impl Progress {
    pub(super) const fn is_stalled(&self) -> bool {
        self.stalled.is_some()
    }

    /// New data came.
    pub(super) fn new_data(&mut self, time: Time) -> Option<Stall> {
        self.last_new = Some(time);
        self.over(time)
    }

    /// Data came again that ends before `end` and was not acknowledged.
    pub(super) fn repeat(&mut self, time: Time, end: u32) {
        let from = self.last_new.unwrap_or(time);
        self.stalled.get_or_insert(Stalled { from, shown: time, end });
    }

    /// The peer has acknowledged all bytes before `number`.
    pub(super) fn acknowledged(&mut self, number: u32, time: Time) -> Option<Stall> {
        let behind = |stalled: &Stalled| number.wrapping_sub(stalled.end).cast_signed() >= 0;
        self.stalled.as_ref().is_some_and(behind).then(|| self.over(time)).flatten()
    }

    /// It goes on, or the connection ended.
    pub(super) fn over(&mut self, time: Time) -> Option<Stall> {
        let Stalled { from, shown, .. } = self.stalled.take()?;
        Some(Stall { span: Span::new(from, time), shown })
    }
}
