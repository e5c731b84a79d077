//! Networks: what hosts announce, which addresses they claim, who serves addresses, and floods.

pub use super::asked::Asked;
use super::bounded;
use super::by_wire::ByWire;
pub use super::claimants::{Claimant, Claimants};
pub use super::floods::{FLOOD_PER_S, Floods};
use super::hosts::ALIVE_S;
pub use super::hosts::{Host, Hosts, Rate, Return, SHOWS_WITHIN_S, Sign, Signs};
use super::inventory::DeviceId;
use super::longest::{Lasting, Longest};
use super::rate::Pause;
use super::released::Released;
use super::talks::{Packet, Talks};
use super::unaddressed::Unaddressed;
use crate::frames::{Arp, ArpKind, Dhcp, DhcpType, Mac, Stall, StreamCounts, StreamKey};
use crate::soon;
use crate::time::Time;
use rustc_hash::FxHashMap;
use std::borrow::Cow;
use std::net::{IpAddr, Ipv4Addr};

/// Most addresses whose claimants are remembered, a network.
const MAX_CLAIMED: usize = 1024;

/// Where the claimants of an address stand that found no room: there is never any later.
const NO_ROOM: u32 = u32::MAX;

/// Most pairs of asking host and address asked for, a network.
const MAX_ASKED: usize = 1024;

/// Most DHCP servers and clients, a network.
const MAX_DHCP: usize = 256;

/// A server that gave or offered addresses.
#[derive(Debug, Clone, PartialEq)]
pub struct Server {
    /// Server identifier.
    pub ip: Ipv4Addr,
    /// The host, by source MAC.
    pub device: DeviceId,
    /// Offers, acknowledgements and refusals.
    pub answers: u64,
    /// Whether the host only passes on what a server elsewhere answers.
    pub relays: bool,
    /// Router that it hands out.
    pub router: Option<Ipv4Addr>,
}

/// A host's TCP stream that got no further.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Held {
    /// Who sends it.
    pub device: DeviceId,
    /// Which of the host's `tcp` streams in the timing book.
    pub part: u32,
    /// When.
    pub stall: Stall,
}

impl Lasting for Held {
    fn micros(&self) -> i64 {
        self.stall.micros()
    }
}

impl Network {
    /// Settles the running sums; call once at the end.
    pub fn settle(&mut self) {
        self.floods.settle();
        self.hosts.values_mut().for_each(Host::settle);
    }
}

/// One network.
#[derive(Debug, Clone, Default)]
pub struct Network {
    /// Signs by host.
    pub hosts: Hosts,
    /// Who uses which IPv4 address.
    pub claimed: Vec<(Ipv4Addr, Claimants)>,
    /// Addresses that hosts ask for.
    pub asked: Vec<Asked>,
    /// Leases that clients declined, for somebody used the address already (RFC 2131 4.4.1).
    pub declines: u64,
    /// DHCP servers.
    pub servers: Vec<Server>,
    /// Servers whose offers clients took, and how often: clients tell everyone, so that this shows at any port.
    pub chosen: Vec<(Ipv4Addr, u64)>,
    /// Frames of which the link did not say whom they were for.
    pub unaddressed: Unaddressed,
    /// Who speaks with whom.
    pub talks: Talks,
    /// Floods.
    pub floods: Floods,
    /// Datagrams of hosts whose connection ended.
    pub released: Released,
    /// TCP directions with their counts.
    pub streams: Vec<(StreamKey, StreamCounts)>,
    /// TCP streams whose receivers acknowledged nothing, the longest times.
    held: Longest<Held>,
    /// Claims, questions and servers of addresses that found no room.
    pub unbooked: u64,
    /// Where the claimants of an address stand, by its bits.
    index: FxHashMap<u32, u32>,
    asked_index: FxHashMap<(DeviceId, Ipv4Addr), usize>,
    clients: FxHashMap<Mac, DeviceId>,
    last_query: Option<Time>,
    last_question: Option<Time>,
    pause: Pause,
}

impl Network {
    /// The account of a host.
    #[inline]
    pub fn host(&mut self, device: DeviceId) -> &mut Host {
        self.hosts.of(device)
    }

    /// The host of an address that one host alone uses.
    #[must_use]
    pub fn only_claimant(&self, ip: Ipv4Addr) -> Option<DeviceId> {
        let index = *self.index.get(&u32::from(ip))?;
        self.claimed.get(index as usize)?.1.only()
    }

    /// Books that a host's TCP stream got no further for a while.
    pub fn stalled(&mut self, device: DeviceId, part: u32, stall: Stall) {
        if self.held.admits(stall.micros()) {
            self.held.add(Held { device, part, stall });
        }
    }

    /// TCP streams that got no further, the longest times.
    #[must_use]
    pub fn held(&self) -> Cow<'_, [Held]> {
        self.held.get()
    }

    /// Books a frame of a host: `octets` on the wire; `unpadded` when it is shorter than Ethernet allows.
    pub fn frame(&mut self, device: DeviceId, time: Option<Time>, octets: u64, unpadded: bool) {
        let host = self.hosts.of(device);
        if unpadded {
            host.unpadded += 1;
        }
        if let Some(time) = time {
            self.pause.frame(time);
            host.frame(time, octets, &self.pause);
        }
    }

    /// As [`frame`](Self::frame), of an IPv4 packet with an address of the host's own; says whether the host spoke with it last and
    /// nobody else does. That it speaks with it is booked then, and else [`claim`](Self::claim) must.
    #[inline(always)]
    pub fn frame_with(
        &mut self,
        device: DeviceId,
        time: Option<Time>,
        octets: u64,
        unpadded: bool,
        ip: Ipv4Addr,
    ) -> bool {
        let host = self.hosts.of(device);
        host.unpadded += u64::from(unpadded);
        let Some(time) = time else { return false };
        self.pause.frame(time);
        host.frame(time, octets, &self.pause);
        let (latest, index) = host.claim;
        latest == ip.to_bits()
            && self
                .claimed
                .get_mut(index as usize)
                .is_some_and(|(_, claimants)| claimants.claim_again(device, false, time))
    }

    /// Books a frame that was sent to a host alone: `octets` on the wire.
    pub fn received(&mut self, device: DeviceId, time: Option<Time>, octets: u64) {
        if let Some(time) = time {
            self.hosts.of(device).received.add(time, octets, &self.pause);
        }
    }

    /// Books an IP packet from one host to another. Repeats to a host that has fallen silent are not booked as such: they
    /// tell of the silence and not of the way there.
    pub fn talk(
        &mut self,
        from: DeviceId,
        to: DeviceId,
        ips: (IpAddr, IpAddr),
        packet: Packet,
        time: Option<Time>,
    ) {
        let packet =
            if packet == Packet::DataAgain && !self.is_alive(to, time) { Packet::Other } else { packet };
        self.talks.add(from, to, ips, packet, time);
    }

    /// Whether a host was heard of late.
    fn is_alive(&self, host: DeviceId, now: Option<Time>) -> bool {
        let last = self.hosts.get(host).and_then(|host| host.last);
        last.zip(now).is_some_and(|(last, now)| now.since(last) <= ALIVE_S)
    }

    /// Books that a host gets what it must answer: a connection to open, or data.
    pub fn sought(&mut self, device: DeviceId, time: Option<Time>) {
        if let Some(time) = time {
            self.host(device).sought(time);
        }
    }

    /// Books that a host closed a TCP connection to another, or broke it off.
    pub fn hung_up(&mut self, by: DeviceId, peer: Option<DeviceId>, time: Option<Time>) {
        self.sign(by, time, Sign::HangUp);
        // Who does not live any more is not told that it is over: its peer gave it up.
        let Some(peer) = peer.filter(|peer| self.is_alive(*peer, time)) else { return };
        self.sign(peer, time, Sign::HangUp);
    }

    /// Books a sign of a host.
    pub fn sign(&mut self, device: DeviceId, time: Option<Time>, sign: Sign) {
        let Some(at) = time else { return };
        let asked = match sign {
            // Members answer a querier within its response time, 10 s by default (RFC 9776 8.3).
            Sign::GroupJoin => self.last_query.is_some_and(|query| at.since(query) <= 11.0),
            Sign::NameAnnouncement => self.last_question.is_some_and(|question| at.since(question) <= 1.0),
            _ => false,
        };
        if !asked {
            self.unasked(device, time, sign);
        }
    }

    /// Books a sign of a host that is no answer, whatever was asked before.
    pub fn unasked(&mut self, device: DeviceId, time: Option<Time>, sign: Sign) {
        if let Some(time) = time {
            self.host(device).sign(time, sign);
        }
    }

    /// A querier asks for memberships.
    pub fn membership_query(&mut self, time: Option<Time>) {
        self.last_query = time.or(self.last_query);
    }

    /// Somebody asks for names.
    pub fn name_query(&mut self, time: Option<Time>) {
        self.last_question = time.or(self.last_question);
    }

    /// Fetches what a frame of a host touches behind its account.
    pub(super) fn fetch_behind(&self, device: DeviceId) {
        let Some(host) = self.hosts.get(device) else { return };
        host.fetch_behind();
        if let Some(claimed) = self.claimed.get(host.claim.1 as usize) {
            soon::fetch(claimed);
        }
    }

    /// Whether this is the address that a host spoke with last, which has been booked then.
    #[inline]
    pub fn spoke_last_with(&self, device: DeviceId, ip: Ipv4Addr) -> bool {
        self.hosts.get(device).is_some_and(|host| host.claim.0 == ip.to_bits()) && !ip.is_unspecified()
    }

    /// Books that a host speaks with an IPv4 address of its own.
    pub fn claim(&mut self, device: DeviceId, ip: Ipv4Addr, by_arp: bool, time: Option<Time>) {
        let Some(time) = time else { return };
        if ip.is_unspecified() || ip.is_multicast() || ip.is_broadcast() {
            return;
        }
        let (latest, latest_index) = self.host(device).claim;
        let index = if latest == ip.to_bits() {
            latest_index
        } else {
            let index = self.claimants_of(ip).unwrap_or(NO_ROOM);
            self.host(device).claim = (ip.to_bits(), index);
            index
        };
        let Some((_, claimants)) = self.claimed.get_mut(index as usize) else {
            self.unbooked += 1;
            return;
        };
        if !claimants.claim(device, by_arp, time) {
            self.unbooked += 1;
        }
    }

    /// Where the claimants of an address stand, as long as there is room for them.
    fn claimants_of(&mut self, ip: Ipv4Addr) -> Option<u32> {
        if let Some(index) = self.index.get(&ip.to_bits()) {
            return Some(*index);
        }
        let next = self.claimed.len();
        if next >= MAX_CLAIMED {
            return None;
        }
        self.index.insert(ip.to_bits(), next as u32);
        self.claimed.push((ip, Claimants::default()));
        Some(next as u32)
    }

    /// Books an ARP packet of a host; `seen_before` when the very frame was within the last second.
    pub fn arp(&mut self, device: DeviceId, arp: &Arp, own_mac: bool, time: Option<Time>, seen_before: bool) {
        let kind = arp.kind();
        match kind {
            ArpKind::Probe => self.sign(device, time, Sign::ArpProbe),
            ArpKind::Announcement | ArpKind::GratuitousReply => {
                self.sign(device, time, Sign::ArpAnnouncement)
            }
            _ => {}
        }
        if own_mac && !matches!(kind, ArpKind::Probe) {
            self.claim(device, arp.sender_ip, true, time);
        }
        if kind == ArpKind::Request {
            self.ask(device, arp.target_ip, time, seen_before);
        }
    }

    fn ask(&mut self, device: DeviceId, ip: Ipv4Addr, time: Option<Time>, seen_before: bool) {
        let Some(time) = time else { return };
        let next = self.asked.len();
        match self.asked_index.get(&(device, ip)) {
            Some(&index) => {
                let again = self.asked.get_mut(index).is_some_and(|asked| asked.once_more(time, seen_before));
                if again && let Some(owner) = self.only_claimant(ip) {
                    self.host(owner).asked_again(time);
                }
            }
            None if next < MAX_ASKED => {
                self.asked_index.insert((device, ip), next);
                self.asked.push(Asked::new(device, ip, time));
            }
            None => self.unbooked += 1,
        }
    }

    /// Books a DHCP message sent by a host; `seen_before` when the very frame was within the last second.
    pub fn dhcp(
        &mut self,
        device: DeviceId,
        dhcp: &Dhcp,
        to_all: bool,
        time: Option<Time>,
        seen_before: bool,
    ) {
        use crate::frames::RequestState::{InitReboot, Selecting};
        if dhcp.from_client {
            // A relay repeats what the client sent (RFC 2131 4.1: giaddr).
            if !dhcp.giaddr.is_unspecified() {
                return;
            }
            if let Some(client) = dhcp.client
                && self.clients.len() < MAX_DHCP
            {
                self.clients.insert(client, device);
            }
            match dhcp.kind {
                None if dhcp.seeks(to_all) && !seen_before => {
                    let takes = self.host(device).seeks(time);
                    self.sign(device, time, if takes { Sign::DhcpRequest } else { Sign::DhcpDiscover });
                }
                Some(DhcpType::Discover) => {
                    // No client repeats it within a second (RFC 2131 4.1: after four): a switching loop brought it back.
                    if seen_before {
                        return;
                    }
                    self.host(device).discovers(time);
                    self.sign(device, time, Sign::DhcpDiscover);
                }
                Some(DhcpType::Request) => {
                    let state = dhcp.request_state(to_all);
                    if matches!(state, Some(Selecting | InitReboot)) {
                        self.sign(device, time, Sign::DhcpRequest);
                    }
                    if state == Some(Selecting) {
                        // It got an offer, whether or not the recorder saw it.
                        self.host(device).waiting = None;
                        if let Some(ip) = dhcp.server
                            && let Some((_, times)) = bounded::entry(
                                &mut self.chosen,
                                MAX_DHCP,
                                |(known, _)| *known == ip,
                                || (ip, 0),
                            )
                        {
                            *times += 1;
                        }
                    }
                }
                Some(DhcpType::Decline) => {
                    self.declines += 1;
                    self.host(device).lease = None;
                }
                Some(DhcpType::Release) => self.sign(device, time, Sign::Goodbye),
                _ => {}
            }
            return;
        }
        let Some(kind @ (DhcpType::Offer | DhcpType::Ack | DhcpType::Nak)) = dhcp.answer() else { return };
        // Answers that grant no address (to an INFORM, or of a boot server) say nothing about who grants them.
        if kind != DhcpType::Nak && dhcp.yiaddr.is_unspecified() {
            return;
        }
        if kind != DhcpType::Nak
            && let Some(client) = dhcp.client.and_then(|mac| self.clients.get(&mac).copied())
        {
            let host = self.host(client);
            host.offers += 1;
            host.waiting = None;
            if kind == DhcpType::Ack {
                host.lease = Some((dhcp.yiaddr, dhcp.mask));
            }
        }
        let Some(ip) = dhcp.server else { return };
        let relays = !dhcp.giaddr.is_unspecified();
        let is_it = |s: &Server| s.ip == ip && s.device == device && s.relays == relays;
        let new = || Server { ip, device, answers: 0, router: dhcp.router, relays };
        if let Some(server) = bounded::entry(&mut self.servers, MAX_DHCP, is_it, new) {
            server.answers += 1;
        } else {
            self.unbooked += 1;
        }
    }
}

/// The networks of a run, by wire.
pub type Networks = ByWire<Network>;

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_return_keeps_what_the_host_showed_around_it() {
        let at = |s: f64| Some(Time(0).plus(s));
        let mut network = Network::default();
        let host = DeviceId(0);
        for i in 0..200 {
            let t = f64::from(i) * 0.1 + if i >= 100 { 6.0 } else { 0.0 };
            network.frame(host, at(t), 84, false);
            if i == 102 {
                network.sign(host, at(t), Sign::ArpProbe);
            }
            if i == 190 {
                network.sign(host, at(t), Sign::ServiceAlive);
            }
        }
        let host = network.host(host);
        host.settle();
        let returns = host.returns();
        let [only] = &*returns else { panic!("{returns:?}") };
        assert!((only.silence.seconds() - 6.1).abs() < 0.01);
        assert_eq!(only.after.iter().collect::<Vec<_>>(), [Sign::ArpProbe]);
        assert_eq!(host.episodes.iter().sum::<u32>(), 2);
    }

    #[test]
    fn signs_are_numbered_in_order() {
        for (i, sign) in Sign::ALL.into_iter().enumerate() {
            assert_eq!(sign as usize, i);
        }
    }
}
