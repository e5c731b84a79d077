//! Last values of sources, with their units.

use crate::report::figures::short;
use serde_json::Value;

/// The unit that a quantity's plain number is in, for the names that the format fixes and the usual others.
fn unit(quantity: &str) -> Option<&'static str> {
    Some(match quantity {
        "heading" | "rudder" | "variation" => "deg",
        "depth" => "m",
        "speed-through-water" => "kn",
        "rate-of-turn" => "deg/min",
        "water-temperature" => "deg C",
        "voltage" => "V",
        "engine" => "rpm",
        "humidity" => "%",
        _ => return None,
    })
}

/// The value as a person reads it; empty when there is none, or when its unit is not known.
///
/// Places are rounded to a tenth of a degree (about 6 nautical miles): enough to see that a position makes sense, and
/// a pasted report gives no fishing spot away.
pub fn last(quantity: &str, value: &Value) -> String {
    match value {
        Value::Number(number) => match (number.as_f64(), unit(quantity)) {
            (Some(x), Some(unit)) => format!("{} {unit}", short(x)),
            _ => String::new(),
        },
        Value::Object(fields) => fields
            .iter()
            .filter_map(|(key, value)| field(key, value.as_f64()?))
            .collect::<Vec<_>>()
            .join(", "),
        _ => String::new(),
    }
}

/// One field whose key bears its unit: `speed_kn` 4.2 becomes `speed 4.2 kn`.
fn field(key: &str, x: f64) -> Option<String> {
    match key {
        "lat_deg" => return Some(format!("{:.1} {}", x.abs(), if x < 0.0 { "S" } else { "N" })),
        "lon_deg" => return Some(format!("{:.1} {}", x.abs(), if x < 0.0 { "W" } else { "E" })),
        // A clock says nothing in a table of values.
        "unix_s" | "of_day_s" => return None,
        _ => {}
    }
    if let Some(unit) = key.strip_prefix("value_") {
        return Some(format!("{} {unit}", short(x)));
    }
    let (name, unit) = key.rsplit_once('_')?;
    Some(format!("{} {} {unit}", name.replace('_', " "), short(x)))
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    #[test]
    fn every_number_has_its_unit() {
        let cases = [
            ("heading", json!(183.24), "183 deg"),
            ("position", json!({"lat_deg": -54.32, "lon_deg": 10.19}), "54.3 S, 10.2 E"),
            ("wind", json!({"angle_deg": 42.0, "speed_kn": 12.34}), "angle 42 deg, speed 12.3 kn"),
            ("goings-on", json!(3), ""),
            ("altitude", json!({"value_m": 12.5}), "12.5 m"),
            ("time", json!({"unix_s": 1_778_308_200.0}), ""),
            ("depth", Value::Null, ""),
            ("depth", json!({"deep": 3.0}), ""),
        ];
        for (quantity, value, want) in cases {
            assert_eq!(last(quantity, &value), want);
        }
    }
}
