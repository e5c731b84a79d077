//! Satellites and datum: GSA, GST, GSV, DTM. (NMEA 0183 v4.11.)

use super::Sentence;
use super::fields::other;
use crate::messages::{Absent, Reading};

/// Slots for satellites in a GSA.
const GSA_SLOTS: std::ops::RangeInclusive<usize> = 3..=14;

/// GSA: whether there is a fix and how good it is.
///
/// A receiver of several systems sends one GSA for each, so that the satellites are counted only where one sentence
/// holds them all: not with talker GN and not with a system id (v4.1).
pub(super) fn gsa(s: &Sentence<'_>, out: &mut Vec<Reading>) {
    let one_of_several = s.talker() == "GN" || s.text(18).is_ok();
    let used = GSA_SLOTS.filter(|&n| s.text(n).is_ok()).count() as u16;
    out.push(Reading::FixQuality {
        fix: match s.text(2) {
            Ok("1") => Some(false),
            Ok("2" | "3") => Some(true),
            _ => None,
        },
        satellites: (!one_of_several).then_some(used),
        hdop: s.dilution(16),
    });
}

/// GST: the horizontal standard deviation of the position, metres.
pub(super) fn gst(s: &Sentence<'_>, out: &mut Vec<Reading>) {
    let deviation = s.number(6).and_then(|lat| s.number(7).map(|lon: f64| lon.hypot(lat)));
    out.push(other("position-deviation", deviation, "m"));
}

/// GSV: satellites in view of one system, told by the first sentence of its group.
pub(super) fn gsv(s: &Sentence<'_>, out: &mut Vec<Reading>) {
    if s.whole(2) == Some(1u8) {
        let count = s.whole::<u8>(3).map(f64::from).ok_or(Absent::Unusable);
        out.push(other("satellites-in-view", count, "count"));
    }
}

/// DTM: which datum the positions of the talker count from. A datum other than W84 shifts the boat on the chart.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Datum<'a> {
    /// Local datum: `W84`, `W72`, `S85`, `P90`, `999` of the user, or an IHO code.
    pub local: &'a str,
    /// Offset of the latitude in minutes, north positive.
    pub lat_offset_min: f64,
    /// Offset of the longitude in minutes, east positive.
    pub lon_offset_min: f64,
    /// Reference datum, same codes.
    pub reference: &'a str,
}

impl<'a> Datum<'a> {
    /// Reads a DTM; `None` for another sentence or one without a datum. Offsets left out count as zero.
    #[must_use]
    pub fn read(s: &Sentence<'a>) -> Option<Self> {
        let local = s.field(1).filter(|code| s.formatter() == Some("DTM") && !code.is_empty())?;
        Some(Self {
            local,
            lat_offset_min: s.signed(3, "N", "S", 60.0).unwrap_or(0.0),
            lon_offset_min: s.signed(5, "E", "W", 60.0).unwrap_or(0.0),
            reference: s.field(8).unwrap_or_default(),
        })
    }
}
