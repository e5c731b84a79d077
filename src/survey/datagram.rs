//! Datagrams into the books: what hosts say of themselves, and lines.

use super::Intake;
use super::carried::FeedKey;
use super::digest;
use super::flows::{Flow, Onward};
use super::packet::{Arrival, Way, cast};
use crate::books::inventory::note_text;
use crate::books::network::Sign;
use crate::books::wires::WireId;
use crate::frames::{
    DHCP_PORTS, Dhcp, FlowKey, MDNS_PORT, Mdns, MdnsKind, PlainDatagram, SSDP_PORT, Ssdp, SsdpKind, Udp,
    datagram_lines, looks_like_lines, whole_lines,
};
use crate::recording::Marks;
use std::net::IpAddr;

impl Intake {
    /// Books a plain datagram of a flow.
    #[inline(always)]
    pub(super) fn plain(
        &mut self,
        arrival: &Arrival,
        flow: &mut Flow,
        plain: &PlainDatagram<'_>,
        marks: &[(u32, Marks)],
    ) {
        let Some(way) = self.arrived(arrival, &flow.between(plain.id)) else { return };
        let (ip, to_ip) = plain.flow.ips();
        self.talk(way, (ip.into(), to_ip.into()));
        // Nearly all carry sentences and nothing else.
        if !marks.is_empty() && flow.onward.feed.is_some() {
            self.usual_stream(way, "lines", flow.onward.part);
            self.sentences(way, plain.payload, &flow.onward, marks);
        } else {
            self.udp(way, &plain.udp(), &mut flow.onward, marks);
        }
    }

    /// A flow between hosts that are known.
    #[cold]
    pub(super) fn flow(&self, wire: WireId, key: FlowKey) -> Option<Flow> {
        let macs = key.macs();
        let hosts = self.books.inventory.known_hosts(wire, macs)?;
        let cast = cast(key.ips().1.into(), macs.is_to_group() && !macs.destination().is_broadcast());
        Some(Flow::new(key, hosts, cast))
    }

    /// Books a datagram, whatever carried it, with the marks of its sentences when it holds nothing else.
    #[inline(never)]
    pub(super) fn udp(&mut self, way: Way, udp: &Udp<'_>, onward: &mut Onward, marks: &[(u32, Marks)]) {
        let ports = (udp.source_port, udp.destination_port);
        let cut = udp.is_cut();
        if DHCP_PORTS.contains(&ports.0) && DHCP_PORTS.contains(&ports.1) {
            self.stream(way, "dhcp", 0);
            if let Ok(mut dhcp) = Dhcp::parse(udp.payload, cut) {
                if dhcp.from_client {
                    self.name_host(way.host, dhcp.host_name.as_deref());
                } else if cut && dhcp.giaddr.is_unspecified() {
                    // Whoever answers itself names itself by the address that it speaks with.
                    let own = self.books.inventory.get(way.host).and_then(|device| device.ips.first());
                    let own = own.and_then(|ip| if let IpAddr::V4(ip) = ip { Some(*ip) } else { None });
                    dhcp.server = dhcp.server.or(own);
                }
                let network = self.books.networks.of(way.wire);
                network.dhcp(way.host, &dhcp, way.to_group, way.time, way.again_us.is_some());
            }
        } else if ports.1 == MDNS_PORT {
            self.stream(way, "mdns", 0);
            self.mdns(way, udp.payload, cut);
        } else if ports.1 == SSDP_PORT || ports.0 == SSDP_PORT {
            self.stream(way, "ssdp", 0);
            self.ssdp(way, udp.payload);
        } else if !marks.is_empty() {
            self.stream(way, "lines", onward.part);
            self.feed(way, onward, ports.1);
            self.sentences(way, udp.payload, onward, marks);
        } else if looks_like_lines(udp.payload) {
            self.stream(way, "lines", onward.part);
            let payload = if cut { whole_lines(udp.payload) } else { udp.payload };
            let cut_lines = &mut self.books.networks.of(way.wire).host(way.host).cut;
            if cut {
                cut_lines.datagram(udp.payload, udp.payload_len);
            } else if datagram_lines(payload).nth(1).is_some() {
                cut_lines.several();
            }
            for line in datagram_lines(payload) {
                self.feed(way, onward, ports.1);
                self.carried_line(onward.feed, onward.receiver, way.time, line);
            }
        } else {
            self.stream(way, "udp", onward.part);
        }
    }

    /// Books the sentences of a payload of nothing else.
    #[inline(always)]
    fn sentences(&mut self, way: Way, payload: &[u8], onward: &Onward, marks: &[(u32, Marks)]) {
        if marks.len() > 1 {
            self.books.networks.of(way.wire).host(way.host).cut.several();
        }
        for sentence in digest::marked(payload, marks) {
            self.carried_sentence(onward.feed, onward.receiver, way.time, sentence);
        }
    }

    /// Finds the feed of a datagram's lines, when it was not found yet.
    #[inline(always)]
    fn feed(&mut self, way: Way, onward: &mut Onward, port: u16) {
        if onward.feed.is_none() {
            let key = FeedKey { wire: way.wire, host: way.host, tcp: false, port };
            onward.feed = self.feeds.find(key, onward.receiver);
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
}
