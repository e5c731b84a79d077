//! Which way a boat went along its keel: a heading is judged by its course ahead, and going astern tells nothing of it.

use super::deviation::circular_median;
use crate::units::wrap_180;

/// Of the moments that lie off the middle by more than a right angle this share must lie so far off it, degrees, for them to be
/// those of going the other way.
const MOSTLY: f64 = 0.8;
const OPPOSITE_DEG: f64 = 140.0;

/// The way that a boat goes for the lesser time is ahead where it is so many times faster that way, at so many moments.
const FASTER: f64 = 1.3;
const ENOUGH: usize = 30;

/// The moments in which the boat went ahead: those of the way along the keel that it went for most of the time, or of the
/// other where it was faster. All of them where something else than the keel parts them. `off` is how far the course lies beside
/// the heading, degrees, and `kn` the speed.
pub(super) fn ahead<M>(moments: Vec<M>, off: impl Fn(&M) -> f64, kn: impl Fn(&M) -> f64 + Copy) -> Vec<M> {
    let middle = circular_median(&moments.iter().map(&off).collect::<Vec<f64>>());
    let away = |m: &M| wrap_180(off(m) - middle).abs();
    let (one, other): (Vec<&M>, Vec<&M>) = moments.iter().partition(|m| away(m) <= 90.0);
    let opposite = other.iter().filter(|m| away(m) >= OPPOSITE_DEG).count();
    if (opposite as f64) < MOSTLY * other.len() as f64 {
        return moments;
    }
    let fast_kn = |of: &[&M]| fast_kn(of, |m| kn(m));
    let is_other = other.len() >= ENOUGH && fast_kn(&other) > FASTER * fast_kn(&one);
    moments.into_iter().filter(|m| (away(m) > 90.0) == is_other).collect()
}

/// The speed that one moment in ten exceeds, knots.
pub(super) fn fast_kn<M>(moments: &[M], kn: impl Fn(&M) -> f64) -> f64 {
    let mut speeds: Vec<f64> = moments.iter().map(kn).collect();
    speeds.sort_unstable_by(f64::total_cmp);
    speeds.get(speeds.len() * 9 / 10).copied().unwrap_or(0.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// So many moments this way and that, each with how far the course lies off and the speed; how many of either are left.
    fn left(one: (usize, f64, f64), other: (usize, f64, f64)) -> (usize, usize) {
        let moments = |(n, off, kn): (usize, f64, f64)| (0..n).map(move |i| (off + (i % 9) as f64 - 4.0, kn));
        let left = ahead(moments(one).chain(moments(other)).collect(), |m| m.0, |m| m.1);
        let this_way = left.iter().filter(|m| wrap_180(m.0 - one.1).abs() < 10.0).count();
        (this_way, left.len() - this_way)
    }

    #[test]
    fn a_boat_goes_faster_ahead() {
        assert_eq!(left((300, 2.0, 6.0), (100, 182.0, 3.0)), (300, 0));
        assert_eq!(left((300, 182.0, 3.2), (100, 2.0, 6.0)), (0, 100));
        assert_eq!(left((300, 182.0, 8.0), (0, 0.0, 0.0)), (300, 0), "mounted back to front");
        assert_eq!(left((300, 2.0, 6.0), (100, 110.0, 6.0)), (300, 100), "no matter of the keel");
    }
}
