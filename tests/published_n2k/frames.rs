//! Frames as text to one message, and readings to a flat list of numbers.

use leadsman::messages::n2k::{Assembler, CanId, decode};
use leadsman::messages::{Reading, Value};

/// Stands for "no value" in an expected list.
pub(crate) const NONE: f64 = f64::NAN;

/// The one message that frames (hexadecimal, separated by blanks) make.
pub(crate) fn message(id: u32, frames: &str) -> (CanId, Vec<u8>) {
    let mut assembler = Assembler::new();
    let mut delivered = Vec::new();
    for frame in frames.split_whitespace() {
        let bytes: Vec<u8> =
            (0..frame.len() / 2).map(|n| u8::from_str_radix(&frame[2 * n..2 * n + 2], 16).unwrap()).collect();
        assembler.push(None, CanId::from_bits(id), &bytes, &mut |message| {
            delivered.push((message.id, message.data.to_vec()));
        });
    }
    assert_eq!(delivered.len(), 1, "{id:08X}");
    assert_eq!(delivered[0].0.to_bits(), id);
    delivered.remove(0)
}

/// Its readings.
pub(crate) fn readings(id: u32, frames: &str) -> Vec<Reading> {
    let (id, data) = message(id, frames);
    let mut out = Vec::new();
    decode(id.pgn, &data, &mut out);
    out
}

/// Whether a value is what is expected, to the last digits of a float.
pub(crate) fn near(value: f64, want: f64) -> bool {
    (value.is_nan() && want.is_nan()) || (value - want).abs() <= 1e-9 * want.abs().max(1.0)
}

/// Every number of the readings under its name; instance and reference stand behind it.
pub(crate) fn flat(readings: &[Reading]) -> Vec<(String, f64)> {
    let mut out = Vec::new();
    for reading in readings {
        let name = reading.quantity().unwrap_or("fix-quality");
        let instance = reading.instance().map(|n| format!("#{n}")).unwrap_or_default();
        let reference = reading.reference().map(|text| format!(" {text}")).unwrap_or_default();
        let mut put =
            |what: &str, value: f64| out.push((format!("{name}{instance}{reference}{what}"), value));
        let num = |value: &Value| value.unwrap_or(NONE);
        match reading {
            Reading::Heading { deg, deviation_deg, variation_deg, .. } => {
                put("", num(deg));
                put(" deviation", num(deviation_deg));
                put(" variation", num(variation_deg));
            }
            Reading::Position { at, satellites, hdop } => {
                put(" lat", at.map_or(NONE, |at| at.lat_deg));
                put(" lon", at.map_or(NONE, |at| at.lon_deg));
                if satellites.is_some() || hdop.is_some() {
                    put(" satellites", satellites.map_or(NONE, f64::from));
                    put(" hdop", hdop.unwrap_or(NONE));
                }
            }
            Reading::FixQuality { fix, satellites, hdop } => {
                put(" fix", fix.map_or(NONE, f64::from));
                put(" satellites", satellites.map_or(NONE, f64::from));
                put(" hdop", num(hdop));
            }
            Reading::Depth { m, offset_m, .. } => {
                put("", num(m));
                put(" offset", num(offset_m));
            }
            Reading::CourseSpeed { course_deg, speed_kn, .. } => {
                put(" course", num(course_deg));
                put(" speed", num(speed_kn));
            }
            Reading::Wind { angle_deg, speed_kn, .. } => {
                put(" angle", num(angle_deg));
                put(" speed", num(speed_kn));
            }
            Reading::Attitude { yaw_deg, pitch_deg, roll_deg } => {
                put(" yaw", num(yaw_deg));
                put(" pitch", num(pitch_deg));
                put(" roll", num(roll_deg));
            }
            Reading::Clock { days, of_day_us } => {
                put(" days", days.map_or(NONE, |days| days as f64));
                put(" of day", of_day_us.map_or(NONE, |us| us as f64 / 1e6));
            }
            Reading::WaterSpeed { kn: value }
            | Reading::RateOfTurn { deg_per_min: value }
            | Reading::Rudder { deg: value, .. }
            | Reading::WaterTemperature { celsius: value, .. }
            | Reading::Voltage { volts: value, .. }
            | Reading::Engine { rpm: value, .. }
            | Reading::Variation { deg: value }
            | Reading::Other { value, .. } => put("", num(value)),
        }
    }
    out
}
