//! Batteries: PGN 127506, 127508.

use super::emit;
use super::field::Fields;
use crate::messages::Reading;

/// PGN 127506: state of a battery. It has no supply voltage, only the ripple on it.
pub(super) fn dc_status(message: &[u8], out: &mut Vec<Reading>) {
    let fields = Fields(message);
    let instance = fields.small(8, 8);
    emit::other(out, "state-of-charge", instance, "percent", fields.scaled(24, 8, 1.0));
    emit::other(out, "state-of-health", instance, "percent", fields.scaled(32, 8, 1.0));
    emit::other(out, "time-remaining", instance, "s", fields.scaled(40, 16, 60.0));
    emit::other(out, "ripple-voltage", instance, "V", fields.scaled(56, 16, 0.001));
    emit::other(out, "remaining-capacity", instance, "Ah", fields.scaled(72, 16, 1.0));
}

/// PGN 127508: voltage, current (charging positive) and temperature of a battery.
pub(super) fn battery(message: &[u8], out: &mut Vec<Reading>) {
    let fields = Fields(message);
    let instance = fields.small(0, 8);
    out.push(Reading::Voltage { instance, volts: fields.scaled_signed(8, 16, 0.01) });
    emit::other(out, "battery-current", instance, "A", fields.scaled_signed(24, 16, 0.1));
    emit::other(out, "battery-temperature", instance, "degC", fields.celsius(40, 16, 100.0));
}
