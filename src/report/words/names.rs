//! Names that a person can find a thing by, in place of the ids that tie a report together.

use crate::report::figures::{NONE, interval};
use crate::report::model::{DeviceRow, Report, WireRow};
use std::collections::HashMap;

/// Names of devices and wires by id.
pub struct Names<'a> {
    devices: HashMap<&'a str, String>,
    /// The wire of each device.
    on: HashMap<&'a str, &'a str>,
    wires: HashMap<&'a str, &'a WireRow>,
}

impl<'a> Names<'a> {
    /// The names of a report: a device's label, with its address behind it where several bear the same label.
    pub fn of(report: &'a Report) -> Self {
        let mut bearers: HashMap<&str, usize> = HashMap::new();
        for device in &report.devices {
            *bearers.entry(&device.label).or_default() += 1;
        }
        let name = |device: &DeviceRow| match bearers.get(device.label.as_str()) {
            Some(2..) => format!("{} ({})", device.label, address(device)),
            _ => device.label.clone(),
        };
        Self {
            devices: report.devices.iter().map(|device| (device.id.as_str(), name(device))).collect(),
            on: report.devices.iter().map(|device| (device.id.as_str(), device.wire.as_str())).collect(),
            wires: report.wires.iter().map(|wire| (wire.id.as_str(), wire)).collect(),
        }
    }

    /// A device's name, or the id when nothing is known of it.
    pub fn device<'s>(&'s self, id: &'s str) -> &'s str {
        self.devices.get(id).map_or(id, String::as_str)
    }

    /// An interval of a device's message; one of 0 is shorter than what the stamps of its wire tell apart.
    pub fn interval(&self, device: &str, seconds: Option<f64>) -> String {
        let wire = self.on.get(device).and_then(|wire| self.wires.get(wire));
        match wire.and_then(|wire| wire.time_resolution_s).filter(|_| seconds == Some(0.0)) {
            Some(resolution) => format!("under {}", interval(Some(resolution))),
            None => interval(seconds),
        }
    }

    /// What a wire is called: its label with its kind.
    pub fn wire(&self, id: &str) -> String {
        self.wires.get(id).map_or_else(|| id.to_owned(), |wire| wire_name(wire))
    }
}

/// Where a device is reached, and how many addresses more it has or had.
pub fn address(row: &DeviceRow) -> String {
    let several = |first: &str, all: usize| match all {
        0 | 1 => first.to_owned(),
        n => format!("{first} +{}", n - 1),
    };
    match (row.address, row.ips.first(), &row.talker) {
        (Some(address), _, _) => several(&address.to_string(), row.addresses.len()),
        (None, _, Some(talker)) => talker.clone(),
        (None, Some(ip), None) => several(ip, row.ips.len()),
        (None, None, None) => row.addresses.first().map_or_else(|| String::from(NONE), u8::to_string),
    }
}

/// What a wire is called: its label with its kind.
pub fn wire_name(wire: &WireRow) -> String {
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
pub fn in_words(name: &str) -> String {
    name.replace('-', " ")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::fixture;

    #[test]
    fn an_address_for_every_kind_of_device() {
        let n2k = DeviceRow { address: Some(35), addresses: vec![12, 35], ..DeviceRow::default() };
        let talker = DeviceRow { talker: Some(String::from("SD")), ..DeviceRow::default() };
        let lost = DeviceRow { addresses: vec![9], ..DeviceRow::default() };
        let got: Vec<String> = [&n2k, &talker, &lost, &DeviceRow::default()].map(address).to_vec();
        assert_eq!(got, ["35 +1", "SD", "9", "-"]);
    }

    #[test]
    fn an_interval_that_the_stamps_cannot_tell_is_no_number() {
        let mut report = fixture::troubled();
        let wire = report.devices[0].wire.clone();
        report.wires.iter_mut().filter(|w| w.id == wire).for_each(|w| w.time_resolution_s = Some(1.0));
        let names = Names::of(&report);
        let got = [Some(0.0), Some(2.0), None].map(|s| names.interval("d1", s));
        assert_eq!(got, ["under 1 s", "2 s", "-"]);
    }

    #[test]
    fn devices_of_one_label_are_told_apart() {
        let mut report = fixture::troubled();
        assert_eq!(Names::of(&report).device("d2"), "puck");
        report.devices[0].label = String::from("puck");
        let names = Names::of(&report);
        assert_eq!([names.device("d1"), names.device("d2")], ["puck (12)", "puck (35)"]);
        assert_eq!(names.device("d77"), "d77");
    }
}
