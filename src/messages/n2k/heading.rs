//! Heading and attitude: PGN 127250, 127251, 127257, 127258.

use super::field::Fields;
use crate::messages::{North, Reading};

/// Which north a two-bit reference field means; "error" and "not available" are none.
pub(super) fn north(fields: Fields<'_>, start: usize) -> Option<North> {
    match fields.unsigned(start, 2) {
        Ok(0) => Some(North::True),
        Ok(1) => Some(North::Magnetic),
        _ => None,
    }
}

/// PGN 127250: heading, with the deviation and variation that the sender knows (not applied).
pub(super) fn heading(message: &[u8], out: &mut Vec<Reading>) {
    let fields = Fields(message);
    out.push(Reading::Heading {
        deg: fields.direction_deg(8),
        north: north(fields, 56),
        deviation_deg: fields.angle_deg(24),
        variation_deg: fields.angle_deg(40),
    });
}

/// PGN 127251: rate of turn, resolution 1e-6/32 rad/s.
pub(super) fn rate_of_turn(message: &[u8], out: &mut Vec<Reading>) {
    let deg_per_min = Fields(message).scaled_signed(8, 32, 3.125e-8_f64.to_degrees() * 60.0);
    out.push(Reading::RateOfTurn { deg_per_min });
}

/// PGN 127257: attitude.
pub(super) fn attitude(message: &[u8], out: &mut Vec<Reading>) {
    let fields = Fields(message);
    out.push(Reading::Attitude {
        yaw_deg: fields.angle_deg(8),
        pitch_deg: fields.angle_deg(24),
        roll_deg: fields.angle_deg(40),
    });
}

/// PGN 127258: magnetic variation.
pub(super) fn variation(message: &[u8], out: &mut Vec<Reading>) {
    out.push(Reading::Variation { deg: Fields(message).angle_deg(32) });
}
