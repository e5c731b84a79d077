//! Where the recorder's clock was set back while it recorded, and one running time over it.
//!
//! Behind such a moment stamps come a second time. So that what is judged by time (rhythms, silences, values side by side)
//! is not thrown together or thrown away, the books lie on a running time: the stamps, moved by what the clock was set back.
//! What is shown are the stamps, which a reader finds in the recording.

use super::Books;
use super::wires::DISORDER_S;
use crate::time::{Span, Time};

/// Who sets a clock does it once or twice; a recording with more steps back is out of order.
pub(super) const MAX_SET_BACK: usize = 4;

/// A clock that is set forth again goes on where it would be without both, to within this share of the step and this long,
/// microseconds: in between passed what nobody stamped.
const FORTH_SHARE: i64 = 4;
const FORTH_US: i64 = 3_000_000;

const SET_BACK_US: i64 = (DISORDER_S * 1e6) as i64;

/// A moment at which the recorder's clock was set back, or forth again after that.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Rewind {
    /// The last stamp before it.
    pub from: Time,
    /// The first stamp after it.
    pub to: Time,
    /// The same two in running time.
    pub running: Span,
    /// What is added to stamps before it and after it, microseconds.
    before_us: i64,
    after_us: i64,
}

impl Rewind {
    /// By how much the stamps show that the clock moved ahead, seconds; negative when it was set back.
    #[must_use]
    pub fn size_s(&self) -> f64 {
        self.to.since(self.from) - self.running.seconds()
    }

    /// Whether a moment lies behind it; one that is both its ends lies on either side.
    fn is_before(&self, time: Time) -> bool {
        self.running.to <= time
    }
}

/// The running time of a recording. By default there is none: several recordings are merged by their stamps.
#[derive(Debug, Default)]
pub struct Rewinds {
    shift_us: i64,
    /// The latest moment of the recording, on whichever wire.
    latest: Option<Time>,
    /// How many more steps back are taken for a clock that was set.
    left: usize,
    /// At most twice as many: each may be set forth again.
    list: Vec<Rewind>,
}

impl Rewinds {
    /// For a recording that is read alone.
    #[must_use]
    pub fn of_one() -> Self {
        Self { left: MAX_SET_BACK, ..Self::default() }
    }

    /// The moment of a stamp in running time. `latest` is the last one of the same wire.
    #[inline(always)]
    pub fn running(&mut self, stamp: Option<Time>, latest: Option<Time>) -> Option<Time> {
        let stamp = stamp?;
        let mut time = stamp.moved(self.shift_us);
        if let Some(latest) = latest {
            let step = time.micros_since(latest);
            if step <= -SET_BACK_US || self.shift_us != 0 && step >= SET_BACK_US {
                time = self.step(stamp, step < 0);
            }
        }
        if self.latest.is_none_or(|latest| latest < time) {
            self.latest = Some(time);
        }
        Some(time)
    }

    /// Whether stamps that come in order are moments in running time as they are.
    #[must_use]
    pub const fn is_plain(&self) -> bool {
        self.shift_us == 0
    }

    /// As [`running`](Self::running), of stamps in order where it [is plain](Self::is_plain): up to this one.
    pub fn ran(&mut self, latest: Option<Time>) {
        self.latest = self.latest.max(latest);
    }

    #[cold]
    fn step(&mut self, stamp: Time, back: bool) -> Time {
        if let Some(latest) = self.latest {
            let goes_on_us = latest.micros_since(stamp);
            let before_us = self.list.last().map_or(0, |last| last.before_us);
            let size_us = self.shift_us.saturating_sub(before_us);
            let passed_us = before_us.saturating_sub(goes_on_us).saturating_abs();
            if back && self.left > 0 {
                self.left -= 1;
                self.set(stamp, latest, goes_on_us);
            } else if !back && passed_us <= (size_us / FORTH_SHARE).min(FORTH_US) {
                self.set(stamp, latest, before_us.max(goes_on_us));
            }
        }
        stamp.moved(self.shift_us)
    }

    fn set(&mut self, stamp: Time, latest: Time, after_us: i64) {
        let before_us = std::mem::replace(&mut self.shift_us, after_us);
        self.list.push(Rewind {
            from: latest.moved(before_us.saturating_neg()),
            to: stamp,
            running: Span::new(latest, stamp.moved(after_us)),
            before_us,
            after_us,
        });
    }

    /// The moments at which the clock was set, in order.
    #[must_use]
    pub fn list(&self) -> &[Rewind] {
        &self.list
    }

    /// The stamp of a moment in running time.
    #[must_use]
    pub fn stamp(&self, time: Time) -> Time {
        let last = self.list.iter().rev().find(|rewind| rewind.is_before(time));
        time.moved(last.map_or(0, |rewind| rewind.after_us.saturating_neg()))
    }

    /// The stamps of a span in running time: one that goes on over a step is two.
    #[must_use]
    pub fn stamps(&self, span: Span) -> Vec<Span> {
        let mut from = self.stamp(span.from);
        let mut spans = Vec::with_capacity(1);
        for rewind in self.list.iter().filter(|r| r.is_before(span.to) && span.from <= r.running.from) {
            let only = rewind.running == span;
            if only {
                return vec![Span::new(rewind.from, rewind.to)];
            }
            if rewind.running.from == rewind.running.to && span.from == rewind.running.from {
                continue;
            }
            if rewind.running.from == rewind.running.to && span.to == rewind.running.to {
                spans.push(Span::new(from, rewind.from));
                return spans;
            }
            spans.push(Span::new(from, rewind.from));
            from = rewind.to;
        }
        spans.push(Span::new(from, self.stamp(span.to)));
        spans
    }

    /// The first and the last stamp, by time, of a span in running time.
    #[must_use]
    pub fn covering(&self, from: Option<Time>, to: Option<Time>) -> (Option<Time>, Option<Time>) {
        let Some((from, to)) = from.zip(to).filter(|_| !self.list.is_empty()) else { return (from, to) };
        let spans = self.stamps(Span::new(from, to));
        (spans.iter().map(|span| span.from).min(), spans.iter().map(|span| span.to).max())
    }
}

impl Books {
    /// The stamp that stands in the recording at a moment of the books.
    #[must_use]
    pub fn stamp(&self, time: Time) -> Time {
        self.rewinds.stamp(time)
    }

    /// Whether the recorder's clock was set back within this span: how long it lasted is not known.
    #[must_use]
    pub fn was_set_back(&self, span: Span) -> bool {
        let within = |r: &Rewind| span.from <= r.running.from && r.running.to <= span.to;
        self.rewinds.list.iter().any(within)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(s: i64) -> Time {
        Time(s * 1_000_000)
    }

    fn span(from: i64, to: i64) -> Span {
        Span::new(at(from), at(to))
    }

    /// The running times of stamps of one wire, seconds.
    fn running(stamps: &[i64]) -> (Vec<i64>, Rewinds) {
        let mut rewinds = Rewinds::of_one();
        let mut latest = None;
        let times = stamps.iter().map(|s| {
            latest = rewinds.running(Some(at(*s)), latest);
            latest.unwrap().0 / 1_000_000
        });
        (times.collect(), rewinds)
    }

    #[test]
    fn time_runs_on_where_the_clock_was_set_back_and_the_stamps_are_shown() {
        let (times, rewinds) = running(&[100, 101, 102, 20, 21, 22]);
        assert_eq!(times, [100, 101, 102, 102, 103, 104]);
        assert_eq!([101, 103, 104].map(|s| rewinds.stamp(at(s))), [101, 21, 22].map(at));
        assert_eq!(rewinds.stamps(span(100, 101)), [span(100, 101)]);
        assert_eq!(rewinds.stamps(span(103, 104)), [span(21, 22)]);
        assert_eq!(rewinds.stamps(span(101, 103)), [span(101, 102), span(20, 21)]);
        assert_eq!(rewinds.stamps(span(101, 102)), [span(101, 102)], "it ends with the step");
        assert_eq!(rewinds.stamps(span(102, 104)), [span(20, 22)], "it begins with the step");
        assert_eq!(rewinds.stamps(span(102, 102)), [span(20, 102)], "the step itself");
        assert_eq!(rewinds.covering(Some(at(100)), Some(at(104))), (Some(at(20)), Some(at(102))));
    }

    #[test]
    fn a_clock_that_is_set_forth_again_goes_on_as_before() {
        let (times, rewinds) = running(&[700, 701, 102, 103, 704, 705]);
        assert_eq!(times, [700, 701, 701, 702, 704, 705]);
        assert_eq!(rewinds.stamps(span(700, 705)), [span(700, 701), span(102, 103), span(704, 705)]);
        let (times, _) = running(&[700, 701, 102, 103, 300, 301]);
        assert_eq!(times, [700, 701, 701, 702, 899, 900], "a silence");
    }

    #[test]
    fn what_is_in_no_order_is_left_as_it_stands() {
        let (times, rewinds) = running(&[0, 201, 2, 203, 4, 205, 6, 207, 8, 209, 10, 211]);
        assert_eq!(times, [0, 201, 201, 203, 203, 205, 205, 207, 207, 209, 10, 211]);
        assert_eq!(rewinds.list().iter().filter(|r| r.size_s() < 0.0).count(), MAX_SET_BACK);
        let mut several = Rewinds::default();
        assert_eq!(several.running(Some(at(5)), Some(at(50))), Some(at(5)), "several recordings");
    }

    #[test]
    fn wires_of_one_recorder_step_once() {
        let mut rewinds = Rewinds::of_one();
        let mut wires = [None; 2];
        let mut times = Vec::new();
        for (wire, stamp) in [(0, 100), (1, 101), (1, 104), (0, 44), (1, 45), (0, 46)] {
            wires[wire] = rewinds.running(Some(at(stamp)), wires[wire]);
            times.push(wires[wire].unwrap().0 / 1_000_000);
        }
        assert_eq!(times, [100, 101, 104, 104, 105, 106]);
        assert_eq!(rewinds.list().len(), 1);
    }

    #[test]
    fn times_at_the_ends_of_all_time_do_no_harm() {
        let mut rewinds = Rewinds::of_one();
        let mut latest = None;
        for stamp in [i64::MAX, i64::MIN, 0, i64::MAX, i64::MIN, 5] {
            latest = rewinds.running(Some(Time(stamp)), latest);
        }
        let whole = Span::new(Time(i64::MIN), Time(i64::MAX));
        assert!(!rewinds.stamps(whole).is_empty());
    }
}
