//! The way along a route: RMB, APB, XTE, BWC. (IEC 61162-1.) BOD, RTE and WPL tell a plan and no state of the boat.

use super::Sentence;
use super::fields::{other, within};
use crate::messages::{Absent, Reading, Value};
use crate::units::M_PER_NM;

/// Half round the earth, in nautical miles.
const MAX_RANGE_NM: f64 = 10_800.0;

/// Cross-track error in metres, positive when the boat is right of the track (and is told to steer left).
fn cross_track(error: Value, steer: Result<&str, Absent>, unit: Result<&str, Absent>) -> Value {
    let size = match unit {
        Ok("K") => error? * 1000.0,
        _ => error? * M_PER_NM,
    };
    let size = within(Ok(size), &(0.0..=MAX_RANGE_NM * M_PER_NM))?;
    match steer {
        Ok("L") => Ok(size),
        Ok("R") => Ok(-size),
        _ => Err(Absent::Unusable),
    }
}

fn range_m(value: Value) -> Value {
    within(value.map(|nm| nm * M_PER_NM), &(0.0..=MAX_RANGE_NM * M_PER_NM))
}

/// RMB: cross-track error, range and true bearing of the waypoint.
pub(super) fn rmb(s: &Sentence<'_>, out: &mut Vec<Reading>) {
    let status = s.status(1);
    out.push(other("cross-track-error", status.and(cross_track(s.number(2), s.text(3), Ok("N"))), "m"));
    out.push(other("waypoint-distance", status.and(range_m(s.number(10))), "m"));
    out.push(other("waypoint-bearing", status.and(s.direction(11)), "deg"));
}

/// APB: cross-track error for the autopilot.
pub(super) fn apb(s: &Sentence<'_>, out: &mut Vec<Reading>) {
    cross_track_alone(s, out);
}

/// XTE: cross-track error.
pub(super) fn xte(s: &Sentence<'_>, out: &mut Vec<Reading>) {
    cross_track_alone(s, out);
}

/// What APB and XTE begin with: two statuses, the error, the side to steer to, the unit.
fn cross_track_alone(s: &Sentence<'_>, out: &mut Vec<Reading>) {
    let status = s.status(1).and(s.status(2));
    let error = cross_track(s.number(3), s.text(4), s.text(5));
    out.push(other("cross-track-error", status.and(error), "m"));
}

/// BWC: distance and true bearing of the waypoint.
pub(super) fn bwc(s: &Sentence<'_>, out: &mut Vec<Reading>) {
    out.push(other("waypoint-distance", range_m(s.number_in(10, "N")), "m"));
    out.push(other("waypoint-bearing", s.direction_in(6, "T"), "deg"));
}
