//! Values out of their range.

use super::{Check, kit};
use crate::boat::model::{Device, Node};
use crate::boat::quantities;
use std::net::IpAddr;
use toml::Spanned;

/// Longest cable that is believed, metres; longer is a slip of the keyboard.
const MAX_LENGTH_M: f64 = 1000.0;

/// Longest interval that is believed, seconds: the slowest message of the standard comes once a minute.
const MAX_INTERVAL_S: f64 = 3600.0;

/// Highest voltage of a small boat's supply that is believed, volts (48 V systems charge at less than 60).
const MAX_VOLTS: f64 = 60.0;

/// Most ports of a device or a switch.
const MAX_PORTS: u32 = 64;

/// Highest load equivalency number: the field has eight bits (PGN 126996).
const MAX_LOAD: u32 = 255;

const REFERENCES: [&str; 9] = [
    "true",
    "magnetic",
    "below-transducer",
    "below-surface",
    "below-keel",
    "apparent",
    "true-north",
    "magnetic-north",
    "true-from-bow",
];

pub(super) fn check(check: &mut Check<'_>) {
    let file = check.file;
    let limits = &file.limits;
    for percent in [&limits.bus_load_percent, &limits.ethernet_load_percent].into_iter().flatten() {
        range(check, percent, 0.0..=100.0, "percent");
    }
    for volts in [&limits.supply_min_v, &limits.supply_max_v, &limits.backbone_min_v].into_iter().flatten() {
        range(check, volts, 0.0..=MAX_VOLTS, "V");
    }
    if let (Some(min), Some(max)) = (&limits.supply_min_v, &limits.supply_max_v)
        && min.get_ref() >= max.get_ref()
    {
        check.say(min, "supply_min_v is not below supply_max_v; write the lower voltage here");
    }
    for device in &file.devices {
        self::device(check, device);
    }
    for switch in &file.switches {
        ports(check, &switch.ports);
    }
    for cable in &file.cables {
        cable.length_m.iter().for_each(|m| range(check, m, 0.0..=MAX_LENGTH_M, "m"));
    }
    if let Some(backbone) = &file.backbone {
        let lengths = backbone.trunk_m.iter().chain(&backbone.power_at_m);
        let lengths = lengths.chain(backbone.terminators_at_m.iter().flat_map(|at| at.get_ref()));
        let drops = backbone.drops.iter().flat_map(|drop| drop.at_m.iter().chain(&drop.length_m));
        lengths.chain(drops).for_each(|m| range(check, m, 0.0..=MAX_LENGTH_M, "m"));
        backbone.feed_v.iter().for_each(|v| range(check, v, 0.0..=MAX_VOLTS, "V"));
    }
    for supply in &file.supplies {
        quantity(check, &supply.quantity);
        supply.missing_percent.iter().for_each(|p| range(check, p, 0.0..=100.0, "percent"));
        supply.interval_s.iter().for_each(|s| range(check, s, 0.001..=MAX_INTERVAL_S, "s"));
        if let Some(reference) = &supply.reference
            && !REFERENCES.contains(&reference.get_ref().as_str())
        {
            check.say(
                reference,
                format!(
                    "no reference is named {:?}; write one of {}",
                    reference.get_ref(),
                    REFERENCES.join(", ")
                ),
            );
        }
        if let Some(message) = &supply.message
            && !is_message(message.get_ref())
        {
            check.say(
                message,
                format!(
                    "{:?} is no message; write a PGN (\"127250\") or a sentence with its talker (\"HCHDG\")",
                    message.get_ref()
                ),
            );
        }
    }
    for need in &file.needs {
        quantity(check, &need.quantity);
    }
}

fn is_message(text: &str) -> bool {
    let pgn = text.parse::<u32>().is_ok_and(|pgn| pgn <= 0x3_FFFF);
    let sentence = (3..=16).contains(&text.len())
        && text.bytes().all(|b| b.is_ascii_uppercase() || b.is_ascii_digit())
        && text.bytes().any(|b| b.is_ascii_uppercase());
    pgn || sentence
}

fn quantity(check: &mut Check<'_>, name: &Spanned<String>) {
    if let Some(instead) = quantities::complaint(name.get_ref()) {
        check.say(name, format!("no quantity is named {:?}; {instead}", name.get_ref()));
    }
}

fn range(check: &mut Check<'_>, at: &Spanned<f64>, allowed: std::ops::RangeInclusive<f64>, unit: &str) {
    if !allowed.contains(at.get_ref()) {
        let text = format!(
            "{} {unit} cannot be; write a number from {} to {}",
            at.get_ref(),
            allowed.start(),
            allowed.end()
        );
        check.say(at, text);
    }
}

fn ports(check: &mut Check<'_>, at: &Spanned<u32>) {
    if !(1..=MAX_PORTS).contains(at.get_ref()) {
        check.say(at, format!("{} ports cannot be; write a number from 1 to {MAX_PORTS}", at.get_ref()));
    }
}

fn device(check: &mut Check<'_>, device: &Device) {
    if let Some(mac) = &device.mac {
        match kit::mac(mac.get_ref()) {
            None => {
                let text = format!(
                    "{:?} is no MAC address; write six pairs of hex digits such as \"00:00:5e:00:53:01\"",
                    mac.get_ref()
                );
                check.say(mac, text);
            }
            Some(known) if known.is_multicast() => {
                check.say(mac, "this address names a group, not a device; write the device's own");
            }
            Some(_) => {}
        }
    }
    if let Some(ip) = &device.ip
        && !["server", "none"].contains(&ip.get_ref().as_str())
        && ip.get_ref().parse::<IpAddr>().is_err()
    {
        let text = format!(
            "{:?} is no IP address; write one such as \"192.168.1.20\", or \"server\", or \"none\"",
            ip.get_ref()
        );
        check.say(ip, text);
    }
    if let Some(talker) = &device.talker {
        let letters = talker.get_ref();
        let form = (2..=4).contains(&letters.len())
            && letters.bytes().all(|b| b.is_ascii_uppercase() || b.is_ascii_digit());
        if !form {
            check.say(
                talker,
                format!(
                    "{letters:?} is no talker; write its two capitals (\"HC\"), or P and the maker's three"
                ),
            );
        }
    }
    device.ports.iter().for_each(|at| ports(check, at));
    if let Some(load) = device.load_equivalency.as_ref().filter(|load| *load.get_ref() > MAX_LOAD) {
        check.say(load, format!("a load equivalency is at most {MAX_LOAD}; 1 stands for 50 mA"));
    }
    if let Some(node) = &device.n2k {
        self::node(check, device, node);
    }
}

fn node(check: &mut Check<'_>, device: &Device, node: &Node) {
    if let Some(name) = &node.name {
        let text = name.get_ref();
        if text.len() != 16 || !text.bytes().all(|b| b.is_ascii_hexdigit()) {
            check.say(name, format!("{text:?} is no NAME; write its 16 hex digits"));
        }
    }
    let most = [
        (
            node.manufacturer.as_ref().map(|at| (at.span(), u32::from(*at.get_ref()))),
            2047,
            "a manufacturer code",
        ),
        (node.unique_number.as_ref().map(|at| (at.span(), *at.get_ref())), 0x1F_FFFF, "a unique number"),
        (node.class.as_ref().map(|at| (at.span(), u32::from(*at.get_ref()))), 127, "a device class"),
        (
            node.system_instance.as_ref().map(|at| (at.span(), u32::from(*at.get_ref()))),
            15,
            "a system instance",
        ),
        (node.address.as_ref().map(|at| (at.span(), u32::from(*at.get_ref()))), 251, "a source address"),
    ];
    for (at, most, what) in most {
        if let Some((span, _)) = at.filter(|(_, value)| *value > most) {
            check
                .found
                .push(check.lines.mistake(&span, format!("{what} is at most {most}; write the true one")));
        }
    }
    let given = node.name.is_some()
        || node.manufacturer.is_some()
        || node.unique_number.is_some()
        || node.function.is_some()
        || node.class.is_some()
        || node.device_instance.is_some()
        || node.system_instance.is_some()
        || node.model.is_some()
        || node.serial.is_some()
        || node.address.is_some();
    if !given {
        check.say(
            &device.name,
            "n2k is empty, so the device cannot be told from others; write its NAME, or model and serial",
        );
    }
}
