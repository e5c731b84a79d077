//! Two clocks compared by frames that both recorders saw.

use super::line::{self, Line};
use super::{Estimate, Prints};
use crate::time::{Span, Time};

/// Fewer common frames than this may be chance.
const LEAST_FRAMES: usize = 8;

/// Frames that both saw lie this close to the commonest difference, microseconds, and further by what two clocks drift.
const NEAR_US: i64 = 250_000;

/// Two clocks drift apart by no more than this, microseconds a second.
const DRIFT_US_S: f64 = 200.0;

/// Two recorders of one network see so many frames alike that come once; each may see half of them only, and what displays
/// tell one of them alone. What comes again after as long by chance (messages that count to 252) is far less.
const LEAST_SHARE: f64 = 0.2;

/// Files that follow each other by their stamps are one recorder's, as a rule: more must speak against it, for longer, seconds.
const LEAST_SHARE_APART: f64 = 0.5;
const LEAST_APART_S: f64 = 20.0;

/// Recorders of one computer stamp a frame within this of each other, seconds: no offset.
const LEAST_S: f64 = 0.005;

/// The offset by common frames, when enough of them agree.
pub(super) fn estimate(ours: &Prints, other: &Prints) -> Option<Estimate> {
    let shared = ours.shared(other);
    let (first, last) = (shared.first()?.1, shared.last()?.1);
    let near = NEAR_US.saturating_add((last.since(first) * DRIFT_US_S) as i64);
    let differences: Vec<(Time, i64)> =
        shared.iter().map(|(ours, theirs)| (*theirs, ours.micros_since(*theirs))).collect();
    let centre = commonest(differences.iter().map(|(_, us)| *us).collect(), near)?;
    let fitting: Vec<(Time, i64)> =
        differences.iter().copied().filter(|(_, us)| us.saturating_sub(centre).abs() <= near).collect();
    if fitting.len() < LEAST_FRAMES || fitting.len() * 5 < differences.len() * 3 {
        return None;
    }
    let Line { about, middle_s, slope_ppm, scatter_s } = line::through(&fitting)?;
    if !fits(ours, other, centre, fitting.len()) {
        return None;
    }
    Some(Estimate {
        offset_s: middle_s,
        uncertainty_s: (3.0 * scatter_s).max(1e-6),
        drift_ppm: slope_ppm,
        about,
        least_s: LEAST_S,
        from: format!("{} frames that both recorders saw", fitting.len()),
    })
}

/// Whether so many common frames are enough, where the other's stamps come so much later: of those that one of the two saw
/// while both recorded, the other saw a good part.
fn fits(ours: &Prints, other: &Prints, later_us: i64, common: usize) -> bool {
    let mut seen: Vec<Time> = ours.told(other).collect();
    let mut theirs: Vec<Time> = other.told(ours).collect();
    let span = |times: &[Time]| Some(Span::new(*times.iter().min()?, *times.iter().max()?));
    let (Some(first), Some(second)) = (span(&seen), span(&theirs)) else { return false };
    let apart = !first.touches(second, 0.0);
    let moved = |time: Time| Time(time.0.saturating_add(later_us));
    let (from, to) = (first.from.max(moved(second.from)), first.to.min(moved(second.to)));
    let slack = NEAR_US as f64 / 1e6;
    let both = Span::new(from.plus(-slack), to.plus(slack));
    let within = |time: Time| time >= both.from && time <= both.to;
    seen.retain(|time| within(*time));
    theirs.retain(|time| within(moved(*time)));
    let share = common as f64 / seen.len().min(theirs.len()).max(1) as f64;
    if apart { share >= LEAST_SHARE_APART && to.since(from) >= LEAST_APART_S } else { share >= LEAST_SHARE }
}

/// The middle of the stretch of the given width that holds most of the values.
fn commonest(mut values: Vec<i64>, width: i64) -> Option<i64> {
    values.sort_unstable();
    let mut best: Option<(usize, i64)> = None;
    let mut start = 0;
    for (end, value) in values.iter().enumerate() {
        while values.get(start).is_some_and(|first| value.saturating_sub(*first) > width) {
            start += 1;
        }
        if best.is_none_or(|(count, _)| count < end + 1 - start) {
            best = Some((end + 1 - start, *values.get((start + end) / 2)?));
        }
    }
    best.map(|(_, middle)| middle)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn seen(frames: impl Iterator<Item = (u32, i64)>) -> Prints {
        let mut prints = Prints::default();
        for (content, us) in frames {
            prints.note(0, &content.to_le_bytes(), Time(us));
        }
        prints
    }

    #[test]
    fn common_frames_tell_offset_and_drift() {
        let ours = seen((0..4000).map(|i| (i, i64::from(i) * 250_000)));
        let other = seen((1000..5000).map(|i| (i, i64::from(i) * 250_000 - 41_300_000 - i64::from(i) * 10)));
        let found = estimate(&ours, &other).unwrap();
        assert!((found.offset_s - 41.325).abs() < 0.002, "{found:?}");
        assert!((found.drift_ppm.unwrap() - 40.0).abs() < 1.0, "{found:?}");
        assert!(found.uncertainty_s < 0.001, "{found:?}");
    }

    #[test]
    fn a_few_chance_likenesses_tell_nothing() {
        let ours = seen((0..50).map(|i| (i, i64::from(i) * 1_000_000)));
        let shuffled = seen((0..50).map(|i| (i, i64::from(i) * 7_919_000 % 50_000_000)));
        assert_eq!(estimate(&ours, &shuffled), None);
        let few = seen((0..5).map(|i| (i, i64::from(i) * 1_000_000)));
        assert_eq!(estimate(&ours, &few), None);
    }
}
