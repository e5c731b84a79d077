//! Radar targets: TTM. (IEC 61162-1.)

use super::Sentence;
use crate::messages::Value;
use crate::units::M_PER_NM;

/// A tracked target.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Target<'a> {
    /// Target number, 0 to 99.
    pub number: u8,
    /// Distance from own ship, metres.
    pub distance_m: Value,
    /// Bearing from own ship, degrees.
    pub bearing_deg: Value,
    /// Distance of the closest point of approach, metres.
    pub cpa_m: Value,
    /// Minutes until then; negative when it is past.
    pub tcpa_min: Value,
    /// Name; empty when none is given.
    pub name: &'a str,
    /// Whether it is tracked: `L` lost, `Q` being acquired, `T` tracking.
    pub status: &'a str,
}

impl<'a> Target<'a> {
    /// Reads a TTM; `None` for another sentence or one without target number.
    #[must_use]
    pub fn read(s: &Sentence<'a>) -> Option<Self> {
        let number = s.whole(1).filter(|_| s.formatter() == Some("TTM"))?;
        let metres = match s.field(10) {
            Some("K") => 1000.0,
            Some("S") => 1609.344,
            _ => M_PER_NM,
        };
        Some(Self {
            number,
            distance_m: s.number(2).map(|v| v * metres),
            bearing_deg: s.direction(3),
            cpa_m: s.number(8).map(|v| v * metres),
            tcpa_min: s.number(9),
            name: s.field(11).unwrap_or_default(),
            status: s.field(12).unwrap_or_default(),
        })
    }
}
