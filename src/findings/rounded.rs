//! Whether a source repeats another one's values in fewer digits, as a gateway from the bus to a 0183 line does.

use super::pairs::{Curve, place_step, quantile};
use crate::books::series::Sample;

/// Values of the copy that are looked at.
const MOMENTS: usize = 300;

/// Fewer tell nothing.
const ENOUGH: usize = 40;

/// The delays that are tried, seconds: from none to three, then finer around the best.
const STEP_S: f64 = 0.05;
const STEPS: u32 = 60;
const FINE_S: f64 = 0.01;

/// The original must move by so many of the copy's steps for likeness to mean anything.
const MOVED: f64 = 8.0;

/// A copy's digits are coarser than the original's by this factor, at least.
const COARSER: f64 = 1.5;

/// The share of all differences that must lie within one step of the copy; the rest are those of late hand-overs in turns.
const MOST: f64 = 0.97;

/// The delay with which `copy` holds the values of `original` rounded (or cut) to fewer digits, seconds.
///
/// Rounding moves a value by half a step to each side, or by one to one side: the differences fill one step and no more.
/// Another sensor's own noise would widen them. `tolerance` is 0.55 to 0.6 of the coarser one's step, by both numbers of a
/// sample; a second that is infinite is not looked at.
pub(super) fn rounded_delay(original: &Curve, copy: &Curve, tolerance: (f64, f64)) -> Option<f64> {
    let both = tolerance.1.is_finite();
    let grain = |curve: &Curve| if both { Some(place_step(curve)) } else { curve.finest_step() };
    if grain(copy)? < COARSER * grain(original)? {
        return None;
    }
    let step = (copy.samples().len() / MOMENTS).max(1);
    let moments: Vec<&Sample> = copy.samples().iter().step_by(step).collect();
    let (mut one, mut other) = (Vec::new(), Vec::new());
    // The width that the differences fill at a delay, in the tolerance's doubles.
    let mut width = |late: f64| {
        one.clear();
        other.clear();
        for sample in &moments {
            let at = sample.time.plus(-late);
            if both {
                let Some((a, b)) = original.both_at(at) else { continue };
                one.push(sample.a - a);
                other.push(sample.b - b);
            } else {
                let Some(a) = original.at(at) else { continue };
                one.push(original.way(a, sample.a));
            }
        }
        let second = if both { fill(&mut other, tolerance.1)? } else { (0.0, 0.0) };
        let first = fill(&mut one, tolerance.0)?;
        Some((first.0.max(second.0), first.1.abs().max(second.1.abs()), late))
    };
    let least = |a: &(f64, f64, f64), b: &(f64, f64, f64)| a.0.total_cmp(&b.0);
    let coarse = (0..=STEPS).filter_map(|i| width(STEP_S * f64::from(i))).min_by(least)?;
    let near = |i: i32| (coarse.2 + FINE_S * f64::from(i)).max(0.0);
    let (wide, off, late) = (-5..=5).filter_map(|i| width(near(i))).min_by(least)?;
    let along = moves(original, |from, s| original.way(from.a, s.a), tolerance.0);
    let moved = along || both && moves(original, |from, s| s.b - from.b, tolerance.1);
    (wide <= 1.05 && off <= 1.1 && moved).then_some(late.max(FINE_S))
}

/// How much of the tolerance's double the differences fill, and how far their middle lies from nothing, in tolerances.
fn fill(differences: &mut [f64], tolerance: f64) -> Option<(f64, f64)> {
    if differences.len() < ENOUGH {
        return None;
    }
    let edge = (1.0 - MOST) / 2.0;
    let (low, high) = (quantile(differences, edge)?, quantile(differences, 1.0 - edge)?);
    Some(((high - low) / (2.0 * tolerance), (low + high) / (2.0 * tolerance)))
}

/// Whether a number of a curve moves far enough for likeness to mean something; `way` is that from one sample to another.
fn moves(curve: &Curve, way: impl Fn(&Sample, &Sample) -> f64, tolerance: f64) -> bool {
    let Some(first) = curve.samples().first() else { return false };
    let away = curve.samples().iter().map(|s| way(first, s));
    let (low, high) = away.fold((0.0_f64, 0.0_f64), |(l, h), d| (l.min(d), h.max(d)));
    high - low >= MOVED * 2.0 * tolerance
}

#[cfg(test)]
mod tests {
    use super::super::fixture::noise;
    use super::*;
    use crate::time::Time;

    /// A curve ten times a second, `late_s` late.
    fn curve(late_s: f64, value: impl Fn(f64) -> f64) -> Curve {
        let sample = |i: i64| {
            let t = i as f64 / 10.0;
            Sample { time: Time(0).plus(t + late_s), a: value(t), b: f64::NAN }
        };
        Curve::new(&(0..2000).map(sample).collect::<Vec<_>>(), false)
    }

    fn swing(t: f64) -> f64 {
        20.0 * (t / 15.0).sin() + 0.0137 * t
    }

    #[test]
    fn a_copy_in_fewer_digits_is_one_and_another_sensor_is_none() {
        let tolerance = (0.06, f64::INFINITY);
        let original = curve(0.0, swing);
        let rounded = curve(0.13, |t| (swing(t) * 10.0).round() / 10.0);
        let delay = rounded_delay(&original, &rounded, tolerance).unwrap();
        assert!((delay - 0.13).abs() < 0.06, "{delay}");
        let cut = curve(0.13, |t| (swing(t) * 10.0).floor() / 10.0);
        assert!(rounded_delay(&original, &cut, tolerance).is_some());
        assert!(rounded_delay(&rounded, &original, tolerance).is_none(), "the finer one is the original");
        let another = curve(0.13, |t| ((swing(t) + 0.2 * noise((t * 10.0) as i64)) * 10.0).round() / 10.0);
        assert!(rounded_delay(&original, &another, tolerance).is_none());
        let askew = curve(0.13, |t| ((swing(t) + 0.3) * 10.0).round() / 10.0);
        assert!(rounded_delay(&original, &askew, tolerance).is_none());
    }
}
