//! A straight line through differences of two clocks.

use crate::time::Time;

/// Shorter than this, a drift is not looked for, seconds.
const LONG_S: f64 = 300.0;

/// Clocks of computers and phones run within this of each other, millionths; a steeper line is no drift.
const STEEPEST_PPM: f64 = 500.0;

/// A difference in the middle of a stretch, how it grows, and how far the points scatter about the line.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Line {
    /// Where the difference holds.
    pub(super) about: Time,
    /// The difference there, seconds.
    pub(super) middle_s: f64,
    /// Growth, microseconds a second, when it is clear of the scatter.
    pub(super) slope_ppm: Option<f64>,
    /// Median distance from the line, seconds.
    pub(super) scatter_s: f64,
}

/// The line through `points`: moments and differences in microseconds, in order of time. `None` of fewer than three.
///
/// The slope is that between the medians of the first and the last third, which no single late message can turn.
pub(super) fn through(points: &[(Time, i64)]) -> Option<Line> {
    if points.len() < 3 {
        return None;
    }
    let about = points.get(points.len() / 2)?.0;
    let third = points.len().div_ceil(3);
    let (early, late) = (points.get(..third)?, points.get(points.len() - third..)?);
    let (t0, t1) = (early.get(third / 2)?.0, late.get(third / 2)?.0);
    let seconds = t1.since(t0);
    let values = |points: &[(Time, i64)]| points.iter().map(|(_, us)| *us as f64).collect::<Vec<f64>>();
    let rise_us = median(values(late)) - median(values(early));
    let slope = rise_us / seconds.max(1.0);
    let residuals = |slope: f64| -> Vec<f64> {
        points.iter().map(|(t, us)| *us as f64 - slope * t.since(about)).collect()
    };
    let fit = |slope: f64| {
        let left = residuals(slope);
        let middle = median(left.clone());
        let scatter = median(left.iter().map(|us| (us - middle).abs()).collect());
        (middle, scatter)
    };
    let (middle, scatter) = fit(slope);
    let noise_us = 8.0 * scatter / (third as f64).sqrt() + 2_000.0;
    if seconds >= LONG_S && slope.abs() <= STEEPEST_PPM && rise_us.abs() > noise_us {
        return Some(Line {
            about,
            middle_s: middle / 1e6,
            slope_ppm: Some(slope),
            scatter_s: scatter / 1e6,
        });
    }
    let (middle, scatter) = fit(0.0);
    Some(Line { about, middle_s: middle / 1e6, slope_ppm: None, scatter_s: scatter / 1e6 })
}

/// The median; 0 of nothing.
pub(super) fn median(mut values: Vec<f64>) -> f64 {
    values.sort_unstable_by(f64::total_cmp);
    values.get(values.len() / 2).copied().unwrap_or(0.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn line(n: i64, difference: impl Fn(i64) -> i64) -> Line {
        let points: Vec<_> = (0..n).map(|i| (Time(i * 1_000_000), difference(i))).collect();
        through(&points).unwrap()
    }

    #[test]
    fn a_drift_is_told_when_it_is_clear_of_the_scatter() {
        let jitter = |i: i64| i * 7919 % 2001 - 1000;
        let steady = line(1200, |i| 5_000_000 + jitter(i));
        assert_eq!(steady.slope_ppm, None);
        assert!((steady.middle_s - 5.0).abs() < 0.001, "{steady:?}");
        let slow = line(1200, |i| 5_000_000 + 30 * i + jitter(i));
        assert!((slow.slope_ppm.unwrap() - 30.0).abs() < 2.0, "{slow:?}");
        assert!((slow.middle_s - 5.018).abs() < 0.001, "{slow:?}");
        assert_eq!(line(60, |i| 30_000 * i).slope_ppm, None, "too short");
        assert_eq!(line(1200, |i| 9000 * i).slope_ppm, None, "no clock runs so wrong");
        assert_eq!(through(&[(Time(0), 0)]), None);
    }
}
