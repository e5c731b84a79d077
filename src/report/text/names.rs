//! Names that a person can find a thing by, in place of the ids that tie a report together.

use crate::report::model::{DeviceRow, Report, WireRow};
use std::collections::HashMap;

/// Devices and wires by id.
pub(super) struct Names<'a> {
    devices: HashMap<&'a str, &'a DeviceRow>,
    wires: HashMap<&'a str, &'a WireRow>,
}

impl<'a> Names<'a> {
    /// The names of a report.
    pub(super) fn of(report: &'a Report) -> Self {
        Self {
            devices: report.devices.iter().map(|device| (device.id.as_str(), device)).collect(),
            wires: report.wires.iter().map(|wire| (wire.id.as_str(), wire)).collect(),
        }
    }

    /// A device's label, or the id when nothing is known of it.
    pub(super) fn device(&self, id: &'a str) -> &'a str {
        self.devices.get(id).map_or(id, |device| device.label.as_str())
    }

    /// What a wire is called: its label with its kind.
    pub(super) fn wire(&self, id: &str) -> String {
        self.wires.get(id).map_or_else(|| id.to_owned(), |wire| wire_name(wire))
    }
}

/// What a wire is called: its label with its kind.
pub(super) fn wire_name(wire: &WireRow) -> String {
    let kind = match wire.kind {
        "can" => "CAN bus",
        "line" => "NMEA 0183 line",
        _ => "Ethernet",
    };
    match wire.label.as_deref() {
        Some(label) if !label.trim().is_empty() => format!("{kind} {label}"),
        _ => kind.to_owned(),
    }
}

/// A name from the catalogue in words: `heading-jump` becomes `heading jump`.
pub(super) fn in_words(name: &str) -> String {
    name.replace('-', " ")
}
