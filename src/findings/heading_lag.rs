//! By how much one heading follows another late.

use super::deviation::{circular_median, rest};
use super::pairs::Curve;
use crate::books::series::Sample;
use crate::units::{wrap_180, wrap_360};

/// Lags shorter than this are the ordinary difference of two sensors' filters and of the moments they send at, seconds.
const LEAST_LAG_S: f64 = 0.12;

/// The lag that takes a good part of two headings' difference away, seconds; `difference` writes the differences at a lag.
pub(super) fn lag(difference: &mut dyn FnMut(f64, &mut Vec<f64>)) -> Option<f64> {
    let (lag_s, scatter, scatter_left) = best_lag(difference);
    let lags = lag_s.abs() >= LEAST_LAG_S && scatter_left < 0.7 * scatter && scatter - scatter_left > 0.15;
    lags.then_some(lag_s)
}

/// The lag that leaves the least scatter, with the scatter without it and with it (root mean square). Source: the difference of a late sensor is its lag times the
/// turn rate; moving its values back by the lag takes the difference away.
fn best_lag(difference: &mut dyn FnMut(f64, &mut Vec<f64>)) -> (f64, f64, f64) {
    let mut values = Vec::new();
    let mut score = |lag: f64, difference: &mut dyn FnMut(f64, &mut Vec<f64>)| {
        difference(lag, &mut values);
        scatter(&values, circular_median(&values))
    };
    let mut best = (0.0, f64::INFINITY);
    for i in -32..=32 {
        let lag = f64::from(i) * 0.25;
        let s = score(lag, difference);
        if s < best.1 {
            best = (lag, s);
        }
    }
    let coarse = best.0;
    for i in -12..=12 {
        let lag = coarse + f64::from(i) * 0.02;
        let s = score(lag, difference);
        if s < best.1 {
            best = (lag, s);
        }
    }
    let without = score(0.0, difference);
    (best.0, without, best.1)
}

/// How far differences lie from `middle`, degrees (root mean square): the mean of squares sees turns, which are rare, better
/// than the quartiles do; wild values are capped.
fn scatter(differences: &[f64], middle: f64) -> f64 {
    let sum: f64 = differences.iter().map(|d| wrap_180(d - middle).abs().min(30.0).powi(2)).sum();
    (sum / differences.len().max(1) as f64).sqrt()
}

/// Dampings that are tried, seconds.
const DAMPINGS_S: [f64; 12] = [0.5, 0.75, 1.0, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 6.0, 7.0, 8.0];

/// Two headings of which one is the other damped agree to within this, degrees.
const DAMPED_DEG: f64 = 2.0;

/// A damped heading begins anew after a longer pause, seconds.
const PAUSE_S: f64 = 5.0;

/// The damping (time constant in seconds; negative when it is the first that is damped) that makes one of two headings of the
/// other, where one does: a display's or a sensor's smoothing, which a delay alone does not explain.
pub(super) fn damping(first: &Curve, second: &Curve, moments: &[Sample]) -> Option<f64> {
    let plain = |curve: &Curve, other: &Curve| -> Vec<f64> {
        moments.iter().filter_map(|s| Some(wrap_180(other.at(s.time)? - curve.at(s.time)?))).collect()
    };
    let before = scatter(&plain(first, second), 0.0);
    let tries = DAMPINGS_S.iter().flat_map(|s| [(*s, first, second), (-*s, second, first)]);
    let (left, damped_s, differences) = tries
        .map(|(damped_s, original, damped)| {
            let differences = plain(&smoothed(original, damped_s.abs()), damped);
            (scatter(&differences, 0.0), damped_s, differences)
        })
        .min_by(|a, b| a.0.total_cmp(&b.0))?;
    (left < 0.5 * before && rest(&differences, circular_median(&differences)) <= DAMPED_DEG)
        .then_some(damped_s)
}

/// A heading as a filter of the first order makes it.
fn smoothed(curve: &Curve, damped_s: f64) -> Curve {
    let mut last: Option<Sample> = None;
    let samples: Vec<Sample> = curve
        .samples()
        .iter()
        .map(|s| {
            let a = match last {
                Some(l) if s.time.since(l.time) <= PAUSE_S => {
                    let share = 1.0 - (-s.time.since(l.time) / damped_s).exp();
                    wrap_360(share.mul_add(wrap_180(s.a - l.a), l.a))
                }
                _ => s.a,
            };
            let smooth = Sample { a, ..*s };
            last = Some(smooth);
            smooth
        })
        .collect();
    Curve::new(&samples, true)
}

/// How far the differences scatter while the boat hardly turns: delays and batches spoil them in turns only. Infinite when
/// there are too few such moments.
pub(super) fn calm_rest(first: &Curve, moments: &[Sample], differences: &[f64]) -> f64 {
    const CALM_DEG_S: f64 = 2.0;
    const ENOUGH: usize = 40;
    let calm = |s: &Sample| {
        let around = first.at(s.time.plus(-0.5)).zip(first.at(s.time.plus(0.5)));
        around.is_some_and(|(before, after)| wrap_180(after - before).abs() <= CALM_DEG_S)
    };
    let held: Vec<f64> = moments.iter().zip(differences).filter(|(s, _)| calm(s)).map(|(_, d)| *d).collect();
    if held.len() < ENOUGH.max(differences.len() / 5) {
        return f64::INFINITY;
    }
    rest(&held, circular_median(&held))
}

#[cfg(test)]
mod tests {
    use super::super::duplicate_heading_source as duplicate;
    use super::super::fixture::{Boat, noise};
    use crate::report::model::Number;

    /// One of two headings follows the other 1.5 s late. Either of them jumps away six times for five seconds, which is told by itself:
    /// of how the two relate it tells nothing.
    #[test]
    fn jumps_do_not_hide_a_lag() {
        let deg = |t: f64| 180.0 + 90.0 * (t / 12.0).sin();
        for jumping in [1, 2] {
            let mut boat = Boat::default();
            for tenth in 0..3000_i64 {
                let t = tenth as f64 / 10.0;
                let jumps = (1..=6).any(|n| (0.0..5.0).contains(&(t - 41.0 * f64::from(n))));
                let off = |device: u32| if jumps && device == jumping { 120.0 } else { 0.0 };
                boat.heading(1, t, deg(t) + off(1) + 0.3 * noise(tenth));
                boat.heading(2, t + 0.03, deg(t - 1.5) + off(2) + 0.3 * noise(tenth + 5000));
            }
            let found = (duplicate::DETECTOR.detect)(&boat.evidence());
            let [finding] = found.as_slice() else { panic!("one finding") };
            let lag_s = finding.numbers.get("lag_s");
            assert!(
                matches!(lag_s, Some(Number::Real(s)) if (s - 1.5).abs() < 0.15),
                "{jumping}: {:?}",
                finding.numbers
            );
        }
    }
}
