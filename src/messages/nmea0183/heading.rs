//! Where the bow points: HDG, HDT, HDM, THS, OSD. (IEC 61162-1; NMEA 0183 v4.11.)

use super::Sentence;
use super::fields::{SPEED_KN, heading, within};
use crate::messages::{Absent, North, Reading};
use crate::units::{M_PER_NM, wrap_360};

/// HDG: magnetic heading, which is the sensor's plus its easterly deviation, where that is known; the variation is told and
/// not applied.
pub(super) fn hdg(s: &Sentence<'_>, out: &mut Vec<Reading>) {
    let deviation_deg = s.signed(2, "E", "W", 180.0);
    out.push(Reading::Heading {
        deg: s.direction(1).map(|deg| deviation_deg.map_or(deg, |deviation| wrap_360(deg + deviation))),
        north: Some(North::Magnetic),
        deviation_deg,
        variation_deg: s.signed(4, "E", "W", 180.0),
    });
}

/// HDT: true heading.
pub(super) fn hdt(s: &Sentence<'_>, out: &mut Vec<Reading>) {
    out.push(heading(s.direction_in(1, "T"), North::True));
}

/// HDM: magnetic heading.
pub(super) fn hdm(s: &Sentence<'_>, out: &mut Vec<Reading>) {
    out.push(heading(s.direction_in(1, "M"), North::Magnetic));
}

/// THS: true heading and its mode; V says not to use it.
pub(super) fn ths(s: &Sentence<'_>, out: &mut Vec<Reading>) {
    let mode = match s.text(2) {
        Ok("V") => Err(Absent::MarkedInvalid),
        _ => Ok(()),
    };
    out.push(heading(mode.and(s.direction(1)), North::True));
}

/// OSD: own ship data. Course and speed mean the ground only when ground tracking or a positioning system made them.
pub(super) fn osd(s: &Sentence<'_>, out: &mut Vec<Reading>) {
    out.push(heading(s.status(2).and(s.direction(1)), North::True));
    let factor = match s.text(9) {
        Ok("K") => 1000.0 / M_PER_NM,
        Ok("S") => 1609.344 / M_PER_NM,
        _ => 1.0,
    };
    let kn = within(s.number(5).map(|v| v * factor), &SPEED_KN);
    match s.text(6) {
        Ok("W") => out.push(Reading::WaterSpeed { kn }),
        Ok("B" | "P") => {
            let over_ground = matches!(s.text(4), Ok("B" | "P"));
            let course_deg = if over_ground { s.direction(3) } else { Err(Absent::NotAvailable) };
            out.push(Reading::CourseSpeed { course_deg, north: Some(North::True), speed_kn: kn });
        }
        _ => {}
    }
}
