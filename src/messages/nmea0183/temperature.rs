//! Water temperature: MTW. (IEC 61162-1.)

use super::Sentence;
use super::fields::within;
use crate::messages::Reading;

/// MTW: degrees Celsius; the range leaves room for broken sensors, which are for the findings to tell.
pub(super) fn mtw(s: &Sentence<'_>, out: &mut Vec<Reading>) {
    let celsius = within(s.number_in(1, "C"), &(-100.0..=200.0));
    out.push(Reading::WaterTemperature { instance: None, celsius });
}
