//! Where the boat is: RMC, GGA, GLL, GNS. (IEC 61162-1; NMEA 0183 v4.11.)

use super::Sentence;
use super::fields::{SPEED_KN, within};
use crate::messages::{Absent, North, Reading};

/// RMC: position, course and speed over ground, date and time, and the variation when given.
///
/// The status decides whether the fix may be used: a mode that forbids it forces status V. Receivers that reckon on leave it A
/// and say so in the mode.
pub(super) fn rmc(s: &Sentence<'_>, out: &mut Vec<Reading>) {
    let status = s.status(2).and(mode(s, 12));
    out.push(Reading::Position { at: status.and(s.place(3)), satellites: None, hdop: None });
    out.push(Reading::CourseSpeed {
        course_deg: status.and(s.direction(8)),
        north: Some(North::True),
        speed_kn: status.and(within(s.number(7), &SPEED_KN)),
    });
    out.push(Reading::Clock { days: s.date(9), of_day_us: s.time_of_day(1) });
    if s.bytes(10).is_ok() {
        out.push(Reading::Variation { deg: s.signed(10, "E", "W", 180.0) });
    }
}

/// GGA: position with its quality, and the time of day.
pub(super) fn gga(s: &Sentence<'_>, out: &mut Vec<Reading>) {
    let quality = match s.bytes(6) {
        // Not valid, and estimated (dead reckoning): no satellites stand behind the place.
        Ok(b"0" | b"6") => Err(Absent::MarkedInvalid),
        Ok([b'1'..=b'9']) => Ok(()),
        Ok(_) if s.whole::<u8>(6).is_none() => Err(Absent::Unusable),
        _ => Ok(()),
    };
    fix(s, quality, out);
}

/// GNS: position of several systems together; the mode has a letter for each.
pub(super) fn gns(s: &Sentence<'_>, out: &mut Vec<Reading>) {
    let mode = match s.text(6) {
        Ok(letters) if letters.bytes().all(|b| matches!(b, b'N' | b'E')) => Err(Absent::MarkedInvalid),
        _ => Ok(()),
    };
    fix(s, mode, out);
}

/// The mode in field `n` (since v2.3): estimated (dead reckoning) is no fix. One that says "not valid" beside status A
/// contradicts itself; then the status counts.
fn mode(s: &Sentence<'_>, n: usize) -> Result<(), Absent> {
    match s.bytes(n) {
        Ok(b"E") => Err(Absent::MarkedInvalid),
        _ => Ok(()),
    }
}

/// What GGA and GNS have in common.
fn fix(s: &Sentence<'_>, usable: Result<(), Absent>, out: &mut Vec<Reading>) {
    out.push(Reading::Position {
        at: usable.and(s.place(2)),
        satellites: s.whole(7),
        hdop: s.dilution(8).ok(),
    });
    out.push(Reading::Clock { days: None, of_day_us: s.time_of_day(1) });
}

/// GLL: position and time of day.
pub(super) fn gll(s: &Sentence<'_>, out: &mut Vec<Reading>) {
    out.push(Reading::Position {
        at: s.status(6).and(mode(s, 7)).and(s.place(1)),
        satellites: None,
        hdop: None,
    });
    out.push(Reading::Clock { days: None, of_day_us: s.time_of_day(5) });
}
