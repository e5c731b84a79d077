//! Network packets into the books.

use super::Intake;
use super::carried::FeedKey;
use super::ledger::Told;
use crate::books::bounded;
use crate::books::floods::Cast;
use crate::books::inventory::{DeviceId, note_text};
use crate::books::network::Sign;
use crate::books::talks;
use crate::books::wires::WireId;
use crate::frames::{
    Arp, Content, Copies, DHCP_PORTS, Dhcp, Doubles, Fragments, Icmp6, Interest, Ip, LineSplitter, Lldp,
    MAX_DIRECTIONS, MDNS_PORT, Mdns, MdnsKind, Membership, Packet, Reach, SSDP_PORT, SegmentKind, Ssdp,
    SsdpKind, StreamKey, StreamSink, Tcp, TcpStreams, Transport, Udp, datagram_lines, looks_like_lines,
    parse, whole_lines,
};
use crate::recording::LinkType;
use crate::time::Time;
use rustc_hash::{FxHashMap, FxHasher};
use std::hash::{Hash, Hasher};
use std::net::IpAddr;

/// Preamble, start delimiter, frame check sequence and gap around a frame (IEEE 802.3 clause 3 and 4), octets.
const AROUND_FRAME: u64 = 24;

/// Shortest frame without its check sequence, octets.
const SHORTEST_FRAME: u64 = 60;

/// No stack repeats a segment sooner with the same bytes, microseconds (RFC 6298 2.4 and common stacks: 200 ms).
const SOONEST_REPEAT_US: i64 = 100_000;

/// Most TCP directions whose text is followed.
const MAX_SPLITTERS: usize = 512;

/// What a network's packets need remembered between one and the next.
#[derive(Default)]
pub(super) struct Tables {
    doubles: Doubles,
    fragments: Fragments,
    streams: TcpStreams,
    text: Text,
}

/// A packet's way: who sent it on which wire, and when.
#[derive(Clone, Copy)]
struct Way {
    wire: WireId,
    host: DeviceId,
    /// To one host, when it was for one.
    to: Option<DeviceId>,
    time: Option<Time>,
    to_group: bool,
    /// Microseconds since the very same bytes were seen before.
    again_us: Option<i64>,
}

impl Intake {
    /// Books a packet of a wire: its link, its bytes and its length on the wire, and how [alike](crate::frames::likeness)
    /// it is to others.
    pub(super) fn packet(
        &mut self,
        wire: WireId,
        time: Option<Time>,
        (link, bytes, original): (LinkType, &[u8], u32),
        likeness: u64,
    ) {
        let packet = parse(link, bytes, original);
        let octets = u64::from(packet.wire_len).max(SHORTEST_FRAME) + AROUND_FRAME;
        if let Some(wire) = self.books.wires.get_mut(wire) {
            wire.frame(time, u64::from(original).max(bytes.len() as u64), octets);
        }
        let (mut tables, given_up) = self.followed.take(wire);
        if let Some((other, tables)) = given_up {
            self.settle_network(other, tables);
        }
        self.booked_packet(&mut tables, wire, time, &packet, octets, likeness);
        self.followed.put_back(wire, tables);
    }

    fn booked_packet(
        &mut self,
        tables: &mut Tables,
        wire: WireId,
        time: Option<Time>,
        packet: &Packet<'_>,
        octets: u64,
        likeness: u64,
    ) {
        let copies = time.map(|time| tables.doubles.seen_hash(time, likeness));
        let is_copy = copies.as_ref().is_some_and(Copies::is_copy);
        let to_group = matches!(packet.reach, Reach::Group | Reach::All);
        let host = packet.source.and_then(|mac| self.books.inventory.host(wire, mac));
        if let Some(host) = host {
            self.books.fetch(wire, host);
        }
        let network = self.books.networks.of(wire);
        if to_group && let (Some(copies), Some(time)) = (&copies, time) {
            network.floods.frame(time, host, copies, cast(packet));
        }
        let Some(host) = host else { return };
        let destination = packet.destination.filter(|mac| !mac.is_multicast());
        let to = destination.and_then(|mac| self.books.inventory.host(wire, mac));
        if is_copy {
            return;
        }
        self.books.inventory.frame(host, time, u64::from(packet.wire_len));
        let network = self.books.networks.of(wire);
        let unpadded = packet.destination.is_some() && u64::from(packet.wire_len) < SHORTEST_FRAME;
        network.frame(host, time, octets, unpadded || packet.outgoing == Some(true));
        network.unaddressed += u64::from(packet.destination.is_none());
        if let Some(to) = to {
            network.received(to, time, octets);
        }
        let again_us = copies.and_then(|c| c.since_last_us);
        let way = Way { wire, host, to, time, to_group, again_us };
        match &packet.content {
            Content::Arp(arp) => self.arp(way, arp, packet.source == Some(arp.sender_mac)),
            Content::Ip(ip) => self.ip(tables, way, ip),
            Content::Lldp(bytes) => {
                self.stream(way, "lldp", 0);
                if let Ok(lldp) = Lldp::parse(bytes, true) {
                    self.name_host(way.host, lldp.system_name.as_deref());
                    if lldp.ttl_s == 0 {
                        self.books.networks.of(wire).sign(host, time, Sign::Goodbye);
                    }
                }
            }
            Content::Bpdu(_) => self.stream(way, "stp", 0),
            Content::Loopback(_) | Content::Eapol(_) | Content::Other(_) | Content::Malformed(_) => {
                self.stream(way, "other", u32::from(packet.ether_type));
            }
        }
    }

    fn stream(&mut self, way: Way, protocol: &'static str, part: u32) {
        self.tell(way.host, way.time, Told::Protocol(protocol, part));
    }

    fn name_host(&mut self, host: DeviceId, name: Option<&str>) {
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
            && let Some(device) = self.books.inventory.get_mut(way.host)
        {
            note_text(&mut device.ips, IpAddr::V4(arp.sender_ip));
        }
        self.books.networks.of(way.wire).arp(way.host, arp, own_mac, way.time);
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

    /// A router speaks with everybody's address; only addresses of the boat's own networks are a host's.
    fn own_address(&mut self, way: Way, ip: IpAddr) {
        let own = match ip {
            IpAddr::V4(ip) => ip.is_private() || ip.is_link_local(),
            IpAddr::V6(ip) => ip.is_unicast_link_local() || ip.is_unique_local(),
        };
        if !own {
            return;
        }
        if let Some(device) = self.books.inventory.get_mut(way.host)
            && !device.ips.contains(&ip)
        {
            note_text(&mut device.ips, ip);
        }
        if let IpAddr::V4(ip) = ip {
            self.books.networks.of(way.wire).claim(way.host, ip, false, way.time);
        }
    }

    fn transport(&mut self, tables: &mut Tables, way: Way, ip: &Ip<'_>, transport: Transport<'_>) {
        if let Some(to) = way.to
            && !matches!(transport, Transport::Tcp(_))
        {
            let ips = (ip.source, ip.destination);
            self.books.networks.of(way.wire).talk(way.host, to, ips, talks::Packet::Other, way.time);
        }
        match transport {
            Transport::Udp(udp) => self.udp(way, ip, &udp),
            Transport::Tcp(tcp) => self.tcp(tables, way, ip, &tcp),
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
                if report.groups().any(|(_, interest)| interest == Interest::Joined) {
                    network.sign(way.host, way.time, Sign::GroupJoin);
                }
            }
            Membership::Other { .. } => {}
        }
    }

    fn udp(&mut self, way: Way, ip: &Ip<'_>, udp: &Udp<'_>) {
        let ports = (udp.source_port, udp.destination_port);
        let cut = udp.is_cut();
        if DHCP_PORTS.contains(&ports.0) && DHCP_PORTS.contains(&ports.1) {
            self.stream(way, "dhcp", 0);
            if let Ok(dhcp) = Dhcp::parse(udp.payload, cut) {
                if dhcp.from_client {
                    self.name_host(way.host, dhcp.host_name.as_deref());
                }
                self.books.networks.of(way.wire).dhcp(way.host, &dhcp, way.to_group, way.time);
            }
        } else if ports.1 == MDNS_PORT {
            self.stream(way, "mdns", 0);
            self.mdns(way, udp.payload, cut);
        } else if ports.1 == SSDP_PORT || ports.0 == SSDP_PORT {
            self.stream(way, "ssdp", 0);
            self.ssdp(way, udp.payload);
        } else if looks_like_lines(udp.payload) {
            self.stream(way, "lines", part(&(ip.destination, ports.1)));
            let port = ports.1;
            let key = FeedKey { wire: way.wire, host: way.host, tcp: false, port };
            let payload = if cut { whole_lines(udp.payload) } else { udp.payload };
            for line in datagram_lines(payload) {
                self.carried_line(key, (ip.destination, port), way.time, line);
            }
        } else {
            self.stream(way, "udp", part(&(ip.destination, ports.1)));
        }
    }

    fn mdns(&mut self, way: Way, payload: &[u8], cut: bool) {
        let Ok(message) = Mdns::parse(payload, cut) else { return };
        let network = self.books.networks.of(way.wire);
        match message.kind {
            MdnsKind::Probe => network.sign(way.host, way.time, Sign::NameProbe),
            MdnsKind::Query => network.name_query(way.time),
            MdnsKind::Response => network.sign(way.host, way.time, Sign::NameAnnouncement),
            MdnsKind::Goodbye => network.sign(way.host, way.time, Sign::Goodbye),
        }
        if !matches!(message.kind, MdnsKind::Probe | MdnsKind::Response) {
            return;
        }
        let Some(device) = self.books.inventory.get_mut(way.host) else { return };
        for host in message.hosts {
            // A responder may answer for others; a name is its own when the address is.
            if device.ips.contains(&host.address) {
                note_text(&mut device.hostnames, host.name);
            }
        }
        for service in message.services {
            note_text(&mut device.services, service.service);
        }
    }

    fn ssdp(&mut self, way: Way, payload: &[u8]) {
        let Some(message) = Ssdp::parse(payload) else { return };
        let network = self.books.networks.of(way.wire);
        match message.kind {
            SsdpKind::Alive => network.sign(way.host, way.time, Sign::ServiceAlive),
            SsdpKind::ByeBye => network.sign(way.host, way.time, Sign::Goodbye),
            SsdpKind::Search | SsdpKind::Response | SsdpKind::Update => {}
        }
        if matches!(message.kind, SsdpKind::Alive | SsdpKind::Response)
            && let (Some(device), Some(target)) = (self.books.inventory.get_mut(way.host), message.target)
        {
            note_text(&mut device.services, target);
        }
    }

    fn tcp(&mut self, tables: &mut Tables, way: Way, ip: &Ip<'_>, tcp: &Tcp<'_>) {
        let key = StreamKey {
            source: (ip.source, tcp.source_port),
            destination: (ip.destination, tcp.destination_port),
        };
        let low = tcp.source_port.min(tcp.destination_port);
        self.stream(way, "tcp", part(&(ip.destination, low)));
        if tcp.flags.syn() && !tcp.flags.ack() {
            self.books.networks.of(way.wire).sign(way.host, way.time, Sign::Connect);
        }
        let Some(time) = way.time else { return };
        tables.text.owner(key, way);
        // The very same bytes so soon are a copy that came late: whoever repeats himself waits longer, and numbers anew.
        let is_double = way.again_us.is_some_and(|us| us < SOONEST_REPEAT_US);
        let kind = tables.streams.segment(time, key, tcp, is_double, &mut tables.text);
        if let Some(to) = way.to {
            let packet = match kind {
                _ if tcp.payload_len == 0 => talks::Packet::Other,
                SegmentKind::New | SegmentKind::AfterGap | SegmentKind::OutOfOrder => talks::Packet::Data,
                SegmentKind::Retransmission => talks::Packet::DataAgain,
                SegmentKind::Empty | SegmentKind::KeepAlive | SegmentKind::Double => talks::Packet::Other,
            };
            let ips = (ip.source, ip.destination);
            self.books.networks.of(way.wire).talk(way.host, to, ips, packet, way.time);
        }
        tables.text.deliver(self);
    }

    /// Delivers what the streams of all networks still hold, and books their counts. Call once at the end.
    pub(super) fn settle_packets(&mut self) {
        for (wire, tables) in self.followed.take_all() {
            self.settle_network(wire, tables);
        }
    }

    /// As [`settle_packets`](Self::settle_packets), of one network.
    fn settle_network(&mut self, wire: WireId, mut tables: Box<Tables>) {
        if let Some(last) = self.books.wires.get(wire).and_then(|wire| wire.last) {
            tables.streams.finish(last, &mut tables.text);
            tables.text.deliver(self);
        }
        self.text_left_out += tables.text.unbooked;
        let streams = &mut self.books.networks.of(wire).streams;
        for direction in tables.streams.directions() {
            bounded::push(streams, MAX_DIRECTIONS, direction);
        }
    }
}

/// What a frame for many is for: groups within one link serve the network (RFC 5771 4, RFC 4291 2.7), and so does SSDP.
fn cast(packet: &Packet<'_>) -> Cast {
    let Content::Ip(ip) = &packet.content else { return Cast::Signal };
    let is_stream = match ip.destination {
        IpAddr::V4(ip) => ip.is_multicast() && !matches!(ip.octets(), [224, 0, 0, _] | [239, 255, 255, 250]),
        // The scope stands in the low half of the second byte; 2 is one link.
        IpAddr::V6(ip) => ip.is_multicast() && ip.octets().get(1).is_some_and(|b| b & 0x0F > 2),
    };
    if is_stream && packet.reach == Reach::Group { Cast::Stream } else { Cast::Signal }
}

/// Tells streams of one protocol apart by where they go.
fn part(of: &impl Hash) -> u32 {
    let mut hasher = FxHasher::default();
    of.hash(&mut hasher);
    (hasher.finish() >> 32) as u32
}

/// The text that TCP streams carry.
#[derive(Default)]
struct Text {
    splitters: FxHashMap<StreamKey, Stream>,
    lines: Vec<(StreamKey, Time, Vec<u8>)>,
    /// Segments of streams that found no room.
    unbooked: u64,
}

struct Stream {
    splitter: LineSplitter,
    /// `None` until the first bytes told.
    is_text: Option<bool>,
    way: Way,
}

impl Text {
    fn owner(&mut self, key: StreamKey, way: Way) {
        if let Some(stream) = self.splitters.get_mut(&key) {
            stream.way = way;
        } else if self.splitters.len() < MAX_SPLITTERS {
            self.splitters.insert(key, Stream { splitter: LineSplitter::mid_stream(), is_text: None, way });
        } else {
            self.unbooked += 1;
        }
    }

    fn deliver(&mut self, intake: &mut Intake) {
        for (key, time, line) in self.lines.drain(..) {
            let Some(stream) = self.splitters.get(&key) else { continue };
            let port = key.source.1.min(key.destination.1);
            let feed = FeedKey { wire: stream.way.wire, host: stream.way.host, tcp: true, port };
            intake.carried_line(feed, key.destination, Some(time), &line);
        }
    }
}

/// Bytes of a stream's beginning in which a line must be found for the stream to be text.
const TEXT_WITHIN: usize = 2048;

impl StreamSink for Text {
    fn begin(&mut self, key: &StreamKey, _: Time, from_start: bool) {
        if let Some(stream) = self.splitters.get_mut(key) {
            stream.splitter = if from_start { LineSplitter::default() } else { LineSplitter::mid_stream() };
            stream.is_text = None;
        }
    }

    fn bytes(&mut self, key: &StreamKey, time: Time, bytes: &[u8]) {
        let Some(stream) = self.splitters.get_mut(key) else { return };
        let head = bytes.get(..TEXT_WITHIN).unwrap_or(bytes);
        let text = *stream.is_text.get_or_insert_with(|| {
            looks_like_lines(head) || head.split(|b| *b == b'\n').skip(1).any(looks_like_lines)
        });
        if text {
            stream.splitter.push(bytes, |line| self.lines.push((*key, time, line.to_vec())));
        }
    }

    fn lost(&mut self, key: &StreamKey, _: Time, _: Option<u32>) {
        if let Some(stream) = self.splitters.get_mut(key) {
            stream.splitter.lost();
        }
    }

    fn end(&mut self, key: &StreamKey) {
        self.splitters.remove(key);
    }
}
