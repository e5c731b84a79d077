//! What a display that is on both wires passes on: the bus's values, repeated as 0183 sentences on the Ethernet.

use crate::demo::boat::VARIATION_DEG;
use crate::demo::nmea0183_encode as encode;
use crate::demo::sensors::moment;
use crate::recording::CanFrame;
use crate::time::Time;
use crate::units::{KNOTS_PER_M_S, Place};

/// How long a value takes through the display, seconds.
const THROUGH_S: f64 = 0.04;

/// The values that went over the bus, each with its time in seconds from the start.
#[derive(Debug, Default)]
pub(super) struct PassedOn {
    headings_deg: Vec<(f64, f64)>,
    depths_m: Vec<(f64, f64)>,
    waters_celsius: Vec<(f64, f64)>,
    places: Vec<(f64, Place)>,
    courses: Vec<(f64, (f64, f64))>,
}

impl PassedOn {
    /// Listens to a bus. The layouts are those of the messages that the demo's own encoder writes, in single frames.
    pub(super) fn of(frames: &[(Time, CanFrame)]) -> Self {
        let mut all = Self::default();
        for (time, frame) in frames {
            let t = time.since(moment(0.0));
            let [a, b, c, d, e, f, g, h, ..] = frame.bytes;
            let angle_deg = |low, high| (f64::from(u16::from_le_bytes([low, high])) * 1e-4).to_degrees();
            let degrees = |bytes| f64::from(i32::from_le_bytes(bytes)) * 1e-7;
            match (frame.id >> 8) & 0x1_FFFF {
                127_250 => all.headings_deg.push((t, angle_deg(b, c))),
                128_267 => all.depths_m.push((t, f64::from(u32::from_le_bytes([b, c, d, e])) * 0.01)),
                130_312 => {
                    all.waters_celsius.push((t, f64::from(u16::from_le_bytes([d, e])) * 0.01 - 273.15));
                }
                129_025 => {
                    let place = Place { lat_deg: degrees([a, b, c, d]), lon_deg: degrees([e, f, g, h]) };
                    all.places.push((t, place));
                }
                129_026 => {
                    let m_s = f64::from(u16::from_le_bytes([e, f])) * 0.01;
                    all.courses.push((t, (angle_deg(c, d), m_s * KNOTS_PER_M_S)));
                }
                _ => {}
            }
        }
        all
    }

    /// The sentences that leave at `t`: heading each time, the rest when it is their turn.
    pub(super) fn sentences(&self, t: f64, with_all: bool) -> Vec<u8> {
        let heard = t - THROUGH_S;
        let mut text = String::new();
        let mut say = |sentence: String| text.push_str(&(sentence + "\r\n"));
        if let Some(deg) = last(&self.headings_deg, heard) {
            say(encode::hdg("II", deg));
        }
        if with_all {
            if let Some(m) = last(&self.depths_m, heard) {
                say(encode::dpt("II", m, 0.3));
            }
            if let Some(celsius) = last(&self.waters_celsius, heard) {
                say(encode::mtw("II", celsius));
            }
            if let (Some(at), Some((course_deg, kn))) =
                (last(&self.places, heard), last(&self.courses, heard))
            {
                say(encode::rmc("II", moment(heard), at, kn, course_deg, VARIATION_DEG));
                say(encode::gga("II", moment(heard), at, 0.9));
            }
        }
        text.into_bytes()
    }
}

/// The last value at or before `t`.
fn last<T: Copy>(values: &[(f64, T)], t: f64) -> Option<T> {
    let after = values.partition_point(|(at, _)| *at <= t);
    values.get(after.checked_sub(1)?).map(|(_, value)| *value)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::demo::boat::Voyage;
    use crate::demo::bus::{self, BusPlan};

    #[test]
    fn what_is_passed_on_is_what_the_boat_does() {
        let voyage = Voyage::new(1);
        let plan = BusPlan { seconds: 60.0, ..BusPlan::default() };
        let heard = PassedOn::of(&bus::frames(&plan, &voyage, 1));
        let near =
            |got: f64, want: f64, within: f64| assert!((got - want).abs() < within, "{got} for {want}");
        let state = voyage.at(50.0);
        near(last(&heard.headings_deg, 50.0).unwrap(), state.magnetic_deg().rem_euclid(360.0), 2.0);
        near(last(&heard.depths_m, 50.0).unwrap(), state.depth_m(), 1.0);
        near(last(&heard.waters_celsius, 50.0).unwrap(), 17.5, 0.2);
        near(last(&heard.courses, 50.0).unwrap().1, state.ground_kn(), 0.5);
        assert_eq!(last(&heard.depths_m, 0.0), None);
        let text = String::from_utf8(heard.sentences(50.0, true)).unwrap();
        assert!(
            text.starts_with("$IIHDG,") && text.contains("$IIDPT,") && text.contains("$IIGGA,063049."),
            "{text}"
        );
        assert_eq!(heard.sentences(50.0, false).iter().filter(|b| **b == b'$').count(), 1);
    }
}
