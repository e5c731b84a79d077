//! Engine and shaft: RPM. (IEC 61162-1.)

use super::Sentence;
use super::fields::{other, within};
use crate::messages::Reading;

/// Faster than any shaft or engine aboard.
const MAX_RPM: f64 = 100_000.0;

/// RPM: speed of an engine or a shaft (0 single or centre, odd starboard, even port), and the propeller's pitch.
pub(super) fn rpm(s: &Sentence<'_>, out: &mut Vec<Reading>) {
    let status = s.status(5);
    let value = status.and(within(s.number(3), &(-MAX_RPM..=MAX_RPM)));
    let instance = s.whole(2);
    out.push(match s.text(1) {
        Ok("S") => Reading::Other { quantity: "shaft-speed", instance, value, unit: "rpm" },
        _ => Reading::Engine { instance, rpm: value },
    });
    if s.text(4).is_ok() {
        out.push(other("propeller-pitch", status.and(within(s.number(4), &(-200.0..=200.0))), "percent"));
    }
}
