//! Movement over ground and of the water: PGN 129026, 129291, 130577, 130578.

use super::emit;
use super::field::Fields;
use super::heading::north;
use crate::messages::Reading;
use crate::units::KNOTS_PER_M_S;

/// PGN 129026: course and speed over ground.
pub(super) fn rapid(message: &[u8], out: &mut Vec<Reading>) {
    let fields = Fields(message);
    out.push(Reading::CourseSpeed {
        course_deg: fields.direction_deg(16),
        north: north(fields, 8),
        speed_kn: fields.speed_kn(32),
    });
}

/// PGN 129291: set (where the current flows to) and drift.
pub(super) fn set_drift(message: &[u8], out: &mut Vec<Reading>) {
    let fields = Fields(message);
    emit::main(out, "current-set", None, "deg", fields.direction_deg(16));
    emit::main(out, "current-drift", None, "kn", fields.speed_kn(32));
}

/// PGN 130577: course, heading, speeds and current in one. The one reference holds for all directions.
pub(super) fn direction_data(message: &[u8], out: &mut Vec<Reading>) {
    let fields = Fields(message);
    let north = north(fields, 4);
    out.push(Reading::CourseSpeed {
        course_deg: fields.direction_deg(16),
        north,
        speed_kn: fields.speed_kn(32),
    });
    let deg = fields.direction_deg(48);
    if emit::is_said(&deg) {
        let none = Err(crate::messages::Absent::Missing);
        out.push(Reading::Heading { deg, north, deviation_deg: none, variation_deg: none });
    }
    let kn = fields.speed_kn(64);
    if emit::is_said(&kn) {
        out.push(Reading::WaterSpeed { kn });
    }
    emit::other(out, "current-set", None, "deg", fields.direction_deg(80));
    emit::other(out, "current-drift", None, "kn", fields.speed_kn(96));
}

/// PGN 130578: speed components, resolution 1 mm/s; forward and starboard positive.
pub(super) fn speed_components(message: &[u8], out: &mut Vec<Reading>) {
    let fields = Fields(message);
    let kn = |start| fields.scaled_signed(start, 16, 0.001 * KNOTS_PER_M_S);
    out.push(Reading::WaterSpeed { kn: kn(0) });
    emit::other(out, "transverse-speed-through-water", None, "kn", kn(16));
    emit::other(out, "longitudinal-speed-over-ground", None, "kn", kn(32));
    emit::other(out, "transverse-speed-over-ground", None, "kn", kn(48));
    emit::other(out, "stern-speed-through-water", None, "kn", kn(64));
    emit::other(out, "stern-speed-over-ground", None, "kn", kn(80));
}
