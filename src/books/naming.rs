//! Names that somebody gave the devices, and how each of these is recognised.

use super::inventory::{Device, Identity, Inventory};
use super::wires::Wires;
use crate::frames::Mac;

/// A name, and the marks of the device that bears it. Any of `mac`, `node` and `talker` that fits is enough.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Called {
    /// The name.
    pub name: String,
    /// MAC address of the host.
    pub mac: Option<Mac>,
    /// Marks of the NMEA 2000 node.
    pub node: Option<NodeParts>,
    /// Talker identifier.
    pub talker: Option<String>,
    /// Where the talker must be heard.
    pub heard: Heard,
}

/// Where a talker is heard.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub enum Heard {
    /// Anywhere.
    #[default]
    Anywhere,
    /// On a line of its own, with this name of the recorder when one is given.
    OnLine(Option<String>),
    /// Inside the packets of this host.
    From(Mac),
}

/// Marks of a node; all that are given must fit. The address decides only when no other mark is given, or while the
/// node has told nothing else of itself.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct NodeParts {
    /// NAME.
    pub name: Option<u64>,
    /// Manufacturer code in the NAME.
    pub manufacturer: Option<u16>,
    /// Unique number in the NAME.
    pub unique_number: Option<u32>,
    /// Function in the NAME.
    pub function: Option<u8>,
    /// Class in the NAME.
    pub class: Option<u8>,
    /// Device instance in the NAME.
    pub device_instance: Option<u8>,
    /// System instance in the NAME.
    pub system_instance: Option<u8>,
    /// Model text of the product information.
    pub model: Option<String>,
    /// Serial text of the product information.
    pub serial: Option<String>,
    /// Source address.
    pub address: Option<u8>,
}

/// Whether a mark that is given is the one that was seen.
fn fits<T: PartialEq>(given: Option<&T>, seen: Option<&T>) -> bool {
    given.is_none_or(|given| seen == Some(given))
}

impl NodeParts {
    fn is_bare(&self) -> bool {
        Self { address: None, ..self.clone() } == Self::default()
    }

    fn fit(&self, device: &Device) -> bool {
        let Some(address) = device.address() else { return false };
        let by_address = self.address == Some(address);
        let name = device.name();
        if self.is_bare() || (name.is_none() && device.model.is_none() && device.serial.is_none()) {
            return by_address;
        }
        // Model and serial come on request only, so that many a recording lacks them: the NAME is enough then.
        let texts = self.name.is_some() && device.model.is_none() && device.serial.is_none();
        fits(self.name.as_ref(), name.map(|n| n.0).as_ref())
            && fits(self.manufacturer.as_ref(), name.map(|n| n.manufacturer()).as_ref())
            && fits(self.unique_number.as_ref(), name.map(|n| n.unique_number()).as_ref())
            && fits(self.function.as_ref(), name.map(|n| n.function()).as_ref())
            && fits(self.class.as_ref(), name.map(|n| n.class()).as_ref())
            && fits(self.device_instance.as_ref(), name.map(|n| n.instance()).as_ref())
            && fits(self.system_instance.as_ref(), name.map(|n| n.system_instance()).as_ref())
            && (texts
                || (fits(self.model.as_ref(), device.model.as_ref())
                    && fits(self.serial.as_ref(), device.serial.as_ref())))
    }
}

impl Called {
    fn fits(&self, inventory: &Inventory, wires: &Wires, device: &Device) -> bool {
        match &device.identity {
            Identity::Ethernet { mac } => self.mac == Some(*mac),
            Identity::N2k { .. } => self.node.as_ref().is_some_and(|node| node.fit(device)),
            Identity::Talker { talker, host } => {
                let host = host.and_then(|host| inventory.get(host));
                self.talker.as_ref() == Some(talker)
                    && match &self.heard {
                        Heard::Anywhere => true,
                        Heard::From(mac) => host.and_then(Device::mac) == Some(*mac),
                        Heard::OnLine(label) => {
                            let wire = wires.get(device.wire);
                            wire.is_some_and(|wire| {
                                wire.carried_by.is_none() && fits(label.as_ref(), wire.label.as_ref())
                            })
                        }
                    }
            }
        }
    }
}

/// Gives every device that is recognised its name; the first that fits, in the order of `names`.
pub fn name_devices(inventory: &mut Inventory, wires: &Wires, names: &[Called]) {
    let called: Vec<_> = inventory
        .iter()
        .filter_map(|(id, device)| {
            let called = names.iter().find(|called| called.fits(inventory, wires, device))?;
            Some((id, called.name.clone()))
        })
        .collect();
    for (id, name) in called {
        if let Some(device) = inventory.get_mut(id) {
            device.called = Some(name);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::books::wires::WireId;
    use crate::messages::n2k::Name;

    const WIRE: WireId = WireId(0);
    const NAME: Name = Name(0xC078_9100_FFFB_CD15);

    fn named(inventory: &mut Inventory, names: &[Called]) -> Vec<Option<String>> {
        name_devices(inventory, &Wires::default(), names);
        inventory.iter().map(|(_, device)| device.called.clone()).collect()
    }

    fn node(name: &str, parts: NodeParts) -> Called {
        Called { name: name.to_owned(), node: Some(parts), ..Called::default() }
    }

    #[test]
    fn a_node_is_known_by_its_name_and_by_parts_of_it() {
        let mut inventory = Inventory::default();
        inventory.claim(WIRE, 35, NAME);
        inventory.node(WIRE, 7);
        for parts in [
            NodeParts { name: Some(NAME.0), ..NodeParts::default() },
            NodeParts { manufacturer: Some(2047), function: Some(145), ..NodeParts::default() },
            NodeParts { address: Some(35), ..NodeParts::default() },
            NodeParts { name: Some(NAME.0), model: Some(String::from("GH-2")), ..NodeParts::default() },
        ] {
            let want = [Some(String::from("puck")), None];
            assert_eq!(named(&mut inventory, &[node("puck", parts)]), want);
            inventory.get_mut(crate::books::inventory::DeviceId(0)).unwrap().called = None;
        }
        let other = NodeParts { manufacturer: Some(2046), address: Some(35), ..NodeParts::default() };
        assert_eq!(
            named(&mut inventory, &[node("other", other)]),
            [None, None],
            "the address alone decides nothing"
        );
    }

    #[test]
    fn an_address_helps_while_nobody_claimed_it() {
        let mut inventory = Inventory::default();
        inventory.node(WIRE, 35);
        let parts = NodeParts { name: Some(NAME.0), address: Some(35), ..NodeParts::default() };
        assert_eq!(named(&mut inventory, &[node("puck", parts)]), [Some(String::from("puck"))]);
    }

    #[test]
    fn a_talker_is_known_by_where_it_is_heard() {
        let mut inventory = Inventory::default();
        let mac = Mac([2, 0, 0, 0, 0, 1]);
        let host = inventory.host(WIRE, mac);
        inventory.talker(WireId(1), b"II", host);
        let called = |heard| Called {
            name: String::from("mixer"),
            talker: Some(String::from("II")),
            heard,
            ..Called::default()
        };
        assert_eq!(named(&mut inventory, &[called(Heard::From(Mac::BROADCAST))]), [None, None]);
        assert_eq!(named(&mut inventory, &[called(Heard::OnLine(None))]), [None, None]);
        assert_eq!(named(&mut inventory, &[called(Heard::From(mac))]), [None, Some(String::from("mixer"))]);
    }
}
