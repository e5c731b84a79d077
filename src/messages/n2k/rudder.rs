//! Rudder and steering: PGN 127245, 127237.

use super::emit;
use super::field::Fields;
use crate::messages::Reading;

/// PGN 127245: rudder angle and the order for it.
pub(super) fn rudder(message: &[u8], out: &mut Vec<Reading>) {
    let fields = Fields(message);
    let instance = fields.small(0, 8);
    out.push(Reading::Rudder { instance, deg: fields.angle_deg(32) });
    emit::other(out, "rudder-order", instance, "deg", fields.angle_deg(16));
}

/// PGN 127237: what an autopilot wants and goes by. Its heading is a copy of some heading source's and so no source of
/// its own.
pub(super) fn track_control(message: &[u8], out: &mut Vec<Reading>) {
    let fields = Fields(message);
    emit::other(out, "commanded-rudder", None, "deg", fields.angle_deg(24));
    emit::other(out, "heading-to-steer", None, "deg", fields.direction_deg(40));
    emit::other(out, "commanded-track", None, "deg", fields.direction_deg(56));
    emit::other(out, "rudder-limit", None, "deg", fields.direction_deg(72));
    emit::other(out, "off-heading-limit", None, "deg", fields.direction_deg(88));
    emit::other(out, "autopilot-heading", None, "deg", fields.direction_deg(152));
}
