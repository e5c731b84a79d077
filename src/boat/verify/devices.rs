//! Whether each device was heard, on each of its wires that was recorded.

use super::Held;
use crate::boat::model::Device;
use crate::boat::sheet::{Row, Topic};
use crate::report::figures::counted;
use crate::report::model::DeviceRow;
use std::collections::BTreeSet;

/// A kind of device in the report, the kind of its wire, and that wire in words.
const WIRES: [(&str, &str, &str); 3] = [
    ("ethernet", "ethernet", "heard on the Ethernet"),
    ("n2k", "can", "heard on the NMEA 2000 bus"),
    ("talker", "line", "heard on its NMEA 0183 line"),
];

pub(super) fn rows(held: &Held<'_>) -> Vec<Row> {
    held.file().devices.iter().flat_map(|device| device_rows(held, device)).collect()
}

fn device_rows(held: &Held<'_>, device: &Device) -> Vec<Row> {
    let name = device.name.get_ref();
    let line = held.boat.line(&device.name);
    let known = |kind| match kind {
        "ethernet" => device.mac.is_some(),
        "n2k" => device.n2k.is_some(),
        _ => device.talker.is_some(),
    };
    if !WIRES.iter().any(|(kind, ..)| known(kind)) {
        let row = Row::new(Topic::Device, name, "heard").at(line);
        return vec![row.note("Add how it is recognised: mac, n2k or talker.")];
    }
    let mut rows = Vec::new();
    for (kind, wire, words) in WIRES.iter().filter(|(kind, ..)| known(kind)) {
        let seen: Vec<&DeviceRow> = held
            .rows(name)
            .iter()
            .copied()
            // Whom somebody only speaks to was not heard.
            .filter(|row| row.kind == *kind && row.frames > 0)
            .collect();
        let row = Row::new(Topic::Device, name, *words).at(line);
        let identities: BTreeSet<_> =
            seen.iter().map(|row| (&row.name, &row.mac, row.name.is_none().then_some(row.address))).collect();
        rows.push(if !held.recorded(wire) {
            row.note("No such wire was recorded.")
        } else if seen.is_empty() && !recorded_long_enough(held, wire) {
            row.words("heard", "not heard").note(
                "The recording is shorter than a minute, and some devices speak once a minute: record for longer.",
            )
        } else if seen.is_empty() {
            row.words("heard", "not heard").judged(false).note(missing_note(device, kind))
        } else if identities.len() > 1 {
            row.words("one device", format!("{} devices", identities.len())).judged(false).note(
                "Several devices fit what the file says of it: tell more of it, such as its NAME or serial.",
            )
        } else {
            let frames = seen.iter().map(|row| row.frames).fold(0, u64::saturating_add);
            row.words("heard", counted(frames, "frame", "frames")).judged(true)
        });
    }
    rows.extend(load(held, device));
    rows
}

/// Whether a wire of a kind was recorded for as long as a device may be silent: NMEA 2000 nodes send a heartbeat once a minute
/// (PGN 126993), and hosts and talkers of a boat something sooner (common practice, no source).
fn recorded_long_enough(held: &Held<'_>, kind: &str) -> bool {
    const HEARTBEAT_S: f64 = 60.0;
    let of_kind = held.report.wires.iter().filter(|wire| wire.kind == kind);
    let spans = of_kind.filter_map(|wire| wire.first.zip(wire.last));
    spans.map(|(first, last)| last.since(first)).fold(0.0, f64::max) >= HEARTBEAT_S
}

fn missing_note(device: &Device, kind: &str) -> String {
    let place = device.mounted.as_ref().map(|mounted| format!(" ({mounted})")).unwrap_or_default();
    let name = device.name.get_ref();
    match kind {
        "ethernet" => format!(
            "See that {name}{place} is switched on and its link light is lit. A recorder on a switch port of its own hears \
             of other devices only what they send to all."
        ),
        _ => format!(
            "See that {name}{place} is switched on and plugged in. If it was replaced, its marks in the file are old."
        ),
    }
}

/// What the device declares to draw, against what the file counts with.
fn load(held: &Held<'_>, device: &Device) -> Option<Row> {
    let at = device.load_equivalency.as_ref()?;
    let declared = held.rows(device.name.get_ref()).iter().find_map(|row| row.load_equivalency)?;
    let want = *at.get_ref();
    let is_counted = u32::from(declared) <= want;
    let row = Row::new(Topic::Device, device.name.get_ref(), "declares the load that the file counts with")
        .numbers("at most", f64::from(want), Some(f64::from(declared)), "load units")
        .judged(is_counted)
        .at(held.boat.line(at));
    let advice = "Write what it declares, so that current and voltage are worked out with it.";
    Some(if is_counted { row } else { row.note(advice) })
}
