//! What cannot be: values out of range, names of nothing, statements that exclude each other.

pub(super) mod kit;
mod values;

use super::mistake::{Lines, Mistake};
use super::model::{BoatFile, Device};
use kit::Names;
use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Debug;
use toml::Spanned;

/// Most devices of a boat file, and most of each other kind of thing in it.
const MAX_THINGS: usize = 1000;

/// Every mistake of the file, in no order.
pub(super) fn mistakes(file: &BoatFile, lines: &Lines) -> Vec<Mistake> {
    let mut check = Check { file, lines, found: Vec::new() };
    let most = [
        file.devices.len(),
        file.switches.len(),
        file.lines.len(),
        file.cables.len(),
        file.supplies.len(),
        file.needs.len(),
    ];
    if most.iter().any(|n| *n > MAX_THINGS) {
        check.found.push(Mistake {
            line: 1,
            what: format!("more than {MAX_THINGS} entries of one kind; write one file for each boat"),
        });
        return check.found;
    }
    values::check(&mut check);
    let names = check.names();
    check.devices(&names);
    check.cables(&names);
    check.backbone();
    check.supplies();
    check.found
}

/// The file, and what was found so far.
struct Check<'a> {
    file: &'a BoatFile,
    lines: &'a Lines,
    found: Vec<Mistake>,
}

impl<'a> Check<'a> {
    fn say<T>(&mut self, at: &Spanned<T>, what: impl Into<String>) {
        self.found.push(self.lines.mistake(&at.span(), what));
    }

    fn line<T>(&self, at: &Spanned<T>) -> usize {
        self.lines.line(at.span().start)
    }

    /// Says so when two entries hold one value; `key` makes equal what is written differently.
    fn unique<K: Ord, T: Debug + 'a>(
        &mut self,
        what: &str,
        entries: impl IntoIterator<Item = (K, &'a Spanned<T>)>,
    ) {
        let mut seen: BTreeMap<K, usize> = BTreeMap::new();
        for (key, at) in entries {
            match seen.get(&key) {
                Some(first) => {
                    let text = format!(
                        "{what} {:?} stands on line {first} already; give each one its own",
                        at.get_ref()
                    );
                    self.say(at, text);
                }
                None => {
                    seen.insert(key, self.line(at));
                }
            }
        }
    }

    fn names(&mut self) -> Names<'a> {
        let file = self.file;
        let all = file
            .devices
            .iter()
            .map(|d| &d.name)
            .chain(file.switches.iter().map(|s| &s.name))
            .chain(file.lines.iter().map(|l| &l.name));
        let all: Vec<&Spanned<String>> = all.collect();
        for name in all.iter().copied().chain([&file.boat.name]) {
            if name.get_ref().trim().is_empty() {
                self.say(name, "the name is empty; write the words that you use on board");
            }
        }
        self.unique("the name", all.iter().map(|name| (name.get_ref().as_str(), *name)));
        Names::of(file)
    }

    fn must_be_device(&mut self, names: &Names<'_>, name: &Spanned<String>) {
        if !names.devices.contains(name.get_ref().as_str()) {
            let text = names.no_device(name.get_ref());
            self.say(name, text);
        }
    }

    fn devices(&mut self, names: &Names<'_>) {
        let file = self.file;
        let macs = file.devices.iter().filter_map(|d| d.mac.as_ref());
        self.unique("the MAC address", macs.filter_map(|mac| Some((kit::mac(mac.get_ref())?, mac))));
        let node_names = file.devices.iter().filter_map(|d| d.n2k.as_ref()?.name.as_ref());
        self.unique("the NAME", node_names.map(|name| (name.get_ref().to_ascii_uppercase(), name)));
        // Beside another mark an address is where the device was once.
        let nodes = file.devices.iter().filter_map(|d| d.n2k.as_ref());
        let addressed = nodes.filter(|node| node.is_an_address()).filter_map(|node| node.address.as_ref());
        self.unique("the N2K address", addressed.map(|address| (*address.get_ref(), address)));
        let talkers = file.devices.iter().filter_map(|d| d.talker.as_ref().map(|talker| (d, talker)));
        let place = |d: &Device| [&d.line, &d.carried_by].map(|p| p.as_ref().map(|p| p.get_ref().clone()));
        self.unique("the talker", talkers.map(|(d, talker)| ((talker.get_ref().as_str(), place(d)), talker)));
        let fixed = file.devices.iter().filter_map(|d| d.ip.as_ref());
        let fixed = fixed.filter(|ip| !["server", "none"].contains(&ip.get_ref().as_str()));
        self.unique("the IP address", fixed.map(|ip| (ip.get_ref().as_str(), ip)));
        for device in &file.devices {
            self.device(names, device);
        }
        if let Some(server) = &file.addresses.server {
            self.must_be_device(names, server);
        }
        for need in &file.needs {
            self.must_be_device(names, &need.device);
        }
        for listener in file.lines.iter().flat_map(|line| &line.listeners) {
            self.must_be_device(names, listener);
        }
    }

    fn device(&mut self, names: &Names<'_>, device: &Device) {
        if let Some(line) = &device.line
            && !names.lines.contains(line.get_ref().as_str())
        {
            let text = names.no_line(line.get_ref());
            self.say(line, text);
        }
        if let Some(carrier) = &device.carried_by {
            self.must_be_device(names, carrier);
            let of = self.file.device(carrier.get_ref());
            if of.is_some_and(|of| of.mac.is_none()) {
                self.say(
                    carrier,
                    format!("{:?} has no mac, so its packets cannot be told; add its mac", carrier.get_ref()),
                );
            }
            if device.line.is_some() {
                self.say(carrier, "line and carried_by exclude each other; keep the one that is true");
            }
        }
        if device.talker.is_none()
            && let Some(at) = device.carried_by.as_ref().or(device.line.as_ref())
        {
            self.say(at, "line and carried_by tell where a talker is heard; add talker = \"..\"");
        }
    }

    fn cables(&mut self, names: &Names<'_>) {
        let mut taken: BTreeMap<(&str, u32), usize> = BTreeMap::new();
        for cable in &self.file.cables {
            for (end, port) in [(&cable.from, &cable.from_port), (&cable.to, &cable.port)] {
                let name = end.get_ref().as_str();
                if !names.devices.contains(name) && !names.switches.contains(name) {
                    let text = names.no_end(name);
                    self.say(end, text);
                    continue;
                }
                let Some(port) = port else { continue };
                let number = *port.get_ref();
                let sockets = kit::sockets(self.file, name);
                if number == 0 || number > sockets {
                    let text = format!("{name:?} has no port {number}; write 1 to {sockets}");
                    self.say(port, text);
                } else if let Some(first) = taken.get(&(name, number)) {
                    let text = format!(
                        "port {number} of {name:?} is taken by the cable on line {first}; write the true port"
                    );
                    self.say(port, text);
                } else {
                    taken.insert((name, number), self.line(port));
                }
            }
            if cable.from.get_ref() == cable.to.get_ref() {
                self.say(&cable.to, "both ends of the cable are at one place; write where it leads to");
            }
        }
    }

    fn backbone(&mut self) {
        let Some(backbone) = &self.file.backbone else { return };
        let names = Names::of(self.file);
        let trunk = backbone.trunk_m.as_ref().map(|m| *m.get_ref());
        let ats = backbone.drops.iter().filter_map(|d| d.at_m.as_ref());
        let ats = ats
            .chain(&backbone.power_at_m)
            .chain(backbone.terminators_at_m.iter().flat_map(|at| at.get_ref()));
        for at in ats {
            if let Some(trunk) = trunk.filter(|trunk| at.get_ref() > trunk) {
                let text = format!(
                    "{} m lies beyond the end of the trunk of {trunk} m; measure from the trunk's begin",
                    at.get_ref()
                );
                self.say(at, text);
            }
        }
        for drop in &backbone.drops {
            self.must_be_device(&names, &drop.device);
        }
        self.unique("the drop of", backbone.drops.iter().map(|d| (d.device.get_ref().as_str(), &d.device)));
    }

    fn supplies(&mut self) {
        let names = Names::of(self.file);
        let mut seen = BTreeMap::new();
        for supply in &self.file.supplies {
            self.must_be_device(&names, &supply.device);
            for other in &supply.stand_by {
                self.must_be_device(&names, other);
                if other.get_ref() == supply.device.get_ref() {
                    self.say(other, "a device cannot stand by for itself; name the other one");
                }
            }
            let instance = supply.instance.as_ref().map(|i| *i.get_ref());
            let message = supply.message.as_ref().map(|m| m.get_ref().as_str());
            let reference = supply.reference.as_ref().map(|r| r.get_ref().as_str());
            let (quantity, device) = (supply.quantity.get_ref().as_str(), supply.device.get_ref().as_str());
            if let Some(first) =
                seen.insert((quantity, device, instance, message, reference), self.line(&supply.quantity))
            {
                let text =
                    format!("{device:?} supplies {quantity} on line {first} already; keep one of the two");
                self.say(&supply.quantity, text);
            }
            let Some(sole) = supply.sole.as_ref().filter(|sole| *sole.get_ref()) else { continue };
            if !supply.stand_by.is_empty() {
                self.say(sole, "sole and stand_by exclude each other; take one of them out");
            }
            let others: BTreeSet<&str> = self
                .file
                .supplies
                .iter()
                .filter(|other| kit::rivals(supply, other))
                .map(|other| other.device.get_ref().as_str())
                .collect();
            if !others.is_empty() {
                let others: Vec<&str> = others.into_iter().collect();
                let text = format!(
                    "{quantity} is said to have {device:?} as its sole source, and {} supplies it too; write \
                     stand_by = [{:?}] instead, or take the other supply out",
                    others.join(" and "),
                    others.join("\", \"")
                );
                self.say(sole, text);
            }
        }
        let needs = self.file.needs.iter();
        let mut needed = BTreeSet::new();
        for need in needs {
            if !needed.insert((need.device.get_ref(), need.quantity.get_ref())) {
                self.say(&need.quantity, "this need stands above already; keep one of the two");
            }
        }
    }
}
