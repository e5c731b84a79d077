//! Transducer measurements: XDR. (IEC 61162-1, XDR and its table of types.)

use super::Sentence;
use super::fields::{decimal, within};
use crate::messages::{Absent, Reading, Value};

/// Groups that are looked at in one sentence; 82 characters hold no more than twenty.
const MAX_GROUPS: usize = 40;

/// Pascals in one bar.
const PA_PER_BAR: f64 = 1e5;

/// XDR: groups of type, value, unit and name. Pitch and roll of one sentence make one attitude.
pub(super) fn xdr(s: &Sentence<'_>, out: &mut Vec<Reading>) {
    let none: Value = Err(Absent::NotAvailable);
    let (mut yaw_deg, mut pitch_deg, mut roll_deg) = (none, none, none);
    let mut attitude = false;
    let mut fields = s.fields();
    for _ in 0..MAX_GROUPS {
        let Some(kind) = fields.next() else { break };
        let value = number(fields.next());
        let (unit, name) = (fields.next().unwrap_or_default(), fields.next().unwrap_or_default());
        if kind == "A"
            && let Some(axis) = axis(name)
        {
            attitude = true;
            match axis {
                Axis::Yaw => yaw_deg = within(value, &(-360.0..=360.0)),
                Axis::Pitch => pitch_deg = within(value, &(-90.0..=90.0)),
                Axis::Roll => roll_deg = within(value, &(-180.0..=180.0)),
            }
        } else if let Some(reading) = measurement(kind, value, unit, name) {
            out.push(reading);
        }
    }
    if attitude {
        out.push(Reading::Attitude { yaw_deg, pitch_deg, roll_deg });
    }
}

fn number(field: Option<&str>) -> Value {
    match field.map(str::trim_ascii) {
        None => Err(Absent::Missing),
        Some("") => Err(Absent::NotAvailable),
        Some(text) => decimal(text.as_bytes()).ok_or(Absent::Unusable),
    }
}

/// What an angle turns about, by its common names.
enum Axis {
    Yaw,
    Pitch,
    Roll,
}

fn axis(name: &str) -> Option<Axis> {
    let is = |names: &[&str]| names.iter().any(|n| name.eq_ignore_ascii_case(n));
    if is(&["PITCH", "PTCH"]) {
        Some(Axis::Pitch)
    } else if is(&["ROLL", "HEEL"]) {
        Some(Axis::Roll)
    } else if is(&["YAW"]) {
        Some(Axis::Yaw)
    } else {
        None
    }
}

/// One group as a reading; `None` for a type that is not in the table.
fn measurement(kind: &str, value: Value, unit: &str, name: &str) -> Option<Reading> {
    let instance = trailing_number(name);
    let other = |quantity, value, unit| Some(Reading::Other { quantity, instance, value, unit });
    match kind {
        "U" => Some(Reading::Voltage { instance, volts: value }),
        "T" => Some(Reading::Engine { instance, rpm: value }),
        "C" if says(name, "WATER") || says(name, "SEA") => {
            Some(Reading::WaterTemperature { instance, celsius: value })
        }
        "C" => other("temperature", value, "degC"),
        "P" => {
            let pascals = if unit == "B" { value.map(|v| v * PA_PER_BAR) } else { value };
            other(if says(name, "BARO") { "air-pressure" } else { "pressure" }, pascals, "Pa")
        }
        "A" => other("angle", value, "deg"),
        "D" if unit == "I" => other("displacement", value.map(|v| v * 0.0254), "m"),
        "D" => other("displacement", value, "m"),
        "E" => other("fluid-level", value, "percent"),
        "F" => other("frequency", value, "Hz"),
        "G" => other("generic", value, ""),
        "H" => other("humidity", value, "percent"),
        "I" => other("current", value, "A"),
        "L" => other("salinity", value, "ppt"),
        "N" => other("force", value, "N"),
        "R" => other("flow-rate", value, "l/s"),
        "S" => other("switch", value, ""),
        "V" => other("volume", value, "m3"),
        _ => None,
    }
}

/// Whether the name holds this word, in capitals or not.
fn says(name: &str, word: &str) -> bool {
    name.as_bytes().windows(word.len()).any(|part| part.eq_ignore_ascii_case(word.as_bytes()))
}

/// The number that a name such as `BATT#1` ends with, when it can be an instance.
fn trailing_number(name: &str) -> Option<u8> {
    let stem = name.trim_end_matches(|c: char| c.is_ascii_digit());
    name.get(stem.len()..)?.parse().ok()
}

#[cfg(test)]
mod tests {
    use crate::messages::nmea0183::shown;

    #[test]
    fn reads_common_groups() {
        assert_eq!(
            shown("$IIXDR,U,12.7,V,BATT#1,C,17.1,C,WATERTEMP,C,,C,AIR,S,1,,BILGE2"),
            "voltage 12.7 #1; water-temperature 17.1; temperature - degC; switch 1  #2"
        );
        assert_eq!(shown("$IIXDR,P,101325,P,BARO,D,10,I,X"), "air-pressure 101325 Pa; displacement 0.254 m");
        assert_eq!(shown("$HCXDR,A,171,D,PITCH,A,-37,D,ROLL"), "attitude - ? -37");
        assert_eq!(shown("$HCXDR,?,1,2,3,A,4"), "angle 4 deg");
        assert_eq!(shown("$HCXDR"), "");
    }
}
