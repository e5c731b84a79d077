//! Whether a boat goes straight, or turns evenly, so that a heading and a course that come at different times can be compared.

use super::pairs::Curve;
use crate::time::Time;
use crate::units::wrap_180;

/// A course is steady when heading and course over ground stay within this over the last few seconds, degrees.
const STEADY_DEG: f64 = 5.0;

/// Those few seconds: receivers smooth the course over about two, sensors less.
pub(super) const STEADY_S: f64 = 4.0;

/// A turn is even when what heading and course turned in either half of those seconds differs by no more than this, degrees;
/// faster ones than this, degrees a second, are no matter for a receiver.
const EVEN_DEG: f64 = 2.5;
const FAST_DEG_S: f64 = 8.0;

/// How far a heading or a course turned in the first and in the second half of the last few seconds, degrees.
pub(super) struct Turn {
    first: f64,
    second: f64,
}

impl Turn {
    pub(super) fn at(curve: &Curve, time: Time, now: f64) -> Option<Self> {
        let (middle, begin) = (curve.at(time.plus(-STEADY_S / 2.0))?, curve.at(time.plus(-STEADY_S))?);
        Some(Self { first: wrap_180(middle - begin), second: wrap_180(now - middle) })
    }

    pub(super) fn is_straight(&self) -> bool {
        self.second.abs() <= STEADY_DEG && (self.first + self.second).abs() <= STEADY_DEG
    }

    fn is_even(&self) -> bool {
        (self.first - self.second).abs() <= EVEN_DEG && self.rate().abs() <= FAST_DEG_S
    }

    pub(super) fn is_even_as(&self, other: &Self) -> bool {
        self.is_even() && other.is_even() && (self.rate() - other.rate()).abs() * STEADY_S <= 2.0 * EVEN_DEG
    }

    /// Degrees a second.
    pub(super) fn rate(&self) -> f64 {
        (self.first + self.second) / STEADY_S
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::books::series::Sample;

    #[test]
    fn straight_legs_even_turns_and_others_are_told_apart() {
        let turn = |deg: &dyn Fn(f64) -> f64| {
            let at = |i: i64| Sample {
                time: Time(0).plus(i as f64),
                a: deg(i as f64).rem_euclid(360.0),
                b: f64::NAN,
            };
            let curve = Curve::new(&(0..10).map(at).collect::<Vec<_>>(), true);
            Turn::at(&curve, Time(0).plus(8.0), deg(8.0).rem_euclid(360.0)).unwrap()
        };
        let (straight, even, begins) =
            (turn(&|_| 359.0), turn(&|t| 340.0 + 5.0 * t), turn(&|t| (t - 6.0).max(0.0) * 8.0));
        assert!(straight.is_straight() && straight.is_even_as(&straight));
        assert!(!even.is_straight() && even.is_even_as(&even) && (even.rate() - 5.0).abs() < 1e-9);
        assert!(!even.is_even_as(&straight) && !begins.is_straight() && !begins.is_even_as(&begins));
    }
}
