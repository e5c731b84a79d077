//! A finding's figures side by side.

use super::model::NumberChange;
use super::proof::EVENTS;
use crate::report::figures::short;
use serde_json::Value;
use std::collections::{BTreeMap, BTreeSet};

/// Figures that turn their sign when a finding names its two devices the other way round.
const TURNING: [&str; 5] =
    ["median_difference_deg", "median_difference_m", "forward_m", "starboard_m", "lag_s"];

/// Figures that mean nothing the other way round: a deviation is of one sensor.
const OF_ORDER: [&str; 6] = ["a", "b", "c", "d", "e", "variation_expected_deg"];

/// The figures that differ to three digits. `turned` when the two sides name the devices in another order. Unless the sides
/// are of `one_length`, counts stand there even when they are alike: they mean another rate.
pub(super) fn side_by_side(
    before: &BTreeMap<String, Value>,
    after: &BTreeMap<String, Value>,
    turned: bool,
    one_length: bool,
) -> Vec<NumberChange> {
    let names: BTreeSet<&String> = before.keys().chain(after.keys()).collect();
    let mut rows = Vec::new();
    for name in names {
        if turned && OF_ORDER.contains(&name.as_str()) {
            continue;
        }
        let plain = |value: Option<&Value>| value.filter(|v| v.is_number() || v.is_string()).cloned();
        let (b, mut a) = (plain(before.get(name)), plain(after.get(name)));
        if turned && TURNING.contains(&name.as_str()) {
            a = a.and_then(|a| a.as_f64()).and_then(|a| serde_json::Number::from_f64(-a)).map(Value::Number);
        }
        let counts = !one_length && EVENTS.contains(&name.as_str());
        if counts || shown(b.as_ref()) != shown(a.as_ref()) {
            let (before, after) = (b.unwrap_or(Value::Null), a.unwrap_or(Value::Null));
            rows.push(NumberChange { name: name.clone(), before, after });
        }
    }
    rows
}

/// A figure to three digits.
fn shown(value: Option<&Value>) -> Option<String> {
    value.map(|value| value.as_f64().map_or_else(|| value.to_string(), short))
}

/// Endings of a figure's name and the unit that they stand for.
const UNITS: [(&str, &str); 11] = [
    ("_deg", "deg"),
    ("_mbit_s", "Mbit/s"),
    ("_per_s", "a second"),
    ("_kn", "kn"),
    ("_percent", "%"),
    ("_us", "us"),
    ("_m", "m"),
    ("_s", "s"),
    ("_v", "V"),
    ("amps", "A"),
    ("bytes", "bytes"),
];

/// A figure as a person reads it: its name in words, and its values with their unit.
pub(super) fn words(row: &NumberChange) -> (String, String, String) {
    let unit = UNITS.iter().find(|(end, _)| row.name.ends_with(end));
    let name = unit
        .filter(|(end, _)| end.starts_with('_'))
        .map_or(row.name.as_str(), |(end, _)| row.name.strip_suffix(end).unwrap_or(&row.name));
    let is_share = row.name.ends_with("share") || row.name.contains("share_");
    let value = |value: &Value| match (value.as_f64(), value) {
        (Some(x), _) if is_share => format!("{} %", short(x * 100.0)),
        (Some(x), _) => unit.map_or_else(|| short(x), |(_, unit)| format!("{} {unit}", short(x))),
        (None, Value::String(text)) => text.replace('-', " "),
        _ => String::from("none"),
    };
    (name.replace('_', " "), value(&row.before), value(&row.after))
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    fn map(value: Value) -> BTreeMap<String, Value> {
        serde_json::from_value(value).unwrap()
    }

    #[test]
    fn only_what_differs_stands_there() {
        let b = map(json!({"gaps": 2, "longest_s": 9.262, "relation": "lag", "share": 0.25}));
        let a = map(json!({"gaps": 2, "longest_s": 9.2621, "relation": "unrelated", "share": 0.5}));
        let rows = side_by_side(&b, &a, false, true);
        let said: Vec<_> = rows.iter().map(words).collect();
        let want = [("relation", "lag", "unrelated"), ("share", "25 %", "50 %")];
        assert_eq!(said, want.map(|(n, b, a)| (n.to_owned(), b.to_owned(), a.to_owned())));
        let rows = side_by_side(&b, &a, false, false);
        assert_eq!(rows[0].name, "gaps", "two in other lengths of time are not alike");
    }

    #[test]
    fn differences_turn_with_the_order_of_the_devices() {
        let b = map(json!({"median_difference_deg": -11.2, "a": 1.0}));
        let a = map(json!({"median_difference_deg": 11.2, "a": 2.0}));
        assert!(side_by_side(&b, &a, true, true).is_empty());
        assert_eq!(side_by_side(&b, &a, false, true).len(), 2);
    }

    #[test]
    fn figures_bear_their_units() {
        let row =
            |name: &str, before: Value| NumberChange { name: name.to_owned(), before, after: Value::Null };
        for (name, want) in [
            ("median_difference_deg", ("median difference", "3 deg")),
            ("peak_mbit_s", ("peak", "3 Mbit/s")),
            ("peak_per_s", ("peak", "3 a second")),
            ("largest_m", ("largest", "3 m")),
            ("amps", ("amps", "3 A")),
            ("jumps", ("jumps", "3")),
        ] {
            let (name, before, after) = words(&row(name, json!(3)));
            assert_eq!((name.as_str(), before.as_str(), after.as_str()), (want.0, want.1, "none"));
        }
    }
}
