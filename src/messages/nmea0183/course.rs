//! Course and speed over ground: VTG. (IEC 61162-1.)

use super::Sentence;
use super::fields::{SPEED_KN, within};
use crate::messages::{Absent, North, Reading};
use crate::units::M_PER_NM;

/// VTG: the true course when there is one, else the magnetic one; mode N says not to use them.
pub(super) fn vtg(s: &Sentence<'_>, out: &mut Vec<Reading>) {
    let mode = match s.text(9) {
        Ok("N") => Err(Absent::MarkedInvalid),
        _ => Ok(()),
    };
    let (course_deg, north) = match (s.direction_in(1, "T"), s.direction_in(3, "M")) {
        (Err(_), Ok(magnetic)) => (Ok(magnetic), North::Magnetic),
        (course, _) => (course, North::True),
    };
    let knots = s.number_in(5, "N");
    let knots = knots.or_else(|_| s.number_in(7, "K").map(|v| v * 1000.0 / M_PER_NM)).or(knots);
    out.push(Reading::CourseSpeed {
        course_deg: mode.and(course_deg),
        north: Some(north),
        speed_kn: mode.and(within(knots, &SPEED_KN)),
    });
}
