//! Books: bounded sums over the stream of messages. Who spoke, how regularly, what was said. No judgement.
//!
//! Each book grows with devices and message kinds, never with the length of the recording, and says its bound.

mod asked;
pub mod bounded;
pub mod bus;
mod by_wire;
mod claimants;
pub mod clock;
pub mod contention;
mod cut;
pub mod floods;
pub mod found;
mod gaps;
pub mod heirs;
pub mod histogram;
mod hosts;
pub mod inventory;
pub mod lanes;
mod lately;
mod leaps;
pub mod line;
pub mod line_rate;
mod load;
mod longest;
mod message;
pub mod naming;
pub mod network;
pub mod newcomers;
mod numbers;
pub mod ousted;
mod pace;
mod rate;
pub mod released;
mod rewinds;
mod rhythm;
pub mod runs;
mod second;
mod sentence_name;
pub mod series;
pub mod sharers;
mod shortcut;
mod standing;
pub mod steps;
mod stream_key;
pub mod talks;
pub mod timing;
pub mod traces;
pub mod track;
pub mod unaddressed;
pub mod wires;

use crate::recording::Summary;
use crate::time::{Span, Time};
pub use by_wire::ByWire;
use inventory::{Device, DeviceId, Identity};
pub use leaps::Leap;
pub use rewinds::{Rewind, Rewinds};
use std::collections::BTreeMap;
use std::sync::OnceLock;
use wires::WireId;

/// Everything that a run knows when the last record has been read.
#[derive(Debug, Default)]
pub struct Books {
    /// What each recording turned out to be.
    pub recordings: Vec<Summary>,
    /// First and last timed record of each recording.
    pub spans: Vec<Option<Span>>,
    /// The wires.
    pub wires: wires::Wires,
    /// The devices.
    pub inventory: inventory::Inventory,
    /// Periodic messages and their pauses.
    pub timing: timing::Timing,
    /// Who supplies which quantity, and the values of those that are compared.
    pub series: series::Series,
    /// The boat's clocks against the recorder's.
    pub clock: clock::Clock,
    /// CAN buses: claims, requests, losses, error frames, load.
    pub buses: bus::Buses,
    /// 0183 lines: checksums, garbled sentences.
    pub lines: line::Lines,
    /// Ethernet networks: announcements, addresses, floods.
    pub networks: network::Networks,
    /// Where the recorder's clock was set back: all times of the books are running times.
    pub rewinds: Rewinds,
    leaps: OnceLock<Vec<Leap>>,
    carried: OnceLock<BTreeMap<DeviceId, Vec<DeviceId>>>,
}

impl Books {
    /// The moments of the first and the last timed frame of all wires.
    #[must_use]
    pub fn range(&self) -> Option<(Time, Time)> {
        let first = self.wires.iter().filter_map(|(_, w)| w.first).min()?;
        let last = self.wires.iter().filter_map(|(_, w)| w.last).max()?;
        Some((first, last))
    }
}

impl Books {
    /// Fetches what the booking of a host's frame will touch (see [`crate::soon`]).
    pub(crate) fn fetch_sender(&self, wire: WireId, host: DeviceId) {
        self.inventory.fetch(host);
        if let Some(network) = self.networks.get(wire) {
            network.hosts.fetch_sender(host);
        }
    }

    /// As [`fetch_sender`](Self::fetch_sender), for what lies further: that must have come.
    pub(crate) fn fetch_behind(&self, wire: WireId, host: DeviceId) {
        self.inventory.fetch_behind(host);
        if let Some(network) = self.networks.get(wire) {
            network.fetch_behind(host);
        }
    }

    /// As [`fetch_sender`](Self::fetch_sender), of a frame to the host alone.
    pub(crate) fn fetch_receiver(&self, wire: WireId, host: DeviceId) {
        if let Some(network) = self.networks.get(wire) {
            network.hosts.fetch_receiver(host);
        }
    }

    /// Whether the recording that holds a wire is damaged or lacks frames by itself, as far as it shows.
    #[must_use]
    pub fn recording_suffers(&self, wire: WireId) -> bool {
        let recording = self.wires.get(wire).and_then(|w| self.recordings.get(w.recording));
        recording.is_some_and(|r| r.damaged_bytes > 0 || r.lost_frames > 0)
    }

    /// The stream of a source's messages: of several alike (engine, battery, reference) its own.
    #[must_use]
    pub fn stream(&self, source: &series::Source) -> Option<&timing::Stream> {
        let own = source.stream.and_then(|number| self.timing.numbered(number));
        own.or_else(|| self.timing.get(source.key.device, source.key.message))
    }

    /// The wire that a recorder was on: itself, or the one whose packets carry it.
    #[must_use]
    pub fn root(&self, wire: WireId) -> WireId {
        self.wires.get(wire).and_then(|w| w.carried_by).unwrap_or(wire)
    }

    /// The host whose packets carry a talker's line or an N2K device's bus.
    #[must_use]
    pub fn carrier(&self, id: DeviceId) -> Option<DeviceId> {
        let device = self.inventory.get(id)?;
        match device.identity {
            Identity::Talker { host, .. } => host,
            Identity::N2k { .. } => self.wires.get(device.wire)?.host,
            Identity::Ethernet { .. } => None,
        }
    }

    /// The talkers and N2K devices that a host's packets carry.
    #[must_use]
    pub fn carried(&self, host: DeviceId) -> &[DeviceId] {
        let by_host = self.carried.get_or_init(|| {
            let mut by_host = BTreeMap::<DeviceId, Vec<DeviceId>>::new();
            for (id, _) in self.inventory.iter() {
                if let Some(host) = self.carrier(id) {
                    by_host.entry(host).or_default().push(id);
                }
            }
            by_host
        });
        by_host.get(&host).map(Vec::as_slice).unwrap_or_default()
    }

    /// Whether a host sends lines or a bus in packets that the recorder cut.
    #[must_use]
    pub fn lines_cut(&self, host: DeviceId) -> bool {
        self.host(host).is_some_and(|host| host.cut.any())
    }

    /// Whether what a device says may stand behind the cut of the packets that carry it, and was not seen.
    #[must_use]
    pub fn is_cut(&self, device: DeviceId) -> bool {
        let Some(host) = self.carrier(device).and_then(|host| self.host(host)) else { return false };
        match self.inventory.get(device).map(|d| &d.identity) {
            Some(Identity::Talker { talker, .. }) => host.cut.may_hold(talker),
            _ => host.cut.any(),
        }
    }

    /// Whether a host is a phone, a tablet or a laptop by all that shows: its hardware address was drawn by lot, and it
    /// supplies no line and no bus. Such hosts sleep, leave and come back.
    #[must_use]
    pub fn is_guest(&self, host: DeviceId) -> bool {
        let drawn = self.inventory.get(host).and_then(Device::mac).is_some_and(crate::frames::Mac::is_drawn);
        drawn && self.carried(host).is_empty() && !self.wires.iter().any(|(_, wire)| wire.host == Some(host))
    }

    /// The account of a host on its network; `None` for what is no host.
    #[must_use]
    pub fn host(&self, device: DeviceId) -> Option<&network::Host> {
        self.networks.get(self.inventory.get(device)?.wire)?.hosts.get(device)
    }

    /// By how much the times of two devices may differ because two recorders stamped them, seconds: 0 for one recorder,
    /// infinite when their clocks could not be compared.
    #[must_use]
    pub fn clocks_differ_s(&self, one: DeviceId, other: DeviceId) -> f64 {
        let recording = |device| {
            let wire = self.inventory.get(device).and_then(|d| self.wires.get(d.wire))?;
            Some(wire.recording)
        };
        let (one, other) = (recording(one), recording(other));
        let uncertain = |number: Option<usize>| {
            let reckoning = self.recordings.get(number?)?.reckoning.as_ref()?;
            Some(reckoning.uncertainty_s.unwrap_or(f64::INFINITY))
        };
        if one == other { 0.0 } else { uncertain(one).unwrap_or(0.0) + uncertain(other).unwrap_or(0.0) }
    }

    /// To what the stamps of two devices' messages can be trusted, seconds: the coarser of their wires'.
    #[must_use]
    pub fn stamps_s(&self, one: DeviceId, other: DeviceId) -> f64 {
        let stamp =
            |id| self.inventory.get(id).and_then(|d| self.wires.get(d.wire)).map(wires::Wire::stamp_s);
        stamp(one).into_iter().chain(stamp(other)).fold(0.0, f64::max)
    }

    /// The longest of the pauses over which the recorder's clock did not leap, seconds; 0 when there is none.
    #[must_use]
    pub fn longest_pause_s(&self, gaps: &timing::Gaps) -> f64 {
        let pauses = gaps.over(0.0).into_iter().filter(|gap| !self.clock_leapt(*gap));
        pauses.map(|gap| gap.seconds()).fold(0.0, f64::max)
    }
}
