//! What the checks share: names, sockets, rivals.

use crate::boat::model::{BoatFile, Supply};
use crate::frames::Mac;
use std::collections::BTreeSet;

/// Names that are told when a wrong one was written.
const MAX_NAMED: usize = 12;

/// The names that things bear.
pub(super) struct Names<'a> {
    pub(super) devices: BTreeSet<&'a str>,
    pub(super) switches: BTreeSet<&'a str>,
    pub(super) lines: BTreeSet<&'a str>,
}

impl<'a> Names<'a> {
    pub(super) fn of(file: &'a BoatFile) -> Self {
        Self {
            devices: file.devices.iter().map(|d| d.name.get_ref().as_str()).collect(),
            switches: file.switches.iter().map(|s| s.name.get_ref().as_str()).collect(),
            lines: file.lines.iter().map(|l| l.name.get_ref().as_str()).collect(),
        }
    }

    pub(super) fn no_device(&self, name: &str) -> String {
        format!("no device is named {name:?}; {}", one_of(self.devices.iter().copied()))
    }

    pub(super) fn no_line(&self, name: &str) -> String {
        format!("no line is named {name:?}; {}", one_of(self.lines.iter().copied()))
    }

    pub(super) fn no_end(&self, name: &str) -> String {
        let all = self.devices.iter().chain(&self.switches).copied();
        format!("no device and no switch is named {name:?}; {}", one_of(all))
    }
}

fn one_of<'a>(names: impl Iterator<Item = &'a str>) -> String {
    let named: Vec<String> = names.take(MAX_NAMED + 1).map(|name| format!("{name:?}")).collect();
    match named.len() {
        0 => String::from("add it to the file first"),
        n if n > MAX_NAMED => String::from("write it as it stands at its own entry, or add it"),
        _ => format!("write one of {}, or add it", named.join(", ")),
    }
}

/// A MAC address out of six pairs of hex digits, with `:`, `-` or nothing between them.
pub(in crate::boat) fn mac(text: &str) -> Option<Mac> {
    let bare: String = text.chars().filter(|c| !matches!(c, ':' | '-')).collect();
    if bare.len() != 12 || !bare.bytes().all(|b| b.is_ascii_hexdigit()) {
        return None;
    }
    let number = u64::from_str_radix(&bare, 16).ok()?;
    let [_, _, bytes @ ..] = number.to_be_bytes();
    Some(Mac(bytes))
}

/// Ethernet sockets of a device (one, unless the file says otherwise) or a switch.
pub(in crate::boat) fn sockets(file: &BoatFile, name: &str) -> u32 {
    match file.switch(name) {
        Some(switch) => *switch.ports.get_ref(),
        None => file.device(name).and_then(|d| d.ports.as_ref()).map_or(1, |ports| *ports.get_ref()),
    }
}

/// Whether two supplies of different devices bring the same quantity of the same thing.
pub(in crate::boat) fn rivals(one: &Supply, other: &Supply) -> bool {
    let apart = |a: Option<u8>, b: Option<u8>| a.zip(b).is_some_and(|(a, b)| a != b);
    let instance = |supply: &Supply| supply.instance.as_ref().map(|i| *i.get_ref());
    one.quantity.get_ref() == other.quantity.get_ref()
        && one.device.get_ref() != other.device.get_ref()
        && !apart(instance(one), instance(other))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_mac_is_read_in_its_usual_forms() {
        let want = Some(Mac([0x02, 0x4C, 0x45, 0x10, 0x00, 0xAB]));
        for text in ["02:4c:45:10:00:ab", "02-4C-45-10-00-AB", "024c451000ab"] {
            assert_eq!(mac(text), want, "{text}");
        }
        for text in ["", "02:4c:45:10:00", "02:4c:45:10:00:zz", "02:4c:45:10:00:ab:cd", "é24c451000a"] {
            assert_eq!(mac(text), None, "{text}");
        }
    }
}
