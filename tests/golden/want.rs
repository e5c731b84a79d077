//! Rows of golden values, and the comparison.

use super::said::Said;
use serde_json::Value as Json;

/// The rows of a file of JSON lines.
pub(crate) fn rows(file: &str) -> impl Iterator<Item = Json> {
    file.lines().map(|line| serde_json::from_str(line).unwrap())
}

/// The text of a JSON string.
pub(crate) fn text(json: &Json) -> &str {
    json.as_str().unwrap()
}

/// Bytes written in hexadecimal.
pub(crate) fn hex(json: &Json) -> Vec<u8> {
    let digits = text(json);
    (0..digits.len()).step_by(2).map(|n| u8::from_str_radix(&digits[n..n + 2], 16).unwrap()).collect()
}

/// Compares all values that a row wants; how many there were.
pub(crate) fn compare(row: &Json, said: &Said) -> usize {
    let want = row["want"].as_object().unwrap();
    for (key, want) in want {
        let got = said.get(key);
        assert!(agree(want, got, is_circular(key)), "{key}: {got}, not {want}\n{row}\n{said:?}");
    }
    want.len()
}

/// Directions are compared on the circle, where rounding may put a value on either side of north.
fn is_circular(key: &str) -> bool {
    ["heading", "course", "wind-angle", "bearing"].iter().any(|part| key.contains(part))
}

fn agree(want: &Json, got: &Json, circular: bool) -> bool {
    let pair = want.as_array().filter(|pair| pair.len() == 2);
    let Some([value, tolerance]) = pair.map(|pair| [&pair[0], &pair[1]].map(|n| n.as_f64().unwrap())) else {
        return want == got;
    };
    let Some(got) = got.as_f64() else { return false };
    let apart = (got - value).abs();
    // Beside the stated tolerance, the last digits of a large double.
    apart <= tolerance + value.abs() * 1e-12 || (circular && (360.0 - apart).abs() <= tolerance + 1e-9)
}
