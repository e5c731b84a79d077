//! Whether each device was heard, on each of its wires that was recorded.

use super::Held;
use super::listened::{HEARTBEAT_S, is_known_as};
use crate::boat::model::Device;
use crate::boat::sheet::{Row, Topic};
use crate::report::figures::counted;
use crate::report::model::DeviceRow;
use std::collections::BTreeSet;

/// A kind of device in the report, and its wire in words.
const WIRES: [(&str, &str); 3] = [
    ("ethernet", "heard on the Ethernet"),
    ("n2k", "heard on the NMEA 2000 bus"),
    ("talker", "heard on its NMEA 0183 line"),
];

pub(super) fn rows(held: &Held<'_>) -> Vec<Row> {
    held.file().devices.iter().flat_map(|device| device_rows(held, device)).collect()
}

/// Of a boat none of whose devices was heard nothing is proved: what was not seen is no reason to accept it.
pub(super) fn none_heard() -> Row {
    Row::new(Topic::Device, "the boat", "is the one in the recording")
        .words("a device of the boat file", "none")
        .judged(false)
        .note(
            "Record the wires that its devices are on, take the file of the boat that was recorded, or add to it how they are \
             recognised.",
        )
}

fn device_rows(held: &Held<'_>, device: &Device) -> Vec<Row> {
    let name = device.name.get_ref();
    let line = held.boat.line(&device.name);
    if !WIRES.iter().any(|(kind, _)| is_known_as(device, kind)) {
        let row = Row::new(Topic::Device, name, "heard").at(line);
        return vec![row.note("Add how it is recognised: mac, n2k or talker.")];
    }
    let mut rows = Vec::new();
    for (kind, words) in WIRES.iter().filter(|(kind, _)| is_known_as(device, kind)) {
        let seen: Vec<&DeviceRow> = held.heard(name, kind).collect();
        let row = Row::new(Topic::Device, name, *words).at(line);
        let identities: BTreeSet<_> =
            seen.iter().map(|row| (&row.name, &row.mac, row.name.is_none().then_some(row.address))).collect();
        let listened_s = held.listened_s(device, kind);
        rows.push(if listened_s.is_none() && seen.is_empty() {
            row.note("No such wire was recorded.")
        } else if seen.is_empty() && listened_s < Some(HEARTBEAT_S) {
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

fn missing_note(device: &Device, kind: &str) -> String {
    let place = device.mounted.as_ref().map(|mounted| format!(" ({mounted})")).unwrap_or_default();
    let name = device.name.get_ref();
    match kind {
        "ethernet" => format!(
            "See that {name}{place} is switched on and its link light is lit. A recorder on a switch port of its own hears \
             of other devices only what they send to all."
        ),
        _ if device.carried_by.is_some() => {
            let carrier = device.carried_by.as_ref().map(|name| name.get_ref().as_str()).unwrap_or_default();
            format!(
                "{carrier} was heard, and no such sentences from it: look at the setting of its outputs, and at the talker \
                 in the file."
            )
        }
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
