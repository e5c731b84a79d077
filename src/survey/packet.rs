//! Network packets into the books.

use super::Intake;
use super::flows::{Flows, Onward};
use super::segment::Text;
use crate::books::floods::Cast;
use crate::books::inventory::{DeviceId, note_text};
use crate::books::network::Sign;
use crate::books::talks;
use crate::books::unaddressed::Passage;
use crate::books::wires::WireId;
use crate::frames::{
    Arp, Content, Copies, Doubles, Fragments, Icmp6, Interest, Ip, Lldp, Mac, Membership, Packet,
    PlainDatagram, PlainSegment, Reach, TcpStreams, Transport, parse,
};
use crate::recording::{LinkType, ReadyPacket};
use crate::time::Time;
use rustc_hash::FxHasher;
use std::hash::{Hash, Hasher};
use std::net::{IpAddr, Ipv4Addr};

/// Preamble, start delimiter, frame check sequence and gap around a frame (IEEE 802.3 clause 3 and 4), octets.
const AROUND_FRAME: u64 = 24;

/// Shortest frame without its check sequence, octets.
const SHORTEST_FRAME: u64 = 60;

/// Longest packet that a recorder can meet, octets: an IP packet (RFC 791 3.1), and some four of them that a network card put
/// together. A longer one is a damaged length.
const LONGEST_PACKET: u32 = 1 << 18;

/// What a network's packets need remembered between one and the next.
#[derive(Default)]
pub(super) struct Tables {
    pub(super) doubles: Doubles,
    fragments: Fragments,
    pub(super) streams: TcpStreams,
    pub(super) text: Text,
    /// When the last TCP segment was sent.
    pub(super) last_segment: Option<Time>,
    pub(super) flows: Flows,
}

/// A frame that came: on which wire, when, whether it came before of late, its octets there, and its length from MAC to payload.
pub(super) struct Arrival {
    pub(super) wire: WireId,
    pub(super) time: Option<Time>,
    pub(super) copies: Option<Copies>,
    pub(super) octets: u64,
    pub(super) wire_len: u32,
}

/// Whose frame it is, and whom it is for.
pub(super) struct Between {
    pub(super) host: Option<DeviceId>,
    /// One host, when it is for one.
    pub(super) to: Option<DeviceId>,
    pub(super) to_group: bool,
    pub(super) cast: Cast,
    /// Whether the link says whom it is for.
    pub(super) addressed: bool,
    /// Whether the recorder's own machine sent it, as far as the link says.
    pub(super) outgoing: bool,
    /// Whether it bears a number that no other packet of its sender bears for a good while (RFC 6864 4).
    pub(super) numbered: bool,
    /// The sender's own IPv4 address, where that is known beforehand.
    pub(super) own_ip: Option<Ipv4Addr>,
}

/// A packet's way: who sent it on which wire, and when.
#[derive(Clone, Copy)]
pub(super) struct Way {
    pub(super) wire: WireId,
    pub(super) host: DeviceId,
    /// To one host, when it was for one.
    pub(super) to: Option<DeviceId>,
    pub(super) time: Option<Time>,
    pub(super) to_group: bool,
    /// Microseconds since the very same bytes were seen before.
    pub(super) again_us: Option<i64>,
}

impl Intake {
    /// Books a packet of a wire at this moment; its digest is how [alike](crate::frames::likeness) it is to others, its marks
    /// are those of its sentences.
    #[inline(always)]
    pub(super) fn packet(
        &mut self,
        tables: &mut Tables,
        (wire, time): (WireId, Option<Time>),
        packet: &ReadyPacket<'_>,
    ) {
        let ReadyPacket { link, bytes, original, digest: likeness, marks, .. } = *packet;
        let Tables { flows, doubles, .. } = tables;
        let original = if original > LONGEST_PACKET { 0 } else { original }.max(bytes.len() as u32);
        let flow = PlainDatagram::of(link, bytes, original)
            .and_then(|plain| Some((plain, flows.of(&plain.flow, || self.flow(wire, plain.flow))?)));
        if let Some((plain, flow)) = flow {
            let arrival = self.arrival(doubles, (wire, time), likeness, (original.into(), original));
            self.plain(&arrival, flow, &plain, marks);
        } else if let Some((segment, between)) = PlainSegment::of(link, bytes, original).and_then(|segment| {
            let flow = flows.of(&segment.flow, || self.flow(wire, segment.flow))?;
            Some((segment, flow.between(segment.id)))
        }) {
            let arrival = self.arrival(doubles, (wire, time), likeness, (original.into(), original));
            self.plain_segment(tables, &arrival, &between, &segment);
        } else {
            self.any(tables, (wire, time), (link, bytes, original), likeness);
        }
    }

    /// Books a packet of `size` bytes on its wire, where it has `wire_len` octets from MAC to payload.
    #[inline(always)]
    fn arrival(
        &mut self,
        doubles: &mut Doubles,
        (wire, time): (WireId, Option<Time>),
        likeness: u64,
        (size, wire_len): (u64, u32),
    ) -> Arrival {
        let octets = u64::from(wire_len).max(SHORTEST_FRAME) + AROUND_FRAME;
        if let Some(wire) = self.books.wires.get_mut(wire) {
            wire.frame(time, size, octets);
        }
        let copies = time.and_then(|time| doubles.seen_hash(time, likeness));
        Arrival { wire, time, copies, octets, wire_len }
    }

    /// Books that a frame came: with its host, with floods, and with the links that it took. Gives its way, unless it is the
    /// copy of one that was booked, or nobody's.
    #[inline(always)]
    pub(super) fn arrived(&mut self, arrival: &Arrival, between: &Between) -> Option<Way> {
        let Arrival { wire, time, octets, wire_len, copies } = *arrival;
        let Between { host, to, to_group, cast, addressed, outgoing, numbered, own_ip } = *between;
        let network = self.books.networks.of(wire);
        if to_group && let Some(time) = time {
            let returned = network.floods.frame(time, host, copies.as_ref(), cast.of_size(wire_len));
            // What bears no number its sender may have sent again: while a loop is at work it counts once a second.
            if returned && (numbered || !copies.is_some_and(|copies| copies.second_on)) {
                return None;
            }
        }
        let host = host?;
        if copies.is_some_and(|copies| copies.is_copy()) {
            return None;
        }
        self.books.inventory.frame(host, time, u64::from(wire_len));
        let unpadded = addressed && u64::from(wire_len) < SHORTEST_FRAME;
        let claimed = match own_ip {
            Some(ip) => network.frame_with(host, time, octets, unpadded || outgoing, ip),
            None => {
                network.frame(host, time, octets, unpadded || outgoing);
                true
            }
        };
        if let Some(to) = to {
            network.received(to, time, octets);
        }
        let again_us = copies.map(|copies| copies.since_last_us);
        let way = Way { wire, host, to, time, to_group, again_us };
        if !claimed && let Some(ip) = own_ip {
            self.claim(way, ip);
        }
        Some(way)
    }

    /// Books a packet of any form.
    #[inline(never)]
    fn any(
        &mut self,
        tables: &mut Tables,
        (wire, time): (WireId, Option<Time>),
        (link, bytes, original): (LinkType, &[u8], u32),
        likeness: u64,
    ) {
        let packet = parse(link, bytes, original);
        let size = (original.into(), packet.wire_len);
        let arrival = self.arrival(&mut tables.doubles, (wire, time), likeness, size);
        let source = packet.source.or_else(|| stand_in(&packet.content));
        let host = source.and_then(|mac| self.books.inventory.host(wire, mac));
        let destination = packet.destination.filter(|mac| host.is_some() && !mac.is_multicast());
        let to = match &packet.content {
            // The link does not say, and the address is one host's.
            Content::Ip(Ip { destination: IpAddr::V4(ip), .. }) if packet.destination.is_none() => {
                self.books.networks.of(wire).only_claimant(*ip)
            }
            _ => destination.and_then(|mac| self.books.inventory.host(wire, mac)),
        };
        let cast = match &packet.content {
            Content::Ip(ip) => cast(ip.destination, packet.reach == Reach::Group),
            _ => Cast::Signal,
        };
        let between = Between {
            host,
            to,
            to_group: matches!(packet.reach, Reach::Group | Reach::All),
            cast,
            addressed: packet.destination.is_some(),
            outgoing: packet.outgoing == Some(true),
            numbered: matches!(&packet.content, Content::Ip(ip) if ip.id.is_some_and(|id| id != 0)),
            own_ip: None,
        };
        let Some(way) = self.arrived(&arrival, &between) else { return };
        // Not what the machine says to itself.
        if packet.destination.is_none() && packet.source != Some(Mac([0; 6])) {
            let Packet { outgoing, overheard, interface, .. } = packet;
            self.books
                .networks
                .of(wire)
                .unaddressed
                .note(way.host, Passage { outgoing, overheard, interface });
        }
        match &packet.content {
            Content::Arp(arp) => self.arp(way, arp, packet.source == Some(arp.sender_mac)),
            Content::Ip(ip) => self.ip(tables, way, ip),
            Content::Lldp(bytes) => {
                self.stream(way, "lldp", 0);
                if let Ok(lldp) = Lldp::parse(bytes, true) {
                    self.name_host(way.host, lldp.system_name.as_deref());
                    if lldp.ttl_s == 0 {
                        self.books.networks.of(wire).sign(way.host, time, Sign::Goodbye);
                    }
                }
            }
            Content::Bpdu(_) => self.stream(way, "stp", 0),
            Content::Loopback(_) | Content::Eapol(_) | Content::Other(_) | Content::Malformed(_) => {
                self.stream(way, "other", u32::from(packet.ether_type));
            }
        }
    }

    /// Books that a host sent what is of a protocol, and of which part of it.
    #[inline(always)]
    pub(super) fn stream(&mut self, way: Way, protocol: &'static str, part: u32) {
        self.protocol(way.host, way.time, protocol, part);
    }

    /// As [`stream`](Self::stream), where nearly every packet comes by.
    #[inline(always)]
    pub(super) fn usual_stream(&mut self, way: Way, protocol: &'static str, part: u32) {
        self.scribe.book_protocol((way.host, way.time), &self.place, protocol, part);
    }

    #[inline(never)]
    fn protocol(&mut self, host: DeviceId, time: Option<Time>, protocol: &'static str, part: u32) {
        self.scribe.book_protocol((host, time), &self.place, protocol, part);
    }

    pub(super) fn name_host(&mut self, host: DeviceId, name: Option<&str>) {
        if let (Some(device), Some(name)) =
            (self.books.inventory.get_mut(host), name.filter(|n| !n.is_empty()))
        {
            note_text(&mut device.hostnames, name.to_owned());
        }
    }

    fn arp(&mut self, way: Way, arp: &Arp, own_mac: bool) {
        self.stream(way, "arp", u32::from(arp.target_ip) ^ u32::from(arp.operation) << 31);
        if own_mac
            && !arp.sender_ip.is_unspecified()
            && !self.books.networks.of(way.wire).spoke_last_with(way.host, arp.sender_ip)
        {
            self.note_address(way, arp.sender_ip.into());
        }
        self.books.networks.of(way.wire).arp(way.host, arp, own_mac, way.time, way.again_us.is_some());
    }

    fn ip(&mut self, tables: &mut Tables, way: Way, ip: &Ip<'_>) {
        self.own_address(way, ip.source);
        match ip.transport() {
            Transport::Fragment => {
                if let Some(time) = way.time
                    && let Some(whole) = tables.fragments.add(time, ip)
                {
                    let whole = whole.to_vec();
                    let transport = ip.transport_of(&whole, whole.len());
                    self.transport(tables, way, ip, transport);
                }
            }
            transport => self.transport(tables, way, ip, transport),
        }
    }

    /// Books that a host speaks with an address, when that can be its own.
    fn own_address(&mut self, way: Way, ip: IpAddr) {
        match ip {
            _ if !is_own(ip) => {}
            IpAddr::V4(ip) => self.claim(way, ip),
            IpAddr::V6(_) => self.note_address(way, ip),
        }
    }

    /// Books that a host speaks with an IPv4 address of its own.
    #[inline(never)]
    fn claim(&mut self, way: Way, ip: Ipv4Addr) {
        if !self.books.networks.of(way.wire).spoke_last_with(way.host, ip) {
            self.note_address(way, IpAddr::V4(ip));
        }
        self.books.networks.of(way.wire).claim(way.host, ip, false, way.time);
    }

    #[cold]
    fn note_address(&mut self, way: Way, ip: IpAddr) {
        if let Some(device) = self.books.inventory.get_mut(way.host) {
            note_text(&mut device.ips, ip);
        }
    }

    /// Books with whom a packet's sender speaks.
    #[inline(always)]
    pub(super) fn talk(&mut self, way: Way, ips: (IpAddr, IpAddr)) {
        if let Some(to) = way.to {
            self.books.networks.of(way.wire).talk(way.host, to, ips, talks::Packet::Other, way.time);
        }
    }

    fn transport(&mut self, tables: &mut Tables, way: Way, ip: &Ip<'_>, transport: Transport<'_>) {
        if !matches!(transport, Transport::Tcp(_)) {
            self.talk(way, (ip.source, ip.destination));
        }
        match transport {
            Transport::Udp(udp) => {
                self.udp(way, &udp, &mut Onward::new(ip.destination, udp.destination_port), &[]);
            }
            Transport::Tcp(tcp) => {
                self.tcp(tables, way, (ip.source, ip.destination), ip.is_cut(), &tcp);
            }
            Transport::Icmp6(icmp) => self.icmp6(way, &icmp),
            Transport::Membership(membership) => self.membership(way, &membership),
            Transport::Icmp(_) => self.stream(way, "icmp", part(&ip.destination)),
            Transport::Fragment | Transport::Other | Transport::Malformed(_) => {
                self.stream(way, "ip", u32::from(ip.protocol));
            }
        }
    }

    fn icmp6(&mut self, way: Way, icmp: &Icmp6<'_>) {
        self.stream(way, "icmpv6", 0);
        let sign = match icmp {
            Icmp6::RouterSolicitation { .. } => Sign::RouterSolicitation,
            Icmp6::NeighborSolicitation { duplicate_detection: true, .. } => Sign::DuplicateDetection,
            _ => return,
        };
        self.books.networks.of(way.wire).sign(way.host, way.time, sign);
    }

    fn membership(&mut self, way: Way, membership: &Membership<'_>) {
        self.stream(way, "group-membership", 0);
        let network = self.books.networks.of(way.wire);
        match membership {
            Membership::Query { .. } => network.membership_query(way.time),
            Membership::Report(report) => {
                let says = |wanted| report.groups().any(|(_, interest)| interest == wanted);
                if says(Interest::Enters) {
                    network.unasked(way.host, way.time, Sign::GroupJoin);
                } else if says(Interest::Joined) {
                    network.sign(way.host, way.time, Sign::GroupJoin);
                }
            }
            Membership::Other { .. } => {}
        }
    }
}

/// What a frame for many is for: groups within one link serve the network (RFC 5771 4, RFC 4291 2.7), and so does SSDP.
pub(super) fn cast(destination: IpAddr, to_group: bool) -> Cast {
    let is_stream = match destination {
        IpAddr::V4(ip) => ip.is_multicast() && !matches!(ip.octets(), [224, 0, 0, _] | [239, 255, 255, 250]),
        // The scope stands in the low half of the second byte; 2 is one link.
        IpAddr::V6(ip) => ip.is_multicast() && ip.octets().get(1).is_some_and(|b| b & 0x0F > 2),
    };
    if is_stream && to_group { Cast::Stream } else { Cast::Signal }
}

/// Whom a packet is from where the link does not say: the host of its IPv4 address.
fn stand_in(content: &Content<'_>) -> Option<Mac> {
    match content {
        Content::Ip(Ip { source: IpAddr::V4(ip), .. }) if is_own(IpAddr::V4(*ip)) => Some(Mac::stand_in(*ip)),
        _ => None,
    }
}

/// Whether an address is a host's own: a router speaks with everybody's, and only those of the boat's own networks are.
pub(super) const fn is_own(ip: IpAddr) -> bool {
    match ip {
        IpAddr::V4(ip) => ip.is_private() || ip.is_link_local(),
        IpAddr::V6(ip) => ip.is_unicast_link_local() || ip.is_unique_local(),
    }
}

/// Tells streams of one protocol apart by where they go.
pub(super) fn part(of: &impl Hash) -> u32 {
    let mut hasher = FxHasher::default();
    of.hash(&mut hasher);
    (hasher.finish() >> 32) as u32
}
