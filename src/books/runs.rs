//! Runs: how long a source's value stood still to the last digit, and how long its messages came without a value.

use super::timing::Gaps;
use crate::time::{Span, Time};

/// A run does not reach across a longer pause of the messages, seconds: what happened in it, nobody saw.
const LONGEST_PAUSE_S: f64 = 10.0;

/// A value: the two numbers of a sample, each to the last bit. A number that is absent equals its like.
type Value = (u64, u64);

/// A run that has not ended.
#[derive(Debug, Clone, Copy)]
struct Open {
    value: Option<Value>,
    span: Span,
}

/// The longest runs of one source.
#[derive(Debug, Clone, Default)]
pub struct Runs {
    still: Gaps,
    absent: Gaps,
    open: Option<Open>,
}

impl Runs {
    /// Books a message: its value, or `None` when it holds none.
    pub(super) fn message(&mut self, time: Time, value: Option<(f64, f64)>) {
        let value = value.map(|(a, b)| (a.to_bits(), b.to_bits()));
        if let Some(open) = &mut self.open {
            let pause = time.since(open.span.to);
            let goes_on = open.value == value;
            if (0.0..=LONGEST_PAUSE_S).contains(&pause) {
                // A time without value lasts until the next value; a value that stood still is not seen after its last.
                if goes_on || open.value.is_none() {
                    open.span.to = time;
                }
                if goes_on {
                    return;
                }
            }
        }
        if let Some(Open { value, span }) = self.open.replace(Open { value, span: Span::new(time, time) })
            && span.from < span.to
        {
            let list = if value.is_some() { &mut self.still } else { &mut self.absent };
            list.interval(span.from, span.to);
        }
    }

    /// The remembered stretches longer than `seconds` in which the value stood still, first to last message with it.
    #[must_use]
    pub fn still(&self, seconds: f64) -> Vec<Span> {
        self.over(&self.still, seconds, true)
    }

    /// The remembered stretches longer than `seconds` without a value, from the first message without to the next with.
    #[must_use]
    pub fn absent(&self, seconds: f64) -> Vec<Span> {
        self.over(&self.absent, seconds, false)
    }

    fn over(&self, list: &Gaps, seconds: f64, still: bool) -> Vec<Span> {
        let mut spans = list.over(seconds);
        spans.extend(
            self.open.filter(|o| o.value.is_some() == still && o.span.seconds() > seconds).map(|o| o.span),
        );
        spans
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn runs(values: &[(i64, Option<f64>)]) -> Runs {
        let mut runs = Runs::default();
        for (s, a) in values {
            runs.message(Time(s * 1_000_000), a.map(|a| (a, f64::NAN)));
        }
        runs
    }

    fn span(from: i64, to: i64) -> Span {
        Span::new(Time(from * 1_000_000), Time(to * 1_000_000))
    }

    #[test]
    fn a_value_that_stands_still_and_one_that_is_absent() {
        let r = runs(&[
            (0, Some(1.0)),
            (1, Some(2.0)),
            (5, Some(2.0)),
            (6, None),
            (9, None),
            (10, Some(2.0)),
            (14, Some(2.0)),
        ]);
        assert_eq!(r.still(3.0), [span(1, 5), span(10, 14)], "the last one has not ended");
        assert_eq!(r.absent(3.0), [span(6, 10)]);
        assert!(r.still(4.0).is_empty());
    }

    #[test]
    fn a_pause_ends_a_run() {
        let r = runs(&[(0, Some(2.0)), (4, Some(2.0)), (15, Some(2.0)), (20, None), (40, None), (3, None)]);
        assert_eq!(r.still(1.0), [span(0, 4)]);
        assert!(r.absent(1.0).is_empty());
    }
}
