//! How a compass's error swings with its heading.

use super::pairs;
use super::steered::Steered;
use crate::books::series::Sample;
use crate::units::wrap_180;
use nalgebra::{DMatrix, DVector};

/// The median of angles, taken around their mean direction.
pub(super) fn circular_median(angles: &[f64]) -> f64 {
    let (s, c) =
        angles.iter().fold((0.0, 0.0), |(s, c), d| (s + d.to_radians().sin(), c + d.to_radians().cos()));
    let centre = s.atan2(c).to_degrees();
    let mut around: Vec<f64> = angles.iter().map(|d| wrap_180(d - centre)).collect();
    wrap_180(centre + pairs::median(&mut around).unwrap_or(0.0))
}

/// How far the values scatter around `middle`: a spread that a few wild values do not move (from the quartiles).
pub(super) fn rest(differences: &[f64], middle: f64) -> f64 {
    let mut sizes: Vec<f64> = differences.iter().map(|d| wrap_180(d - middle).abs()).collect();
    // Half of a normal distribution lies within 0.6745 standard deviations, 90 % within 1.645.
    let half = pairs::quantile(&mut sizes, 0.5).unwrap_or(0.0) / 0.6745;
    let most = pairs::quantile(&mut sizes, 0.9).unwrap_or(0.0) / 1.645;
    half.max(most)
}

/// Headings within this time of each other share their errors and count as one, seconds.
const APART_US: i64 = 5_000_000;

/// A deviation curve.
#[derive(Debug, Clone, Copy)]
pub(super) struct Fit {
    /// A to E, degrees.
    pub(super) k: [f64; 5],
    /// Their standard errors, degrees.
    pub(super) sd: [f64; 5],
    /// The scatter that is left, degrees.
    pub(super) left: f64,
}

impl Fit {
    /// The curve in a sentence: coefficients, their uncertainty and what is left over.
    pub(super) fn words(&self) -> String {
        let [a, b, c, d, e] = self.k;
        // Twice the standard error holds 95 % of the cases.
        let sure = 2.0 * self.sd.iter().copied().fold(0.0, f64::max);
        let left = self.left;
        format!(
            "By heading z: {a:+.1} {b:+.1} sin z {c:+.1} cos z {d:+.1} sin 2z {e:+.1} cos 2z deg, each to within {sure:.1} deg; {left:.1} deg left over."
        )
    }
}

/// Fits the difference as A + B sin z + C cos z + D sin 2z + E cos 2z over the first one's heading z, and gives the
/// coefficients with their standard errors and the scatter that is left.
///
/// `None` unless the headings fill six of eight sectors. Source: Handbook of Magnetic Compass Adjustment (National
/// Geospatial-Intelligence Agency), chapters III and V; least squares by QR.
pub(super) fn deviation_fit(
    moments: &[Sample],
    differences: &[f64],
    heading: impl Fn(&Sample) -> Option<f64>,
    middle: f64,
) -> Option<Fit> {
    let rows: Vec<(f64, f64)> = moments
        .iter()
        .zip(differences)
        .filter_map(|(s, d)| Some((heading(s)?.to_radians(), wrap_180(d - middle))))
        .collect();
    let sectors = rows.iter().map(|(z, _)| z.to_degrees()).collect::<Steered>();
    let sectors = sectors.sectors((rows.len() / 200).max(3));
    if sectors.courses() < 6 {
        return None;
    }
    let terms = |z: f64| [1.0, z.sin(), z.cos(), (2.0 * z).sin(), (2.0 * z).cos()];
    let weight: Vec<f64> = rows
        .iter()
        .map(|(z, _)| {
            // Every sector counts alike, however long the boat stayed on it.
            1.0 / (sectors.moments_about(z.to_degrees()).max(1) as f64).sqrt()
        })
        .collect();
    let matrix = DMatrix::from_fn(rows.len(), 5, |r, c| {
        rows.get(r).map_or(0.0, |(z, _)| terms(*z).get(c).copied().unwrap_or(0.0))
            * weight.get(r).copied().unwrap_or(1.0)
    });
    let right = DVector::from_fn(rows.len(), |r, _| {
        rows.get(r).map_or(0.0, |(_, d)| *d) * weight.get(r).copied().unwrap_or(1.0)
    });
    let solution = matrix.svd(true, true).solve(&right, 1e-9).ok()?;
    let mut k = [0.0; 5];
    for (to, from) in k.iter_mut().zip(solution.iter()) {
        *to = *from;
    }
    let left: Vec<f64> =
        rows.iter().map(|(z, d)| d - terms(*z).iter().zip(k).map(|(t, k)| t * k).sum::<f64>()).collect();
    let scatter = rest(&left, 0.0);
    if let Some(a) = k.first_mut() {
        *a += middle;
    }
    let zs: Vec<f64> = rows.iter().map(|(z, _)| *z).collect();
    let sd = standard_errors(&zs, independent(moments), scatter, terms)?;
    Some(Fit { k, sd, left: scatter })
}

/// How many of the moments are far enough apart to err each on its own.
fn independent(moments: &[Sample]) -> usize {
    let mut blocks = 0;
    let mut last = None;
    for moment in moments {
        let block = moment.time.0.div_euclid(APART_US);
        blocks += usize::from(last != Some(block));
        last = Some(block);
    }
    blocks
}

/// Standard errors of a least squares fit over the headings `zs`, of which `independent` tell something of their own.
fn standard_errors(
    zs: &[f64],
    independent: usize,
    scatter: f64,
    terms: impl Fn(f64) -> [f64; 5],
) -> Option<[f64; 5]> {
    let mut normal = DMatrix::<f64>::zeros(5, 5);
    for z in zs {
        let row = DVector::from_row_slice(&terms(*z));
        normal += &row * row.transpose();
    }
    normal *= independent.max(1) as f64 / zs.len().max(1) as f64;
    let covariance = normal.try_inverse()?;
    let mut sd = [0.0; 5];
    for (to, variance) in sd.iter_mut().zip(covariance.diagonal().iter()) {
        *to = scatter * variance.max(0.0).sqrt();
    }
    Some(sd)
}

/// Half of the way between the fit's largest and smallest value, degrees.
pub(super) fn swing(k: &[f64; 5]) -> f64 {
    let [_, b, c, d, e] = *k;
    let values = (0..72).map(|i| {
        let z = f64::from(i * 5).to_radians();
        b * z.sin() + c * z.cos() + d * (2.0 * z).sin() + e * (2.0 * z).cos()
    });
    let (low, high) = values.fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), v| (l.min(v), h.max(v)));
    (high - low) / 2.0
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::time::Time;

    /// Handbook of Magnetic Compass Adjustment, article 501, figure 501: the published deviation table; the least
    /// squares values were computed with numpy (worked examples, section 2).
    #[test]
    fn the_handbooks_deviation_table_is_fitted() {
        let table = [10.5, 20.0, 11.5, -1.2, -5.5, -8.0, -12.5, -6.8];
        let moments: Vec<Sample> = (0..80)
            .map(|i| Sample { time: Time(i64::from(i)), a: f64::from(i % 8) * 45.0, b: f64::NAN })
            .collect();
        let differences: Vec<f64> = (0..80).map(|i| table[i % 8]).collect();
        let fit = deviation_fit(&moments, &differences, |s| Some(s.a), 0.0).unwrap();
        for (got, want) in fit.k.iter().zip([1.0, 11.939_697, 7.959_798, 5.0, 1.5]) {
            assert!((got - want).abs() < 1e-5, "{got} for {want}");
        }
        assert!(fit.left < 0.1);
        assert!(deviation_fit(&moments[..3], &differences[..3], |s| Some(s.a), 0.0).is_none());
    }

    /// Hundred fits of the same curve with noise of 2 degrees: the errors must scatter as the standard errors say.
    #[test]
    fn the_standard_errors_are_those_of_repeated_fits() {
        let curve = |z: f64| 3.0 + 6.0 * z.sin() - 2.0 * z.cos();
        let mut seed = 7_u64;
        let mut noise = || {
            // Twelve uniform numbers make a normal one, near enough (central limit).
            let sum: f64 = (0..12)
                .map(|_| {
                    seed =
                        seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
                    (seed >> 33) as f64 / f64::from(1_u32 << 31)
                })
                .sum();
            2.0 * (sum - 6.0)
        };
        let moments: Vec<Sample> = (0..200_i64)
            .map(|i| Sample { time: Time(i * APART_US), a: (i * 17 % 360) as f64, b: f64::NAN })
            .collect();
        let fits: Vec<Fit> = (0..100)
            .map(|_| {
                let differences: Vec<f64> =
                    moments.iter().map(|m| curve(m.a.to_radians()) + noise()).collect();
                deviation_fit(&moments, &differences, |s| Some(s.a), 0.0).unwrap()
            })
            .collect();
        for (i, want) in [3.0, 6.0, -2.0, 0.0, 0.0].into_iter().enumerate() {
            let real = (fits.iter().map(|f| (f.k[i] - want).powi(2)).sum::<f64>() / 100.0).sqrt();
            let said = fits.iter().map(|f| f.sd[i]).sum::<f64>() / 100.0;
            assert!((said / real - 1.0).abs() < 0.35, "coefficient {i}: {said} said, {real} seen");
        }
    }
}
