//! Temperature, humidity, pressure: PGN 130310 to 130316.

use super::emit;
use super::field::Fields;
use crate::messages::{Absent, Reading, Value};

/// PGN 130310: water and air temperature, air pressure.
pub(super) fn older(message: &[u8], out: &mut Vec<Reading>) {
    let fields = Fields(message);
    out.push(Reading::WaterTemperature { instance: None, celsius: fields.celsius(8, 16, 100.0) });
    emit::other(out, "air-temperature", None, "degC", fields.celsius(24, 16, 100.0));
    emit::other(out, "air-pressure", None, "Pa", fields.scaled(40, 16, 100.0));
}

/// PGN 130311: one temperature, one humidity, air pressure.
pub(super) fn combined(message: &[u8], out: &mut Vec<Reading>) {
    let fields = Fields(message);
    let celsius = fields.celsius(16, 16, 100.0);
    if emit::is_said(&celsius) {
        push_temperature(out, fields.small(8, 6), None, celsius);
    }
    emit::other(out, humidity_name(fields.small(14, 2)), None, "percent", humidity_value(fields, 32));
    emit::other(out, "air-pressure", None, "Pa", fields.scaled(48, 16, 100.0));
}

/// PGN 130312: one temperature.
pub(super) fn temperature(message: &[u8], out: &mut Vec<Reading>) {
    let fields = Fields(message);
    let instance = fields.small(8, 8);
    push_temperature(out, fields.small(16, 8), instance, fields.celsius(24, 16, 100.0));
    emit::other(out, "set-temperature", instance, "degC", fields.celsius(40, 16, 100.0));
}

/// PGN 130313: one humidity.
pub(super) fn humidity(message: &[u8], out: &mut Vec<Reading>) {
    let fields = Fields(message);
    let instance = fields.small(8, 8);
    emit::main(out, humidity_name(fields.small(16, 8)), instance, "percent", humidity_value(fields, 24));
    emit::other(out, "set-humidity", instance, "percent", humidity_value(fields, 40));
}

/// PGN 130314: one pressure.
pub(super) fn pressure(message: &[u8], out: &mut Vec<Reading>) {
    let fields = Fields(message);
    let quantity = match fields.small(16, 8) {
        Some(0) => "air-pressure",
        Some(1) => "water-pressure",
        Some(2) => "steam-pressure",
        Some(3) => "compressed-air-pressure",
        Some(4) => "hydraulic-pressure",
        Some(5) => "filter-pressure",
        Some(6) => "altimeter-setting",
        Some(7) => "oil-pressure",
        Some(8) => "fuel-pressure",
        _ => "pressure",
    };
    emit::main(out, quantity, fields.small(8, 8), "Pa", fields.scaled_signed(24, 32, 0.1));
}

/// PGN 130316: one temperature of a wider range. Some senders write the "not available" of a signed number.
pub(super) fn wide_temperature(message: &[u8], out: &mut Vec<Reading>) {
    let fields = Fields(message);
    let instance = fields.small(8, 8);
    let celsius = match fields.raw(24, 24) {
        Some(0x7F_FFFF) => Err(Absent::NotAvailable),
        _ => fields.celsius(24, 24, 1000.0),
    };
    push_temperature(out, fields.small(16, 8), instance, celsius);
    emit::other(out, "set-temperature", instance, "degC", fields.celsius(48, 16, 10.0));
}

/// A temperature under the name of its source (list of temperature sources, NMEA 2000 appendix B).
fn push_temperature(out: &mut Vec<Reading>, source: Option<u8>, instance: Option<u8>, celsius: Value) {
    let quantity = match source {
        Some(0) => {
            out.push(Reading::WaterTemperature { instance, celsius });
            return;
        }
        Some(1) => "air-temperature",
        Some(2) => "inside-temperature",
        Some(3) => "engine-room-temperature",
        Some(4) => "main-cabin-temperature",
        Some(5) => "live-well-temperature",
        Some(6) => "bait-well-temperature",
        Some(7) => "refrigerator-temperature",
        Some(8) => "heating-temperature",
        Some(9) => "dew-point",
        Some(10) => "apparent-wind-chill",
        Some(11) => "theoretical-wind-chill",
        Some(12) => "heat-index",
        Some(13) => "freezer-temperature",
        Some(14) => "exhaust-gas-temperature",
        Some(15) => "shaft-seal-temperature",
        _ => "temperature",
    };
    emit::main(out, quantity, instance, "degC", celsius);
}

const fn humidity_name(source: Option<u8>) -> &'static str {
    match source {
        Some(0) => "inside-humidity",
        _ => "humidity",
    }
}

/// Relative humidity, 0.004 %. Senders differ on whether the field is signed, so both codes are "not available".
fn humidity_value(fields: Fields<'_>, start: usize) -> Value {
    match fields.raw(start, 16) {
        Some(0xFFFF) => Err(Absent::NotAvailable),
        _ => match fields.scaled_signed(start, 16, 0.004)? {
            percent if percent < 0.0 => Err(Absent::Unusable),
            percent => Ok(percent),
        },
    }
}
