//! The boat file as it is written: what the installer says the boat should be. `docs/boat-file.md` tells each key.
//!
//! Lengths are metres, times seconds, loads percent, voltages volts. A value that can be wrong knows where it stands in
//! the file ([`Spanned`]), so that whatever is said of it can name the line.

use serde::Deserialize;
use std::net::IpAddr;
use toml::Spanned;

/// The whole file.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct BoatFile {
    /// Which boat.
    pub boat: About,
    /// What must not be exceeded.
    #[serde(default)]
    pub limits: Limits,
    /// Who hands out IP addresses.
    #[serde(default)]
    pub addresses: Addresses,
    /// The devices.
    #[serde(default, rename = "device")]
    pub devices: Vec<Device>,
    /// The Ethernet switches.
    #[serde(default, rename = "switch")]
    pub switches: Vec<Switch>,
    /// The NMEA 0183 lines.
    #[serde(default, rename = "line")]
    pub lines: Vec<Line>,
    /// The Ethernet cables.
    #[serde(default, rename = "cable")]
    pub cables: Vec<Cable>,
    /// The NMEA 2000 backbone.
    pub backbone: Option<Backbone>,
    /// Who supplies what.
    #[serde(default, rename = "supply")]
    pub supplies: Vec<Supply>,
    /// Who must receive what.
    #[serde(default, rename = "need")]
    pub needs: Vec<Need>,
}

/// Which boat.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct About {
    /// Its name, or the job's number.
    pub name: Spanned<String>,
    /// Whatever else the acceptance sheet should say of it.
    pub remarks: Option<String>,
}

/// What must not be exceeded.
#[derive(Debug, Clone, Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Limits {
    /// Load of the CAN bus in its busiest second, percent.
    pub bus_load_percent: Option<Spanned<f64>>,
    /// Load of an Ethernet in its busiest second, percent of 100 Mbit/s.
    pub ethernet_load_percent: Option<Spanned<f64>>,
    /// Least voltage that a device may report of its supply, volts.
    pub supply_min_v: Option<Spanned<f64>>,
    /// Highest voltage that a device may report of its supply, volts.
    pub supply_max_v: Option<Spanned<f64>>,
    /// Least voltage that a device on the backbone must get, volts.
    pub backbone_min_v: Option<Spanned<f64>>,
}

/// Who hands out IP addresses.
#[derive(Debug, Clone, Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Addresses {
    /// Name of the one device that does.
    pub server: Option<Spanned<String>>,
}

/// One device.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Device {
    /// What the installer calls it.
    pub name: Spanned<String>,
    /// Where it is mounted.
    pub mounted: Option<String>,
    /// Its MAC address.
    pub mac: Option<Spanned<String>>,
    /// How it is known on the NMEA 2000 bus.
    pub n2k: Option<Node>,
    /// Talker identifier of its 0183 sentences.
    pub talker: Option<Spanned<String>>,
    /// The line that it talks on.
    pub line: Option<Spanned<String>>,
    /// The device inside whose packets its sentences travel.
    pub carried_by: Option<Spanned<String>>,
    /// IP address: one, `server` or `none`.
    pub ip: Option<Spanned<String>>,
    /// Ethernet sockets that it has.
    pub ports: Option<Spanned<u32>>,
    /// Form of its Ethernet socket.
    pub socket: Option<String>,
    /// Load equivalency number: 1 is 50 mA from the backbone.
    pub load_equivalency: Option<Spanned<u32>>,
    /// Whether it hands on what it hears on one of its wires to its other wires.
    #[serde(default)]
    pub passes_on: bool,
}

/// How a device is known on the bus: by its NAME, by parts of it, by what its product information says.
#[derive(Debug, Clone, Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Node {
    /// The NAME as 16 hex digits.
    pub name: Option<Spanned<String>>,
    /// Manufacturer code.
    pub manufacturer: Option<Spanned<u16>>,
    /// Unique number.
    pub unique_number: Option<Spanned<u32>>,
    /// Device function.
    pub function: Option<u8>,
    /// Device class.
    pub class: Option<Spanned<u8>>,
    /// Device instance.
    pub device_instance: Option<u8>,
    /// System instance.
    pub system_instance: Option<Spanned<u8>>,
    /// Model text.
    pub model: Option<String>,
    /// Serial text.
    pub serial: Option<String>,
    /// Source address; decides only while nothing else is known of the device.
    pub address: Option<Spanned<u8>>,
}

impl Node {
    /// Whether nothing but its source address tells which one it is.
    pub fn is_an_address(&self) -> bool {
        self.name.is_none()
            && self.manufacturer.is_none()
            && self.unique_number.is_none()
            && self.function.is_none()
            && self.class.is_none()
            && self.device_instance.is_none()
            && self.system_instance.is_none()
            && self.model.is_none()
            && self.serial.is_none()
    }
}

/// One switch.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Switch {
    /// What the installer calls it.
    pub name: Spanned<String>,
    /// Where it is mounted.
    pub mounted: Option<String>,
    /// Its ports.
    pub ports: Spanned<u32>,
    /// Form of its sockets.
    pub socket: Option<String>,
}

/// One NMEA 0183 line.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Line {
    /// What the installer calls it.
    pub name: Spanned<String>,
    /// The recorder's name for it, when several lines are recorded.
    pub recorded_as: Option<Spanned<String>>,
    /// Names of the devices that listen on it.
    #[serde(default)]
    pub listeners: Vec<Spanned<String>>,
}

/// One Ethernet cable.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Cable {
    /// Device or switch at its one end.
    pub from: Spanned<String>,
    /// Device or switch at its other end.
    pub to: Spanned<String>,
    /// Port of the switch at `from`.
    pub from_port: Option<Spanned<u32>>,
    /// Port of the switch at `to`.
    pub port: Option<Spanned<u32>>,
    /// Length, metres.
    pub length_m: Option<Spanned<f64>>,
    /// Plug at `from`.
    pub from_plug: Option<Spanned<String>>,
    /// Plug at `to`.
    pub to_plug: Option<Spanned<String>>,
    /// What an adapter at `from` makes of the plug.
    pub from_adapter: Option<Spanned<String>>,
    /// What an adapter at `to` makes of the plug.
    pub to_adapter: Option<Spanned<String>>,
}

/// Cable of a backbone.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum TrunkCable {
    /// Light ("micro").
    Light,
    /// Mid ("mini", 16 AWG).
    Mid,
    /// Heavy ("mini", 15 AWG).
    Heavy,
}

/// The NMEA 2000 backbone.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Backbone {
    /// What it is made of.
    pub cable: Option<TrunkCable>,
    /// Length from end to end, metres.
    pub trunk_m: Option<Spanned<f64>>,
    /// Where power is fed, metres from the begin.
    pub power_at_m: Option<Spanned<f64>>,
    /// Voltage at the feed, volts.
    pub feed_v: Option<Spanned<f64>>,
    /// Where terminators sit, metres from the begin.
    pub terminators_at_m: Option<Spanned<Vec<Spanned<f64>>>>,
    /// The drops.
    #[serde(default, rename = "drop")]
    pub drops: Vec<Drop>,
}

/// One drop.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Drop {
    /// The device at its end.
    pub device: Spanned<String>,
    /// Where its tee sits, metres from the begin of the trunk.
    pub at_m: Option<Spanned<f64>>,
    /// Its length, metres.
    pub length_m: Option<Spanned<f64>>,
}

/// One quantity from one device.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Supply {
    /// Which quantity.
    pub quantity: Spanned<String>,
    /// From which device.
    pub device: Spanned<String>,
    /// What it counts from.
    pub reference: Option<Spanned<String>>,
    /// Which of several alike.
    pub instance: Option<Spanned<u8>>,
    /// PGN in decimal, or sentence with talker, when one certain message must bring it.
    pub message: Option<Spanned<String>>,
    /// Interval, seconds.
    pub interval_s: Option<Spanned<f64>>,
    /// How much may be missing, percent of the time.
    pub missing_percent: Option<Spanned<f64>>,
    /// Whether no other device may supply it.
    pub sole: Option<Spanned<bool>>,
    /// Devices that may supply it too.
    #[serde(default)]
    pub stand_by: Vec<Spanned<String>>,
}

/// One quantity that one device must receive.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Need {
    /// The device.
    pub device: Spanned<String>,
    /// The quantity.
    pub quantity: Spanned<String>,
}

/// How a device comes by its IP address.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum IpRule {
    /// It is set to this one.
    Fixed(IpAddr),
    /// A server hands it out.
    Server,
    /// It has none.
    None,
}

impl Device {
    /// How it comes by its IP address, when the file says and what it says can be read.
    #[must_use]
    pub fn ip_rule(&self) -> Option<IpRule> {
        match self.ip.as_ref()?.get_ref().as_str() {
            "server" => Some(IpRule::Server),
            "none" => Some(IpRule::None),
            address => address.parse().ok().map(IpRule::Fixed),
        }
    }
}

impl BoatFile {
    /// The device of this name.
    #[must_use]
    pub fn device(&self, name: &str) -> Option<&Device> {
        self.devices.iter().find(|device| device.name.get_ref() == name)
    }

    /// The switch of this name.
    #[must_use]
    pub fn switch(&self, name: &str) -> Option<&Switch> {
        self.switches.iter().find(|switch| switch.name.get_ref() == name)
    }
}
