//! Depth: DPT, DBT, DBS, DBK. (IEC 61162-1.)

use super::Sentence;
use super::fields::{NOT_CARRIED, within};
use crate::messages::{DepthBelow, Reading};
use crate::units::{M_PER_FATHOM, M_PER_FOOT};

/// Deeper than the deepest trench.
const MAX_DEPTH_M: f64 = 12_000.0;

/// DPT: depth below the transducer and the offset to waterline (positive) or keel (negative).
pub(super) fn dpt(s: &Sentence<'_>, out: &mut Vec<Reading>) {
    out.push(Reading::Depth {
        m: within(s.number(1), &(0.0..=MAX_DEPTH_M)),
        below: DepthBelow::Transducer,
        offset_m: within(s.number(2), &(-100.0..=100.0)),
    });
}

/// DBT: depth below the transducer.
pub(super) fn dbt(s: &Sentence<'_>, out: &mut Vec<Reading>) {
    three_units(s, DepthBelow::Transducer, out);
}

/// DBS: depth below the surface.
pub(super) fn dbs(s: &Sentence<'_>, out: &mut Vec<Reading>) {
    three_units(s, DepthBelow::Surface, out);
}

/// DBK: depth below the keel.
pub(super) fn dbk(s: &Sentence<'_>, out: &mut Vec<Reading>) {
    three_units(s, DepthBelow::Keel, out);
}

/// Feet, metres and fathoms: the metres when they are there, else what is.
fn three_units(s: &Sentence<'_>, below: DepthBelow, out: &mut Vec<Reading>) {
    let m = s.number_in(3, "M");
    let m = m
        .or_else(|_| s.number_in(1, "f").map(|v| v * M_PER_FOOT))
        .or_else(|_| s.number_in(5, "F").map(|v| v * M_PER_FATHOM))
        .or(m);
    out.push(Reading::Depth { m: within(m, &(0.0..=MAX_DEPTH_M)), below, offset_m: NOT_CARRIED });
}

#[cfg(test)]
mod tests {
    use crate::messages::nmea0183::shown;

    #[test]
    fn feet_and_fathoms_stand_in_for_metres() {
        assert_eq!(shown("$SDDBT,10.0,f,,M,,F"), "depth 3.048 below-transducer offset .");
        assert_eq!(shown("$SDDBK,,f,,M,10.0,F"), "depth 18.288 below-keel offset .");
        assert_eq!(shown("$SDDBT,,f,x,M,,F"), "depth ? below-transducer offset .");
        assert_eq!(shown("$SDDPT,-3.0,200"), "depth ? below-transducer offset ?");
        assert_eq!(shown("$SDDPT"), "depth . below-transducer offset .");
    }
}
