//! Speed through the water and distance run: PGN 128259, 128275.

use super::emit;
use super::field::Fields;
use crate::messages::Reading;

/// PGN 128259: speed through the water; later editions say in a field of its own that it is backward.
pub(super) fn water_speed(message: &[u8], out: &mut Vec<Reading>) {
    let fields = Fields(message);
    let sign = if fields.unsigned(48, 4) == Ok(1) { -1.0 } else { 1.0 };
    out.push(Reading::WaterSpeed { kn: fields.speed_kn(8).map(|kn| sign * kn) });
    emit::other(out, "speed-over-ground", None, "kn", fields.speed_kn(24));
}

/// PGN 128275: distance run in all and since the last reset.
pub(super) fn distance_log(message: &[u8], out: &mut Vec<Reading>) {
    let fields = Fields(message);
    emit::main(out, "total-log", None, "m", fields.scaled(48, 32, 1.0));
    emit::other(out, "trip-log", None, "m", fields.scaled(80, 32, 1.0));
}
