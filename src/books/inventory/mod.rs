//! Inventory: the devices, by what identifies them on their wire.

mod nodes;

use super::bounded;
use super::by_wire::ByWire;
use super::timing::SentenceName;
use super::wires::WireId;
use crate::frames::{Mac, Macs};
use crate::messages::n2k::{Name, NetworkMessage};
use crate::messages::nmea0183::talkers;
use crate::soon;
use crate::time::{Span, Time};
use nodes::Holders;
use rustc_hash::FxHashMap;
use std::collections::BTreeSet;
use std::net::IpAddr;

/// Index of a device in [`Inventory`].
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct DeviceId(pub u32);

/// Most devices that are kept; frames of further ones are counted as `unbooked`.
pub const MAX_DEVICES: usize = 5000;

/// Most texts (IPs, host names, services, sentences) that are kept for one device.
const MAX_TEXTS: usize = 24;

/// What a device is on its wire.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Identity {
    /// An NMEA 2000 node: by NAME once it is known, by address before.
    N2k {
        /// Its NAME.
        name: Option<Name>,
        /// Its address now; 254 when it holds none.
        address: u8,
        /// Every address it held.
        addresses: BTreeSet<u8>,
    },
    /// A host on an Ethernet.
    Ethernet {
        /// Its MAC address.
        mac: Mac,
    },
    /// A talker on a 0183 line.
    Talker {
        /// Talker identifier, or `P` and the maker's code of proprietary sentences.
        talker: String,
        /// The host whose packets carry the line.
        host: Option<DeviceId>,
    },
}

/// One device. What every frame touches stands first and in 64 bytes, as in [`Host`](super::network::Host).
#[derive(Debug, Clone)]
#[repr(C, align(64))]
pub struct Device {
    /// Last frame, by time.
    pub last: Option<Time>,
    /// Frames.
    pub frames: u64,
    /// Their bytes.
    pub bytes: u64,
    /// The stamp of the frame that came last, where it is before [`last`](Self::last).
    back_at: Option<Time>,
    /// Silences of the whole device.
    pub gaps: super::timing::Gaps,
    /// First frame.
    pub first: Option<Time>,
    /// IP addresses it used, in order of appearance.
    pub ips: Vec<IpAddr>,
    /// Where it speaks.
    pub wire: WireId,
    /// What it is there.
    pub identity: Identity,
    /// The name that somebody gave it, when it was recognised (see [`super::naming`]).
    pub called: Option<String>,
    /// N2K product information, once it was sent.
    pub model: Option<String>,
    /// N2K software version.
    pub software: Option<String>,
    /// N2K serial code.
    pub serial: Option<String>,
    /// N2K load equivalency number.
    pub load_equivalency: Option<u8>,
    /// Host names it gave.
    pub hostnames: Vec<String>,
    /// Services it announced.
    pub services: Vec<String>,
    /// Sentences it sent.
    pub sentences: Vec<SentenceName>,
    /// Those of them that came with a checksum.
    pub with_checksum: Vec<SentenceName>,
}

impl Device {
    fn new(wire: WireId, identity: Identity) -> Self {
        Self {
            wire,
            identity,
            called: None,
            model: None,
            software: None,
            serial: None,
            load_equivalency: None,
            ips: Vec::new(),
            hostnames: Vec::new(),
            services: Vec::new(),
            sentences: Vec::new(),
            with_checksum: Vec::new(),
            first: None,
            last: None,
            frames: 0,
            bytes: 0,
            back_at: None,
            gaps: super::timing::Gaps::default(),
        }
    }

    /// The N2K NAME, when this is a node that claimed one.
    #[must_use]
    pub fn name(&self) -> Option<Name> {
        match self.identity {
            Identity::N2k { name, .. } => name,
            _ => None,
        }
    }

    /// The N2K source address now.
    #[must_use]
    pub fn address(&self) -> Option<u8> {
        match self.identity {
            Identity::N2k { address, .. } => Some(address),
            _ => None,
        }
    }

    /// The MAC address, when this is a host.
    #[must_use]
    pub fn mac(&self) -> Option<Mac> {
        match self.identity {
            Identity::Ethernet { mac } => Some(mac),
            _ => None,
        }
    }

    /// The name that a person would find the device by: the one it was given, else as far as it tells by itself.
    #[must_use]
    pub fn label(&self) -> String {
        if let Some(called) = &self.called {
            return called.clone();
        }
        match &self.identity {
            Identity::N2k { name, address, .. } => {
                let what = match (self.model.as_deref().filter(|m| !m.is_empty()), name) {
                    (Some(model), _) => model.to_owned(),
                    (None, Some(name)) => name
                        .purpose()
                        .map_or_else(|| format!("device of maker {}", name.manufacturer()), str::to_owned),
                    (None, None) => "device".to_owned(),
                };
                if *address == 254 {
                    format!("{what} without an address")
                } else {
                    format!("{what} at address {address}")
                }
            }
            Identity::Ethernet { mac } => {
                let place = self.ips.iter().find(|ip| ip.is_ipv4()).or_else(|| self.ips.first());
                match (self.hostnames.first(), place) {
                    (Some(host), Some(ip)) => format!("{host} ({ip})"),
                    (Some(host), None) => format!("{host} ({mac})"),
                    (None, Some(ip)) => format!("host {ip}"),
                    (None, None) => format!("host {mac}"),
                }
            }
            Identity::Talker { talker, .. } => match talkers::meaning(talker) {
                Some(meaning) => format!("{talker} ({meaning})"),
                None => format!("talker {talker}"),
            },
        }
    }

    fn frame(&mut self, time: Option<Time>, bytes: u64) {
        self.frames += 1;
        self.bytes += bytes;
        let Some(time) = time else { return };
        let Some(last) = self.last else {
            (self.first, self.last) = (Some(time), Some(time));
            return;
        };
        let us = time.micros_since(last);
        if us >= 0 && self.back_at.is_none() {
            self.gaps.interval_of(us, last, time);
            self.last = Some(time);
        } else {
            self.frame_after_step(time, last);
        }
    }

    /// The recorder's clock was set back, or a frame was overtaken.
    #[cold]
    fn frame_after_step(&mut self, time: Time, last: Time) {
        let latest = self.back_at.unwrap_or(last);
        let us = time.micros_since(latest);
        if us >= 0 {
            self.gaps.interval_of(us, latest, time);
        } else {
            self.first = self.first.map(|first| first.min(time));
        }
        self.last = Some(last.max(time));
        self.back_at = (time < last).then_some(time);
    }
}

/// Adds a text to one of a device's lists, unless it stands there already or the list is full.
pub fn note_text<T: PartialEq>(list: &mut Vec<T>, text: T) {
    bounded::note(list, MAX_TEXTS, text);
}

/// Talkers that are found without a search.
const RECENT: usize = 16;

/// Every device of a run. At most [`MAX_DEVICES`].
#[derive(Debug, Default)]
pub struct Inventory {
    devices: Vec<Device>,
    holders: ByWire<Holders>,
    names: FxHashMap<(WireId, Name), DeviceId>,
    /// By wire and MAC address, as one number.
    hosts: FxHashMap<u64, DeviceId>,
    talkers: FxHashMap<(WireId, u32), DeviceId>,
    /// Talkers that spoke of late, by a few bits of their key.
    recent: [Option<(WireId, u32, DeviceId)>; RECENT],
    /// Frames of devices that found no room.
    pub unbooked: u64,
}

impl Inventory {
    fn add(&mut self, device: Device) -> Option<DeviceId> {
        if self.devices.len() >= MAX_DEVICES {
            self.unbooked += 1;
            return None;
        }
        self.devices.push(device);
        Some(DeviceId(self.devices.len() as u32 - 1))
    }

    /// Books what a node says of itself.
    pub fn describe(&mut self, id: DeviceId, message: &NetworkMessage) {
        let Some(device) = self.devices.get_mut(id.0 as usize) else { return };
        if let NetworkMessage::Product(product) = message {
            device.model = Some(product.model.clone());
            device.software = Some(product.software.clone());
            device.serial = Some(product.serial.clone());
            device.load_equivalency = product.load_equivalency;
        }
    }

    /// The host with this MAC address.
    pub fn host(&mut self, wire: WireId, mac: Mac) -> Option<DeviceId> {
        if let Some(id) = self.known_host(wire, mac) {
            return Some(id);
        }
        let id = self.add(Device::new(wire, Identity::Ethernet { mac }))?;
        self.hosts.insert(host_key(wire, mac), id);
        Some(id)
    }

    /// The host with this MAC address, when it is known.
    #[must_use]
    pub fn known_host(&self, wire: WireId, mac: Mac) -> Option<DeviceId> {
        self.hosts.get(&host_key(wire, mac)).copied()
    }

    /// The host that sends a frame, and the one that it is for unless that is a group; `None` when one of them is not known.
    #[must_use]
    pub fn known_hosts(&self, wire: WireId, macs: Macs) -> Option<(DeviceId, Option<DeviceId>)> {
        let host = self.known_host(wire, macs.source())?;
        let to = if macs.is_to_group() { None } else { Some(self.known_host(wire, macs.destination())?) };
        Some((host, to))
    }

    /// The talker of a line; `host` is the host whose packets carry the line.
    pub fn talker(&mut self, wire: WireId, talker: &[u8], host: Option<DeviceId>) -> Option<DeviceId> {
        let key = talker_key(talker);
        let slot = (key ^ key >> 8 ^ wire.0) as usize % RECENT;
        if let Some(Some((at, known, id))) = self.recent.get(slot)
            && (*at, *known) == (wire, key)
        {
            return Some(*id);
        }
        let id = self.talker_by_key(wire, key, talker, host)?;
        if let Some(place) = self.recent.get_mut(slot) {
            *place = Some((wire, key, id));
        }
        Some(id)
    }

    fn talker_by_key(
        &mut self,
        wire: WireId,
        key: u32,
        talker: &[u8],
        host: Option<DeviceId>,
    ) -> Option<DeviceId> {
        if let Some(&id) = self.talkers.get(&(wire, key)) {
            return Some(id);
        }
        let talker = String::from_utf8_lossy(talker).into_owned();
        let id = self.add(Device::new(wire, Identity::Talker { talker, host }))?;
        self.talkers.insert((wire, key), id);
        Some(id)
    }

    /// How many hosts there are.
    #[must_use]
    pub fn hosts(&self) -> usize {
        self.hosts.len()
    }

    /// Fetches what a frame of a device touches.
    pub(super) fn fetch(&self, id: DeviceId) {
        if let Some(device) = self.get(id) {
            soon::fetch(&device.last);
        }
    }

    /// As [`fetch`](Self::fetch), for what lies further: that must have come.
    pub(super) fn fetch_behind(&self, id: DeviceId) {
        if let Some(device) = self.get(id) {
            device.gaps.fetch();
        }
    }

    /// Counts a frame of a device.
    pub fn frame(&mut self, id: DeviceId, time: Option<Time>, bytes: u64) {
        if let Some(device) = self.devices.get_mut(id.0 as usize) {
            device.frame(time, bytes);
        }
    }

    /// The device with this index.
    #[must_use]
    pub fn get(&self, id: DeviceId) -> Option<&Device> {
        self.devices.get(id.0 as usize)
    }

    /// The device with this index.
    pub fn get_mut(&mut self, id: DeviceId) -> Option<&mut Device> {
        self.devices.get_mut(id.0 as usize)
    }

    /// Every device, in order of first appearance.
    pub fn iter(&self) -> impl Iterator<Item = (DeviceId, &Device)> {
        self.devices.iter().enumerate().map(|(i, d)| (DeviceId(i as u32), d))
    }

    /// The name that a person would find the device by; a talker inside packets is found by its host.
    #[must_use]
    pub fn label(&self, id: DeviceId) -> String {
        let Some(device) = self.get(id) else { return "a device".to_owned() };
        match self.host_of(id).filter(|_| device.called.is_none()) {
            Some(host) => format!("{} from {}", device.label(), host.label()),
            None => device.label(),
        }
    }

    /// The host whose packets carry a talker's line.
    #[must_use]
    pub fn host_of(&self, id: DeviceId) -> Option<&Device> {
        match self.get(id)?.identity {
            Identity::Talker { host, .. } => self.get(host?),
            _ => None,
        }
    }

    /// Whether two rows are one and the same thing seen twice: on two wires, or over two paths.
    #[must_use]
    pub fn same(&self, one: DeviceId, other: DeviceId) -> bool {
        if one == other {
            return true;
        }
        let (Some(a), Some(b)) = (self.get(one), self.get(other)) else { return false };
        match (&a.identity, &b.identity) {
            (Identity::N2k { name: Some(a), .. }, Identity::N2k { name: Some(b), .. }) => a == b,
            (Identity::Ethernet { mac: a }, Identity::Ethernet { mac: b }) => a == b,
            (Identity::Talker { talker: a, .. }, Identity::Talker { talker: b, .. }) => {
                let hosts = self.host_of(one).zip(self.host_of(other));
                a == b && hosts.is_some_and(|(a, b)| a.mac().is_some() && a.mac() == b.mac())
            }
            _ => false,
        }
    }

    /// The talker of a line, when it is known.
    #[must_use]
    pub fn known_talker(&self, wire: WireId, talker: &[u8]) -> Option<DeviceId> {
        self.talkers.get(&(wire, talker_key(talker))).copied()
    }

    /// When a device was seen, first to last frame.
    #[must_use]
    pub fn seen(&self, id: DeviceId) -> Option<Span> {
        let device = self.get(id)?;
        Some(Span::new(device.first?, device.last?))
    }
}

const fn host_key(wire: WireId, Mac([a, b, c, d, e, f]): Mac) -> u64 {
    (wire.0 as u64) << 48 | u64::from_be_bytes([0, 0, a, b, c, d, e, f])
}

fn talker_key(talker: &[u8]) -> u32 {
    u32::from_le_bytes(match talker {
        [] => [0; 4],
        [a] => [*a, 0, 0, 0],
        [a, b] => [*a, *b, 0, 0],
        [a, b, c] => [*a, *b, *c, 0],
        [a, b, c, d, ..] => [*a, *b, *c, *d],
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_clock_that_is_set_back_makes_no_silence() {
        let mut inventory = Inventory::default();
        let id = inventory.claim(WireId(0), 35, Name(1)).unwrap();
        for s in [100_i64, 20, 22, 24, 40, 42] {
            inventory.frame(id, Some(Time(s * 1_000_000)), 8);
        }
        let device = inventory.get(id).unwrap();
        assert_eq!(device.gaps.over(2.5).iter().map(|gap| gap.seconds()).collect::<Vec<_>>(), [16.0]);
        assert_eq!((device.first, device.last), (Some(Time(20_000_000)), Some(Time(100_000_000))));
    }
}
