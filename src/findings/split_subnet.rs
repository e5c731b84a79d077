//! Devices that must talk hold addresses of different subnets.

use super::network_address::{hosts_by_address, is_local};
use super::words::labels;
use super::{Detector, Doc, Evidence, Finding};
use crate::books::network::Network;
use crate::report::model::Severity;
use std::collections::BTreeMap;
use std::net::Ipv4Addr;

pub(super) const DETECTOR: Detector = Detector {
    doc: Doc {
        kind: "split-subnet",
        severity: "warning",
        meaning: "Devices on one wire hold addresses of different networks. They hear each other's broadcasts and still cannot talk.",
        detection: "Most hosts of a wire share a network, and one or more hold an address of another. The network's size is taken from \
                    the leases; where none was seen, 192.168 networks are taken as 24 bits and the others as 16 (common practice).",
        lookalikes: "A router holds addresses of several networks by design. An address that a device gave itself is \
                     self-assigned-address.",
        checks: "Look at the network page of the odd device: set it to get its address from the same server as the others, or give it \
                 a fixed address of their network.",
        cautions: "None beyond the usual.",
    },
    complaints: &["display-disconnects", "data-drops-out"],
    detect,
};

fn detect(evidence: &Evidence<'_>) -> Vec<Finding> {
    let books = evidence.books;
    let mut findings = Vec::new();
    for (_, network) in books.networks.iter() {
        let mask = mask(network);
        let mut by_net: BTreeMap<Ipv4Addr, Vec<_>> = BTreeMap::new();
        for (id, ip) in hosts_by_address(network) {
            if !is_local(ip) && ip.is_private() {
                by_net.entry(net(ip, mask)).or_default().push((id, ip));
            }
        }
        let Some((main, members)) = by_net.iter().max_by_key(|(_, hosts)| hosts.len()) else { continue };
        let (main, most) = (*main, members.len());
        let odd: Vec<_> =
            by_net.iter().filter(|(n, _)| **n != main).flat_map(|(_, h)| h.iter().copied()).collect();
        if odd.is_empty() || most < 2 || odd.len() >= most {
            continue;
        }
        let devices: Vec<_> = odd.iter().map(|(id, _)| *id).collect();
        let mut finding = Finding::new(
            Severity::Warning,
            format!("{} holds an address of another network than the rest", labels(books, &devices)),
        )
        .devices(devices.iter().copied());
        for (id, ip) in &odd {
            finding = finding
                .evidence(format!("{} uses {ip}; {most} others are in {main}.", books.inventory.label(*id)));
        }
        findings.push(
            finding.check(
                "Look at the network page of the odd device; give it an address of the others' network.",
            ),
        );
    }
    findings
}

/// The mask that leases name, when they agree.
fn mask(network: &Network) -> Option<Ipv4Addr> {
    let mut masks: Vec<Ipv4Addr> =
        network.hosts.values().filter_map(|h| h.lease).filter_map(|(_, mask)| mask).collect();
    masks.sort_unstable();
    masks.dedup();
    match masks.as_slice() {
        [one] => Some(*one),
        _ => None,
    }
}

fn net(ip: Ipv4Addr, mask: Option<Ipv4Addr>) -> Ipv4Addr {
    let usual = if ip.octets().first() == Some(&192) { 0xFFFF_FF00 } else { 0xFFFF_0000 };
    Ipv4Addr::from(u32::from(ip) & mask.map_or(usual, u32::from))
}
