//! Which IPv4 address each host of a network stands by, and what else the network findings have in common.

use super::Finding;
use crate::books::Books;
use crate::books::inventory::DeviceId;
use crate::books::network::{Claimant, Network};
use std::collections::BTreeMap;
use std::net::Ipv4Addr;

/// A host that spoke with an address less often than this may only have tried it.
pub(super) const FEW: u64 = 3;

/// Every address with the hosts that use it for themselves.
///
/// A router sends the packets of others with its own MAC address, and with their IP addresses: what a host never states
/// in ARP is its own only when it states nothing else there and uses one address alone.
pub(super) fn own_claims(network: &Network) -> Vec<(Ipv4Addr, Vec<Claimant>)> {
    let mut uses: BTreeMap<DeviceId, (bool, usize)> = BTreeMap::new();
    for claimant in network.claimed.iter().flat_map(|(_, claimants)| claimants) {
        let (in_arp, addresses) = uses.entry(claimant.device).or_default();
        *in_arp |= claimant.arp > 0;
        *addresses += 1;
    }
    let own = |c: &Claimant| c.arp > 0 || uses.get(&c.device) == Some(&(false, 1));
    network
        .claimed
        .iter()
        .map(|(ip, claimants)| (*ip, claimants.iter().filter(|c| own(c)).copied().collect::<Vec<_>>()))
        .filter(|(_, claimants)| !claimants.is_empty())
        .collect()
}

/// Whether a recording may hold several networks, of which none is judged: what its frames say of the links that they passed, or a
/// recording machine with several addresses, which has one a link.
pub(crate) fn may_mix(network: &Network) -> bool {
    let addresses = |own: DeviceId| {
        let claims = |claimants: &[Claimant]| claimants.iter().any(|c| c.device == own && c.count >= FEW);
        network.claimed.iter().filter(|(ip, claimants)| ip.is_private() && claims(claimants)).count()
    };
    network.unaddressed.may_mix() || network.unaddressed.own().is_some_and(|own| addresses(own) > 1)
}

/// Every host with the addresses that it uses for itself.
pub(super) fn claims_by_host(network: &Network) -> BTreeMap<DeviceId, Vec<(Ipv4Addr, Claimant)>> {
    let mut hosts: BTreeMap<DeviceId, Vec<_>> = BTreeMap::new();
    for (ip, claimants) in own_claims(network) {
        for claimant in claimants.into_iter().filter(|c| c.count >= FEW) {
            hosts.entry(claimant.device).or_default().push((ip, claimant));
        }
    }
    hosts
}

/// Every host with the address that it used last; hosts that use several networks' at a time (routers) are left out.
/// An address that a host gave itself counts only when it uses no other any more.
pub(super) fn hosts_by_address(network: &Network) -> Vec<(DeviceId, Ipv4Addr, Claimant)> {
    let latest = |claims: &[(Ipv4Addr, Claimant)]| claims.iter().copied().max_by_key(|(_, c)| c.span.to);
    let mut hosts = Vec::new();
    for (device, claims) in claims_by_host(network) {
        let (local, proper): (Vec<_>, Vec<_>) = claims.into_iter().partition(|(ip, _)| is_local(*ip));
        let several = proper
            .iter()
            .enumerate()
            .any(|(i, (_, a))| proper.iter().skip(i + 1).any(|(_, b)| a.span.touches(b.span, 0.0)));
        let chosen = match (latest(&local), latest(&proper)) {
            (Some(local), Some(proper)) if proper.1.span.to < local.1.span.from => Some(local),
            (Some(local), None) => Some(local),
            (_, proper) => proper.filter(|_| !several),
        };
        hosts.extend(chosen.map(|(ip, claimant)| (device, ip, claimant)));
    }
    hosts
}

/// Whether an address is one that a host gives itself (RFC 3927).
pub(super) const fn is_local(ip: Ipv4Addr) -> bool {
    ip.is_link_local()
}

/// Whether the recorder hears hosts speak with each other, as at a mirror port. At a host's own port all packets to one
/// host alone are that host's, but for the few that a switch lets go everywhere.
pub(crate) fn hears_all(network: &Network) -> bool {
    const ENOUGH: u64 = 50;
    let mut party: BTreeMap<DeviceId, u64> = BTreeMap::new();
    let mut all = 0;
    for talk in network.talks.iter() {
        all += talk.packets;
        *party.entry(talk.from).or_default() += talk.packets;
        *party.entry(talk.to).or_default() += talk.packets;
    }
    all >= ENOUGH && party.values().all(|own| *own as f64 <= 0.95 * all as f64)
}

/// The machine that recorded its own port: alone among the hosts it shows frames shorter than Ethernet allows, for they
/// are filled up only behind the recorder.
pub(super) fn recorder(network: &Network) -> Option<DeviceId> {
    let mut short = network.hosts.iter().filter(|(_, host)| host.unpadded > 0).map(|(id, _)| id);
    let one = short.next()?;
    (short.next().is_none() && network.hosts.count() > 2).then_some(one)
}

/// Drops what an earlier wire showed already: two recorders on one network see the same things.
pub(super) fn once(books: &Books, findings: Vec<Finding>) -> Vec<Finding> {
    let mut kept: Vec<Finding> = Vec::new();
    for finding in findings {
        let same_devices = |other: &Finding| {
            other.devices.len() == finding.devices.len()
                && finding.devices.iter().all(|a| other.devices.iter().any(|b| books.inventory.same(*a, *b)))
        };
        let same_time = |other: &Finding| {
            other.spans.is_empty() == finding.spans.is_empty()
                && (other.spans.is_empty()
                    || other.spans.iter().any(|a| finding.spans.iter().any(|b| a.touches(*b, 1.0))))
        };
        let ip = |f: &Finding| f.numbers.get("ip").cloned();
        let known = kept.iter().any(|k| same_devices(k) && same_time(k) && ip(k) == ip(&finding));
        if !known {
            kept.push(finding);
        }
    }
    kept
}

#[cfg(test)]
pub(super) mod tests {
    use super::*;
    use crate::books::wires::WireId;
    use crate::findings::Evidence;
    use crate::frames::Mac;
    use crate::recording::WireKind;
    use crate::time::Time;

    /// A network of `hosts` hosts, filled by hand.
    pub(in crate::findings) struct Bench {
        pub(in crate::findings) books: Books,
        wire: WireId,
    }

    /// Seconds into the recording.
    pub(in crate::findings) fn at(s: f64) -> Option<Time> {
        Some(Time(1_000_000_000).plus(s))
    }

    impl Bench {
        pub(in crate::findings) fn new(hosts: u8) -> Self {
            let mut books = Books::default();
            let wire = books.wires.add(0, WireKind::Ethernet, None, None);
            for host in 0..hosts {
                books.inventory.host(wire, Mac([0, 0, 0x5E, 0, 0x53, host]));
            }
            let mut bench = Self { books, wire };
            bench.passes(0.0);
            bench.passes(600.0);
            bench
        }

        /// Lets the wire carry something at this second.
        fn passes(&mut self, s: f64) {
            self.books.wires.get_mut(self.wire).unwrap().frame(at(s), 64, 84);
        }

        pub(in crate::findings) fn network(&mut self) -> &mut Network {
            self.books.networks.of(self.wire)
        }

        /// Host `host` speaks with `ip`, `times` times from `from` to `to`, in ARP or not.
        pub(in crate::findings) fn claims(
            &mut self,
            host: u32,
            ip: [u8; 4],
            arp: bool,
            when: (f64, f64),
            times: u32,
        ) {
            for i in 0..times {
                let s = when.0 + (when.1 - when.0) * f64::from(i) / f64::from(times.max(2) - 1);
                self.network().claim(DeviceId(host), ip.into(), arp, at(s));
            }
        }

        pub(in crate::findings) fn find(
            &mut self,
            detect: fn(&Evidence<'_>) -> Vec<Finding>,
        ) -> Vec<Finding> {
            self.network().settle();
            detect(&Evidence::of(&self.books))
        }
    }

    #[test]
    fn a_router_owns_what_it_states_and_not_what_it_forwards() {
        let mut bench = Bench::new(3);
        bench.claims(0, [192, 0, 2, 1], true, (0.0, 60.0), 5);
        bench.claims(0, [192, 0, 2, 9], false, (0.0, 60.0), 50);
        bench.claims(1, [192, 0, 2, 9], true, (0.0, 60.0), 5);
        bench.claims(2, [192, 0, 2, 7], false, (0.0, 60.0), 50);
        let own: Vec<_> = own_claims(bench.network())
            .into_iter()
            .map(|(ip, c)| (ip.octets()[3], c.iter().map(|c| c.device.0).collect::<Vec<_>>()))
            .collect();
        assert_eq!(own, [(1, vec![0]), (9, vec![1]), (7, vec![2])]);
    }

    #[test]
    fn a_mirror_port_is_told_from_a_hosts_own() {
        use crate::books::talks::Packet;
        let ips = (Ipv4Addr::LOCALHOST.into(), Ipv4Addr::LOCALHOST.into());
        let mut bench = Bench::new(4);
        for i in 0..100 {
            bench.network().talk(DeviceId(0), DeviceId(1 + i % 3), ips, Packet::Other, at(1.0));
        }
        assert!(!hears_all(bench.network()), "all of it is host 0's");
        for _ in 0..20 {
            bench.network().talk(DeviceId(2), DeviceId(1), ips, Packet::Other, at(1.0));
        }
        assert!(hears_all(bench.network()));
    }

    #[test]
    fn the_recorder_shows_by_its_short_frames() {
        let mut bench = Bench::new(3);
        for host in 0..3 {
            bench.network().host(DeviceId(host));
        }
        assert_eq!(recorder(bench.network()), None);
        bench.network().host(DeviceId(1)).unpadded = 4;
        assert_eq!(recorder(bench.network()), Some(DeviceId(1)));
        bench.network().host(DeviceId(2)).unpadded = 1;
        assert_eq!(recorder(bench.network()), None, "then the recorder pads nothing at all");
    }

    /// In a cooked capture that names no interfaces.
    #[test]
    fn a_recording_machine_with_two_addresses_has_two_links() {
        use crate::books::unaddressed::Passage;
        let (own, mut network) = (DeviceId(1), Network::default());
        network.unaddressed.note(own, Passage { outgoing: Some(true), overheard: false, interface: None });
        let claims = |network: &mut Network, link: u8| {
            for i in 0..=FEW {
                network.claim(own, Ipv4Addr::new(192, 168, link, 9), true, at(i as f64));
            }
        };
        claims(&mut network, 1);
        assert!(!may_mix(&network));
        claims(&mut network, 2);
        assert!(may_mix(&network));
    }
}
