//! Whether values are repeated to the last digit, as a second gateway or a second recorder on one line does it: at rest, or in
//! a short recording, that is all there is to see.

use super::pairs::{Curve, FINE_PLACE_DEG, median, place_step};
use crate::books::series::Sample;

/// A copy comes so late at most, seconds.
const LATEST_S: f64 = 3.0;

/// Different values that are needed among the changes: of few, two sensors may give the same. Over even bottom, or at rest, a
/// value goes to and fro between two or three.
const VALUES: usize = 10;

/// The same number: what two digits after the last of any message make.
const SAME: f64 = 1e-9;

/// A copy that comes so many times less often holds values, and is so late, to either side of the middle, in intervals.
const SLOWER: f64 = 1.5;
const HELD: f64 = 0.65;

/// The least delay that is told, seconds.
const LEAST_S: f64 = 0.01;

/// What cannot be chance.
struct Enough {
    /// Changes of the copy's value.
    changes: usize,
    /// The share of them that must be found again, each as late as the others.
    share: f64,
    /// To within this share of an interval.
    within: f64,
}

/// A second receiver at the same place to within a digit gives one of two or three values by chance.
const PLACES: Enough = Enough { changes: 30, share: 0.9, within: 0.5 };

/// Where the digits are finer than two antennas can be close, hardly one place in four is the same by chance, by both numbers.
const FINE_PLACES: Enough = Enough { changes: 12, ..PLACES };

/// Of two sensors of one make with the same offset to a digit, good ones agree in three changes of four (common practice, no
/// source): twenty in a row are one chance in three hundred, and that the offsets are the same is another such.
const NUMBERS: Enough = Enough { changes: 20, share: 0.95, within: 0.25 };

/// How much later the values of `original` come again in `copy`, to the last digit of both numbers, seconds (median). `tolerance`
/// is how near two forms of one value lie, by both numbers; of a quantity that has but one the second is infinite.
pub(super) fn delay(original: &Curve, copy: &Curve, tolerance: (f64, f64)) -> Option<f64> {
    let one = tolerance.1.is_infinite();
    let same = |x: &Sample, y: &Sample| (x.a - y.a).abs() < SAME && (one || (x.b - y.b).abs() < SAME);
    let changes = changes(copy, same);
    let origins = self::changes(original, same);
    let late = |change: &Sample| late(&origins, change, same);
    let fine = || place_step(original).max(place_step(copy)) <= FINE_PLACE_DEG;
    let enough = match one {
        true => NUMBERS,
        false if fine() => FINE_PLACES,
        false => PLACES,
    };
    let second = |s: &Sample| if one { 0 } else { s.b.to_bits() };
    let mut values: Vec<(u64, u64)> = changes.iter().map(|s| (s.a.to_bits(), second(s))).collect();
    values.sort_unstable();
    values.dedup();
    if changes.len() < enough.changes || values.len() < VALUES {
        return None;
    }
    let count = changes.len() as f64;
    let (mut delays, mut missed) = (Vec::with_capacity(changes.len()), 0.0);
    for change in &changes {
        if let Some(late) = late(change) {
            delays.push(late);
        } else {
            missed += 1.0;
        }
        // Most pairs are none, and soon show it.
        if missed > (1.0 - enough.share) * count {
            return None;
        }
    }
    let usual = median(&mut delays)?;
    let (first, last) = original.samples().first().zip(original.samples().last())?;
    let every = last.time.since(first.time) / original.samples().len().max(2) as f64;
    // Who sends less often gives the last value that it heard: that may be as old as one interval, and some jitter more.
    let is_slower = copy.samples().len() as f64 * SLOWER < original.samples().len() as f64;
    let within = if is_slower { enough.within.max(HELD) } else { enough.within };
    let alike = delays.iter().filter(|late| (*late - usual).abs() <= within * every).count();
    (alike as f64 >= enough.share * count).then_some(usual.max(LEAST_S))
}

/// The values of a curve that are not the one before.
fn changes(curve: &Curve, same: impl Fn(&Sample, &Sample) -> bool) -> Vec<Sample> {
    let changed = |two: &[Sample]| two.first().zip(two.last()).filter(|(x, y)| !same(x, y)).map(|(_, y)| *y);
    curve.samples().windows(2).filter_map(changed).collect()
}

/// How much later than the original a copy comes to a value, the latest time before it, seconds; `None` if it did not.
fn late(origins: &[Sample], change: &Sample, same: impl Fn(&Sample, &Sample) -> bool) -> Option<f64> {
    let end = origins.partition_point(|s| s.time <= change.time);
    let before = origins.get(..end)?.iter().rev().map(|s| (s, change.time.since(s.time)));
    before.take_while(|(_, late)| *late <= LATEST_S).find(|(s, _)| same(s, change)).map(|(_, late)| late)
}

/// Two steps are of one size where neither is more than this many times the other.
const ONE_SIZE: f64 = 1.5;

/// Whether the few changes of two values that hardly differ are those of one sensor: most of one's changes come soon after
/// the other's to the same value, where both come in equal steps. In unequal steps nothing speaks against it, nor where but one
/// value comes and goes, which a slow copy may miss.
pub(super) fn change_together(a: &Curve, b: &Curve) -> bool {
    let equal_steps =
        a.finest_step().zip(b.finest_step()).is_none_or(|(x, y)| x.max(y) <= ONE_SIZE * x.min(y));
    let same = |x: &Sample, y: &Sample| (x.a - y.a).abs() < SAME;
    let (a, b) = (changes(a, same), changes(b, same));
    let follows = |origins: &[Sample], copy: &[Sample]| {
        let found = copy.iter().filter(|change| late(origins, change, same).is_some()).count();
        2 * found >= copy.len() && (found > 0 || origins.len() <= 2)
    };
    !equal_steps || follows(&a, &b) || follows(&b, &a)
}

#[cfg(test)]
mod tests {
    use super::super::fixture::noise;
    use super::*;
    use crate::time::Time;

    const STEP: (f64, f64) = (1.8e-6, 1.8e-6);

    /// A receiver at rest that gives a place a second, `late_s` late; its last digits come from `seed`.
    fn at_rest(late_s: f64, seed: i64) -> Curve {
        let digit = |i: i64| (noise(i) * 4.0).round() * 1e-4 / 60.0;
        let sample = |i: i64| Sample {
            time: Time(0).plus(i as f64 + late_s),
            a: 54.3 + digit(i + seed),
            b: 10.1 + digit(2 * i + seed + 5000),
        };
        Curve::new(&(0..120).map(sample).collect::<Vec<_>>(), false)
    }

    #[test]
    fn a_copy_at_rest_is_one_and_another_receiver_is_none() {
        let original = at_rest(0.0, 0);
        for late in [0.02, 0.4, 1.3] {
            let found = delay(&original, &at_rest(late, 0), STEP);
            assert!(found.is_some_and(|found| (found - late).abs() < 0.01), "{late}: {found:?}");
        }
        assert_eq!(delay(&at_rest(0.2, 0), &original, STEP), None, "the original comes first");
        assert_eq!(delay(&original, &at_rest(0.2, 777), STEP), None, "another receiver");
    }

    /// What a curve gives in its first seconds.
    fn begin(curve: &Curve, seconds: f64) -> Curve {
        let end = Time(0).plus(seconds);
        Curve::new(&curve.samples().iter().copied().filter(|s| s.time < end).collect::<Vec<_>>(), false)
    }

    #[test]
    fn few_fine_places_are_enough_and_few_coarse_ones_are_not() {
        let short = |curve: &Curve| begin(curve, 20.0);
        let (original, copy) = (at_rest(0.0, 0), at_rest(0.04, 0));
        assert!(delay(&short(&original), &short(&copy), STEP).is_some());
        assert_eq!(delay(&begin(&original, 9.0), &begin(&copy, 9.0), STEP), None, "too short");
        let coarse = |curve: &Curve| {
            let by_ten =
                |s: &Sample| Sample { a: 54.3 + 10.0 * (s.a - 54.3), b: 10.1 + 10.0 * (s.b - 10.1), ..*s };
            Curve::new(&curve.samples().iter().map(by_ten).collect::<Vec<_>>(), false)
        };
        assert_eq!(delay(&coarse(&short(&original)), &coarse(&short(&copy)), (1.8e-5, 1.8e-5)), None);
    }

    /// Depths in tenths of a metre, one a second, `late_s` late: over a slope of `slope_m` a second, with a noise of `noise_m` of
    /// its own from `seed`.
    fn depths(late_s: f64, slope_m: f64, noise_m: f64, seed: i64) -> Curve {
        let sample = |i: i64| Sample {
            time: Time(0).plus(i as f64 + late_s + 0.002 * noise(i + seed)),
            a: ((12.0 + slope_m * i as f64 + noise_m * noise(i + seed)) * 10.0).round() / 10.0,
            b: f64::NAN,
        };
        Curve::new(&(0..28).map(sample).collect::<Vec<_>>(), false)
    }

    #[test]
    fn few_changes_tell_whether_two_are_one() {
        let at = |late_s: f64, deeper: &'static [i64]| {
            let sample = move |i: i64| Sample {
                time: Time(0).plus(i as f64 + late_s),
                a: if deeper.contains(&i) { 8.4 } else { 8.3 },
                b: f64::NAN,
            };
            Curve::new(&(0..180).map(sample).collect::<Vec<_>>(), false)
        };
        const ONE: &[i64] = &[20, 21, 70, 110];
        assert!(change_together(&at(0.0, ONE), &at(0.06, ONE)), "one sensor");
        assert!(change_together(&at(0.06, ONE), &at(0.0, ONE)), "whichever comes first");
        assert!(!change_together(&at(0.0, ONE), &at(0.06, &[40, 90, 91, 150])), "two sensors");
        assert!(!change_together(&at(0.0, ONE), &at(0.06, &[])), "one of two stands still");
        assert!(change_together(&at(0.0, &[]), &at(0.06, &[])), "nothing speaks against it");
        assert!(change_together(&at(0.0, &[20]), &at(0.06, &[])), "a slow copy");
    }

    #[test]
    fn few_depths_to_the_letter_are_a_copy_where_the_bottom_changes() {
        const ONE: (f64, f64) = (0.06, f64::INFINITY);
        let jitter = |slope_m: f64| (depths(0.0, slope_m, 0.0, 0), depths(0.037, slope_m, 0.0, 50));
        let (original, copy) = jitter(0.7);
        assert!(delay(&original, &copy, ONE).is_some_and(|late| (late - 0.037).abs() < 0.01));
        let (original, copy) = jitter(0.02);
        assert_eq!(delay(&original, &copy, ONE), None, "over even bottom two sounders may agree");
        let another = depths(0.037, 0.7, 0.1, 50);
        assert_eq!(delay(&depths(0.0, 0.7, 0.1, 0), &another, ONE), None, "another sounder");
    }
}
