//! Which wires a device is on, and from where a quantity reaches it.

use super::model::{BoatFile, Device};
use std::collections::{BTreeMap, BTreeSet};

/// One wire of the boat file.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Net {
    /// An Ethernet; with a number when the cables make several of it.
    Ethernet(usize),
    /// The NMEA 2000 backbone.
    Backbone,
    /// A 0183 line, by its name.
    Line(String),
}

/// The wires of every device.
pub(super) struct Reach<'a> {
    nets: BTreeMap<&'a str, BTreeSet<Net>>,
    passing: BTreeSet<&'a str>,
}

impl<'a> Reach<'a> {
    pub(super) fn of(file: &'a BoatFile) -> Self {
        let mut nets: BTreeMap<&str, BTreeSet<Net>> = BTreeMap::new();
        let islands = islands(file);
        let mut add = |name: &'a str, net: Net| {
            nets.entry(name).or_default().insert(net);
        };
        for device in &file.devices {
            let name = device.name.get_ref().as_str();
            // A device without a cable in the file is taken to be plugged in somewhere on the first Ethernet.
            let island = islands.get(name).copied();
            if let Some(island) = island.or((device.mac.is_some()).then_some(0)) {
                add(name, Net::Ethernet(island));
            }
            if let Some(carrier) = &device.carried_by {
                add(name, Net::Ethernet(islands.get(carrier.get_ref().as_str()).copied().unwrap_or(0)));
            }
            if device.n2k.is_some() {
                add(name, Net::Backbone);
            }
            if let Some(line) = line_of(device) {
                add(name, Net::Line(line));
            }
        }
        for drop in file.backbone.iter().flat_map(|backbone| &backbone.drops) {
            add(drop.device.get_ref(), Net::Backbone);
        }
        for line in &file.lines {
            for listener in &line.listeners {
                add(listener.get_ref(), Net::Line(line.name.get_ref().clone()));
            }
        }
        let passing =
            file.devices.iter().filter(|d| d.passes_on).map(|d| d.name.get_ref().as_str()).collect();
        Self { nets, passing }
    }

    /// The wires that a device is on.
    pub(super) fn nets(&self, device: &str) -> impl Iterator<Item = &Net> {
        self.nets.get(device).into_iter().flatten()
    }

    /// The devices that hand on to `to` what `from` sends, as far as the file tells.
    pub(super) fn hand_on(&self, from: &str, to: &str) -> impl Iterator<Item = &'a str> {
        self.passing.iter().copied().filter(move |passing| {
            *passing != to && *passing != from && self.reaches(from, passing) && self.reaches(passing, to)
        })
    }

    /// Whether what `from` sends arrives at `to`: on a wire of both, or handed on by devices that pass on.
    pub(super) fn reaches(&self, from: &str, to: &str) -> bool {
        let mut seen: BTreeSet<&Net> = self.nets(from).collect();
        loop {
            if self.nets(to).any(|net| seen.contains(net)) {
                return true;
            }
            let before = seen.len();
            for passing in &self.passing {
                if self.nets(passing).any(|net| seen.contains(net)) {
                    seen.extend(self.nets(passing));
                }
            }
            if seen.len() == before {
                return false;
            }
        }
    }
}

/// The line that a device talks on; one without a name of its own when the file does not tell.
fn line_of(device: &Device) -> Option<String> {
    if device.talker.is_none() || device.carried_by.is_some() {
        return None;
    }
    Some(device.line.as_ref().map(|line| line.get_ref().clone()).unwrap_or_default())
}

/// The parts into which the cables join devices and switches, each with its number; the largest is 0.
fn islands(file: &BoatFile) -> BTreeMap<&str, usize> {
    let mut group: BTreeMap<&str, usize> = BTreeMap::new();
    for (number, cable) in file.cables.iter().enumerate() {
        let ends = [cable.from.get_ref().as_str(), cable.to.get_ref().as_str()];
        let old: BTreeSet<usize> = ends.iter().filter_map(|end| group.get(end).copied()).collect();
        for part in group.values_mut().filter(|part| old.contains(part)) {
            *part = number;
        }
        ends.iter().for_each(|end| {
            group.insert(end, number);
        });
    }
    let mut sizes: BTreeMap<usize, usize> = BTreeMap::new();
    group.values().for_each(|part| *sizes.entry(*part).or_default() += 1);
    let mut order: Vec<(usize, usize)> = sizes.into_iter().collect();
    order.sort_by_key(|(part, size)| (std::cmp::Reverse(*size), *part));
    let rank: BTreeMap<usize, usize> =
        order.into_iter().enumerate().map(|(i, (part, _))| (part, i)).collect();
    group.into_iter().map(|(name, part)| (name, rank.get(&part).copied().unwrap_or(0))).collect()
}
