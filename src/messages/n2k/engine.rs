//! Engines: PGN 127488, 127489.

use super::emit;
use super::field::Fields;
use crate::messages::{Absent, Reading};

/// PGN 127488: engine speed.
pub(super) fn rapid(message: &[u8], out: &mut Vec<Reading>) {
    let fields = Fields(message);
    let instance = fields.small(0, 8);
    out.push(Reading::Engine { instance, rpm: fields.scaled(8, 16, 0.25) });
    emit::other(out, "boost-pressure", instance, "Pa", fields.scaled(24, 16, 100.0));
    emit::other(out, "tilt", instance, "percent", fields.scaled_signed(40, 8, 1.0));
}

/// PGN 127489: the slower engine data. It has no engine speed, so it is no engine reading; the alternator's voltage
/// is the supply voltage while the engine charges.
pub(super) fn dynamic(message: &[u8], out: &mut Vec<Reading>) {
    let fields = Fields(message);
    let instance = fields.small(0, 8);
    let volts = fields.scaled_signed(56, 16, 0.01);
    if emit::is_said(&volts) {
        out.push(Reading::Voltage { instance, volts });
    }
    emit::other(out, "oil-pressure", instance, "Pa", fields.scaled(8, 16, 100.0));
    emit::other(out, "oil-temperature", instance, "degC", fields.celsius(24, 16, 10.0));
    emit::other(out, "coolant-temperature", instance, "degC", fields.celsius(40, 16, 100.0));
    emit::other(out, "fuel-rate", instance, "L/h", fields.scaled_signed(72, 16, 0.1));
    emit::other(out, "engine-hours", instance, "h", fields.scaled(88, 32, 1.0 / 3600.0));
    emit::other(out, "coolant-pressure", instance, "Pa", fields.scaled(120, 16, 100.0));
    emit::other(out, "fuel-pressure", instance, "Pa", fields.scaled(136, 16, 1000.0));
    emit::other(out, "engine-load", instance, "percent", fields.scaled_signed(192, 8, 1.0));
    emit::other(out, "engine-torque", instance, "percent", fields.scaled_signed(200, 8, 1.0));
    for (quantity, start) in [("engine-status-1", 160), ("engine-status-2", 176)] {
        // A bit set, so only all ones is a code.
        let bits = match fields.raw(start, 16) {
            None => Err(Absent::Missing),
            Some(0xFFFF) => Err(Absent::NotAvailable),
            Some(bits) => Ok(bits as f64),
        };
        emit::other(out, quantity, instance, "bits", bits);
    }
}
