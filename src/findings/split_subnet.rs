//! Devices that must talk hold addresses of different subnets.

use super::network_address::{claims_by_host, hosts_by_address, is_local, may_mix, once, recorder};
use super::words::labels;
use super::{Detector, Doc, Evidence, Finding};
use crate::books::inventory::DeviceId;
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
                    the leases; where none was seen, 192.168 networks are taken as 24 bits and the others as 16 (common practice). No host stands \
                    in both networks, and the two sides exchange no packets. Nothing is told of a recording on all links of a machine at once, \
                    unless it shows that they were one.",
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
        let Some(Split { main, members, odd }) = split(network) else { continue };
        let devices: Vec<_> = odd.iter().map(|(id, _)| *id).collect();
        let mut finding = Finding::new(
            Severity::Warning,
            format!(
                "{} {} another network than the rest",
                labels(books, &devices),
                if devices.len() == 1 { "holds an address of" } else { "hold addresses of" }
            ),
        )
        .devices(devices.iter().copied());
        for (id, ip) in &odd {
            finding = finding.evidence(format!(
                "{} uses {ip}; {members} others are in {main}.",
                books.inventory.label(*id)
            ));
        }
        findings.push(
            finding
                .evidence("No router between the two networks shows, and the two sides exchange nothing.")
                .check(
                    "Look at the network page of the odd device; give it an address of the others' network.",
                ),
        );
    }
    once(books, findings)
}

/// A network of which some hosts are cut off by their addresses.
pub(super) struct Split {
    /// The network of the most.
    main: Ipv4Addr,
    /// How many are in it.
    members: usize,
    /// Those that are in others.
    pub(super) odd: Vec<(DeviceId, Ipv4Addr)>,
}

/// Finds hosts whose addresses lie outside the network that most share.
pub(super) fn split(network: &Network) -> Option<Split> {
    if may_mix(network) {
        return None;
    }
    let mask = mask(network);
    let mut by_net: BTreeMap<Ipv4Addr, Vec<_>> = BTreeMap::new();
    for (id, ip, _) in hosts_by_address(network) {
        if !is_local(ip) && ip.is_private() {
            by_net.entry(net(ip, mask)).or_default().push((id, ip));
        }
    }
    let (main, members) = by_net.iter().max_by_key(|(_, hosts)| hosts.len())?;
    // Hosts with addresses in both networks carry packets from one to the other.
    let mut routed = Vec::new();
    for claims in claims_by_host(network).values() {
        let nets: Vec<_> = claims.iter().map(|(ip, _)| net(*ip, mask)).collect();
        if nets.contains(main) {
            routed.extend(nets);
        }
    }
    let is_member = |device: DeviceId| members.iter().any(|(id, _)| *id == device);
    // Hosts that talk to each other are a network of their own, which only shares the switch: a television with its router.
    let is_beside = |device: DeviceId, ip: Ipv4Addr, other: DeviceId| {
        let hosts = by_net.get(&net(ip, mask));
        device != other && hosts.is_some_and(|hosts| hosts.iter().any(|(id, _)| *id == other))
    };
    let odd: Vec<_> = by_net
        .iter()
        .filter(|(net, _)| *net != main && !routed.contains(net))
        .flat_map(|(_, hosts)| hosts.iter().copied())
        .filter(|(id, _)| Some(*id) != recorder(network))
        .filter(|(id, ip)| !exchanges(network, *id, *ip, is_member))
        .filter(|(id, ip)| !exchanges(network, *id, *ip, |other| is_beside(*id, *ip, other)))
        .collect();
    (!odd.is_empty() && members.len() >= 2 && odd.len() < members.len()).then_some(Split {
        main: *main,
        members: members.len(),
        odd,
    })
}

/// Whether a host sends packets from its own address straight to one of the others, and they come back: then the network
/// is larger than it was taken for.
fn exchanges(
    network: &Network,
    device: DeviceId,
    ip: Ipv4Addr,
    is_member: impl Fn(DeviceId) -> bool,
) -> bool {
    let ip = std::net::IpAddr::V4(ip);
    let sent = network.talks.iter().any(|t| t.from == device && t.ips.0 == ip && is_member(t.to));
    let got = network.talks.iter().any(|t| t.to == device && t.ips.1 == ip && is_member(t.from));
    sent && got
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::books::talks::Packet;
    use crate::findings::network_address::tests::{Bench, at};
    use std::net::IpAddr;

    const ODD: [u8; 4] = [192, 168, 77, 83];

    fn boat() -> Bench {
        let mut bench = Bench::new(5);
        for host in 1..4 {
            bench.claims(host, [10, 1, 2, host as u8], true, (0.0, 600.0), 20);
        }
        bench.claims(0, ODD, true, (0.0, 600.0), 20);
        bench
    }

    #[test]
    fn the_odd_one_out_is_found() {
        assert_eq!(boat().find(detect)[0].devices, [DeviceId(0)]);
    }

    #[test]
    fn a_router_between_them_or_talk_across_shows_one_network() {
        let mut routed = boat();
        routed.claims(4, [10, 1, 2, 4], true, (0.0, 600.0), 20);
        routed.claims(4, [192, 168, 77, 1], true, (0.0, 600.0), 20);
        assert!(routed.find(detect).is_empty());
        let mut wide = boat();
        let ips = (IpAddr::from(ODD), IpAddr::from([10, 1, 2, 1]));
        wide.network().talk(DeviceId(0), DeviceId(1), ips, Packet::Other, at(1.0));
        assert_eq!(wide.find(detect).len(), 1, "nothing came back");
        wide.network().talk(DeviceId(1), DeviceId(0), (ips.1, ips.0), Packet::Other, at(1.0));
        assert!(wide.find(detect).is_empty());
    }

    #[test]
    fn addresses_spread_over_one_wide_network_are_none() {
        let mut bench = Bench::new(4);
        for host in 0..4 {
            bench.claims(host, [172, 31, host as u8 * 7, 3], true, (0.0, 600.0), 20);
        }
        assert!(bench.find(detect).is_empty());
    }
}
