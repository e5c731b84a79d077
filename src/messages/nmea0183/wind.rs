//! Wind: MWV, MWD, VWR, VWT. (IEC 61162-1.)

use super::Sentence;
use super::fields::{SPEED_KN, within};
use crate::messages::{Absent, Reading, Value, WindReference};
use crate::units::{KNOTS_PER_M_S, M_PER_NM};

/// MWV: angle from the bow, relative or theoretical.
pub(super) fn mwv(s: &Sentence<'_>, out: &mut Vec<Reading>) {
    let status = s.status(5);
    out.push(Reading::Wind {
        angle_deg: status.and(s.direction(1)),
        speed_kn: status.and(s.speed(3, 4)),
        reference: match s.text(2) {
            Ok("R") => Some(WindReference::Apparent),
            Ok("T") => Some(WindReference::TrueFromBow),
            _ => None,
        },
    });
}

/// MWD: direction from true north, and from magnetic north when given.
pub(super) fn mwd(s: &Sentence<'_>, out: &mut Vec<Reading>) {
    let speed_kn = first_speed(s, &[(5, "N", 1.0), (7, "M", KNOTS_PER_M_S)]);
    let magnetic = s.text(3).is_ok();
    if s.text(1).is_ok() || !magnetic {
        let angle_deg = s.direction_in(1, "T");
        out.push(Reading::Wind { angle_deg, speed_kn, reference: Some(WindReference::TrueNorth) });
    }
    if magnetic {
        let angle_deg = s.direction_in(3, "M");
        out.push(Reading::Wind { angle_deg, speed_kn, reference: Some(WindReference::MagneticNorth) });
    }
}

/// VWR: apparent wind, port or starboard of the bow.
pub(super) fn vwr(s: &Sentence<'_>, out: &mut Vec<Reading>) {
    sided(s, WindReference::Apparent, out);
}

/// VWT: true wind, port or starboard of the bow.
pub(super) fn vwt(s: &Sentence<'_>, out: &mut Vec<Reading>) {
    sided(s, WindReference::TrueFromBow, out);
}

fn sided(s: &Sentence<'_>, reference: WindReference, out: &mut Vec<Reading>) {
    let angle = within(s.number(1), &(0.0..=180.0));
    let angle_deg = angle.and_then(|deg| match s.text(2) {
        Ok("R") => Ok(deg),
        Ok("L") => Ok(if deg > 0.0 { 360.0 - deg } else { 0.0 }),
        _ => Err(Absent::Unusable),
    });
    let speed_kn = first_speed(s, &[(3, "N", 1.0), (5, "M", KNOTS_PER_M_S), (7, "K", 1000.0 / M_PER_NM)]);
    out.push(Reading::Wind { angle_deg, speed_kn, reference: Some(reference) });
}

/// The first speed that is there, of fields with their unit letters and factors to knots.
fn first_speed(s: &Sentence<'_>, units: &[(usize, &str, f64)]) -> Value {
    let mut absent = Err(Absent::NotAvailable);
    for &(n, unit, factor) in units {
        match s.number_in(n, unit) {
            Ok(speed) => return within(Ok(speed * factor), &SPEED_KN),
            Err(Absent::Unusable) => absent = Err(Absent::Unusable),
            Err(_) => {}
        }
    }
    absent
}

#[cfg(test)]
mod tests {
    use crate::messages::nmea0183::shown;

    #[test]
    fn other_units_and_sides() {
        assert_eq!(shown("$WIMWV,10,R,18.52,K,A"), "wind 10 10 apparent");
        assert_eq!(shown("$WIMWV,10,X,,N,A"), "wind 10 - ?");
        assert_eq!(shown("$IIVWR,0,L,,N,,M,18.52,K"), "wind 0 10 apparent");
        assert_eq!(shown("$IIVWR,190,L,x,N,,M,,K"), "wind ? ? apparent");
        assert_eq!(shown("$WIMWD,,T,20,M,5,N,,M"), "wind 20 5 magnetic-north");
    }
}
