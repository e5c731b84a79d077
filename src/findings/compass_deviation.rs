//! Against course over ground, a heading's error swings with the heading.

use super::course_error::{CourseError, course_error};
use super::duplicate_heading_source as duplicate;
use super::heading_misaligned::LEFT_DEG;
use super::words::number;
use super::{Detector, Doc, Evidence, Finding, pairs};
use crate::books::series::Source;
use crate::report::model::Severity;

pub(super) const DETECTOR: Detector = Detector {
    doc: Doc {
        kind: "compass-deviation",
        severity: "warning",
        meaning: "The heading is right on some courses and wrong on others: iron or current near the sensor bends the earth's field. \
                  The chart turns by another angle on every course, and heading control wanders.",
        detection: "Under way at over 3 kn on steady courses and in even turns, in at least four of eight sectors, heading and course \
                    over ground are compared. The error is fitted as A + B sin z + C cos z + D sin 2z + E cos 2z over the heading z, \
                    together with a current and, where there is a log, its calibration. Speeds that differ, or the \
                    log, part deviation from current; where neither does, nothing is said. The swing is 5 degrees or more.",
        lookalikes: "A current pushes by an angle that also swings with the course, but less at speed, and shows in the log; so \
                     does the wind, which is why nothing is said of a boat that stays under 4.5 kn. The same error on every course is heading-misaligned.",
        checks: "Look what stands near the sensor: loudspeakers, tools, anchors, motors, cables with heavy current. Move the sensor or \
                 those things by a metre, then make the sensor's calibration turn: slowly, in still water, away from steel.",
        cautions: "Make the calibration turn in open water with a look-out. Take autopilot and bow motor out of heading control first.",
    },
    complaints: &["heading-jumps"],
    detect,
};

/// A smaller swing is what a sensor keeps after calibration (2 to 3 degrees, worked examples of compass adjustment),
/// doubled for what the comparison itself adds.
const LARGE_DEG: f64 = 5.0;

/// The swing must be surely over this, two standard deviations, degrees.
const SURE_DEG: f64 = 2.5;

/// Sectors of eight that must be steered. The usual rule is six (worked examples, section 2), and four courses tell five
/// coefficients only with what is known of compasses; the margin of the fit tells whether they are spread well enough.
const SECTORS: usize = 4;

fn detect(evidence: &Evidence<'_>) -> Vec<Finding> {
    let told = duplicate::told(evidence);
    pairs::main_sources(evidence, "heading")
        .into_iter()
        .filter(|source| !told.contains(&source.key.device))
        .filter_map(|source| Some((source, course_error(evidence, source)?)))
        .filter(|(_, e)| swings(e))
        .map(|(source, e)| finding(evidence, source, &e))
        .collect()
}

/// A boat that goes no faster is set by the wind as far as by a compass, knots (common practice, no source).
const SLOW_KN: f64 = 4.5;

/// Whether the error swings with the heading.
pub(super) fn swings(e: &CourseError) -> bool {
    let sure = |swing: f64, sd: f64| swing >= LARGE_DEG && swing - 2.0 * sd >= SURE_DEG;
    let (twice_round, its_sd) = e.twice_round;
    e.fast_kn >= SLOW_KN
        && e.sectors >= SECTORS
        && (sure(e.swing, e.swing_sd) || sure(twice_round, its_sd))
        && e.left <= LEFT_DEG
}

/// A swing of so much would surely be told, degrees.
pub(super) fn surely_deg(e: &CourseError) -> Option<f64> {
    let known = e.fast_kn >= SLOW_KN && e.sectors >= SECTORS && e.left <= LEFT_DEG;
    known.then(|| 2.0f64.mul_add(e.swing_sd, LARGE_DEG.max(2.0f64.mul_add(e.swing_sd, SURE_DEG))))
}

fn finding(evidence: &Evidence<'_>, source: &Source, e: &CourseError) -> Finding {
    let [a, b, c, d, e2] = e.k;
    let who = evidence.books.inventory.label(source.key.device);
    Finding::new(
        Severity::Warning,
        format!("The heading of {who} is off by an angle that swings with the course, up to {} deg", number(e.largest, 0)),
    )
    .devices([source.key.device])
    .messages([source.key.message.to_string()])
    .spans([e.span])
    .real("a", a)
    .real("b", b)
    .real("c", c)
    .real("d", d)
    .real("e", e2)
    .real("largest_deg", e.largest)
    .evidence(format!(
        "To add on heading z, by course over ground: {a:+.1} {b:+.1} sin z {c:+.1} cos z {d:+.1} sin 2z {e2:+.1} cos 2z deg."
    ))
    .evidence(format!("{}.", e.words()))
    .check(format!("Look for iron, loudspeakers and heavy-current cables within a metre of the sensor of {who}, and move them or it."))
    .check("Then make the sensor's calibration turn, slowly, in open and still water, and record the courses again.")
}

#[cfg(test)]
mod tests {
    use super::super::fixture::{Boat, kinds, noise};
    use super::*;

    /// Eight courses, slow and fast in turn; the compass reads too little by `error(its reading)`.
    fn boat(sectors: usize, error: impl Fn(f64) -> f64, current_east: f64) -> Boat {
        let mut boat = Boat::default();
        for leg in 0..sectors * 2 {
            let (deg, kn) = (leg as f64 * 22.5 + 10.0, if leg % 2 == 0 { 6.0 } else { 20.0 });
            for i in 0..40_i64 {
                let t = leg as f64 * 30.0 + i as f64 / 2.0;
                let heading = deg + noise(i + 1000 * leg as i64);
                let (x, y) =
                    (kn * heading.to_radians().sin() + current_east, kn * heading.to_radians().cos());
                boat.ground(1, t, x.atan2(y).to_degrees(), x.hypot(y));
                let z = (0..20).fold(heading, |z, _| heading - error(z));
                boat.heading(2, t, z);
            }
        }
        boat
    }

    #[test]
    fn a_swinging_error_is_found_beside_a_current() {
        let curve = |z: f64| 9.0 * z.to_radians().sin() + 4.0 * z.to_radians().cos();
        let found = detect(&boat(8, curve, 0.8).evidence());
        assert_eq!(kinds(&found), [(Severity::Warning, vec![2])]);
        let crate::report::model::Number::Real(b) = found[0].numbers["b"] else { panic!("a number") };
        assert!((b - 9.0).abs() < 1.0, "{b}");
    }

    /// A heading that jumps away for seconds, and is true otherwise, swings with no heading: its jumps are told.
    #[test]
    fn stretches_between_two_jumps_tell_nothing() {
        let found = |off_deg: f64| {
            let mut boat = Boat::default();
            for tenth in 0..3000_i64 {
                let t = tenth as f64 / 10.0;
                let deg = 60.0 * (t / 60.0).floor() + 20.0;
                let off = if t % 60.0 > 20.0 && t % 60.0 < 32.0 && t > 60.0 { off_deg } else { 0.0 };
                boat.ground(1, t, deg + noise(tenth), 8.0);
                boat.heading(2, t + 0.03, deg + off + 0.5 * noise(tenth + 7));
            }
            detect(&boat.evidence()).len()
                + (super::super::heading_misaligned::DETECTOR.detect)(&boat.evidence()).len()
        };
        assert_eq!(found(70.0), 0);
    }

    /// At one speed and without a log: what goes once round with the heading may be a current, what goes twice round may not.
    #[test]
    fn what_goes_twice_round_is_no_current() {
        let at_one_speed = |error: &dyn Fn(f64) -> f64| {
            let mut boat = Boat::default();
            for leg in 0..16 {
                for i in 0..40_i64 {
                    let t = leg as f64 * 30.0 + i as f64 / 2.0;
                    let heading = leg as f64 * 22.5 + 10.0 + noise(i + 1000 * leg);
                    boat.ground(1, t, heading, 8.0);
                    boat.heading(2, t, (0..20).fold(heading, |z, _| heading - error(z)));
                }
            }
            detect(&boat.evidence()).len()
        };
        assert_eq!(at_one_speed(&|z| 7.0 * (2.0 * z).to_radians().sin()), 1);
        assert_eq!(at_one_speed(&|z| 7.0 * z.to_radians().sin()), 0);
    }

    /// A display that finds no log sends the speed over ground in its place: with that, a current would look like deviation.
    #[test]
    fn a_log_that_is_the_speed_over_ground_tells_nothing() {
        let with_log = |log: &dyn Fn(f64, f64) -> f64| {
            let mut boat = Boat::default();
            for leg in 0..16 {
                for i in 0..40_i64 {
                    let t = leg as f64 * 30.0 + i as f64 / 2.0;
                    let heading = leg as f64 * 22.5 + 10.0 + noise(i + 1000 * leg);
                    let (x, y) = (8.0 * heading.to_radians().sin() + 1.2, 8.0 * heading.to_radians().cos());
                    let ground = x.hypot(y);
                    boat.ground(1, t, x.atan2(y).to_degrees(), ground);
                    boat.heading(2, t, heading);
                    let kn = Ok(log(ground, 8.0 + 0.15 * noise(i)));
                    boat.say(3, 128_259, t, &crate::messages::Reading::WaterSpeed { kn });
                }
            }
            detect(&boat.evidence()).len()
        };
        assert_eq!(with_log(&|ground, _| (ground * 10.0).round() / 10.0), 0);
        assert_eq!(with_log(&|_, water| water), 0);
    }

    #[test]
    fn a_current_an_offset_and_half_a_circle_are_none() {
        assert!(detect(&boat(8, |_| 0.0, 2.0).evidence()).is_empty());
        assert!(detect(&boat(8, |_| 9.0, 0.0).evidence()).is_empty());
        assert!(detect(&boat(4, |z| 9.0 * z.to_radians().sin(), 0.0).evidence()).is_empty());
    }
}
