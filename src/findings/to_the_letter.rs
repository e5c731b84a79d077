//! Whether a place is repeated to the last digit, as a second gateway on one line does it: at rest that is all there is to see.

use super::pairs::{Curve, median};
use crate::books::series::Sample;

/// A copy comes so late at most, seconds.
const LATEST_S: f64 = 3.0;

/// Changes of the copy's place that are needed, and different places among them: of few, two receivers may give the same.
const ENOUGH: usize = 30;
const PLACES: usize = 10;

/// The share of the changes that must be found again, each as late as the others to within an interval. A second receiver at the
/// same place to within a digit gives one of two or three values by chance.
const MOST: f64 = 0.9;

/// The same number, degrees: what two digits after the last of any message make.
const SAME_DEG: f64 = 1e-9;

/// How much later the places of `original` come again in `copy`, to the last digit of both numbers, seconds (median). `tolerance` is
/// how near two forms of one value lie, by both numbers; of a quantity that has but one the second is infinite, and few digits
/// tell nothing.
pub(super) fn delay(original: &Curve, copy: &Curve, tolerance: (f64, f64)) -> Option<f64> {
    if tolerance.1.is_infinite() {
        return None;
    }
    let same = |x: &Sample, y: &Sample| (x.a - y.a).abs() < SAME_DEG && (x.b - y.b).abs() < SAME_DEG;
    let changed = |two: &[Sample]| two.first().zip(two.last()).filter(|(x, y)| !same(x, y)).map(|(_, y)| *y);
    let changes: Vec<Sample> = copy.samples().windows(2).filter_map(changed).collect();
    // Each change of the copy is looked for where the original comes to that place, the latest time before it.
    let origins: Vec<Sample> = original.samples().windows(2).filter_map(changed).collect();
    let late = |change: &Sample| {
        let end = origins.partition_point(|s| s.time <= change.time);
        let before = origins.get(..end)?.iter().rev().map(|s| (s, change.time.since(s.time)));
        before.take_while(|(_, late)| *late <= LATEST_S).find(|(s, _)| same(s, change)).map(|(_, late)| late)
    };
    let mut delays: Vec<f64> = changes.iter().filter_map(late).collect();
    let usual = median(&mut delays)?;
    let (first, last) = original.samples().first().zip(original.samples().last())?;
    let every = last.time.since(first.time) / original.samples().len().max(2) as f64;
    let alike = delays.iter().filter(|late| (*late - usual).abs() <= every / 2.0).count();
    let mut places: Vec<(u64, u64)> = changes.iter().map(|s| (s.a.to_bits(), s.b.to_bits())).collect();
    places.sort_unstable();
    places.dedup();
    let enough = changes.len() >= ENOUGH && places.len() >= PLACES;
    (enough && alike as f64 >= MOST * changes.len() as f64).then_some(usual)
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
}
