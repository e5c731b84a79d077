//! Turning: ROT, RSA. (IEC 61162-1.)

use super::Sentence;
use super::fields::within;
use crate::messages::Reading;

/// Twenty turns a minute: no vessel goes round faster.
const MAX_DEG_PER_MIN: f64 = 7200.0;

/// ROT: rate of turn, to port negative.
pub(super) fn rot(s: &Sentence<'_>, out: &mut Vec<Reading>) {
    let rate = within(s.number(1), &(-MAX_DEG_PER_MIN..=MAX_DEG_PER_MIN));
    out.push(Reading::RateOfTurn { deg_per_min: s.status(2).and(rate) });
}

/// RSA: the single or starboard rudder, and the port one when there is one.
pub(super) fn rsa(s: &Sentence<'_>, out: &mut Vec<Reading>) {
    let angle = |n| within(s.number(n), &(-90.0..=90.0));
    let port = s.text(3).is_ok();
    out.push(Reading::Rudder { instance: port.then_some(0), deg: s.status(2).and(angle(1)) });
    if port {
        out.push(Reading::Rudder { instance: Some(1), deg: s.status(4).and(angle(3)) });
    }
}
