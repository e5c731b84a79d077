//! A heading against the course over ground: how much of the difference is the compass, and how much the current.
//!
//! The vector over ground is the boat's way through the water, along the true heading, plus the current. Across the
//! heading that leaves, for each moment, speed times the sine of (course - heading - error) = the current's part across;
//! along it, where there is a log, the difference of the two speeds = the current's part along. A compass's error is the
//! same whatever way the current sets; a current of fixed direction pushes to port on one course and to starboard on the
//! reverse, by less the faster the boat is. All of it is fitted together by least squares; what the recording cannot part
//! keeps a wide margin, and the detectors stay quiet. Leeway by wind, which also has a fixed direction, goes with the
//! current. In a turn the course comes late, for receivers smooth it, and the bow points into the turn: both grow with
//! the rate of turn, so that even turns tell as well, with a delay fitted along.

use super::ahead::{ahead, fast_kn};
use super::deviation::{circular_median, rest, swing};
use super::even_turn::{STEADY_S, Turn};
use super::motion::UNDER_WAY_KN;
use super::pairs::{self, Curve};
use super::steered::Steered;
use super::steps_of::astray;
use super::variation::variation_at_boat;
use super::{Evidence, position_frozen, two_in_turn};
use crate::books::series::Source;
use crate::time::{Span, Time};
use crate::units::wrap_180;
use nalgebra::{DMatrix, DVector};

/// Parameters: A to E in radians, the current to the east and to the north in knots, the log's factor less one, the delay of the
/// course in turns in seconds.
const PARAMETERS: usize = 9;

/// What is known before looking, as standard deviations: A of a sensor mounted anyhow; B and C of a compass near iron; D
/// and E of soft iron; a current; the error of a log that was never calibrated; how late a receiver's course comes (all common
/// practice, no source).
const BEFORE: [f64; PARAMETERS] = [0.5, 0.25, 0.25, 0.07, 0.07, 1.5, 1.5, 0.15, 2.0];

/// Moments further apart than this count, seconds.
const EVERY_S: f64 = 0.9;

/// The share of turns to the other side that tells how late the course comes.
const OTHER_WAY: f64 = 0.2;

/// What a turn adds to the noise of the course: a share of what the boat turns in a second.
const NOISE_OF_TURN: f64 = 0.3;

/// Noise of one moment across and along the heading: knots, and share of the speed (waves, helm, receiver).
const NOISE_KN: f64 = 0.2;
const NOISE_SHARE: f64 = 0.02;

/// Neighbouring moments share their errors: so many count as one.
const ALIKE: f64 = 10.0;

/// A fit that needs more current than this, knots, or a log further off than by this share, explains nothing.
const MOST_CURRENT_KN: f64 = 5.0;
const MOST_LOG_SHARE: f64 = 0.35;

/// A log that is so near the speed over ground for so much of the time is no log: half of a tenth of a knot, and what
/// turning knots into other units and back adds.
const LAST_DIGIT_KN: f64 = 0.06;
const COPIED: f64 = 0.95;

/// Two receivers' courses must give the same mean error to within this, degrees, or one of them is not the boat's.
const RECEIVERS_DEG: f64 = 3.0;

/// Steps of the fit; it is nearly linear.
const STEPS: usize = 6;

/// Sectors of 45 degrees count from so many moments on.
const SECTOR_MOMENTS: usize = 4;

/// One moment under way on a steady course.
struct Moment {
    time: Time,
    /// The heading as the sensor gives it, radians.
    compass: f64,
    /// What makes it a true one, radians.
    variation: f64,
    /// True course over ground, radians.
    course: f64,
    /// Knots over ground.
    speed: f64,
    /// Knots through the water.
    log: Option<f64>,
    /// Rate of turn, radians a second.
    rate: f64,
    /// Whether the boat is in a turn.
    turns: bool,
}

/// The error of a heading; add it to the sensor's reading to correct it.
#[derive(Debug, Clone, Copy)]
pub(super) struct CourseError {
    /// A to E, degrees.
    pub(super) k: [f64; 5],
    /// Standard deviation of A, degrees.
    pub(super) a_sd: f64,
    /// Standard deviation of B and of C, the larger, degrees.
    pub(super) swing_sd: f64,
    /// Half of the way from the smallest to the largest error, degrees.
    pub(super) swing: f64,
    /// The part of it that goes twice round with the heading (D and E), and its standard deviation, degrees: no current does
    /// that, so that it is known without a log too.
    pub(super) twice_round: (f64, f64),
    /// Largest error on any heading, degrees.
    pub(super) largest: f64,
    /// What is left between heading and course, standard deviation in degrees.
    pub(super) left: f64,
    /// The current that fits with it: knots, and true degrees where it sets.
    pub(super) current: (f64, f64),
    /// How many of the eight sectors were steered, one course counting once.
    pub(super) sectors: usize,
    /// Whether two of them are reverse courses, on which no current makes the same error.
    pub(super) reversed: bool,
    pub(super) moments: usize,
    /// One moment in ten is faster, knots.
    pub(super) fast_kn: f64,
    pub(super) span: Span,
}

impl CourseError {
    /// `1200 moments at over 3 kn on steady courses and in even turns, in 6 of 8 sectors, ...`.
    pub(super) fn words(&self) -> String {
        format!(
            "{} moments at over {UNDER_WAY_KN:.0} kn on steady courses and in even turns, in {} of 8 sectors, {:.1} deg left over; a current of {:.1} kn to {:.0} deg is allowed for",
            self.moments, self.sectors, self.left, self.current.0, self.current.1
        )
    }
}

/// Compares a heading with the course over ground, by every receiver that gives one.
///
/// `None` with fewer than three sectors, without course, without variation where one is needed, when no error, current and
/// log together explain the course, when the courses of two receivers do not agree, and when the heading is that of two
/// sensors.
pub(super) fn course_error(evidence: &Evidence<'_>, heading: &Source) -> Option<CourseError> {
    let known = evidence.course_errors.borrow().iter().find(|(key, _)| *key == heading.key).map(|(_, e)| *e);
    known.unwrap_or_else(|| {
        let error = found(evidence, heading);
        evidence.course_errors.borrow_mut().push((heading.key, error));
        error
    })
}

fn found(evidence: &Evidence<'_>, heading: &Source) -> Option<CourseError> {
    if two_in_turn::is_mixed(evidence, heading) {
        return None;
    }
    let grounds = pairs::main_sources(evidence, "course-and-speed-over-ground");
    let mut errors: Vec<CourseError> =
        grounds.iter().filter_map(|g| by_ground(evidence, heading, g)).collect();
    errors.sort_by_key(|e| std::cmp::Reverse(e.moments));
    let mut errors = errors.into_iter();
    let best = errors.next()?;
    let [mean, ..] = best.k;
    let agrees = |e: CourseError| {
        let [other, ..] = e.k;
        wrap_180(other - mean).abs() <= RECEIVERS_DEG
    };
    errors.all(agrees).then_some(best)
}

fn by_ground(evidence: &Evidence<'_>, heading: &Source, ground: &Source) -> Option<CourseError> {
    let moments = moments(evidence, heading, ground)?;
    let span = Span::new(moments.first()?.time, moments.last()?.time);
    let steered = moments.iter().map(|m| m.compass.to_degrees()).collect::<Steered>();
    let steered = steered.sectors(SECTOR_MOMENTS);
    let (sectors, reversed) = (steered.courses(), steered.are_reversed());
    if sectors < 3 {
        return None;
    }
    let (theta, sd) = fit(&moments)?;
    let mut k = [0.0; 5];
    k.iter_mut().zip(theta.iter()).for_each(|(to, from)| *to = from.to_degrees());
    let angle = |m: &Moment| (across(m, &theta) / m.speed).clamp(-1.0, 1.0).asin().to_degrees();
    let left = rest(&moments.iter().map(angle).collect::<Vec<_>>(), 0.0);
    // Where more is left over than was taken for noise, the margins are wider.
    let apart = |m: &Moment| (across(m, &theta) / noise(m)).powi(2).min(100.0);
    let wider = (moments.iter().map(apart).sum::<f64>() / moments.len() as f64).sqrt().max(1.0);
    let largest =
        (0..72).map(|i| error(&theta, f64::from(i * 5).to_radians()).to_degrees().abs()).fold(0.0, f64::max);
    let (east, north) = (get(&theta, 5), get(&theta, 6));
    let current = (east.hypot(north), crate::units::wrap_360(east.atan2(north).to_degrees()));
    if current.0 > MOST_CURRENT_KN || get(&theta, 7).abs() > MOST_LOG_SHARE {
        return None;
    }
    let swing = swing(&k);
    let [a, _, _, d, e] = &mut k;
    *a = wrap_180(*a);
    let twice_round = (d.hypot(*e), get(&sd, 3).max(get(&sd, 4)).to_degrees() * wider);
    Some(CourseError {
        k,
        a_sd: get(&sd, 0).to_degrees() * wider,
        swing_sd: get(&sd, 1).max(get(&sd, 2)).to_degrees() * wider,
        swing,
        twice_round,
        largest,
        left,
        current,
        sectors,
        reversed,
        moments: moments.len(),
        fast_kn: fast_kn(&moments, |m| m.speed),
        span,
    })
}

fn moments(evidence: &Evidence<'_>, heading: &Source, ground: &Source) -> Option<Vec<Moment>> {
    let log = pairs::main_sources(evidence, "speed-through-water").into_iter().max_by_key(|s| s.valid);
    let log = log.map(|s| Curve::new(s.track.samples(), false));
    let magnetic = |s: &Source| s.key.reference == Some("magnetic");
    heading.key.reference?;
    let variation =
        if magnetic(heading) || magnetic(ground) { variation_at_boat(evidence.books, heading)? } else { 0.0 };
    let (heading_by, course_by) =
        (if magnetic(heading) { variation } else { 0.0 }, if magnetic(ground) { variation } else { 0.0 });
    let compass = Curve::new(heading.track.samples(), true);
    let course = Curve::new(ground.track.samples(), true);
    let untrue: Vec<Span> = astray(evidence, heading).into_iter().chain(hung(evidence, ground)).collect();
    let mut moments: Vec<Moment> = Vec::new();
    let mut last = None;
    for s in course.samples() {
        if last.is_some_and(|l| s.time.since(l) < EVERY_S) || s.b.is_nan() || s.b < UNDER_WAY_KN {
            continue;
        }
        if untrue.iter().any(|span| span.from <= s.time && s.time <= span.to.plus(STEADY_S)) {
            continue;
        }
        let Some(now) = compass.at(s.time) else { continue };
        let (Some(heading), Some(ground)) = (Turn::at(&compass, s.time, now), Turn::at(&course, s.time, s.a))
        else {
            continue;
        };
        let is_straight = heading.is_straight() && ground.is_straight();
        if !is_straight && !heading.is_even_as(&ground) {
            continue;
        }
        last = Some(s.time);
        moments.push(Moment {
            time: s.time,
            compass: now.to_radians(),
            variation: heading_by.to_radians(),
            course: (s.a + course_by).to_radians(),
            speed: s.b,
            // A paddle wheel that stands still or is fouled tells nothing.
            log: log.as_ref().and_then(|c| c.at(s.time)).filter(|kn| *kn > UNDER_WAY_KN / 2.0),
            rate: heading.rate().to_radians(),
            turns: !is_straight,
        });
    }
    // What comes late in turns to one side alone cannot be told from a sensor that sits askew.
    if !turns_both_ways(&moments) {
        moments.retain(|m| !m.turns);
    }
    let off = |m: &Moment| wrap_180((m.course - m.compass - m.variation).to_degrees());
    let mut moments = ahead(moments, off, |m| m.speed);
    if is_copied(&moments) {
        moments.iter_mut().for_each(|m| m.log = None);
    }
    Some(moments)
}

/// When the receiver that gives a course held its place: with it, it holds the course.
fn hung(evidence: &Evidence<'_>, ground: &Source) -> Vec<Span> {
    let places = evidence.books.series.of("position").filter(|s| s.key.device == ground.key.device);
    places.flat_map(|place| position_frozen::stands(evidence, place)).collect()
}

/// Whether the boat turned to either side for a good part of its turns.
fn turns_both_ways(moments: &[Moment]) -> bool {
    let turns = moments.iter().filter(|m| m.turns);
    let (left, all) =
        turns.fold((0_usize, 0_usize), |(left, all), m| (left + usize::from(m.rate < 0.0), all + 1));
    left.min(all - left) as f64 >= OTHER_WAY * all as f64
}

/// Whether the log is the speed over ground under another name: a display that finds no log may send that. It knows nothing
/// of a current. A log of its own differs by more than rounding, in still water too.
fn is_copied(moments: &[Moment]) -> bool {
    let logged = moments.iter().filter_map(|m| Some((m.log?, m.speed)));
    let (all, alike) = logged.fold((0_usize, 0_usize), |(all, alike), (log, speed)| {
        (all + 1, alike + usize::from((log - speed).abs() <= LAST_DIGIT_KN))
    });
    alike as f64 >= COPIED * all as f64
}

fn get(v: &DVector<f64>, i: usize) -> f64 {
    v.get(i).copied().unwrap_or(0.0)
}

fn terms(z: f64) -> [f64; 5] {
    [1.0, z.sin(), z.cos(), (2.0 * z).sin(), (2.0 * z).cos()]
}

/// The compass's error on heading `z`, radians.
fn error(theta: &DVector<f64>, z: f64) -> f64 {
    terms(z).iter().zip(theta.iter()).map(|(t, k)| t * k).sum()
}

/// What one moment may be off across and along the heading, knots.
fn noise(m: &Moment) -> f64 {
    NOISE_KN + (NOISE_SHARE + NOISE_OF_TURN * m.rate.abs()) * m.speed
}

/// From the heading to the course, as it would be if the course came at once, radians.
fn drift(m: &Moment, psi: f64, theta: &DVector<f64>) -> f64 {
    m.course + m.rate * get(theta, 8) - psi
}

/// What the fit leaves across the heading, knots.
fn across(m: &Moment, theta: &DVector<f64>) -> f64 {
    let psi = m.compass + m.variation + error(theta, m.compass);
    m.speed * drift(m, psi, theta).sin() - (get(theta, 5) * psi.cos() - get(theta, 6) * psi.sin())
}

/// Parameters and their standard deviations: least squares with what is known before, Gauss and Newton's steps.
fn fit(moments: &[Moment]) -> Option<(DVector<f64>, DVector<f64>)> {
    let mut theta = DVector::zeros(PARAMETERS);
    // A sensor may be mounted any way round: begin in the middle of the differences.
    let differences: Vec<f64> =
        moments.iter().map(|m| wrap_180((m.course - m.compass - m.variation).to_degrees())).collect();
    let middle = circular_median(&differences).to_radians();
    theta.iter_mut().take(1).for_each(|a| *a = middle);
    let mut covariance = None;
    for _ in 0..STEPS {
        let mut normal = DMatrix::<f64>::zeros(PARAMETERS, PARAMETERS);
        let mut right = DVector::<f64>::zeros(PARAMETERS);
        for (i, sd) in BEFORE.iter().enumerate() {
            let weight = sd.powi(-2);
            // What is known of A is that it is anything: it counts from the middle.
            let known = if i == 0 { middle } else { 0.0 };
            if let (Some(n), Some(r)) = (normal.get_mut((i, i)), right.get_mut(i)) {
                *n += weight;
                *r += weight * (known - get(&theta, i));
            }
        }
        for m in moments {
            add(m, &theta, &mut normal, &mut right);
        }
        let inverse = normal.try_inverse()?;
        theta += &inverse * right;
        covariance = Some(inverse);
    }
    Some((theta, covariance?.diagonal().map(|v| v.max(0.0).sqrt())))
}

/// Adds one moment's equations.
fn add(m: &Moment, theta: &DVector<f64>, normal: &mut DMatrix<f64>, right: &mut DVector<f64>) {
    let psi = m.compass + m.variation + error(theta, m.compass);
    let (sin, cos) = psi.sin_cos();
    let (east, north) = (get(theta, 5), get(theta, 6));
    let along = m.speed * drift(m, psi, theta).cos() - (east * sin + north * cos);
    let left = across(m, theta);
    // Going astern, or a wild value: no say.
    if along < 0.0 {
        return;
    }
    let sd = noise(m);
    let by_error = |slope: f64| terms(m.compass).map(|t| t * slope);
    let mut equation = |residual: f64, [a, b, c, d, e]: [f64; 5], rest: [f64; 4]| {
        let [f, g, h, i] = rest;
        let row = DVector::from_vec(vec![a, b, c, d, e, f, g, h, i]);
        // Values far from the rest count less (Huber, 2.5 standard deviations).
        let far = (residual.abs() / sd / 2.5).max(1.0);
        let weight = 1.0 / (sd * sd * ALIKE * far);
        normal.ger(weight, &row, &row, 1.0);
        right.axpy(weight * residual, &row, 1.0);
    };
    // Residual = observed - model; its slope by a parameter turned round is the model's slope.
    equation(left, by_error(along), [cos, -sin, 0.0, -m.rate * along]);
    if let Some(log) = m.log {
        let factor = 1.0 + get(theta, 7);
        equation(along - factor * log, by_error(-left), [sin, cos, log, m.rate * left]);
    }
}

#[cfg(test)]
mod tests {
    use super::super::fixture::{Boat, noise as random};
    use super::*;

    /// Legs of 30 s on the courses given at the speed given; the compass reads wrong by `-error(heading)`.
    fn boat(
        legs: &[(f64, f64)],
        error: impl Fn(f64) -> f64,
        (east, north): (f64, f64),
        with_log: bool,
    ) -> Option<CourseError> {
        let mut boat = Boat::default();
        for (leg, (deg, kn)) in legs.iter().enumerate() {
            for i in 0..60_i64 {
                let t = leg as f64 * 40.0 + i as f64 / 2.0;
                let n = leg as i64 * 60 + i;
                let heading = deg + 0.8 * random(n);
                let (x, y) =
                    (kn * heading.to_radians().sin() + east, kn * heading.to_radians().cos() + north);
                boat.ground(1, t, x.atan2(y).to_degrees() + random(n + 7777), x.hypot(y));
                // The reading z solves z + error(z) = heading.
                let z = (0..20).fold(heading, |z, _| heading - error(z));
                boat.heading(2, t, z);
                if with_log {
                    let log = crate::messages::Reading::WaterSpeed { kn: Ok(kn * 0.95) };
                    boat.say(3, 128_259, t, &log);
                }
            }
        }
        let evidence = boat.evidence();
        let heading = boat.books.series.of("heading").next()?;
        course_error(&evidence, heading)
    }

    const ROUND: [(f64, f64); 8] = [
        (10.0, 6.0),
        (55.0, 18.0),
        (100.0, 6.0),
        (145.0, 18.0),
        (190.0, 6.0),
        (235.0, 18.0),
        (280.0, 6.0),
        (325.0, 18.0),
    ];

    #[test]
    fn an_offset_is_found_beside_a_current() {
        let e = boat(&ROUND, |_| -8.0, (1.0, -0.7), false).unwrap();
        assert!((e.k[0] + 8.0).abs() < 0.5 && e.a_sd < 1.0, "{} {}", e.k[0], e.a_sd);
        assert!(e.swing < 3.0, "{}", e.swing);
        assert!((e.current.0 - 1.22).abs() < 0.4, "{}", e.current.0);
    }

    #[test]
    fn a_sensor_mounted_back_to_front_is_found() {
        let e = boat(&ROUND, |_| 178.0, (0.0, 0.0), true).unwrap();
        assert!((e.k[0] - 178.0).abs() < 0.5, "{}", e.k[0]);
    }

    #[test]
    fn deviation_is_told_from_a_current_by_the_log() {
        let slow: Vec<(f64, f64)> = ROUND.iter().map(|(deg, _)| (*deg, 7.0)).collect();
        let curve = |z: f64| 10.0 * z.to_radians().sin() - 6.0 * z.to_radians().cos();
        let e = boat(&slow, curve, (0.5, 0.5), true).unwrap();
        assert!((e.k[1] - 10.0).abs() < 1.5 && (e.k[2] + 6.0).abs() < 1.5, "{:?}", e.k);
        let current = boat(&slow, |_| 0.0, (0.0, 1.5), true).unwrap();
        assert!(current.swing < 3.0, "{}", current.swing);
        // At one speed and without a log the two are alike: the margin says so.
        let unknown = boat(&slow, |_| 0.0, (0.0, 1.5), false).unwrap();
        assert!(unknown.swing_sd > 4.0 && unknown.a_sd < 1.5, "{} {}", unknown.swing_sd, unknown.a_sd);
    }

    /// Circles to one side at an even rate, the course two seconds late, give no offset; to both sides they tell a true one.
    #[test]
    fn circles_to_one_side_tell_nothing() {
        let circles = |both: bool, off: f64| {
            let mut boat = Boat::default();
            let mut deg: f64 = 0.0;
            for i in 0..1200_i64 {
                let rate = if both && i / 200 % 2 == 1 { -4.5 } else { 4.5 };
                deg += rate / 2.0;
                let t = i as f64 / 2.0;
                boat.ground(1, t, (deg - 2.0 * rate).rem_euclid(360.0) + random(i), 7.0);
                boat.heading(2, t, (deg - off).rem_euclid(360.0));
            }
            let evidence = boat.evidence();
            course_error(&evidence, boat.books.series.of("heading").next()?)
        };
        assert!(circles(false, 0.0).is_none());
        let e = circles(true, 12.0).unwrap();
        assert!((e.k[0] - 12.0).abs() < 1.0 && e.swing < 2.0, "{:?}", e.k);
    }

    #[test]
    fn a_course_of_a_receiver_that_hangs_is_none() {
        let mut boat = Boat::default();
        let (mut north, mut east, mut held) = (54.0, 10.0, None);
        for i in 0..960_i64 {
            let t = i as f64 / 2.0;
            let turned = ((i % 120) as f64 / 20.0).min(1.0);
            let deg = 45.0 * ((i / 120) as f64 + turned) + random(i);
            north += 8.0 / 7200.0 / 60.0 * deg.to_radians().cos();
            east += 8.0 / 7200.0 / 35.0 * deg.to_radians().sin();
            let told = if (300.0..400.0).contains(&t) {
                held.unwrap_or((north, east, deg))
            } else {
                (north, east, deg)
            };
            held = Some(told);
            let at = crate::units::Place::new(told.0, told.1).ok_or(crate::messages::Absent::Unusable);
            boat.say(1, 129_025, t, &crate::messages::Reading::Position { at, satellites: None, hdop: None });
            boat.ground(1, t, told.2, 8.0);
            boat.heading(2, t, deg + random(i + 4000));
        }
        let evidence = boat.evidence();
        let e = course_error(&evidence, boat.books.series.of("heading").next().unwrap()).unwrap();
        assert!(e.k[0].abs() < 1.0 && e.swing < 2.0, "{:?}", e.k);
    }

    #[test]
    fn two_courses_are_too_few() {
        assert!(boat(&[(10.0, 6.0), (100.0, 6.0)], |_| -8.0, (0.0, 0.0), false).is_none());
    }
}
