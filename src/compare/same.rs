//! Which device and which wire of one side is which of the other.
//!
//! Surest first: NAME and MAC; a talker with the MAC of the host that carries its line; a NAME whose instances alone
//! were set anew; and, on wires that are the same, talkers and N2K addresses.

use super::side::{Device, Side};
use std::collections::HashMap;

/// The partner of every device and wire, by index.
#[derive(Debug, Default)]
pub(super) struct Same {
    /// For each device before, that after.
    pub(super) after: Vec<Option<usize>>,
    /// For each device after, that before.
    pub(super) before: Vec<Option<usize>>,
    /// For each wire before, that after.
    pub(super) wire_after: Vec<Option<usize>>,
    /// For each wire after, that before.
    pub(super) wire_before: Vec<Option<usize>>,
}

/// Rows of one side by id.
pub(super) struct Ids<'a> {
    devices: HashMap<&'a str, usize>,
    wires: HashMap<&'a str, usize>,
}

impl<'a> Ids<'a> {
    /// The rows of a side.
    pub(super) fn of(side: &'a Side) -> Self {
        Self {
            devices: side.devices.iter().enumerate().map(|(i, d)| (d.id.as_str(), i)).collect(),
            wires: side.wires.iter().enumerate().map(|(i, w)| (w.id.as_str(), i)).collect(),
        }
    }

    /// Index of the device with this id.
    pub(super) fn device(&self, id: &str) -> Option<usize> {
        self.devices.get(id).copied()
    }

    /// Index of the wire with this id.
    pub(super) fn wire(&self, id: &str) -> Option<usize> {
        self.wires.get(id).copied()
    }
}

/// Bits of a NAME that a setting changes: device instance and system instance (ISO 11783-5, NMEA 2000 appendix D: bits
/// 32 to 39 and 56 to 59).
const SETTABLE: u64 = (0xFF << 32) | (0xF << 56);

/// A NAME without what can be set; `None` when the device gave none.
fn unit(device: &Device) -> Option<u64> {
    let name = device.name.as_deref()?;
    (name.len() == 16).then(|| u64::from_str_radix(name, 16).ok()).flatten().map(|name| name & !SETTABLE)
}

impl Same {
    /// Pairs two sides.
    pub(super) fn of(before: (&Side, &Ids<'_>), after: (&Side, &Ids<'_>)) -> Self {
        let ((b, b_ids), (a, a_ids)) = (before, after);
        let mut same = Self {
            after: vec![None; b.devices.len()],
            before: vec![None; a.devices.len()],
            wire_after: vec![None; b.wires.len()],
            wire_before: vec![None; a.wires.len()],
        };
        let text = |text: &Option<String>| text.clone().filter(|text| !text.is_empty());
        same.pair(b, a, |d, _| (d.kind == "n2k").then(|| text(&d.name)).flatten());
        same.pair(b, a, |d, _| (d.kind == "ethernet").then(|| text(&d.mac)).flatten());
        same.pair(b, a, |d, _| {
            (d.kind == "talker")
                .then(|| text(&d.talker).zip(text(&d.mac)))
                .flatten()
                .map(|(t, m)| t + " " + &m)
        });
        same.pair(b, a, |d, _| (d.kind == "n2k").then(|| unit(d)).flatten().map(|unit| unit.to_string()));
        same.wires((b, b_ids), (a, a_ids));
        // The wire as one number for both sides: the index it has before.
        let b_wire: Vec<Option<usize>> = b
            .devices
            .iter()
            .map(|d| b_ids.wire(&d.wire).filter(|w| same.wire_after.get(*w).is_some_and(Option::is_some)))
            .collect();
        let a_wire: Vec<Option<usize>> =
            a.devices.iter().map(|d| a_ids.wire(&d.wire).and_then(|w| *same.wire_before.get(w)?)).collect();
        let on = move |(after, i): (bool, usize)| {
            let wires = if after { &a_wire } else { &b_wire };
            wires.get(i).copied().flatten()
        };
        same.pair(b, a, |d, at| {
            (d.kind == "talker")
                .then(|| text(&d.talker).zip(on(at)))
                .flatten()
                .map(|(t, w)| format!("{t} {w}"))
        });
        same.by_address(b, a, |d, at| {
            (d.kind == "n2k").then(|| d.address.filter(|address| *address < 252).zip(on(at))).flatten()
        });
        same
    }

    /// Pairs what is left and has the same key. Rows of one key beyond the other side's number (one device on two wires)
    /// share its first.
    fn pair(&mut self, b: &Side, a: &Side, key: impl Fn(&Device, (bool, usize)) -> Option<String>) {
        let mut free: Vec<(String, usize)> = Vec::new();
        for (i, device) in a.devices.iter().enumerate() {
            if self.before.get(i).is_some_and(Option::is_none)
                && let Some(key) = key(device, (true, i))
            {
                free.push((key, i));
            }
        }
        let mut there: HashMap<&str, Vec<usize>> = HashMap::new();
        free.iter().for_each(|(key, i)| there.entry(key).or_default().push(*i));
        // For each key: how many were paired, and the first row before.
        let mut paired: HashMap<String, (usize, usize)> = HashMap::new();
        for (i, device) in b.devices.iter().enumerate() {
            if self.after.get(i).is_none_or(Option::is_some) {
                continue;
            }
            let Some(key) = key(device, (false, i)) else { continue };
            let Some(there) = there.get(key.as_str()) else { continue };
            let (count, _) = paired.entry(key).or_insert((0, i));
            let to = there.get(*count).or_else(|| there.first()).copied();
            *count += 1;
            self.join(i, to);
        }
        for (key, i) in &free {
            if let (Some((_, first)), Some(slot @ None)) = (paired.get(key), self.before.get_mut(*i)) {
                *slot = Some(*first);
            }
        }
    }

    fn join(&mut self, before: usize, after: Option<usize>) {
        let Some(after) = after else { return };
        if let Some(slot) = self.after.get_mut(before) {
            *slot = Some(after);
        }
        if let Some(slot @ None) = self.before.get_mut(after) {
            *slot = Some(before);
        }
    }

    /// Pairs nodes of one address on one bus where one of the two did not give its NAME: claims are heard only when a
    /// device starts or is asked.
    fn by_address(
        &mut self,
        b: &Side,
        a: &Side,
        key: impl Fn(&Device, (bool, usize)) -> Option<(u8, usize)>,
    ) {
        let mut there: HashMap<(u8, usize), usize> = HashMap::new();
        for (i, device) in a.devices.iter().enumerate() {
            if self.before.get(i).is_some_and(Option::is_none)
                && let Some(key) = key(device, (true, i))
            {
                there.insert(key, i);
            }
        }
        for (i, device) in b.devices.iter().enumerate() {
            if self.after.get(i).is_none_or(Option::is_some) {
                continue;
            }
            let Some(to) = key(device, (false, i)).and_then(|key| there.remove(&key)) else { continue };
            if device.name.is_none() || a.devices.get(to).is_some_and(|d| d.name.is_none()) {
                self.join(i, Some(to));
            }
        }
    }

    /// Pairs wires: by the devices that they share, by their name, and the only one of a kind with the only one.
    fn wires(&mut self, (b, b_ids): (&Side, &Ids<'_>), (a, a_ids): (&Side, &Ids<'_>)) {
        let mut votes: HashMap<(usize, usize), usize> = HashMap::new();
        // Wires with a device that would be known again.
        let (mut b_known, mut a_known) = (vec![false; b.wires.len()], vec![false; a.wires.len()]);
        let sure = |d: &Device| d.name.is_some() || d.mac.is_some();
        mark(&mut b_known, b.devices.iter().filter(|d| sure(d)).filter_map(|d| b_ids.wire(&d.wire)));
        mark(&mut a_known, a.devices.iter().filter(|d| sure(d)).filter_map(|d| a_ids.wire(&d.wire)));
        for (i, device) in b.devices.iter().enumerate() {
            let partner = self.after.get(i).copied().flatten().and_then(|i| a.devices.get(i));
            let wires = b_ids.wire(&device.wire).zip(partner.and_then(|d| a_ids.wire(&d.wire)));
            if let Some(wires) = wires {
                *votes.entry(wires).or_default() += 1;
            }
        }
        let mut votes: Vec<((usize, usize), usize)> = votes.into_iter().collect();
        votes.sort_unstable_by_key(|(wires, n)| (std::cmp::Reverse(*n), *wires));
        for ((before, after), _) in votes {
            self.join_wires(b, a, before, after);
        }
        let mut labels: HashMap<(&str, &str), usize> = HashMap::new();
        for (i, wire) in a.wires.iter().enumerate().filter(|(i, _)| !a_known.get(*i).is_some_and(|k| *k)) {
            labels.entry((&wire.kind, wire.label.as_deref().unwrap_or_default())).or_insert(i);
        }
        for (i, wire) in b.wires.iter().enumerate() {
            let label = wire.label.as_deref().unwrap_or_default();
            if let Some(after) = labels.get(&(&wire.kind, label)).filter(|_| !label.is_empty()) {
                self.join_wires(b, a, i, *after);
            }
        }
        for kind in ["can", "ethernet", "line"] {
            let free = |side: &Side, partners: &[Option<usize>]| {
                let mut of_kind =
                    side.wires.iter().enumerate().filter(|(i, wire)| {
                        wire.kind == kind && partners.get(*i).is_some_and(Option::is_none)
                    });
                of_kind.next().map(|(i, _)| i).filter(|_| of_kind.next().is_none())
            };
            let pair = free(b, &self.wire_after).zip(free(a, &self.wire_before));
            if let Some((before, after)) = pair {
                let known = |known: &[bool], i: usize| known.get(i).copied().unwrap_or(false);
                // Both give names that none of the other's bears: nothing says that they are one wire.
                if !(known(&b_known, before) && known(&a_known, after)) {
                    self.join_wires(b, a, before, after);
                }
            }
        }
    }

    fn join_wires(&mut self, b: &Side, a: &Side, before: usize, after: usize) {
        let kinds = b.wires.get(before).map(|w| &w.kind) == a.wires.get(after).map(|w| &w.kind);
        if let (Some(forth @ None), Some(back @ None), true) =
            (self.wire_after.get_mut(before), self.wire_before.get_mut(after), kinds)
        {
            (*forth, *back) = (Some(after), Some(before));
        }
    }
}

fn mark(known: &mut [bool], wires: impl Iterator<Item = usize>) {
    for wire in wires {
        if let Some(slot) = known.get_mut(wire) {
            *slot = true;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::compare::side::Wire;

    fn side(kind: &str, devices: &[Device]) -> Side {
        let wire = Wire { id: String::from("w1"), kind: String::from(kind), ..Wire::default() };
        let mut side = Side::default();
        (side.wires, side.devices) = (vec![wire], devices.to_vec());
        side
    }

    fn node(id: &str, address: u8, name: Option<&str>) -> Device {
        Device {
            id: String::from(id),
            wire: String::from("w1"),
            kind: String::from("n2k"),
            address: Some(address),
            name: name.map(str::to_owned),
            ..Device::default()
        }
    }

    fn same(b: &Side, a: &Side) -> Same {
        Same::of((b, &Ids::of(b)), (a, &Ids::of(a)))
    }

    #[test]
    fn a_name_is_known_at_any_address() {
        let b = side(
            "can",
            &[node("d1", 35, Some("C0789100FF80D714")), node("d2", 12, Some("C0509600FF40775A"))],
        );
        let a = side(
            "can",
            &[node("d1", 12, Some("C0789100FF80D714")), node("d2", 35, Some("C0509600FF40775A"))],
        );
        let same = same(&b, &a);
        assert_eq!(same.after, [Some(0), Some(1)]);
        assert_eq!(same.wire_after, [Some(0)]);
    }

    #[test]
    fn instances_set_anew_keep_the_device() {
        let b = side("can", &[node("d1", 35, Some("C0789100FF80D714"))]);
        let a = side("can", &[node("d1", 35, Some("C1789101FF80D714"))]);
        assert_eq!(same(&b, &a).after, [Some(0)]);
        let a = side("can", &[node("d1", 35, Some("C0789100FF80D715"))]);
        assert_eq!(same(&b, &a).after, [None], "another unit at the same address");
        assert_eq!(same(&b, &a).wire_after, [None]);
    }

    #[test]
    fn an_address_serves_where_a_claim_was_missed() {
        let b = side("can", &[node("d1", 35, Some("C0789100FF80D714")), node("d2", 4, None)]);
        let a = side("can", &[node("d1", 4, None), node("d2", 35, None)]);
        let same = same(&b, &a);
        assert_eq!((same.after, same.before), (vec![Some(1), Some(0)], vec![Some(1), Some(0)]));
    }

    #[test]
    fn talkers_are_known_on_the_only_line() {
        let talker = |id: &str, talker: &str| Device {
            id: String::from(id),
            wire: String::from("w1"),
            kind: String::from("talker"),
            talker: Some(String::from(talker)),
            ..Device::default()
        };
        let b = side("line", &[talker("d1", "HC"), talker("d2", "SD")]);
        let a = side("line", &[talker("d1", "SD"), talker("d2", "GP")]);
        assert_eq!(same(&b, &a).after, [None, Some(0)]);
        let other = side("can", &[]);
        assert_eq!(same(&b, &other).wire_after, [None]);
    }

    #[test]
    fn one_host_on_two_wires_is_one_host() {
        let host = |id: &str| Device {
            id: String::from(id),
            wire: String::from("w1"),
            kind: String::from("ethernet"),
            mac: Some(String::from("02:00:5e:10:00:01")),
            ..Device::default()
        };
        let b = side("ethernet", &[host("d1")]);
        let a = side("ethernet", &[host("d1"), host("d2")]);
        assert_eq!(same(&b, &a).before, [Some(0), Some(0)]);
        assert_eq!(same(&a, &b).after, [Some(0), Some(0)]);
    }
}
