//! The wires as those hear them that hang on them: where a device listens, and where a source was seen.

use super::Held;
use super::listened::{HEARTBEAT_S, is_known_as};
use crate::boat::model::Device;
use crate::boat::reach::Net;
use std::collections::BTreeSet;

/// A wire, as what is sent on it arrives at those who listen. All Ethernets are one, and so are all buses.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Way<'a> {
    /// The Ethernet; lines that travel in packets are heard there.
    Ethernet,
    /// The NMEA 2000 bus.
    Bus,
    /// A 0183 line, by its name in the file.
    Line(&'a str),
    /// A 0183 line of the report.
    Recorded(&'a str),
}

/// The wires of one device.
pub(super) struct Ears<'a> {
    /// Those on which it was heard, or on which the file puts it.
    pub(super) on: BTreeSet<Way<'a>>,
    /// Of these, those on which it should have been heard and was not.
    pub(super) silent: BTreeSet<Way<'a>>,
    /// Of these, those that were not recorded.
    pub(super) unrecorded: BTreeSet<Way<'a>>,
}

impl Held<'_> {
    /// Where that arrives which was seen on a wire of the report.
    pub(super) fn ways<'s>(&'s self, wire: &str) -> BTreeSet<Way<'s>> {
        let Some(row) = self.wire(wire) else { return BTreeSet::new() };
        match (row.kind, row.carried_by.is_some()) {
            ("ethernet", _) | ("line", true) => BTreeSet::from([Way::Ethernet]),
            ("can", false) => BTreeSet::from([Way::Bus]),
            // A gateway tells of its bus in packets: it was sent on both.
            ("can", true) => BTreeSet::from([Way::Bus, Way::Ethernet]),
            _ => {
                let talkers = self.report.devices.iter().filter(|device| device.wire == row.id);
                let known = talkers.filter_map(|row| self.file().device(row.called.as_deref()?));
                let lines =
                    known.filter_map(|device| device.line.as_ref()).map(|line| Way::Line(line.get_ref()));
                let labelled = self.file().lines.iter().filter(|line| {
                    row.label.is_some()
                        && line.recorded_as.as_ref().map(|label| label.get_ref()) == row.label.as_ref()
                });
                let labelled = labelled.map(|line| Way::Line(line.name.get_ref()));
                lines.chain(labelled).chain([Way::Recorded(&row.id)]).collect()
            }
        }
    }

    /// Where a device of the file listens.
    pub(super) fn ears<'s>(&'s self, device: &Device) -> Ears<'s> {
        let name = device.name.get_ref();
        let heard: BTreeSet<Way<'_>> = self
            .rows(name)
            .iter()
            .filter(|row| row.frames > 0)
            .flat_map(|row| self.ways(&row.wire))
            .collect();
        let paper = self.reach.nets(name).map(|net| match net {
            Net::Ethernet(_) => Way::Ethernet,
            Net::Backbone => Way::Bus,
            Net::Line(line) => Way::Line(line),
        });
        let on: BTreeSet<Way<'_>> = paper.chain(heard.iter().copied()).collect();
        let mut ears = Ears { silent: BTreeSet::new(), unrecorded: BTreeSet::new(), on };
        ears.silent =
            ears.on.difference(&heard).copied().filter(|way| self.is_silent(device, *way)).collect();
        let recorded: BTreeSet<Way<'_>> = self
            .report
            .wires
            .iter()
            .filter(|wire| wire.frames > 0)
            .flat_map(|wire| self.ways(&wire.id))
            .collect();
        ears.unrecorded = ears.on.difference(&recorded).copied().collect();
        ears
    }

    /// Whether a device was not heard on a wire that was recorded for long enough and on which it can be recognised.
    fn is_silent(&self, device: &Device, way: Way<'_>) -> bool {
        let kind = match way {
            Way::Ethernet if device.carried_by.is_some() => "talker",
            Way::Ethernet => "ethernet",
            Way::Bus => "n2k",
            Way::Line(_) | Way::Recorded(_) => "talker",
        };
        // Who listens on another's line need not talk there.
        let talks_there = match way {
            Way::Line(line) => device.line.as_ref().is_some_and(|own| own.get_ref() == line),
            _ => true,
        };
        talks_there
            && is_known_as(device, kind)
            && self.heard(device.name.get_ref(), kind).next().is_none()
            && self.listened_s(device, kind) >= Some(HEARTBEAT_S)
    }
}
