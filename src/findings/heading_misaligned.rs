//! Against course over ground, a heading is off by the same angle on all courses.

use super::course_error::{CourseError, course_error};
use super::duplicate_heading_source as duplicate;
use super::words::{number, signed_deg};
use super::{Detector, Doc, Evidence, Finding, compass_deviation, pairs};
use crate::books::series::Source;
use crate::report::model::Severity;

pub(super) const DETECTOR: Detector = Detector {
    doc: Doc {
        kind: "heading-misaligned",
        severity: "warning",
        meaning: "The heading is off by the same angle on every course: the sensor sits askew, or its offset is set wrong. Chart, \
                  radar and heading control are all turned by that angle.",
        detection: "Under way at over 3 kn on steady courses and in even turns, in at least three of eight sectors, heading and \
                    course over ground are compared; the compass's error and a current are fitted together, which only courses in \
                    several directions can part. The constant part is 4 degrees or more and sure to be over 2.5; where no two of four courses are the \
                    reverse of each other, its margin must be narrow besides.",
        lookalikes: "A current or leeway sets the boat to one side on one course and to the other on the reverse. An error that \
                     swings with the course is compass-deviation. An error of the size of the local variation: the \
                     sensor sends magnetic as true, or the other way round. A boat that goes \
                     astern, slower than 6 kn, moves against its heading: that is none.",
        checks: "Run two reverse courses along a line with known bearing, or by the course over ground in still water, and correct \
                 the sensor's offset by the angle given. Look first whether the sensor has been moved.",
        cautions: "Keep a look-out while you watch headings. Take autopilot and bow motor out of heading control while you set the \
                   offset.",
    },
    complaints: &["heading-jumps"],
    detect,
};

/// A smaller constant error is what sensors keep after calibration (2 to 3 degrees, worked examples of compass
/// adjustment), and what leeway and a helm that favours one side leave.
const LARGE_DEG: f64 = 4.0;

/// The error must be surely over this, two standard deviations, degrees.
const SURE_DEG: f64 = 2.5;

/// A margin (standard deviation) wider than this means that the courses did not part error and current, degrees.
const WIDEST_DEG: f64 = 2.5;

/// Where reverse courses are among so many sectors they did, be the margin as it may: a current does not make the same error on both.
const PARTED_SECTORS: usize = 4;

/// There the error may swing by at most this share of its constant part.
const PARTED_SWING: f64 = 0.5;

/// Of a gross error the margin may be this share: no current makes it.
const WIDEST_SHARE: f64 = 1.0 / 6.0;

/// More left over than this and the two are not related by an offset, degrees.
pub(super) const LEFT_DEG: f64 = 6.0;

/// An offset within this of the variation is taken for the variation, degrees.
const VARIATION_SLACK_DEG: f64 = 1.5;

fn detect(evidence: &Evidence<'_>) -> Vec<Finding> {
    let told = duplicate::told(evidence);
    pairs::main_sources(evidence, "heading")
        .into_iter()
        .filter(|source| !told.contains(&source.key.device))
        .filter_map(|source| Some((source, course_error(evidence, source)?)))
        .filter(|(_, e)| is_off(e) && !is_astern(e) && !compass_deviation::swings(e))
        .map(|(source, e)| finding(evidence, source, &e))
        .collect()
}

/// Whether the constant part of the error is one.
pub(super) fn is_off(e: &CourseError) -> bool {
    let [a, ..] = e.k;
    a.abs() >= LARGE_DEG
        && a.abs() - 2.0 * e.a_sd >= SURE_DEG
        && (is_parted(e) || e.a_sd <= WIDEST_DEG.max(WIDEST_SHARE * a.abs()))
        && e.left <= LEFT_DEG
}

/// Whether reverse courses among several part the constant error from a current, and nothing that swings stands beside it: what is
/// fitted badly shows as a swing, such as a heading that stood still for a while.
fn is_parted(e: &CourseError) -> bool {
    let [a, ..] = e.k;
    e.reversed && e.sectors >= PARTED_SECTORS && e.swing <= PARTED_SWING * a.abs()
}

/// A constant error of so much would surely be told, degrees.
pub(super) fn surely_deg(e: &CourseError) -> Option<f64> {
    let known = e.a_sd <= WIDEST_DEG && e.left <= LEFT_DEG && !compass_deviation::swings(e);
    known.then(|| 2.0f64.mul_add(e.a_sd, LARGE_DEG.max(2.0f64.mul_add(e.a_sd, SURE_DEG))))
}

/// Whether the boat may have gone astern: the course is the reverse of the heading, and no faster than that goes (common
/// practice, no source).
fn is_astern(e: &CourseError) -> bool {
    const REVERSE_DEG: f64 = 150.0;
    const ASTERN_KN: f64 = 6.0;
    let [a, ..] = e.k;
    a.abs() > REVERSE_DEG && e.fast_kn < ASTERN_KN
}

fn finding(evidence: &Evidence<'_>, source: &Source, e: &CourseError) -> Finding {
    let [a, ..] = e.k;
    let who = evidence.books.inventory.label(source.key.device);
    let less = if a > 0.0 { "too little" } else { "too much" };
    let mut finding = Finding::new(
        Severity::Warning,
        format!("The heading of {who} reads {} deg {less} on all courses", number(a.abs(), 1)),
    )
    .devices([source.key.device])
    .messages([source.key.message.to_string()])
    .spans([e.span])
    .real("offset_deg", a)
    .evidence(format!(
        "Against course over ground: {}, give or take {:.1}. {}.",
        signed_deg(a),
        2.0 * e.a_sd,
        e.words()
    ))
    .evidence(format!("It swings with the heading by no more than {} deg.", number(e.swing, 1)));
    let variation = super::variation::variation_at_boat(evidence.books, source);
    if let Some(v) =
        variation.filter(|v| (v.abs() - a.abs()).abs() <= VARIATION_SLACK_DEG && v.abs() >= LARGE_DEG)
    {
        finding = finding.real("variation_expected_deg", v).evidence(format!(
            "The variation here is {}: the sensor may send one north and call it the other.",
            signed_deg(v)
        ));
    }
    finding
        .check(format!(
            "Look whether the sensor of {who} sits along the keel line, then set its offset by {}.",
            signed_deg(a)
        ))
        .check("Run two reverse courses in still water and compare with the course over ground again.")
}

#[cfg(test)]
mod tests {
    use super::super::fixture::{Boat, kinds, noise};
    use super::*;

    fn boat(courses: &[f64], offset: f64, current_east: f64) -> Boat {
        let mut boat = Boat::default();
        for (leg, deg) in courses.iter().enumerate() {
            for i in 0..60_i64 {
                let t = leg as f64 * 40.0 + i as f64 / 2.0;
                let heading = deg + noise(i + 1000 * leg as i64);
                let (x, y) =
                    (9.0 * heading.to_radians().sin() + current_east, 9.0 * heading.to_radians().cos());
                boat.ground(1, t, x.atan2(y).to_degrees(), x.hypot(y));
                boat.heading(2, t, heading - offset);
            }
        }
        boat
    }

    const COURSES: [f64; 6] = [0.0, 90.0, 180.0, 270.0, 40.0, 220.0];

    #[test]
    fn an_offset_on_all_courses_is_found() {
        for offset in [-7.5, 12.0] {
            let found = detect(&boat(&COURSES, offset, 0.0).evidence());
            assert_eq!(kinds(&found), [(Severity::Warning, vec![2])]);
        }
    }

    /// Against its heading a boat moves when it goes astern, and slowly.
    #[test]
    fn going_astern_is_no_error() {
        let astern = |kn: f64| {
            let mut boat = Boat::default();
            for (leg, deg) in COURSES.iter().enumerate() {
                for i in 0..60_i64 {
                    let t = leg as f64 * 40.0 + i as f64 / 2.0;
                    let heading = deg + noise(i + 1000 * leg as i64);
                    boat.ground(1, t, crate::units::wrap_360(heading + 180.0), kn);
                    boat.heading(2, t, heading);
                }
            }
            detect(&boat.evidence())
        };
        assert!(astern(4.0).is_empty());
        assert_eq!(kinds(&astern(9.0)), [(Severity::Warning, vec![2])], "no boat goes astern so fast");
    }

    #[test]
    fn a_current_or_a_small_error_is_none() {
        assert!(detect(&boat(&COURSES, 0.0, 1.8).evidence()).is_empty());
        assert!(detect(&boat(&COURSES, 2.5, 0.0).evidence()).is_empty());
    }

    #[test]
    fn a_gross_error_shows_on_half_the_compass() {
        let half = [196.0, 327.0, 223.0, 300.0, 163.0, 236.0];
        for offset in [-40.0, 60.0] {
            let found = detect(&boat(&half, offset, 0.3).evidence());
            assert_eq!(kinds(&found), [(Severity::Warning, vec![2])], "{offset}");
        }
        assert!(detect(&boat(&half, 0.0, 1.8).evidence()).is_empty());
    }

    /// Courses along two lines, there and back: what is the same on reverse courses is no current's.
    #[test]
    fn reverse_courses_part_offset_and_current() {
        let lines = [20.0, 200.0, 60.0, 240.0];
        for offset in [-11.0, 13.0] {
            let found = detect(&boat(&lines, offset, 0.0).evidence());
            assert_eq!(kinds(&found), [(Severity::Warning, vec![2])], "{offset}");
        }
        assert!(detect(&boat(&lines, 0.0, 1.8).evidence()).is_empty());
        assert!(detect(&boat(&[20.0, 50.0, 80.0, 110.0], 11.0, 0.0).evidence()).is_empty());
    }

    #[test]
    fn one_side_of_the_compass_does_not_part_offset_and_current() {
        assert!(detect(&boat(&[0.0, 46.0, 91.0], 6.0, 0.0).evidence()).is_empty());
    }

    /// A compass stands still through a turn, early, and wakes with a leap; whether that is told or, without a course, not, it is
    /// judged by what comes after it.
    #[test]
    fn a_stand_hides_no_offset() {
        let found = |seen: bool, offset: f64| {
            let mut boat = Boat::default();
            let mut held = 0.0;
            for tenth in 0..4800_i64 {
                let t = tenth as f64 / 10.0;
                // Legs of 30 s, with turns of 60 degrees in 10 s between them.
                let heading = 60.0 * (t / 40.0).floor() + 6.0 * (t % 40.0 - 30.0).max(0.0);
                if seen || !(20.0..80.0).contains(&t) {
                    boat.ground(1, t, heading + 0.5 * noise(tenth), 9.0);
                }
                if !(25.0..70.0).contains(&t) {
                    held = heading - offset + 0.5 * noise(tenth + 7777);
                }
                boat.heading(2, t + 0.03, held);
            }
            kinds(&detect(&boat.evidence()))
        };
        for seen in [true, false] {
            assert_eq!(found(seen, 17.0), [(Severity::Warning, vec![2])], "{seen}");
            assert!(found(seen, 0.0).is_empty(), "{seen}");
        }
    }
}
