//! Scales: from values and times to places in a picture, and where the ticks stand.

use crate::time::{DAY_US, Span, Time};

/// From a value to a coordinate, in a straight line.
#[derive(Debug, Clone, Copy)]
pub(super) struct Scale {
    from: (f64, f64),
    to: (f64, f64),
}

impl Scale {
    /// Carries `low` to `at_low` and `high` to `at_high`.
    pub(super) fn new((low, high): (f64, f64), (at_low, at_high): (f64, f64)) -> Self {
        Self { from: (low, if high > low { high } else { low + 1.0 }), to: (at_low, at_high) }
    }

    pub(super) fn at(&self, value: f64) -> f64 {
        let share = (value - self.from.0) / (self.from.1 - self.from.0);
        self.to.0 + share * (self.to.1 - self.to.0)
    }
}

/// The step of 1, 2 or 5 times a power of ten that makes at most `most` ticks of a range.
pub(super) fn step(low: f64, high: f64, most: usize) -> f64 {
    let range = (high - low).max(f64::MIN_POSITIVE);
    let least = range / most.max(1) as f64;
    let power = 10f64.powf(least.log10().floor());
    [1.0, 2.0, 5.0].into_iter().map(|m| m * power).find(|s| *s >= least * 0.999_999).unwrap_or(10.0 * power)
}

/// The range widened to whole steps, and the ticks on it.
pub(super) fn nice(low: f64, high: f64, most: usize) -> ((f64, f64), Vec<f64>) {
    let (low, high) = if low.is_finite() && high.is_finite() { (low, high) } else { (0.0, 1.0) };
    let (low, high) = if high - low < 1e-9 { (low - 0.5, high + 0.5) } else { (low, high) };
    let step = step(low, high, most);
    let (first, last) = ((low / step).floor(), (high / step).ceil());
    let count = (last - first).clamp(1.0, 100.0) as usize;
    let ticks = (0..=count).map(|i| (first + i as f64) * step).collect();
    ((first * step, last * step), ticks)
}

/// A tick's value with as many decimals as its step needs.
pub(super) fn label(value: f64, step: f64) -> String {
    let decimals = (-step.abs().max(1e-9).log10().floor()).clamp(0.0, 6.0) as usize;
    let text = format!("{value:.decimals$}");
    if text.trim_start_matches(['-', '0', '.']).is_empty() { String::from("0") } else { text }
}

/// Steps of a clock, seconds.
const CLOCK_STEPS: [i64; 21] = [
    1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200, 10_800, 21_600, 43_200, 86_400, 172_800,
    604_800, 2_419_200,
];

/// Moments on whole steps of the clock within a span, at most about `most`, with what is written at each.
pub(super) fn clock_ticks(span: Span, most: i64) -> Vec<(Time, String)> {
    let seconds = (span.seconds() as i64).max(1);
    let whole = |step: &i64| seconds / step <= most;
    let step = CLOCK_STEPS.into_iter().find(whole).unwrap_or_else(|| (seconds / most.max(1)).max(1));
    let step_us = step.saturating_mul(1_000_000);
    let first = span.from.0.div_euclid(step_us).saturating_add(1);
    let last = span.to.0.div_euclid(step_us).min(first.saturating_add(most + 1));
    let written = |time: Time| {
        let text = time.to_string();
        let part = match step {
            86_400.. => text.get(5..10),
            60.. => text.get(11..16),
            _ => text.get(11..19),
        };
        part.unwrap_or_default().to_owned()
    };
    (first..=last).map(|i| Time(i.saturating_mul(step_us))).map(|time| (time, written(time))).collect()
}

/// The days of a span as a caption: one date, or the first and the last.
pub(super) fn days(span: Span) -> String {
    let day = |time: Time| time.to_string().get(..10).unwrap_or_default().to_owned();
    if span.from.0.div_euclid(DAY_US) == span.to.0.div_euclid(DAY_US) {
        format!("UTC, {}", day(span.from))
    } else {
        format!("UTC, {} to {}", day(span.from), day(span.to))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ticks_stand_on_round_numbers() {
        assert_eq!(nice(0.3, 9.7, 5), ((0.0, 10.0), vec![0.0, 2.0, 4.0, 6.0, 8.0, 10.0]));
        let (ends, ticks) = nice(12.1, 12.9, 4);
        let labels: Vec<String> = ticks.iter().map(|v| label(*v, 0.2)).collect();
        assert_eq!((ends, labels.join(" ")), ((12.0, 13.0), String::from("12.0 12.2 12.4 12.6 12.8 13.0")));
        assert_eq!(nice(5.0, 5.0, 4).0, (4.5, 5.5));
        assert_eq!(nice(f64::NAN, 1.0, 4).0, (0.0, 1.0));
        assert_eq!(label(12.600_000_1, 0.2), "12.6");
        assert_eq!(label(-0.0, 5.0), "0");
    }

    #[test]
    fn clock_ticks_are_whole_minutes_and_days() {
        // 2026-05-01 10:02:11 UTC, as the tests of the report have it.
        let begin = Time(1_777_629_731_000_000);
        let ticks = |seconds| clock_ticks(Span::new(begin, begin.plus(seconds)), 5);
        let texts = |seconds| ticks(seconds).into_iter().map(|(_, text)| text).collect::<Vec<_>>();
        assert_eq!(texts(724.0), ["10:05", "10:10"]);
        assert_eq!(texts(20.0), ["10:02:15", "10:02:20", "10:02:25", "10:02:30"]);
        assert_eq!(texts(4.0 * 86_400.0), ["05-02", "05-03", "05-04", "05-05"]);
        assert!(clock_ticks(Span::new(Time(i64::MIN), Time(i64::MAX)), 5).len() <= 8);
        assert_eq!(days(Span::new(begin, begin.plus(60.0))), "UTC, 2026-05-01");
    }

    #[test]
    fn a_scale_carries_ends_to_ends() {
        let scale = Scale::new((10.0, 20.0), (300.0, 0.0));
        assert_eq!([10.0, 15.0, 20.0].map(|v| scale.at(v)), [300.0, 150.0, 0.0]);
    }
}
