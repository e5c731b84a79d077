//! Two or more devices supply heading.

use super::pairs::{self, Curve};
use super::words::{number, percent, seconds, signed_deg};
use super::{Detector, Doc, Evidence, Finding};
use crate::books::Books;
use crate::books::series::{Sample, Source};
use crate::report::model::Severity;
use crate::time::{Span, civil};
use crate::units::wrap_180;
use nalgebra::{DMatrix, DVector};
use world_magnetic_model::GeomagneticField;
use world_magnetic_model::time::{Date, Month};
use world_magnetic_model::uom::si::angle::degree;
use world_magnetic_model::uom::si::f32::{Angle, Length};
use world_magnetic_model::uom::si::length::meter;

pub(super) const DETECTOR: Detector = Detector {
    doc: Doc {
        kind: "duplicate-heading-source",
        severity: "fault when the two differ by more than 3 degrees for the worst 5 %, else warning; note for an echo",
        meaning: "Two or more devices supply heading. A display, a chart or the bow motor's anchor function may follow \
                  one now and the other later; where they differ, the heading jumps by the difference.",
        detection: "The headings of every two devices are compared at the same moments, on the circle. Same values again, \
                    later: an echo. A difference equal to the magnetic variation at the boat's place and date (World \
                    Magnetic Model, or the variation that the boat's own messages carry): true against magnetic. A \
                    difference that follows the turn rate: one lags, by the time that makes the rest smallest. A \
                    difference that swings with the heading: deviation, fitted as A + B sin + C cos + D sin 2 + E cos 2. \
                    Steady on all courses: a constant offset. None of these: unrelated.",
        lookalikes: "A gateway or display that repeats a heading that it hears (an echo: harmless for the values). \
                     One device that sends heading in several messages is one source.",
        checks: "On every display, look at the source list for heading and choose one source. Switch the heading output \
                 of the other off, or align it: a constant offset by its mounting or its offset setting, deviation by a \
                 calibration turn away from iron and current-carrying cables.",
        cautions: "A bow motor under anchor or heading control can start and turn by itself: take it out of gear before \
                   you move sensors, and keep clear of the propeller.",
    },
    complaints: &["heading-jumps"],
    detect,
};

/// Headings are compared on at most this many moments.
const MAX_MOMENTS: usize = 6000;

/// Two headings that differ by the variation to within this are true against magnetic, degrees: errors of two sensors,
/// of the model (0.4) and of rounding.
const VARIATION_SLACK_DEG: f64 = 2.0;

/// As above, where both sources claim the same north, degrees.
const SAME_NORTH_SLACK_DEG: f64 = 0.6;

/// Variations smaller than this cannot be told from an offset, degrees.
const SMALL_VARIATION_DEG: f64 = 2.5;

/// How two headings relate.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Relation {
    Constant,
    Variation,
    Deviation,
    Lag,
    Echo,
    Unrelated,
}

impl Relation {
    const fn name(self) -> &'static str {
        match self {
            Self::Constant => "constant-offset",
            Self::Variation => "variation",
            Self::Deviation => "deviation",
            Self::Lag => "lag",
            Self::Echo => "echo",
            Self::Unrelated => "unrelated",
        }
    }
}

/// What the comparison of two headings found. Differences are second minus first.
struct Comparison {
    relation: Relation,
    median_deg: f64,
    p95_deg: f64,
    /// Seconds by which the second follows the first late; negative when the first is the late one.
    lag_s: f64,
    variation_deg: Option<f64>,
    /// A to E of the difference by the first one's heading, and what is left over (standard deviation).
    fit: Option<([f64; 5], f64)>,
    moments: usize,
    span: Span,
    turned: bool,
}

fn detect(evidence: &Evidence<'_>) -> Vec<Finding> {
    let books = evidence.books;
    pairs::pairs(evidence, "heading")
        .into_iter()
        .filter_map(|(a, b)| {
            let comparison = compare(books, a, b)?;
            let late_first =
                matches!(comparison.relation, Relation::Lag | Relation::Echo) && comparison.lag_s < 0.0;
            if late_first {
                let turned_round = compare(books, b, a)?;
                Some(finding(books, b, a, &turned_round))
            } else {
                Some(finding(books, a, b, &comparison))
            }
        })
        .collect()
}

fn compare(books: &Books, a: &Source, b: &Source) -> Option<Comparison> {
    let first = Curve::new(a.track.samples(), true);
    let second = Curve::new(b.track.samples(), true);
    let step = (second.samples().len() / MAX_MOMENTS).max(1);
    let moments: Vec<Sample> =
        second.samples().iter().step_by(step).copied().filter(|s| first.at(s.time).is_some()).collect();
    if moments.len() < 10 {
        return None;
    }
    let span = Span::new(moments.first()?.time, moments.last()?.time);
    let difference = |lag: f64, out: &mut Vec<f64>| {
        out.clear();
        out.extend(moments.iter().filter_map(|s| Some(wrap_180(s.a - first.at(s.time.plus(-lag))?))));
    };
    let mut now = Vec::new();
    difference(0.0, &mut now);
    let middle = circular_median(&now);
    let median_deg = middle;
    let mut sizes: Vec<f64> = now.iter().map(|d| d.abs()).collect();
    let p95_deg = pairs::quantile(&mut sizes, 0.95)?;
    let variation_deg = variation(books, a, b, span);
    let turned = turned(&first);

    let tolerance = (resolution(&first).max(resolution(&second)) * 0.6, f64::INFINITY);
    let echo = pairs::echo_delay(&first, &second, tolerance)
        .or_else(|| pairs::echo_delay(&second, &first, tolerance).map(|delay| -delay));
    let mut comparison = Comparison {
        relation: Relation::Constant,
        median_deg,
        p95_deg,
        lag_s: 0.0,
        variation_deg,
        fit: None,
        moments: moments.len(),
        span,
        turned,
    };
    if let Some(delay) = echo {
        comparison.relation = Relation::Echo;
        comparison.lag_s = delay;
        return Some(comparison);
    }
    let still = rest(&now, middle);
    let (lag_s, lag_rest) = best_lag(&mut |lag, out| difference(lag, out));
    let heading_of = |s: &Sample| first.at(s.time);
    let fit = deviation_fit(&moments, &now, heading_of, middle);
    comparison.fit = fit;
    comparison.lag_s = lag_s;
    let fit_rest = fit.map_or(f64::INFINITY, |(_, rest)| rest);
    let both_rest = {
        let mut shifted = Vec::new();
        difference(lag_s, &mut shifted);
        if shifted.len() == now.len() {
            let middle = circular_median(&shifted);
            deviation_fit(&moments, &shifted, heading_of, middle).map_or(f64::INFINITY, |(_, rest)| rest)
        } else {
            f64::INFINITY
        }
    };
    let explained = lag_rest.min(fit_rest).min(both_rest);
    let swing = fit.map_or(0.0, |(k, _)| swing(&k));
    comparison.relation = if still <= 1.5 && swing < 2.5 {
        steady(a, b, &comparison)
    } else if lag_s.abs() >= 0.25 && lag_rest < 0.6 * still && lag_rest <= fit_rest {
        Relation::Lag
    } else if fit_rest < 0.6 * still && fit_rest < 6.0 {
        Relation::Deviation
    } else if both_rest < 0.6 * still && both_rest < 6.0 {
        if swing > 3.0 { Relation::Deviation } else { Relation::Lag }
    } else if still <= 4.0 && explained > 0.7 * still {
        steady(a, b, &comparison)
    } else {
        Relation::Unrelated
    };
    if comparison.relation != Relation::Lag {
        comparison.lag_s = 0.0;
    }
    Some(comparison)
}

/// What a steady difference is: the variation, or an offset of one of the two.
///
/// Where one source says true and the other magnetic, the difference between the norths is what to expect. Where both
/// claim the same north, one may still send the other; that is believed only when the difference is the variation to
/// within half a degree or so, and never of HDG, which carries a magnetic sensor's heading by definition (IEC 61162-1).
fn steady(a: &Source, b: &Source, comparison: &Comparison) -> Relation {
    let Some(variation) = comparison.variation_deg.filter(|v| v.abs() >= SMALL_VARIATION_DEG) else {
        return Relation::Constant;
    };
    let from_size = (comparison.median_deg.abs() - variation.abs()).abs();
    let by_definition = |s: &Source| s.key.message.to_string().ends_with("HDG");
    let believed = match (a.key.reference, b.key.reference) {
        (Some("magnetic"), Some("true")) => (comparison.median_deg - variation).abs() <= VARIATION_SLACK_DEG,
        (Some("true"), Some("magnetic")) => (comparison.median_deg + variation).abs() <= VARIATION_SLACK_DEG,
        (Some(_), Some(_)) => from_size <= SAME_NORTH_SLACK_DEG && !(by_definition(a) && by_definition(b)),
        _ => from_size <= VARIATION_SLACK_DEG,
    };
    if believed { Relation::Variation } else { Relation::Constant }
}

/// The median of angles, taken around their mean direction.
fn circular_median(angles: &[f64]) -> f64 {
    let (s, c) =
        angles.iter().fold((0.0, 0.0), |(s, c), d| (s + d.to_radians().sin(), c + d.to_radians().cos()));
    let centre = s.atan2(c).to_degrees();
    let mut around: Vec<f64> = angles.iter().map(|d| wrap_180(d - centre)).collect();
    wrap_180(centre + pairs::median(&mut around).unwrap_or(0.0))
}

/// How far the values scatter around `middle`: a spread that a few wild values do not move (from the quartiles).
fn rest(differences: &[f64], middle: f64) -> f64 {
    let mut sizes: Vec<f64> = differences.iter().map(|d| wrap_180(d - middle).abs()).collect();
    // Half of a normal distribution lies within 0.6745 standard deviations, 90 % within 1.645.
    let half = pairs::quantile(&mut sizes, 0.5).unwrap_or(0.0) / 0.6745;
    let most = pairs::quantile(&mut sizes, 0.9).unwrap_or(0.0) / 1.645;
    half.max(most)
}

/// The lag that leaves the least scatter, and that scatter. Source: the difference of a late sensor is its lag times the
/// turn rate; moving its values back by the lag takes the difference away.
fn best_lag(difference: &mut dyn FnMut(f64, &mut Vec<f64>)) -> (f64, f64) {
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
    difference(best.0, &mut values);
    let middle = circular_median(&values);
    (best.0, rest(&values, middle))
}

/// Fits the difference as A + B sin z + C cos z + D sin 2z + E cos 2z over the first one's heading z, and gives the
/// coefficients with the scatter that is left.
///
/// `None` unless the headings fill six of eight sectors. Source: Handbook of Magnetic Compass Adjustment (National
/// Geospatial-Intelligence Agency), chapters III and V; least squares by QR.
fn deviation_fit(
    moments: &[Sample],
    differences: &[f64],
    heading: impl Fn(&Sample) -> Option<f64>,
    middle: f64,
) -> Option<([f64; 5], f64)> {
    let rows: Vec<(f64, f64)> = moments
        .iter()
        .zip(differences)
        .filter_map(|(s, d)| Some((heading(s)?.to_radians(), wrap_180(d - middle))))
        .collect();
    let mut sectors = [0_usize; 8];
    for (z, _) in &rows {
        let sector = (z.to_degrees().rem_euclid(360.0) / 45.0) as usize;
        if let Some(n) = sectors.get_mut(sector) {
            *n += 1;
        }
    }
    let enough = (rows.len() / 200).max(3);
    if sectors.iter().filter(|n| **n >= enough).count() < 6 {
        return None;
    }
    let terms = |z: f64| [1.0, z.sin(), z.cos(), (2.0 * z).sin(), (2.0 * z).cos()];
    let weight: Vec<f64> = rows
        .iter()
        .map(|(z, _)| {
            let sector = (z.to_degrees().rem_euclid(360.0) / 45.0) as usize;
            // Every sector counts alike, however long the boat stayed on it.
            1.0 / (sectors.get(sector).copied().unwrap_or(1).max(1) as f64).sqrt()
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
    Some((k, scatter))
}

/// Half of the way between the fit's largest and smallest value, degrees.
fn swing(k: &[f64; 5]) -> f64 {
    let [_, b, c, d, e] = *k;
    let values = (0..72).map(|i| {
        let z = f64::from(i * 5).to_radians();
        b * z.sin() + c * z.cos() + d * (2.0 * z).sin() + e * (2.0 * z).cos()
    });
    let (low, high) = values.fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), v| (l.min(v), h.max(v)));
    (high - low) / 2.0
}

/// Whether the boat turned through more than 60 degrees.
fn turned(curve: &Curve) -> bool {
    let Some(first) = curve.samples().first() else { return false };
    curve.samples().iter().any(|s| wrap_180(s.a - first.a).abs() > 60.0)
}

/// The smallest step between two different values of a curve, degrees, at most 1.
fn resolution(curve: &Curve) -> f64 {
    let mut steps: Vec<f64> = curve
        .samples()
        .windows(2)
        .filter_map(|w| Some(wrap_180(w.last()?.a - w.first()?.a).abs()))
        .filter(|d| *d > 1e-6)
        .collect();
    pairs::quantile(&mut steps, 0.02).unwrap_or(0.01).clamp(0.006, 1.0)
}

/// The variation where the boat is, degrees: by the World Magnetic Model when place and date are known and the model
/// covers them, else as the boat's own messages carry it.
fn variation(books: &Books, a: &Source, b: &Source, span: Span) -> Option<f64> {
    modelled_variation(books, span).or_else(|| {
        let mut carried: Vec<f64> = a
            .track
            .samples()
            .iter()
            .chain(b.track.samples())
            .map(|s| s.b)
            .chain(books.series.of("variation").flat_map(|s| s.track.samples().iter().map(|s| s.a)))
            .filter(|v| v.is_finite())
            .collect();
        pairs::median(&mut carried)
    })
}

/// The variation that turns a source's magnetic heading into a true one, degrees.
pub(super) fn variation_at_boat(books: &Books, source: &Source) -> Option<f64> {
    let (from, to) = source.values_from_to?;
    variation(books, source, source, Span::new(from, to))
}

fn modelled_variation(books: &Books, span: Span) -> Option<f64> {
    let place = books
        .series
        .of("position")
        .filter_map(|s| s.track.samples().iter().rev().find(|s| !s.a.is_nan()))
        .next()?;
    let (year, month, day) = civil(span.from.0.div_euclid(crate::time::DAY_US));
    let month = Month::try_from(u8::try_from(month).ok()?).ok()?;
    let date = Date::from_calendar_date(i32::try_from(year).ok()?, month, u8::try_from(day).ok()?).ok()?;
    let field = GeomagneticField::new(
        Length::new::<meter>(0.0),
        Angle::new::<degree>(place.a as f32),
        Angle::new::<degree>(place.b as f32),
        date,
    )
    .ok()?;
    Some(f64::from(field.declination().get::<degree>()))
}

fn finding(books: &Books, a: &Source, b: &Source, c: &Comparison) -> Finding {
    let severity = match c.relation {
        Relation::Echo => Severity::Note,
        _ if c.p95_deg > 3.0 => Severity::Fault,
        _ => Severity::Warning,
    };
    let (one, other) = (books.inventory.label(a.key.device), books.inventory.label(b.key.device));
    let size = number(c.median_deg.abs(), 1);
    let summary = match c.relation {
        Relation::Echo => format!("{other} repeats the heading of {one}"),
        Relation::Constant => format!("{one} and {other} both supply heading and differ by {size} deg"),
        Relation::Variation => {
            format!(
                "{one} and {other} both supply heading, one true and one magnetic: they differ by {size} deg"
            )
        }
        Relation::Lag => {
            format!(
                "{one} and {other} both supply heading; the second follows {} late",
                seconds(c.lag_s.abs())
            )
        }
        Relation::Deviation => format!(
            "{one} and {other} both supply heading; their difference swings with the course, up to {} deg",
            number(c.p95_deg, 1)
        ),
        Relation::Unrelated => {
            format!(
                "{one} and {other} both supply heading and do not agree, up to {} deg",
                number(c.p95_deg, 0)
            )
        }
    };
    let mut finding = Finding::new(severity, summary)
        .devices(pairs::devices(a, b))
        .messages([a.key.message.to_string(), b.key.message.to_string()])
        .spans([c.span])
        .real("median_difference_deg", c.median_deg)
        .real("p95_difference_deg", c.p95_deg)
        .text("relation", c.relation.name());
    for source in [a, b] {
        finding = finding.evidence(supply(books, source));
    }
    finding = finding.evidence(format!(
        "Difference, second minus first: {} in the middle, {} deg or less for 95 % of {} moments.",
        signed_deg(c.median_deg),
        number(c.p95_deg, 1),
        c.moments
    ));
    if let Some(v) = c.variation_deg {
        finding = finding.real("variation_expected_deg", v);
    }
    finding = match c.relation {
        Relation::Echo => finding
            .real("lag_s", c.lag_s)
            .evidence(format!("The second sends the first one's values again, {} later: one sensor, sent twice.", seconds(c.lag_s)))
            .check("Nothing is wrong with the values. Choose the sensor itself as the source where a display offers both."),
        Relation::Variation => finding
            .evidence(format!(
                "The magnetic variation here is {}: the difference is the one between true and magnetic north.",
                c.variation_deg.map(signed_deg).unwrap_or_default()
            ))
            .check("Set every display to the same north (all magnetic or all true), and choose one heading source on each."),
        Relation::Lag => finding
            .real("lag_s", c.lag_s)
            .evidence("The difference comes in turns only and goes when the second is moved back by its lag.")
            .check(format!("Lower the damping (smoothing) of {other}, or choose {one} as the only heading source.")),
        Relation::Deviation => {
            let mut finding = finding;
            if let Some(([ka, kb, kc, kd, ke], left)) = c.fit {
                finding = finding
                    .real("a", ka)
                    .real("b", kb)
                    .real("c", kc)
                    .real("d", kd)
                    .real("e", ke)
                    .evidence(format!(
                        "By heading z: {ka:+.1} {kb:+.1} sin z {kc:+.1} cos z {kd:+.1} sin 2z {ke:+.1} cos 2z deg, {left:.1} deg left over."
                    ));
            }
            finding
                .evidence("This alone does not tell which of the two is off; against course over ground it shows.")
                .check("Move loudspeakers, tools and current-carrying cables away from both sensors, then make the calibration turn of each.")
        }
        Relation::Constant => finding
            .evidence(if c.turned {
                "It stays the same on all courses and in turns: one is mounted or set askew."
            } else {
                "The boat hardly turned, so that only this course is known: a slow full circle would tell more."
            })
            .check(format!("Choose one heading source on every display, or switch the heading output of {other} or {one} off."))
            .check("Compare both with a known bearing and correct the offset of the one that is off."),
        Relation::Unrelated => finding
            .evidence("Neither an offset, nor a lag, nor a curve by heading explains the difference.")
            .check(format!("Choose one heading source on every display; test {one} and {other} one at a time, the other unplugged.")),
    };
    finding
}

/// One line on a source: who, which north, how often, how much of it valid.
fn supply(books: &Books, source: &Source) -> String {
    let rate = books
        .timing
        .get(source.key.device, source.key.message)
        .and_then(|s| s.median_s())
        .filter(|s| *s > 0.0)
        .map(|s| format!("{} a second, ", number(1.0 / s, 1)))
        .unwrap_or_default();
    format!(
        "{}: {} heading in {}, {rate}{} of {} with a value.",
        books.inventory.label(source.key.device),
        source.key.reference.unwrap_or("unstated north"),
        source.key.message,
        percent(source.valid as f64 / source.count.max(1) as f64),
        source.count
    )
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
        let (k, rest) = deviation_fit(&moments, &differences, |s| Some(s.a), 0.0).unwrap();
        for (got, want) in k.iter().zip([1.0, 11.939_697, 7.959_798, 5.0, 1.5]) {
            assert!((got - want).abs() < 1e-5, "{got} for {want}");
        }
        assert!(rest < 0.1);
        assert!(deviation_fit(&moments[..3], &differences[..3], |s| Some(s.a), 0.0).is_none());
    }

    /// Official WMM2025 test values of NOAA NCEI / BGS, height 0 (worked examples, section 1), and WMM2020's.
    #[test]
    fn declinations_of_the_world_magnetic_model() {
        for (year, lat, lon, want) in [
            (2025, 80.0, 0.0, 1.28),
            (2025, 0.0, 120.0, -0.16),
            (2025, -80.0, -120.0, 68.78),
            (2020, 80.0, 0.0, -1.28),
        ] {
            let mut books = Books::default();
            let at = crate::units::Place::new(lat, lon).unwrap();
            let reading = crate::messages::Reading::Position { at: Ok(at), satellites: None, hdop: None };
            let days = crate::time::days_from_civil(year, 1, 1).unwrap();
            let time = Time(days * crate::time::DAY_US);
            let message = crate::books::timing::Message::Pgn(129_025);
            books.series.reading(crate::books::inventory::DeviceId(0), message, Some(time), &reading);
            let got = modelled_variation(&books, Span::new(time, time)).unwrap();
            assert!((got - want).abs() < 0.02, "{got} for {want}");
        }
    }
}
