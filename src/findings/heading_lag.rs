//! By how much one heading follows another late.

use super::deviation::circular_median;
use crate::units::wrap_180;

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
        let middle = circular_median(&values);
        // The mean of squares sees turns, which are rare, better than the quartiles do; wild values are capped.
        let sum: f64 = values.iter().map(|d| wrap_180(d - middle).abs().min(30.0).powi(2)).sum();
        (sum / values.len().max(1) as f64).sqrt()
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
