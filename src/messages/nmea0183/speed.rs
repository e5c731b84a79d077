//! Speed and distance through the water: VHW, VBW, VLW. (IEC 61162-1.)

use super::Sentence;
use super::fields::{SPEED_KN, heading, other, within};
use crate::messages::{Absent, North, Reading, Value};
use crate::units::M_PER_NM;

/// Ahead or astern, knots.
fn both_ways(value: Value) -> Value {
    within(value, &(-SPEED_KN.end()..=*SPEED_KN.end()))
}

/// VHW: water speed, and the headings when a compass is connected.
pub(super) fn vhw(s: &Sentence<'_>, out: &mut Vec<Reading>) {
    if s.text(1).is_ok() {
        out.push(heading(s.direction_in(1, "T"), North::True));
    }
    if s.text(3).is_ok() {
        out.push(heading(s.direction_in(3, "M"), North::Magnetic));
    }
    let knots = s.number_in(5, "N");
    let km_h = || s.number_in(7, "K").map(|v| v * 1000.0 / M_PER_NM);
    out.push(Reading::WaterSpeed { kn: both_ways(knots.or_else(|_| km_h()).or(knots)) });
}

/// VBW: speed ahead through the water, and speed over ground out of its two parts.
pub(super) fn vbw(s: &Sentence<'_>, out: &mut Vec<Reading>) {
    out.push(Reading::WaterSpeed { kn: s.status(3).and(both_ways(s.number(1))) });
    if let (Ok(ahead), Ok(athwart)) = (s.number(4), s.number(5)) {
        out.push(Reading::CourseSpeed {
            course_deg: Err(Absent::NotAvailable),
            north: None,
            speed_kn: s.status(6).and(within(Ok(ahead.hypot(athwart)), &SPEED_KN)),
        });
    }
}

/// VLW: distance through the water, in all and since the reset; in metres.
pub(super) fn vlw(s: &Sentence<'_>, out: &mut Vec<Reading>) {
    let metres = |n| within(s.number_in(n, "N").map(|nm| nm * M_PER_NM), &(0.0..=f64::MAX));
    out.push(other("log", metres(1), "m"));
    out.push(other("trip-log", metres(3), "m"));
}

#[cfg(test)]
mod tests {
    use crate::messages::nmea0183::shown;

    #[test]
    fn kilometres_an_hour_stand_in_for_knots() {
        assert_eq!(shown("$VWVHW,,T,,M,,N,18.52,K"), "water-speed 10");
        assert_eq!(
            shown("$VWVHW,400,T,12,M,-1.0,N,,K"),
            "heading ? true; heading 12 magnetic; water-speed -1"
        );
        assert_eq!(shown("$VDVBW,5.4,0,V,3.0,4.0,A"), "water-speed !; course - speed 5");
    }
}
