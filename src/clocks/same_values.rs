//! Two clocks compared by values that change in the same way in both recordings.
//!
//! A boat has one heading, one place, one depth: two sensors of one quantity follow each other, so that their difference
//! is steadiest at the offset at which the clocks agree. What one sensor lags behind the other cannot be told from an
//! offset; it is part of the uncertainty.

use super::{Estimate, Witness};
use crate::books::series::{Sample, around};
use crate::time::Time;
use crate::units::wrap_180;

/// Fewer moments with a value in both tell nothing; each is about a second.
const LEAST_COMMON: usize = 60;

/// Most moments that are compared at one offset.
const MOST_COMPARED: usize = 1200;

/// Widest offset that is tried without any other hint, seconds: an hour and a bit covers a clock in the wrong time zone's
/// neighbour; beyond, chance likenesses grow.
const WIDEST_S: f64 = 4000.0;

/// Recordings that do not overlap by their stamps must, when they are moved, do so for this long at least, seconds.
const APART_S: f64 = 300.0;

/// How far around a hint the values are tried, seconds.
const AROUND_S: f64 = 4.0;

/// The difference at the right offset must be this much steadier than at others.
const CLEARLY: f64 = 0.4;

/// And this much steadier than at the best other place.
const SINGLY: f64 = 0.65;

/// One sensor's delay against another's, seconds: heading comes at once, depth and place are filtered (common practice,
/// no source).
fn delay_s(quantity: &str) -> f64 {
    match quantity {
        "heading" => 0.3,
        _ => 0.6,
    }
}

/// At wrong offsets the difference must wander by so much at least, in the quantity's unit (degrees; of place some two metres):
/// a boat that goes straight on is everywhere like itself, and rounding decides nothing.
fn wanders(quantity: &str) -> f64 {
    match quantity {
        "heading" | "course-and-speed-over-ground" => 1.0,
        "position" => 2e-5,
        _ => 0.1,
    }
}

/// One quantity over time: a heading or course in degrees, a depth in metres, a place as two angles.
#[derive(Debug, Clone)]
pub struct Curve {
    quantity: &'static str,
    round: bool,
    samples: Vec<Sample>,
}

impl Curve {
    /// From a track; samples without value or out of order are left out.
    #[must_use]
    pub fn new(quantity: &'static str, track: &[Sample]) -> Self {
        let round = matches!(quantity, "heading" | "course-and-speed-over-ground");
        let place = quantity == "position";
        let mut samples: Vec<Sample> = Vec::with_capacity(track.len());
        for sample in track {
            // A course without way is noise.
            let usable = match quantity {
                "course-and-speed-over-ground" => sample.b > 2.0,
                _ => true,
            };
            let sample = Sample { b: if place { sample.b } else { 0.0 }, ..*sample };
            let whole = usable && !sample.a.is_nan() && !sample.b.is_nan();
            if whole && samples.last().is_none_or(|last| last.time < sample.time) {
                samples.push(sample);
            }
        }
        Self { quantity, round, samples }
    }

    /// Whether there is enough of it to be compared.
    #[must_use]
    pub fn is_of_use(&self) -> bool {
        self.samples.len() >= LEAST_COMMON
    }

    fn at(&self, time: Time) -> Option<(f64, f64)> {
        let (a, b, share) = around(&self.samples, time)?;
        let step = if self.round { wrap_180(b.a - a.a) } else { b.a - a.a };
        Some((a.a + share * step, a.b + share * (b.b - a.b)))
    }

    /// How unsteady the difference to another curve is when the other's stamps are moved by `offset_s`.
    fn unsteadiness(&self, other: &Self, offset_s: f64) -> Option<f64> {
        let stride = other.samples.len().div_ceil(MOST_COMPARED).max(1);
        let mut differences: Vec<(f64, f64)> = Vec::with_capacity(MOST_COMPARED);
        for theirs in other.samples.iter().step_by(stride) {
            let Some((a, b)) = self.at(theirs.time.plus(offset_s)) else { continue };
            let first = differences.first().map_or(0.0, |first| first.0);
            let along = if self.round { first + wrap_180(a - theirs.a - first) } else { a - theirs.a };
            differences.push((along, b - theirs.b));
        }
        if differences.len() < LEAST_COMMON {
            return None;
        }
        let n = differences.len() as f64;
        let mean = |pick: fn(&(f64, f64)) -> f64| differences.iter().map(pick).sum::<f64>() / n;
        let (a, b) = (mean(|d| d.0), mean(|d| d.1));
        Some(differences.iter().map(|d| (d.0 - a).abs() + (d.1 - b).abs()).sum::<f64>() / n)
    }
}

/// The best offset of two curves within a range, and how far it may be wrong.
struct Match {
    offset_s: f64,
    uncertainty_s: f64,
    quantity: &'static str,
}

fn matching(ours: &Curve, other: &Curve, from_s: f64, to_s: f64, coarse_s: f64) -> Option<Match> {
    let steps = ((to_s - from_s) / coarse_s).ceil().max(1.0) as u32;
    let tried: Vec<(f64, f64)> = (0..=steps)
        .map(|i| f64::from(i).mul_add(coarse_s, from_s))
        .filter_map(|offset| Some((offset, ours.unsteadiness(other, offset)?)))
        .collect();
    let best = tried.iter().min_by(|x, y| x.1.total_cmp(&y.1))?;
    // The best place must stand out from all that are not its slopes.
    let slope_s = 10.0_f64.min((to_s - from_s) / 4.0);
    let others: Vec<f64> =
        tried.iter().filter(|(offset, _)| (offset - best.0).abs() > slope_s).map(|(_, u)| *u).collect();
    let usual = super::line::median(others.clone());
    let next = others.iter().copied().fold(f64::INFINITY, f64::min);
    if others.len() < 4
        || usual < wanders(ours.quantity)
        || best.1 > CLEARLY * usual
        || best.1 > SINGLY * next
    {
        return None;
    }
    let fine = |centre: f64, step: f64| {
        (-20..=20)
            .map(|i| f64::from(i).mul_add(step, centre))
            .filter_map(|offset| Some((offset, ours.unsteadiness(other, offset)?)))
            .collect::<Vec<_>>()
    };
    let near = fine(best.0, coarse_s / 10.0);
    let finest = near.iter().min_by(|x, y| x.1.total_cmp(&y.1))?;
    // As far as the difference is hardly less steady, the offset is not told.
    let as_good =
        near.iter().filter(|(_, u)| *u < finest.1 * 1.1).map(|(offset, _)| (offset - finest.0).abs());
    Some(Match {
        offset_s: finest.0,
        uncertainty_s: as_good.fold(coarse_s / 10.0, f64::max) + delay_s(ours.quantity),
        quantity: ours.quantity,
    })
}

fn matches(
    ours: &Witness,
    other: &Witness,
    range: impl Fn(&Curve, &Curve) -> Option<(f64, f64, f64)>,
) -> Vec<Match> {
    let pairs = ours.curves.iter().flat_map(|a| other.curves.iter().map(move |b| (a, b)));
    pairs
        .filter(|(a, b)| a.quantity == b.quantity && a.is_of_use() && b.is_of_use())
        .filter_map(|(a, b)| {
            let (from, to, step) = range(a, b)?;
            matching(a, b, from, to, step)
        })
        .collect()
}

fn surest<'a>(matches: impl Iterator<Item = &'a Match>) -> Option<&'a Match> {
    matches.min_by(|x, y| x.uncertainty_s.total_cmp(&y.uncertainty_s))
}

/// Two quantities that tell one offset agree to this, seconds.
const AGREE_S: f64 = 0.3;

/// An estimate made finer by values around it, where two quantities tell the same: one sensor that is late by itself looks
/// like a clock that is.
pub(super) fn sharpen(ours: &Witness, other: &Witness, found: Estimate) -> Estimate {
    let hint = found.offset_s;
    let around = |_: &Curve, _: &Curve| Some((hint - AROUND_S, hint + AROUND_S, 0.5));
    let matches = matches(ours, other, around);
    let seconded = |m: &&Match| {
        matches.iter().any(|n| n.quantity != m.quantity && (n.offset_s - m.offset_s).abs() <= AGREE_S)
    };
    match surest(matches.iter().filter(seconded)) {
        Some(m)
            if m.uncertainty_s < found.uncertainty_s
                && (m.offset_s - hint).abs() <= found.uncertainty_s + m.uncertainty_s =>
        {
            Estimate {
                offset_s: m.offset_s,
                uncertainty_s: m.uncertainty_s,
                from: format!("{}, and {} in both", found.from, m.quantity),
                ..found
            }
        }
        _ => found,
    }
}

/// The offset by values alone.
pub(super) fn estimate(ours: &Witness, other: &Witness) -> Option<Estimate> {
    let whole = |a: &Curve, b: &Curve| {
        let ends = |c: &Curve| Some((c.samples.first()?.time, c.samples.last()?.time));
        let ((a0, a1), (b0, b1)) = (ends(a)?, ends(b)?);
        // Files that follow each other by their stamps are one recorder's, as a rule: a short stretch alike says little.
        let apart = a0 > b1 || b0 > a1;
        let least = if apart { APART_S.max(a1.since(a0).min(b1.since(b0)) / 2.0) } else { 0.0 };
        // From where the other's end meets our begin to where its begin meets our end.
        let (from, to) = ((a0.since(b1) + least).max(-WIDEST_S), (a1.since(b0) - least).min(WIDEST_S));
        (to > from).then_some((from, to, 1.0))
    };
    let matches = matches(ours, other, whole);
    let m = surest(matches.iter())?;
    let about = other.span.map(|span| span.from.plus(span.seconds() / 2.0))?;
    Some(Estimate {
        offset_s: m.offset_s,
        uncertainty_s: m.uncertainty_s,
        drift_ppm: None,
        about,
        least_s: super::LEAST_S,
        from: format!("{} in both recordings", m.quantity),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::time::Span;

    /// A heading that wanders without repeating itself, degrees.
    fn heading(t: f64) -> f64 {
        (40.0 * (t / 31.0).sin() + 60.0 * (t / 97.0).sin() + 25.0 * (t / 13.7).sin() + 720.0) % 360.0
    }

    fn witness(from: f64, seconds: f64, ahead_s: f64, value: impl Fn(f64) -> f64) -> Witness {
        let n = (seconds * 5.0) as u32;
        let samples: Vec<Sample> = (0..n)
            .map(|i| {
                let t = f64::from(i).mul_add(0.2, from);
                Sample { time: Time(0).plus(t + ahead_s), a: value(t), b: f64::NAN }
            })
            .collect();
        let first = Time(0).plus(from + ahead_s);
        Witness {
            span: Some(Span::new(first, first.plus(seconds))),
            curves: vec![Curve::new("heading", &samples)],
            ..Witness::default()
        }
    }

    #[test]
    fn two_sensors_with_an_offset_of_their_own_tell_the_clocks_apart() {
        let ours = witness(0.0, 600.0, 0.0, heading);
        let other = witness(120.0, 600.0, 47.3, |t| (heading(t) + 11.0) % 360.0);
        let found = estimate(&ours, &other).unwrap();
        assert!((found.offset_s + 47.3).abs() < 0.15, "{found:?}");
        assert!(found.uncertainty_s < 0.8, "{found:?}");
    }

    #[test]
    fn a_straight_course_and_another_boat_tell_nothing() {
        let straight = witness(0.0, 600.0, 0.0, |t| 90.0 + (t * 7.3).sin());
        assert_eq!(estimate(&straight, &witness(0.0, 600.0, 20.0, |t| 91.0 + (t * 5.1).sin())), None);
        let other = |t: f64| (70.0 * (t / 41.0).sin() + 33.0 * (t / 17.0).cos() + 720.0) % 360.0;
        assert_eq!(estimate(&witness(0.0, 600.0, 0.0, heading), &witness(0.0, 600.0, 0.0, other)), None);
        let circles = |t: f64| (t * 6.0) % 360.0;
        assert_eq!(
            estimate(&witness(0.0, 600.0, 0.0, circles), &witness(0.0, 600.0, 20.0, circles)),
            None,
            "one circle is like the next"
        );
    }

    #[test]
    fn a_hint_is_sharpened() {
        let hint = Estimate {
            offset_s: -46.0,
            uncertainty_s: 1.5,
            drift_ppm: None,
            about: Time(0),
            least_s: 1.0,
            from: "a".to_owned(),
        };
        let two = |from, ahead_s, late_s: f64| {
            let mut both = witness(from, 600.0, ahead_s, heading);
            let depth = witness(from, 600.0, ahead_s, |t| heading(t - late_s) / 20.0);
            both.curves.push(Curve { quantity: "depth", round: false, ..depth.curves[0].clone() });
            both
        };
        let (ours, other) = (two(0.0, 0.0, 0.0), two(50.0, 47.0, 0.0));
        let found = sharpen(&ours, &other, hint.clone());
        assert!((found.offset_s + 47.0).abs() < 0.1 && found.uncertainty_s < 1.0, "{found:?}");
        let late = two(50.0, 47.0, 0.9);
        assert_eq!(sharpen(&ours, &late, hint.clone()), hint, "a sensor may be late by itself");
        let far = Estimate { offset_s: -20.0, ..hint };
        assert_eq!(sharpen(&ours, &other, far.clone()), far, "out of reach");
    }
}
