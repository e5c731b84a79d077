//! What of a reading is kept as numbers, and why there are none.

use crate::messages::{Absent, Reading, Value};

/// Whether a reading [holds](Reading::is_valid) what it is for, and the two numbers of its sample: one look tells all three.
#[inline(always)]
pub(super) fn numbers(reading: &Reading) -> (bool, f64, f64) {
    let or_nan = |v: &Value| v.unwrap_or(f64::NAN);
    match reading {
        Reading::Heading { deg, variation_deg, .. } => (deg.is_ok(), or_nan(deg), or_nan(variation_deg)),
        Reading::Position { at, .. } => {
            let (lat, lon) = at.map_or((f64::NAN, f64::NAN), |place| (place.lat_deg, place.lon_deg));
            (at.is_ok(), lat, lon)
        }
        Reading::FixQuality { hdop, satellites, .. } => {
            (hdop.is_ok(), or_nan(hdop), satellites.map_or(f64::NAN, f64::from))
        }
        Reading::Depth { m, .. } => (m.is_ok(), or_nan(m), f64::NAN),
        Reading::CourseSpeed { course_deg, speed_kn, .. } => {
            (course_deg.is_ok() || speed_kn.is_ok(), or_nan(course_deg), or_nan(speed_kn))
        }
        Reading::WaterSpeed { kn: v }
        | Reading::RateOfTurn { deg_per_min: v }
        | Reading::Voltage { volts: v, .. }
        | Reading::Variation { deg: v } => (v.is_ok(), or_nan(v), f64::NAN),
        Reading::Wind { .. }
        | Reading::Attitude { .. }
        | Reading::Rudder { .. }
        | Reading::WaterTemperature { .. }
        | Reading::Engine { .. }
        | Reading::Clock { .. }
        | Reading::Other { .. } => (reading.is_valid(), f64::NAN, f64::NAN),
    }
}

/// Why a reading holds no value.
pub(super) fn absence(reading: &Reading) -> Option<Absent> {
    match reading {
        Reading::Position { at, .. } => at.err(),
        Reading::CourseSpeed { course_deg, .. } => course_deg.err(),
        Reading::Heading { deg: v, .. }
        | Reading::Depth { m: v, .. }
        | Reading::WaterSpeed { kn: v }
        | Reading::Wind { speed_kn: v, .. }
        | Reading::RateOfTurn { deg_per_min: v }
        | Reading::Rudder { deg: v, .. }
        | Reading::WaterTemperature { celsius: v, .. }
        | Reading::Voltage { volts: v, .. }
        | Reading::Engine { rpm: v, .. }
        | Reading::Variation { deg: v }
        | Reading::FixQuality { hdop: v, .. }
        | Reading::Other { value: v, .. } => v.err(),
        Reading::Attitude { yaw_deg, .. } => yaw_deg.err(),
        Reading::Clock { .. } => Some(Absent::NotAvailable),
    }
}
