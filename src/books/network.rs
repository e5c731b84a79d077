//! Networks: what hosts announce, which addresses they claim, who serves addresses, and floods.

use super::bounded;
use super::by_wire::ByWire;
pub use super::floods::{FLOOD_PER_S, Floods};
use super::inventory::DeviceId;
use super::talks::{Packet, Talks};
use crate::frames::{Arp, ArpKind, Dhcp, DhcpType, Mac, StreamCounts, StreamKey};
use crate::time::{Span, Time};
use rustc_hash::FxHashMap;
use std::net::{IpAddr, Ipv4Addr};

/// Most returns that are remembered of one host: those after the longest silences.
const MAX_RETURNS: usize = 64;

/// A host that was silent for this long may have been away, seconds.
const AWAY_S: f64 = 1.5;

/// What comes up shows it within this time, seconds: ARP probes and announcements take up to 8 s (RFC 5227 1.1).
pub const SHOWS_WITHIN_S: f64 = 8.0;

/// A host that was heard within this time can be reached, seconds (TCP repeats after 0.2, 0.6, 1.4 s; RFC 6298).
const ALIVE_S: f64 = 1.0;

/// A sign this close before a silence belongs to it, seconds.
const JUST_BEFORE_S: f64 = 2.0;

/// Signs of one kind at most this far apart are one episode, seconds.
const EPISODE_S: f64 = 10.0;

/// Most addresses whose claimants are remembered, a network.
const MAX_CLAIMED: usize = 4096;

/// Most claimants of one address.
const MAX_CLAIMANTS: usize = 8;

/// Most pairs of asking host and address asked for, a network.
const MAX_ASKED: usize = 4096;

/// Most DHCP servers and clients, a network.
const MAX_DHCP: usize = 256;

/// Most stretches of a busy link that are remembered, a host and direction.
const MAX_BUSY: usize = 64;

/// 70 % of what a 100 Mbit/s link carries in a second, octets.
const BUSY_OCTETS: u64 = 8_750_000;

/// What a host shows when it comes up, or when it leaves.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Sign {
    /// ARP probe (RFC 5227).
    ArpProbe,
    /// ARP announcement or gratuitous reply.
    ArpAnnouncement,
    /// DHCP discover.
    DhcpDiscover,
    /// DHCP request after an offer or with a remembered lease; renewals are none.
    DhcpRequest,
    /// IPv6 router solicitation.
    RouterSolicitation,
    /// IPv6 duplicate address detection.
    DuplicateDetection,
    /// Group membership that no querier asked for.
    GroupJoin,
    /// Multicast DNS probe.
    NameProbe,
    /// Multicast DNS answer that nobody asked for.
    NameAnnouncement,
    /// SSDP alive.
    ServiceAlive,
    /// TCP connection opened (SYN).
    Connect,
    /// Says that it leaves: mDNS goodbye, SSDP byebye, DHCP release, LLDP with no time to live.
    Goodbye,
}

impl Sign {
    /// Every sign, in the order of their numbers.
    pub const ALL: [Self; 12] = [
        Self::ArpProbe,
        Self::ArpAnnouncement,
        Self::DhcpDiscover,
        Self::DhcpRequest,
        Self::RouterSolicitation,
        Self::DuplicateDetection,
        Self::GroupJoin,
        Self::NameProbe,
        Self::NameAnnouncement,
        Self::ServiceAlive,
        Self::Connect,
        Self::Goodbye,
    ];

    /// Whether a host shows this only when its link or its network stack comes up.
    #[must_use]
    pub const fn is_strong(self) -> bool {
        matches!(
            self,
            Self::ArpProbe
                | Self::ArpAnnouncement
                | Self::DhcpDiscover
                | Self::DhcpRequest
                | Self::RouterSolicitation
                | Self::DuplicateDetection
                | Self::NameProbe
        )
    }

    /// In words.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::ArpProbe => "ARP probe",
            Self::ArpAnnouncement => "ARP announcement",
            Self::DhcpDiscover => "DHCP discover",
            Self::DhcpRequest => "DHCP request",
            Self::RouterSolicitation => "router solicitation",
            Self::DuplicateDetection => "IPv6 duplicate address check",
            Self::GroupJoin => "group membership report",
            Self::NameProbe => "mDNS probe",
            Self::NameAnnouncement => "mDNS announcement",
            Self::ServiceAlive => "SSDP alive",
            Self::Connect => "new TCP connection",
            Self::Goodbye => "goodbye",
        }
    }
}

/// A set of signs.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Signs(u16);

impl Signs {
    /// Whether the sign is in the set.
    #[must_use]
    pub const fn has(self, sign: Sign) -> bool {
        self.0 & 1 << sign as u16 != 0
    }

    /// Adds a sign.
    pub const fn add(&mut self, sign: Sign) {
        self.0 |= 1 << sign as u16;
    }

    /// The signs, in the order of [`Sign::ALL`].
    pub fn iter(self) -> impl Iterator<Item = Sign> {
        Sign::ALL.into_iter().filter(move |sign| self.has(*sign))
    }
}

/// A host that speaks again after a silence.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Return {
    /// From its last frame before to the first after.
    pub silence: Span,
    /// What it showed just before it fell silent.
    pub before: Signs,
    /// What it showed within [`SHOWS_WITHIN_S`] after it came back.
    pub after: Signs,
}

/// One host's signs.
#[derive(Debug, Clone, Default)]
pub struct Host {
    /// Its returns after the longest silences; at most [`MAX_RETURNS`].
    pub returns: Vec<Return>,
    /// What it showed in its first seconds.
    pub at_first: Signs,
    /// What it showed just before its last frame.
    pub at_last: Signs,
    /// How many times it showed each sign, one burst counted once.
    pub episodes: [u32; Sign::ALL.len()],
    /// Its DHCP discovers.
    pub discovers: u64,
    /// Those of them after the last offer, acknowledgement, or request for an offered address; since when.
    pub waiting: Option<(Span, u64)>,
    /// Offers and acknowledgements that it got.
    pub offers: u64,
    /// Its lease, once a server granted one: address and mask.
    pub lease: Option<(Ipv4Addr, Option<Ipv4Addr>)>,
    /// What it sent: the load of its link from it.
    pub sent: Rate,
    /// What was sent to it alone: the load of its link towards it, groups apart.
    pub received: Rate,
    /// Frames shorter than Ethernet allows, as only the machine that records its own sees them before padding.
    pub unpadded: u64,
    first: Option<Time>,
    last: Option<Time>,
    latest: [Option<Time>; Sign::ALL.len()],
    open: Option<Return>,
}

impl Host {
    fn frame(&mut self, time: Time, octets: u64) {
        self.first.get_or_insert(time);
        if let Some(last) = self.last.replace(time)
            && time.since(last) >= AWAY_S
        {
            self.settle();
            self.open = Some(Return {
                silence: Span::new(last, time),
                before: self.shown_at(last),
                after: Signs::default(),
            });
        }
        self.sent.add(time, octets);
    }

    fn sign(&mut self, time: Time, sign: Sign) {
        if let Some(open) = &mut self.open
            && time.since(open.silence.to) <= SHOWS_WITHIN_S
        {
            open.after.add(sign);
        }
        if self.first.is_none_or(|first| time.since(first) <= EPISODE_S) {
            self.at_first.add(sign);
        }
        let index = sign as usize;
        if let (Some(latest), Some(episodes)) = (self.latest.get_mut(index), self.episodes.get_mut(index)) {
            if latest.is_none_or(|latest| time.since(latest) > EPISODE_S) {
                *episodes = episodes.saturating_add(1);
            }
            *latest = Some(time);
        }
    }

    /// What it showed just before `moment`.
    fn shown_at(&self, moment: Time) -> Signs {
        let mut signs = Signs::default();
        for (sign, latest) in Sign::ALL.into_iter().zip(self.latest) {
            if latest.is_some_and(|latest| moment.since(latest).abs() <= JUST_BEFORE_S) {
                signs.add(sign);
            }
        }
        signs
    }

    /// Takes what is still open into account; call once at the end.
    pub fn settle(&mut self) {
        if let Some(last) = self.last {
            self.at_last = self.shown_at(last);
        }
        let Some(open) = self.open.take() else { return };
        if self.returns.len() < MAX_RETURNS {
            self.returns.push(open);
            return;
        }
        let shortest =
            self.returns.iter_mut().min_by(|a, b| a.silence.seconds().total_cmp(&b.silence.seconds()));
        if let Some(shortest) = shortest
            && shortest.silence.seconds() < open.silence.seconds()
        {
            *shortest = open;
        }
    }
}

/// Octets on one direction of a link, second by second.
#[derive(Debug, Clone, Default)]
pub struct Rate {
    /// The busiest second and its octets.
    pub peak: Option<(Time, u64)>,
    /// Stretches of seconds with more than 70 % of 100 Mbit/s.
    pub busy: Vec<Span>,
    second: i64,
    octets: u64,
}

impl Rate {
    fn add(&mut self, time: Time, octets: u64) {
        let second = time.0.div_euclid(1_000_000);
        if second != self.second {
            self.second = second;
            self.octets = 0;
        }
        let at = Time(second.saturating_mul(1_000_000));
        if self.octets < BUSY_OCTETS && self.octets.saturating_add(octets) >= BUSY_OCTETS {
            bounded::stretch(&mut self.busy, MAX_BUSY, Span::new(at, at.plus(1.0)), 1.5);
        }
        self.octets = self.octets.saturating_add(octets);
        if self.peak.is_none_or(|(_, most)| most < self.octets) {
            self.peak = Some((at, self.octets));
        }
    }
}

/// A host that claims an address.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Claimant {
    /// Who.
    pub device: DeviceId,
    /// First and last time it spoke with this address.
    pub span: Span,
    /// How often.
    pub count: u64,
    /// How often of these in ARP, which nobody forwards.
    pub arp: u64,
    /// How often it spoke with the address after another host had.
    pub turns: u64,
}

/// An address that a host asks for.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Asked {
    /// Who asks.
    pub device: DeviceId,
    /// For which address.
    pub ip: Ipv4Addr,
    /// How often.
    pub asks: u64,
    /// First and last time.
    pub span: Span,
}

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
    pub hosts: FxHashMap<DeviceId, Host>,
    /// Who uses which IPv4 address.
    pub claimed: Vec<(Ipv4Addr, Vec<Claimant>)>,
    /// Addresses that hosts ask for.
    pub asked: Vec<Asked>,
    /// DHCP servers.
    pub servers: Vec<Server>,
    /// Servers whose offers clients took, and how often: clients tell everyone, so that this shows at any port.
    pub chosen: Vec<(Ipv4Addr, u64)>,
    /// Frames of which the link did not say whom they were for: a recorder on all links of a machine at once writes such,
    /// and what stands in one recording need not be one network.
    pub unaddressed: u64,
    /// Who speaks with whom.
    pub talks: Talks,
    /// Floods.
    pub floods: Floods,
    /// Hosts whose DHCP client declined an address because it is in use.
    pub declined: Vec<(DeviceId, Time)>,
    /// Frames that the recorder saw more than once.
    pub copies: u64,
    /// TCP directions with their counts.
    pub streams: Vec<(StreamKey, StreamCounts)>,
    index: FxHashMap<Ipv4Addr, usize>,
    asked_index: FxHashMap<(DeviceId, Ipv4Addr), usize>,
    clients: FxHashMap<Mac, DeviceId>,
    last_query: Option<Time>,
    last_question: Option<Time>,
}

impl Network {
    /// The account of a host.
    pub fn host(&mut self, device: DeviceId) -> &mut Host {
        self.hosts.entry(device).or_default()
    }

    /// Books a frame of a host: `octets` on the wire.
    pub fn frame(&mut self, device: DeviceId, time: Option<Time>, octets: u64) {
        let host = self.host(device);
        if let Some(time) = time {
            host.frame(time, octets);
        }
    }

    /// Books a frame that was sent to a host alone: `octets` on the wire.
    pub fn received(&mut self, device: DeviceId, time: Option<Time>, octets: u64) {
        if let Some(time) = time {
            self.host(device).received.add(time, octets);
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
        let alive = self
            .hosts
            .get(&to)
            .and_then(|h| h.last)
            .zip(time)
            .is_some_and(|(last, now)| now.since(last) <= ALIVE_S);
        let packet = if packet == Packet::DataAgain && !alive { Packet::Other } else { packet };
        self.talks.add(from, to, ips, packet);
    }

    /// Books a sign of a host.
    pub fn sign(&mut self, device: DeviceId, time: Option<Time>, sign: Sign) {
        let Some(time) = time else { return };
        let asked = match sign {
            // Members answer a querier within its response time, 10 s by default (RFC 9776 8.3).
            Sign::GroupJoin => self.last_query.is_some_and(|at| time.since(at) <= 11.0),
            Sign::NameAnnouncement => self.last_question.is_some_and(|at| time.since(at) <= 1.0),
            _ => false,
        };
        if asked {
            return;
        }
        self.host(device).sign(time, sign);
    }

    /// A querier asks for memberships.
    pub fn membership_query(&mut self, time: Option<Time>) {
        self.last_query = time.or(self.last_query);
    }

    /// Somebody asks for names.
    pub fn name_query(&mut self, time: Option<Time>) {
        self.last_question = time.or(self.last_question);
    }

    /// Books that a host speaks with an IPv4 address of its own.
    pub fn claim(&mut self, device: DeviceId, ip: Ipv4Addr, by_arp: bool, time: Option<Time>) {
        let Some(time) = time else { return };
        if ip.is_unspecified() || ip.is_multicast() || ip.is_broadcast() {
            return;
        }
        let next = self.claimed.len();
        let index = match self.index.get(&ip) {
            Some(&index) => index,
            None if next >= MAX_CLAIMED => return,
            None => {
                self.index.insert(ip, next);
                self.claimed.push((ip, Vec::new()));
                next
            }
        };
        let Some((_, claimants)) = self.claimed.get_mut(index) else { return };
        let others = claimants.iter().filter(|c| c.device != device).map(|c| c.span.to).max();
        let new = || Claimant { device, span: Span::new(time, time), count: 0, arp: 0, turns: 0 };
        if let Some(claimant) = bounded::entry(claimants, MAX_CLAIMANTS, |c| c.device == device, new) {
            claimant.count += 1;
            claimant.arp += u64::from(by_arp);
            let another_spoke = others.is_some_and(|at| claimant.count == 1 || at > claimant.span.to);
            claimant.turns += u64::from(another_spoke);
            claimant.span.to = claimant.span.to.max(time);
        }
    }

    /// Books an ARP packet of a host.
    pub fn arp(&mut self, device: DeviceId, arp: &Arp, own_mac: bool, time: Option<Time>) {
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
            self.ask(device, arp.target_ip, time);
        }
    }

    fn ask(&mut self, device: DeviceId, ip: Ipv4Addr, time: Option<Time>) {
        let Some(time) = time else { return };
        let next = self.asked.len();
        match self.asked_index.get(&(device, ip)) {
            Some(&index) => {
                if let Some(asked) = self.asked.get_mut(index) {
                    asked.asks += 1;
                    asked.span.to = asked.span.to.max(time);
                }
            }
            None if next < MAX_ASKED => {
                self.asked_index.insert((device, ip), next);
                self.asked.push(Asked { device, ip, asks: 1, span: Span::new(time, time) });
            }
            None => {}
        }
    }

    /// Books a DHCP message sent by a host.
    pub fn dhcp(&mut self, device: DeviceId, dhcp: &Dhcp, to_all: bool, time: Option<Time>) {
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
                Some(DhcpType::Discover) => {
                    let host = self.host(device);
                    host.discovers += 1;
                    if let Some(time) = time {
                        let (span, asked) = host.waiting.get_or_insert((Span::new(time, time), 0));
                        span.to = span.to.max(time);
                        *asked += 1;
                    }
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
                    if let Some(time) = time {
                        bounded::push(&mut self.declined, MAX_DHCP, (device, time));
                    }
                }
                Some(DhcpType::Release) => self.sign(device, time, Sign::Goodbye),
                _ => {}
            }
            return;
        }
        let Some(kind @ (DhcpType::Offer | DhcpType::Ack | DhcpType::Nak)) = dhcp.kind else { return };
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
            network.frame(host, at(t), 84);
            if i == 102 {
                network.sign(host, at(t), Sign::ArpProbe);
            }
            if i == 190 {
                network.sign(host, at(t), Sign::ServiceAlive);
            }
        }
        let host = network.host(host);
        host.settle();
        let [only] = host.returns.as_slice() else { panic!("{:?}", host.returns) };
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
