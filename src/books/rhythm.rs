//! Whether intervals show that a message comes by a clock of its own.

use super::histogram::Histogram;

/// Intervals of an uneven message from which on a clock of its own shows.
const UNEVEN_LEAST: u64 = 60;

/// Whether intervals show a rhythm: at least eight, most of them near the median.
pub(super) fn steady(intervals: &Histogram) -> bool {
    if intervals.len() < 8 {
        return false;
    }
    let at = |q: f64| intervals.value_at_quantile(q) as f64;
    let mid = at(0.5);
    mid > 1.0 && at(0.15) >= mid * 0.3 && at(0.85) <= mid * 2.5
}

/// The longer interval of a message that comes unevenly and yet by a clock of its own, seconds: on a full 0183 line it waits
/// behind the burst of each second, now for long and now for short. `None` where it comes by chance or in bursts: by chance,
/// 3 in 100 intervals are longer than 3.5 times their mean; in bursts most are far below it.
pub(super) fn uneven_s(intervals: &Histogram, mean_s: f64) -> Option<f64> {
    if intervals.len() < UNEVEN_LEAST {
        return None;
    }
    let at = |q: f64| intervals.value_at_quantile(q) as f64 / 1e6;
    let long = at(0.95);
    (long >= 0.8 * mean_s && at(0.97) <= 2.6 * mean_s).then_some(long)
}
