//! A depth that changed all the while and stands to the recording's end.

use super::motion::UNDER_WAY_KN;
use super::pairs;
use crate::books::series::{Sample, Source};
use crate::time::Span;
use crate::units::KNOTS_PER_M_S;

/// So many values must stand where noise of the size seen before would have moved one: by chance that is e^-5.
const MOVED: f64 = 5.0;

/// A stand over so many times as much way as any other of the recording is none of the bottom's: on a round bottom the stand at its
/// top or foot is at most five times as long as the next ones.
const ALONE: f64 = 5.0;

/// Less noise than this, in digits, is not told from that of rounding (common practice, no source).
const NOISE: f64 = 1.0 / 3.0;

/// Noise of [`NOISE`] bends the way from one value over the next to the third by two digits at one in nine; rounding of an even slope,
/// whose steps differ by one digit at most, nowhere, however large its fourth differences are.
const BENDS: f64 = 0.1;

/// The way before is looked at in so many parts at least, or in parts as long as the stand.
const PARTS: f64 = 3.0;

/// In each part the depth changes by so many digits, at least.
const DIGITS: f64 = 4.0;

/// Fewer values than this before the stand tell nothing of what is usual.
const ENOUGH: usize = 40;

/// Two values further apart than this are not joined, seconds.
const JOIN_S: f64 = 3.0;

/// Deeper than this a small sounder may lose the bottom, metres (common practice, no source); where the stand is about as deep as
/// anything before, within this share, it may have.
const REACH_M: f64 = 50.0;
const AS_DEEP: f64 = 0.9;

/// What shows that a depth stopped for good.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Stopped {
    /// How many values should have been others by noise alone.
    pub(super) missing: f64,
    /// The least by which the depth changed over any stretch before that was as long as `part_m`, metres.
    pub(super) change_m: f64,
    /// Over so much way, metres.
    pub(super) part_m: f64,
}

/// Whether a depth stopped for good: it stands to its last message at speeds at which it was alive before, though it changed over
/// every stretch of the way before, and though the noise in its last digit then would show over an even bottom too.
pub(super) fn for_good(source: &Source, stand: Span, resolution: f64) -> Option<Stopped> {
    if source.last? > stand.to {
        return None;
    }
    let track: Vec<Sample> = source.track.samples().iter().copied().filter(|s| s.a > 0.0).collect();
    let (before, held) = track.split_at_checked(track.partition_point(|s| s.time < stand.from))?;
    let deepest = before.iter().map(|s| s.a).fold(0.0, f64::max);
    let depth = held.first()?.a;
    if before.len() < ENOUGH || depth >= REACH_M.max(AS_DEEP * deepest) {
        return None;
    }
    // A sounder may lose the bottom at speed and hold the last depth: that it stopped shows at speeds at which it was alive.
    let fastest = before.iter().map(|s| s.b).filter(|b| b.is_finite()).fold(0.0, f64::max);
    let at_speed = |s: &Sample| (UNDER_WAY_KN..=fastest).contains(&s.b);
    let missing = held.iter().filter(|s| at_speed(s)).count() as f64 * moves(before, resolution)?;
    let own_m: f64 = steps(held).filter(|(s, _)| s.b >= UNDER_WAY_KN).map(|(_, m)| m).sum();
    let before_m: f64 = steps(before).map(|(_, m)| m).sum();
    let part_m = own_m.min(before_m / PARTS);
    let change_m = least_change(before, part_m)?;
    let alone = own_m >= ALONE * longest_stand_m(before);
    (missing >= MOVED && change_m >= DIGITS * resolution && alone).then_some(Stopped {
        missing,
        change_m,
        part_m,
    })
}

/// Each sample but the first with the way since the one before, metres.
fn steps(samples: &[Sample]) -> impl Iterator<Item = (&Sample, f64)> {
    samples.windows(2).filter_map(|pair| {
        let (one, other) = (pair.first()?, pair.last()?);
        let dt = other.time.since(one.time);
        let known = other.b.is_finite() && (0.0..=JOIN_S).contains(&dt);
        Some((other, if known { other.b / KNOTS_PER_M_S * dt } else { 0.0 }))
    })
}

/// How large a share of the values noise alone moves by a digit, wherever between two digits an even bottom lies: by the fourth
/// differences of neighbouring values under way, in which a bottom that slopes or bends does not show. Those of a noise are
/// sqrt(70) times as large, half of them below 0.6745 of that; rounding makes a noise of a digit by sqrt(12). On a slope rounding alone
/// may make more of it, in steps that hardly differ.
fn moves(samples: &[Sample], resolution: f64) -> Option<f64> {
    let mut intervals: Vec<f64> =
        samples.iter().zip(samples.iter().skip(1)).map(|(one, other)| other.time.since(one.time)).collect();
    let usual = pairs::median(&mut intervals)?;
    let fourth = |w: &[Sample]| match w {
        [a, b, c, d, e] => {
            let together = e.time.since(a.time) <= 6.0 * usual && w.iter().all(|s| s.b >= UNDER_WAY_KN);
            let bend = (b.a - 2.0 * c.a + d.a).abs();
            together.then(|| ((a.a - 4.0 * b.a + 6.0 * c.a - 4.0 * d.a + e.a).abs(), bend))
        }
        _ => None,
    };
    let (mut fourths, bends): (Vec<f64>, Vec<f64>) = samples.windows(5).filter_map(fourth).unzip();
    let bent = bends.iter().filter(|bend| **bend > 1.5 * resolution).count();
    if fourths.len() < ENOUGH / 2 || (bent as f64) < BENDS * bends.len() as f64 {
        return None;
    }
    let sigma = pairs::median(&mut fourths)? / (0.6745 * 70_f64.sqrt());
    let noise = (sigma * sigma - resolution * resolution / 12.0).max(0.0).sqrt();
    // The logistic curve is the normal distribution's within a hundredth.
    (noise >= NOISE * resolution).then(|| 2.0 / (1.0 + (1.702 * 0.5 * resolution / noise).exp()))
}

/// The least by which the depth changed over any part of the way that is `part_m` long, by halves of such, metres.
fn least_change(samples: &[Sample], part_m: f64) -> Option<f64> {
    let half_m = part_m / 2.0;
    if half_m <= 0.0 {
        return None;
    }
    let (mut halves, mut way_m): (Vec<(f64, f64)>, f64) = (Vec::new(), 0.0);
    let mut range = (f64::INFINITY, 0.0_f64);
    for (sample, m) in steps(samples) {
        range = (range.0.min(sample.a), range.1.max(sample.a));
        way_m += m;
        if way_m >= half_m {
            halves.push(std::mem::replace(&mut range, (f64::INFINITY, 0.0)));
            way_m = 0.0;
        }
    }
    let change = |w: &[(f64, f64)]| {
        let (one, other) = (w.first()?, w.last()?);
        Some(one.1.max(other.1) - one.0.min(other.0))
    };
    halves.windows(2).filter_map(change).min_by(f64::total_cmp)
}

/// The longest way over which the depth stood at one value, metres.
fn longest_stand_m(samples: &[Sample]) -> f64 {
    let (mut longest, mut way_m, mut held) = (0.0_f64, 0.0, f64::NAN);
    for (sample, m) in steps(samples) {
        way_m = if (sample.a - held).abs() < 1e-6 { way_m + m } else { m };
        held = sample.a;
        longest = longest.max(way_m);
    }
    longest
}
