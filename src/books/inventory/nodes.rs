//! Nodes of a bus: who holds which address, and whose messages came from it.

use super::{Device, DeviceId, Identity, Inventory};
use crate::books::bus::Adoption;
use crate::books::heirs::Heir;
use crate::books::ousted::Move;
use crate::books::sharers::Manner;
use crate::books::wires::WireId;
use crate::messages::n2k::{NULL_ADDRESS, Name};
use crate::time::Time;
use std::collections::BTreeSet;

/// A node whose frames come without longer pauses than this still speaks, seconds; one that comes up is silent for longer.
const STILL_S: f64 = 0.5;

/// Who has spoken for so long has started, seconds (common practice, no source): when a boat is switched on, claims and data of
/// all come in any order.
const STARTED_S: f64 = 10.0;

/// So many longer pauses tell how long they usually are.
const USUAL_PAUSES: usize = 8;

/// Who holds each address of a bus now.
#[derive(Debug)]
pub(super) struct Holders([Option<DeviceId>; 256]);

impl Default for Holders {
    fn default() -> Self {
        Self([None; 256])
    }
}

/// How long the pauses usually are of a node that makes longer ones, seconds.
fn usual_pause_s(device: &Device) -> Option<f64> {
    let mut pauses: Vec<f64> = device.gaps.over(STILL_S).iter().map(|gap| gap.seconds()).collect();
    pauses.sort_unstable_by(f64::total_cmp);
    pauses.get(pauses.len() / 2).copied().filter(|_| pauses.len() >= USUAL_PAUSES)
}

impl Inventory {
    fn holder(&self, wire: WireId, address: u8) -> Option<DeviceId> {
        self.holders.get(wire)?.0.get(usize::from(address)).copied().flatten()
    }

    fn set_holder(&mut self, wire: WireId, address: u8, holder: Option<DeviceId>) {
        if let Some(place) = self.holders.of(wire).0.get_mut(usize::from(address)) {
            *place = holder;
        }
    }

    fn add_node(&mut self, wire: WireId, address: u8, name: Option<Name>) -> Option<DeviceId> {
        let identity = Identity::N2k { name, address, addresses: BTreeSet::from([address]) };
        let id = self.add(Device::new(wire, identity))?;
        if let Some(name) = name {
            self.names.insert((wire, name), id);
        }
        Some(id)
    }

    /// The node that holds an address now; a new one without NAME when nobody claimed it yet.
    ///
    /// The last claim before a message decides whose message it is (fact sheet NMEA 2000, section 4).
    pub fn node(&mut self, wire: WireId, address: u8) -> Option<DeviceId> {
        if let Some(id) = self.holder(wire, address) {
            return Some(id);
        }
        let id = self.add_node(wire, address, None)?;
        self.set_holder(wire, address, Some(id));
        Some(id)
    }

    /// Books an address claim and gives the node; address 254 is "cannot claim".
    pub fn claim(&mut self, wire: WireId, address: u8, name: Name) -> Option<DeviceId> {
        let known = self.names.get(&(wire, name)).copied();
        let renamed = || self.renamed(wire, address, name);
        let id = match known.or_else(renamed).or_else(|| self.past_of(wire, address, name)) {
            Some(id) => id,
            None => self.add_node(wire, address, Some(name))?,
        };
        self.names.insert((wire, name), id);
        if let Some(Device { identity: Identity::N2k { name: own, address: now, addresses }, .. }) =
            self.devices.get_mut(id.0 as usize)
        {
            *own = Some(name);
            let before = std::mem::replace(now, address);
            addresses.insert(address);
            if before != address && self.holder(wire, before) == Some(id) {
                self.set_holder(wire, before, None);
            }
        }
        if address != NULL_ADDRESS {
            self.set_holder(wire, address, Some(id));
        }
        Some(id)
    }

    /// The node that holds an address, when a claim of this NAME tells that its instances were set anew.
    fn renamed(&self, wire: WireId, address: u8, name: Name) -> Option<DeviceId> {
        let holder = self.holder(wire, address)?;
        self.get(holder)?.name()?.is_same_unit(name).then_some(holder)
    }

    /// Hands an address's nameless past on from the NAME that claimed it to the one that contests it now: a claim told nobody
    /// whose the messages before it were, and who claims last holds the address. Gives the former one a node of its own;
    /// none when the latter was heard elsewhere, and so did not speak from there.
    pub fn hand_on(&mut self, wire: WireId, claim: &Adoption, to: Name) -> Option<DeviceId> {
        let past = self.names.get(&(wire, claim.name)).copied()?;
        let Some(own) = self.names.get(&(wire, to)).copied() else {
            return self.hand_back(wire, past, claim);
        };
        // It claimed this address before, in this contest, and did nothing else.
        let contends = |d: &Device| {
            let Identity::N2k { addresses, .. } = &d.identity else { return false };
            d.first.is_some_and(|first| first >= claim.since) && addresses.iter().eq([&claim.address])
        };
        self.get(own).filter(|d| contends(d))?;
        let [old, new] = self.devices.get_disjoint_mut([past.0 as usize, own.0 as usize]).ok()?;
        std::mem::swap(&mut old.identity, &mut new.identity);
        self.names.insert((wire, to), past);
        self.names.insert((wire, claim.name), own);
        Some(own)
    }

    /// Makes the past nameless again, for the NAME that contests the claim.
    fn hand_back(&mut self, wire: WireId, past: DeviceId, claim: &Adoption) -> Option<DeviceId> {
        let Adoption { at, address, name: newcomer, .. } = *claim;
        let own = self.add_node(wire, address, Some(newcomer))?;
        if let Some(Device { identity: Identity::N2k { name, .. }, frames, bytes, .. }) =
            self.devices.get_mut(past.0 as usize)
        {
            *name = None;
            // The newcomer's claim was booked there.
            *frames = frames.saturating_sub(1);
            *bytes = bytes.saturating_sub(8);
        }
        self.set_holder(wire, address, Some(past));
        self.frame(own, Some(at), 8);
        Some(own)
    }

    /// Changes the identities of two nodes: the one whose past a newcomer's claim took over is the one that claimed another address
    /// then. Gives the newcomer's node.
    pub fn moved(&mut self, wire: WireId, it: &Move) -> Option<DeviceId> {
        let (past, own) = (it.from.device, *self.names.get(&(wire, it.name))?);
        let [old, new] = self.devices.get_disjoint_mut([past.0 as usize, own.0 as usize]).ok()?;
        std::mem::swap(&mut old.identity, &mut new.identity);
        if let Identity::N2k { addresses, .. } = &mut old.identity {
            addresses.insert(it.from.address);
        }
        // What it said of itself at its new address; when it has a past of its own, that tells of another.
        if new.first.is_some_and(|first| first >= it.from.at) {
            new.first = Some(it.from.at);
            old.model = new.model.take().or_else(|| old.model.take());
            old.software = new.software.take().or_else(|| old.software.take());
            old.serial = new.serial.take().or_else(|| old.serial.take());
            old.load_equivalency = new.load_equivalency.take().or(old.load_equivalency);
        }
        for id in [past, own] {
            let Some((name, address)) = self.get(id).and_then(|d| d.name().zip(d.address())) else {
                continue;
            };
            self.names.insert((wire, name), id);
            if self.holder(wire, address).is_some_and(|holder| [past, own].contains(&holder)) {
                self.set_holder(wire, address, Some(id));
            }
        }
        Some(own)
    }

    /// Gives a node back what it sent before another one claimed its address, which it was taken for. Gives the latter's own node.
    pub fn part(&mut self, heir: &Heir) -> Option<DeviceId> {
        let (wire, address, past) = (heir.past.wire, heir.address, heir.device);
        // Who could claim no other address has a node by its NAME already.
        let loser = heir.gave_up.and_then(|name| Some((name, *self.names.get(&(wire, name))?)));
        let own = match loser {
            Some((_, own)) => own,
            None => self.add_node(wire, address, None)?,
        };
        let [old, new] = self.devices.get_disjoint_mut([past.0 as usize, own.0 as usize]).ok()?;
        let mut newcomer = std::mem::replace(old, (*heir.past).clone());
        newcomer.first = Some(heir.at);
        newcomer.gaps = crate::books::timing::Gaps::default();
        newcomer.frames = newcomer.frames.saturating_sub(old.frames);
        newcomer.bytes = newcomer.bytes.saturating_sub(old.bytes);
        if newcomer.serial == old.serial && newcomer.model == old.model {
            (newcomer.model, newcomer.software, newcomer.serial) = (None, None, None);
            newcomer.load_equivalency = None;
        }
        let before = std::mem::replace(new, newcomer);
        if let Some((name, _)) = loser {
            old.identity = before.identity;
            if let Identity::N2k { addresses, .. } = &mut old.identity {
                addresses.insert(address);
            }
            old.frames += before.frames;
            old.bytes += before.bytes;
            old.last = old.last.max(before.last);
            old.model = before.model.or_else(|| old.model.take());
            old.software = before.software.or_else(|| old.software.take());
            old.serial = before.serial.or_else(|| old.serial.take());
            old.load_equivalency = before.load_equivalency.or(old.load_equivalency);
            self.names.insert((wire, name), past);
        }
        self.names.insert((wire, heir.name), own);
        if self.holder(wire, address) == Some(past) {
            self.set_holder(wire, address, Some(own));
        }
        Some(own)
    }

    /// Takes a node that spoke from an address before its holder claimed it for that of a new NAME, which claims it now.
    pub fn comes_back(&mut self, wire: WireId, address: u8, name: Name, past: DeviceId) -> bool {
        let is_new = !self.knows(wire, name) && self.renamed(wire, address, name).is_none();
        let comes = is_new && self.get(past).is_some_and(|device| device.name().is_none());
        if comes {
            self.names.insert((wire, name), past);
        }
        comes
    }

    /// Whether a node has been heard for so long that it has started.
    #[must_use]
    pub fn has_started(&self, id: DeviceId) -> bool {
        let seen = self.get(id).and_then(|device| Some(device.last?.since(device.first?)));
        seen.is_some_and(|seen| seen >= STARTED_S)
    }

    /// How a node with a NAME has spoken since it was first heard, when it has started.
    #[must_use]
    pub fn manner(&self, id: DeviceId) -> Option<Manner> {
        let device = self.get(id).filter(|device| device.name().is_some() && self.has_started(id))?;
        let (first, last) = device.first.zip(device.last)?;
        let pause_s = usual_pause_s(device).or_else(|| device.gaps.usual_s()).unwrap_or(STILL_S);
        Some(Manner { last, pause_s, rate: device.frames as f64 / last.since(first) })
    }

    /// Notes that a node keeps an address that another one had claimed, and left.
    pub fn keeps(&mut self, wire: WireId, address: u8, id: DeviceId) {
        if self.holder(wire, address).is_none() {
            self.set_holder(wire, address, Some(id));
        }
    }

    /// Whether a NAME has claimed an address before.
    #[must_use]
    pub fn knows(&self, wire: WireId, name: Name) -> bool {
        self.named(wire, name).is_some()
    }

    /// The node that claimed with a NAME.
    #[must_use]
    pub fn named(&self, wire: WireId, name: Name) -> Option<DeviceId> {
        self.names.get(&(wire, name)).copied()
    }

    /// Who spoke from an address up to a moment.
    #[must_use]
    pub fn speaker(&self, wire: WireId, address: u8, time: Time) -> Option<DeviceId> {
        self.holder(wire, address).filter(|holder| self.speaks(*holder, time))
    }

    /// Whether a node spoke for a while up to a moment, by the pauses that it makes.
    #[must_use]
    pub fn still_speaks(&self, id: DeviceId, time: Time) -> bool {
        self.has_started(id) && self.speaks(id, time)
    }

    /// Whether a node speaks at a moment, by the pauses that it makes.
    fn speaks(&self, id: DeviceId, time: Time) -> bool {
        let Some((device, last)) = self.get(id).and_then(|d| Some((d, d.last?))) else { return false };
        time.since(last) <= usual_pause_s(device).unwrap_or(STILL_S) * 1.1
    }

    /// The node without a NAME whose messages came from an address, when a claim of this NAME takes them over: it is a new NAME,
    /// and "cannot claim" (address 254) is no claim of what others sent from there.
    #[must_use]
    pub fn past_of(&self, wire: WireId, address: u8, name: Name) -> Option<DeviceId> {
        self.nameless(wire, address).filter(|_| !self.knows(wire, name))
    }

    /// The node that holds an address and has told no NAME.
    #[must_use]
    pub fn nameless(&self, wire: WireId, address: u8) -> Option<DeviceId> {
        let holder = self.holder(wire, address).filter(|_| address != NULL_ADDRESS)?;
        self.get(holder)?.name().is_none().then_some(holder)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn who_defends_an_address_had_spoken_from_it() {
        let (mut inventory, wire) = (Inventory::default(), WireId(0));
        let past = inventory.node(wire, 35).unwrap();
        for s in 0..10 {
            inventory.frame(past, Some(Time(s * 1_000_000)), 8);
        }
        let (newcomer, owner) = (Name(7), Name(3));
        assert_eq!(inventory.past_of(wire, 35, newcomer), Some(past));
        assert_eq!(inventory.claim(wire, 35, newcomer), Some(past));
        inventory.frame(past, Some(Time(9_100_000)), 8);
        let at = Time(9_100_000);
        let claim = Adoption { at, since: at, address: 35, name: newcomer, device: past, answered: false };
        let own = inventory.hand_on(wire, &claim, owner).unwrap();
        assert_eq!(inventory.claim(wire, 35, owner), Some(past));
        let told = |inventory: &Inventory, id| inventory.get(id).map(|d| (d.name(), d.frames));
        let frames = |id| told(&inventory, id);
        assert_eq!(frames(past), Some((Some(owner), 10)));
        assert_eq!(frames(own), Some((Some(newcomer), 1)));
        assert_eq!(inventory.names.get(&(wire, newcomer)), Some(&own));
        // The newcomer insists: the last one holds the address. Who comes from elsewhere had not spoken from it.
        let claim = Adoption { name: owner, ..claim };
        assert_eq!(inventory.hand_on(wire, &claim, newcomer), Some(own));
        assert_eq!(told(&inventory, past), Some((Some(newcomer), 10)));
        assert_eq!(told(&inventory, own), Some((Some(owner), 1)));
        let other = inventory.claim(wire, 40, Name(9)).unwrap();
        inventory.frame(other, Some(Time(1_000_000)), 8);
        assert_eq!(inventory.hand_on(wire, &Adoption { name: newcomer, ..claim }, Name(9)), None);
    }

    /// A display may set the instances of a node, which claims its address with them then.
    #[test]
    fn another_instance_is_no_other_node() {
        let (mut inventory, wire) = (Inventory::default(), WireId(0));
        let (before, after) = (Name(0xC050_8C00_0AB0_1234), Name(0xC350_8C02_0AB0_1234));
        let id = inventory.claim(wire, 22, before);
        assert_eq!(inventory.claim(wire, 22, after), id);
        assert_eq!(inventory.get(id.unwrap()).and_then(Device::name), Some(after));
        assert_ne!(inventory.claim(wire, 22, Name(0xC350_8C02_0AB0_1235)), id, "another unit");
    }

    /// A node without an address asks the others for their claims from 254; those that say "cannot claim" from there are not it.
    #[test]
    fn who_cannot_claim_takes_over_nothing() {
        let (mut inventory, wire) = (Inventory::default(), WireId(0));
        let asks = inventory.node(wire, 254).unwrap();
        assert_eq!(inventory.past_of(wire, 254, Name(7)), None);
        assert_ne!(inventory.claim(wire, 254, Name(7)), Some(asks));
    }
}
