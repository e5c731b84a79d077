//! Whether a source repeats another one's values one for one, by their order alone: where times are coarse, come from batches or
//! were made up, the order is what is left.

use crate::books::Books;
use crate::books::series::{Sample, Source};
use crate::recording::TimeBase;

/// Stamps that are coarser than this hide a copy's delay, seconds: it is a tenth and less (common practice, no source).
pub(super) const COARSE_S: f64 = 0.05;

/// Values that are laid beside each other in one go; between two of them one may have been lost.
const STRETCH: usize = 64;

/// A copy comes so many values late at most: three seconds at ten a second.
const MOST_LATE: usize = 30;

/// Stretches in which fewer values than this share differ from the one before tell nothing: there all look alike.
const CHANGING: f64 = 0.25;

/// Changing values that are needed.
const ENOUGH: usize = 60;

/// A copy has so many times fewer values than its original at most.
const MOST_APART: f64 = 5.5;

/// The share of them that must be the same.
const MOST: f64 = 0.95;

/// The delay that is told where none shows, seconds.
const LEAST_S: f64 = 0.01;

/// How much later the values of `first` come again in `second`, one for one, seconds on average; negative when `first` is the
/// later one. `same` compares a value of the first with one of the second.
pub(super) fn delay(
    books: &Books,
    first: &Source,
    second: &Source,
    same: impl Fn(&Sample, &Sample) -> bool,
) -> Option<f64> {
    if !times_are_coarse(books, first) && !times_are_coarse(books, second) {
        return None;
    }
    let values = |source: &Source| {
        let samples = source.track.samples().iter();
        samples.copied().filter(|s| !s.a.is_nan()).collect::<Vec<Sample>>()
    };
    by_order(&values(first), &values(second), same)
}

fn by_order(one: &[Sample], other: &[Sample], same: impl Fn(&Sample, &Sample) -> bool) -> Option<f64> {
    // Who sends clearly less often repeats but some of the values.
    if other.len() * 10 > one.len() * 11 {
        return by_order(other, one, same).map(|late| -late.abs());
    }
    let apart = one.len() as f64 / other.len().max(1) as f64;
    let thinned = apart > 1.1;
    if apart > MOST_APART {
        return None;
    }
    let (mut asked, mut found, mut late_s) = (0_usize, 0_usize, 0.0);
    for start in (0..other.len()).step_by(STRETCH) {
        let stretch = start..(start + STRETCH).min(other.len());
        let place = |at: usize| (at as f64 * apart).round() as usize;
        let changes = |at: &usize| {
            let i = place(*at);
            let two = one.get(i.wrapping_sub(1)).zip(one.get(i));
            // A value that fits its neighbour as well would be found by chance where several are looked at.
            two.is_some_and(|(before, now)| if thinned { !same(before, now) } else { before.a != now.a })
        };
        let changing: Vec<usize> = stretch.clone().filter(changes).collect();
        if (changing.len() as f64) < CHANGING * stretch.len() as f64 {
            continue;
        }
        let near = usize::from(thinned);
        // The first's values, so many places on or back.
        let fits = |places: usize| {
            let hits = changing.iter().filter_map(|at| {
                let (value, i) = (other.get(*at)?, (place(*at) + places).checked_sub(MOST_LATE)?);
                let around = one.get(i.saturating_sub(near)..(i + near + 1).min(one.len()))?;
                around.iter().find(|first| same(first, value)).map(|first| value.time.since(first.time))
            });
            hits.fold((0, 0.0), |(n, sum), late| (n + 1, sum + late))
        };
        let (hits, sum) = (0..=2 * MOST_LATE).map(fits).max_by_key(|(hits, _)| *hits)?;
        asked += changing.len();
        found += hits;
        late_s += sum;
    }
    let is_copy = asked >= ENOUGH && found as f64 >= MOST * asked as f64;
    let late = late_s / found.max(1) as f64;
    is_copy.then_some(match thinned {
        true => late.abs().max(LEAST_S),
        false if late.abs() < LEAST_S => LEAST_S,
        false => late,
    })
}

/// Whether the times of a source's values are too coarse for the delay of a copy.
fn times_are_coarse(books: &Books, source: &Source) -> bool {
    let wire = books.inventory.get(source.key.device).and_then(|device| books.wires.get(device.wire));
    wire.is_some_and(|wire| {
        let base = books.recordings.get(wire.recording).map(|recording| recording.time_base);
        wire.stamp_s() >= COARSE_S || !matches!(base, None | Some(TimeBase::Stamped | TimeBase::TimeOfDay))
    })
}

#[cfg(test)]
mod tests {
    use super::super::fixture::noise;
    use super::*;
    use crate::time::Time;

    /// Two headings, stamped to whole seconds: the second holds what `copy` makes of the first, `places` values late.
    fn curves(places: i64, copy: impl Fn(f64, i64) -> f64) -> (Vec<Sample>, Vec<Sample>) {
        let deg = |i: i64| ((100.0 + 40.0 * (i as f64 / 90.0).sin() + 0.4 * noise(i)) * 10.0).round() / 10.0;
        let at = |i: i64, a: f64| Sample { time: Time(0).plus((i / 5) as f64), a, b: f64::NAN };
        let one: Vec<Sample> = (40..900).map(|i| at(i, deg(i))).collect();
        let other: Vec<Sample> = (40..900).map(|i| at(i, copy(deg(i - places), i))).collect();
        (one, other)
    }

    fn alike(a: &Sample, b: &Sample) -> bool {
        (a.a - b.a).abs() < 0.06
    }

    fn two(places: i64, copy: impl Fn(f64, i64) -> f64) -> Option<f64> {
        let (one, other) = curves(places, copy);
        by_order(&one, &other, alike)
    }

    #[test]
    fn what_comes_again_one_for_one_is_a_copy() {
        for places in [0, 1, 4] {
            assert!(two(places, |deg, _| deg).is_some(), "{places} values late");
        }
        assert!(two(1, |deg, i| deg + 0.3 * noise(i + 7)).is_none(), "another sensor");
        let every_other = |samples: &[Sample]| samples.iter().step_by(2).copied().collect::<Vec<_>>();
        let (one, other) = curves(1, |deg, _| deg);
        assert!(by_order(&one, &every_other(&other), alike).is_some_and(|late| late > 0.0));
        assert!(by_order(&every_other(&one), &other, alike).is_some_and(|late| late < 0.0));
        let (one, other) = curves(1, |deg, i| deg + 0.3 * noise(i + 7));
        assert!(by_order(&one, &every_other(&other), alike).is_none());
        assert!(two(1, |deg, _| deg + 0.5).is_none(), "an offset");
    }
}
