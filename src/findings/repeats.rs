//! Whether a source repeats another one's very values, each as late as the others.

use super::pairs::{Curve, median};
use super::same_order::COARSE_S;
use crate::books::Books;
use crate::books::series::{Sample, Source};
use crate::books::wires::Wire;

/// A copy comes so late at most, seconds.
const LATEST_S: f64 = 3.0;

/// Delays are told apart by so much, seconds.
const CLASS_S: f64 = 0.05;

/// Stamps of more than this hide a copy's delay altogether, seconds; the least that is told where they hide it in part.
const COARSEST_S: f64 = 0.5;
const LEAST_S: f64 = 0.01;

/// How often a value is found by chance shows so much later and sooner, seconds; no swell has all these as its period.
const ELSEWHERE_S: [f64; 6] = [-11.0, -7.3, -4.7, 4.7, 7.3, 11.0];

/// Of the values that chance would not find at least this share must be found.
const BETTER: f64 = 0.5;

/// How much later the very values of `original` come again in `copy` (median, seconds).
///
/// A value is a repeat when the same value (to `tolerance`) stands in the original shortly before it. Chance makes
/// many repeats of a value that stands still or is coarse, so repeats are only asked for where the original changes, and
/// the delay must be much the same each time: nine in ten of the values must be found, and nearly all of those within
/// one interval of the original around the commonest delay, and not as well at any other.
pub(super) fn delay(original: &Curve, copy: &Curve, tolerance: (f64, f64)) -> Option<f64> {
    delay_by(original, copy, tolerance, 0.0)
}

/// The same where frames bear the stamps of batches: several values of the original have one stamp, and which of them comes again
/// matters; the delay is told to such a batch.
pub(super) fn batched_delay(
    books: &Books,
    original: &Source,
    copy: &Source,
    tolerance: (f64, f64),
) -> Option<f64> {
    let wire = |s: &Source| books.inventory.get(s.key.device).and_then(|device| books.wires.get(device.wire));
    let stamp_s = |s: &Source| wire(s).map_or(0.0, Wire::stamp_s);
    let stamp_s = stamp_s(original).max(stamp_s(copy));
    let all = |s: &Source| Curve::with_equals(s.track.samples(), s.key.quantity == "heading");
    let can_be = (COARSE_S..=COARSEST_S).contains(&stamp_s);
    can_be
        .then(|| delay_by(&all(original), &all(copy), tolerance, stamp_s))
        .flatten()
        .map(|late| late.max(LEAST_S))
}

fn delay_by(original: &Curve, copy: &Curve, tolerance: (f64, f64), stamp_s: f64) -> Option<f64> {
    let same = |x: &Sample, y: &Sample| original.same(x, y, tolerance);
    let mut asked: Vec<&Sample> = Vec::new();
    let mut found = 0_u32;
    let mut classes = vec![0_u32; (LATEST_S / CLASS_S) as usize];
    let mut spacing: Vec<f64> = Vec::new();
    // How many of the original's samples so far differ from the one before them.
    let mut changes = 0_u32;
    let changes: Vec<u32> = original
        .samples()
        .windows(2)
        .map(|w| {
            changes += u32::from(matches!(w, [x, y] if !same(x, y)));
            changes
        })
        .collect();
    let (mut start, mut end) = (0, 0);
    for value in copy.samples() {
        // The samples at most so long before: both ends move on with the moments.
        let earliest = value.time.plus(-LATEST_S);
        let time = |at: usize| original.samples().get(at).map(|s| s.time);
        while time(start).is_some_and(|time| time < earliest) {
            start += 1;
        }
        while time(end).is_some_and(|time| time <= value.time) {
            end += 1;
        }
        let before = original.samples().get(start..end).unwrap_or_default();
        let (Some(first), Some(last)) = (before.first(), before.last()) else { continue };
        if last.time.since(first.time) < LATEST_S * 0.6 {
            continue;
        }
        let changes_by = |at: usize| at.checked_sub(1).and_then(|at| changes.get(at)).copied().unwrap_or(0);
        let moving = changes_by(end - 1) - changes_by(start);
        if (moving as usize) * 2 < before.len() {
            continue;
        }
        spacing.push(last.time.since(first.time) / (before.len() - 1).max(1) as f64);
        asked.push(value);
        // Every delay that fits gets a vote, so that chance spreads and truth piles up.
        let mut any = false;
        for sample in before.iter().filter(|s| same(s, value)) {
            let class = (value.time.since(sample.time) / CLASS_S) as usize;
            if let Some(votes) = classes.get_mut(class) {
                *votes += 1;
            }
            any = true;
        }
        found += u32::from(any);
    }
    let count = asked.len() as f64;
    if asked.len() < 30 || f64::from(found) < 0.9 * count {
        return None;
    }
    let step = median(&mut spacing).unwrap_or(0.1);
    // The copy sends the latest value that it has heard: the delay spreads over one interval of the original, and over a batch.
    let width = ((step * 1.2 + 0.1 + stamp_s) / CLASS_S).ceil() as usize;
    let (start, votes) = (0..classes.len())
        .map(|start| (start, classes.iter().skip(start).take(width).sum::<u32>()))
        .max_by_key(|(start, votes)| (*votes, std::cmp::Reverse(*start)))?;
    if f64::from(votes) < 0.85 * count {
        return None;
    }
    let within: Vec<(usize, u32)> = classes.iter().copied().enumerate().skip(start).take(width).collect();
    let half = votes / 2;
    let mut sum = 0;
    for (class, n) in within {
        sum += n;
        if sum >= half {
            let late = (class as f64 + 0.5) * CLASS_S;
            return stands_out(&asked, original, late, 0.5 * width as f64 * CLASS_S, same).then_some(late);
        }
    }
    None
}

/// Whether values are found at a delay much more often than by chance, which is how often they are found at other delays, some
/// seconds sooner and later: over even bottom, or at rest, a value goes to and fro between two or three.
fn stands_out(
    asked: &[&Sample],
    original: &Curve,
    late: f64,
    slack: f64,
    same: impl Fn(&Sample, &Sample) -> bool,
) -> bool {
    let samples = original.samples();
    let share = |late: f64| {
        let (mut of, mut found) = (0_u32, 0_u32);
        for value in asked {
            let begin = samples.partition_point(|s| s.time < value.time.plus(-late - slack));
            let near = samples.iter().skip(begin);
            let mut near = near.take_while(|s| s.time <= value.time.plus(slack - late)).peekable();
            if near.peek().is_some() {
                of += 1;
                found += u32::from(near.any(|s| same(s, value)));
            }
        }
        (of > 0).then(|| f64::from(found) / f64::from(of))
    };
    let others: Vec<f64> = ELSEWHERE_S.iter().filter_map(|s| share(late + s)).collect();
    let by_chance = others.iter().sum::<f64>() / others.len().max(1) as f64;
    share(late).is_some_and(|there| there - by_chance >= BETTER * (1.0 - by_chance))
}

#[cfg(test)]
mod tests {
    use super::super::fixture::noise;
    use super::*;
    use crate::time::Time;

    const TOLERANCE: (f64, f64) = (0.06, f64::INFINITY);

    /// Depths in tenths of a metre over even bottom, one a second, that go to and fro between few values.
    fn to_and_fro(late_s: f64, seed: i64) -> Curve {
        let sample = |i: i64| Sample {
            time: Time(0).plus(i as f64 + late_s),
            a: ((8.34 + 0.08 * noise(i + seed)) * 10.0).round() / 10.0,
            b: f64::NAN,
        };
        Curve::new(&(0..300).map(sample).collect::<Vec<_>>(), false)
    }

    #[test]
    fn values_that_go_to_and_fro_are_found_by_chance() {
        let one = to_and_fro(0.0, 0);
        assert_eq!(delay(&one, &to_and_fro(0.3, 4000), TOLERANCE), None, "two sounders");
        assert!(delay(&one, &to_and_fro(0.3, 0), TOLERANCE).is_some_and(|late| (late - 0.3).abs() < 0.06));
    }
}
