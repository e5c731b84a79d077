//! IP packets and what they carry.

use super::bus::BusKey;
use super::fix::{Carries, Checksum, Fix, Seal, seal, sum, write_sum};
use super::line::Clock;
use super::link::Way;
use super::order::Orders;
use super::spots::Spots;
use super::{Desk, blank, dhcp, discovery, names};
use crate::frames::{
    DHCP_PORTS, Ip, MDNS_PORT, SSDP_PORT, StreamKey, Transport, Udp, ipv4_header_is_sound, looks_like_lines,
    whole_lines,
};
use crate::recording::{Tape, can_line, is_sentence_tail};
use std::hash::{Hash, Hasher};
use std::net::IpAddr;

/// Port of the domain name service.
const DNS_PORT: u16 = 53;

/// Addresses of a packet as they were, its protocol, and the sum over its rewritten addresses and protocol.
#[derive(Debug, Clone, Copy)]
struct Ends {
    source: IpAddr,
    destination: IpAddr,
    protocol: u8,
    old_pseudo: u64,
    new_pseudo: u64,
}

impl Desk {
    /// Rewrites the IP packet at `at` of the tape.
    pub(super) fn ip(&mut self, tape: &mut Tape, at: u64, len: usize, way: Way) {
        let mut old = std::mem::take(&mut self.packet);
        old.clear();
        old.extend_from_slice(tape.get_mut(at, len).unwrap_or_default());
        self.ip_packet(tape, at, &old, way);
        self.packet = old;
    }

    /// As [`ip`](Self::ip), of the packet that reads as `old`.
    fn ip_packet(&mut self, tape: &mut Tape, at: u64, old: &[u8], way: Way) {
        let Some(new) = tape.get_mut(at, old.len()) else { return };
        let Ok(ip) = Ip::parse(old, way.cut) else {
            // No version: what did not hold together still does not.
            self.blanked.damaged += old.len() as u64;
            new.fill(0);
            return;
        };
        let from = (ip.payload.as_ptr() as usize).saturating_sub(old.as_ptr() as usize);
        let to = from + ip.payload.len();
        new.get_mut(to..).unwrap_or_default().fill(0);
        let four = matches!(ip.source, IpAddr::V4(_));
        let addresses = if four { 12..20 } else { 8..40 };
        if four {
            self.ipv4_at(new, 12);
            self.ipv4_at(new, 16);
            let head = new.get_mut(..from).unwrap_or_default();
            options_4(head.get_mut(20..).unwrap_or_default());
            let seal = if ipv4_header_is_sound(old.get(..from).unwrap_or_default()) {
                Seal::Right
            } else {
                Seal::Wrong
            };
            write_sum(head, 10, 0, seal, false);
        } else {
            self.ipv6_at(new, 8);
            self.ipv6_at(new, 24);
            extensions(new, from);
        }
        let pseudo =
            |bytes: &[u8]| sum(bytes.get(addresses.clone()).unwrap_or_default()) + u64::from(ip.protocol);
        let ends = Ends {
            source: ip.source,
            destination: ip.destination,
            protocol: ip.protocol,
            old_pseudo: pseudo(old),
            new_pseudo: pseudo(new),
        };
        let payload = Spots::one(at + from as u64, to - from);
        match ip.fragment {
            Some(_) if ip.is_cut() => {
                self.blanked.payload += payload.len() as u64;
                payload.fill(tape, 0);
            }
            Some(fragment) => {
                let name = (way.wire, ip.source, ip.destination, ip.protocol, fragment.id);
                let piece = (payload.begin(), payload.len());
                let whole = self.fragments.add(tape, name, fragment.offset as usize, fragment.more, piece);
                if let Some(whole) = whole.filter(|_| way.time.is_some()) {
                    let bytes = whole.read(tape);
                    self.transport(tape, &ip, ends, &whole, (&bytes, bytes.len()), way);
                }
            }
            None => {
                let bytes = old.get(from..to).unwrap_or_default();
                self.transport(tape, &ip, ends, &payload, (bytes, ip.payload_len), way);
            }
        }
    }

    /// Rewrites what an IP packet carries: it lies at `spots`, reads as `old` and had `wire_len` bytes.
    fn transport(
        &mut self,
        tape: &mut Tape,
        ip: &Ip<'_>,
        ends: Ends,
        spots: &Spots,
        (old, wire_len): (&[u8], usize),
        way: Way,
    ) {
        let mut new = std::mem::take(&mut self.payload);
        new.clear();
        new.extend_from_slice(old);
        let whole = wire_len <= old.len();
        let length = wire_len as u64;
        let mut checksum = None;
        let mut carries = None;
        match ip.transport_of(old, wire_len) {
            Transport::Udp(udp) => {
                let len = 8 + udp.payload_len.min(old.len().saturating_sub(8));
                let body = old.get(..len).unwrap_or(old);
                let length = 8 + udp.payload_len as u64;
                let is_whole = udp.payload_len == udp.payload.len();
                checksum = Some(Checksum {
                    at: 6,
                    pseudo: ends.new_pseudo + length,
                    seal: seal(body, 6, ends.old_pseudo + length, is_whole, true),
                    udp: true,
                });
                new.get_mut(len..).unwrap_or_default().fill(0);
                let places = spots.part(8, len - 8);
                let payload = new.get_mut(8..len).unwrap_or_default();
                if !self.udp(payload, &places, &udp, way) {
                    let place = spots.begin();
                    if let (true, Some(checksum)) = (spots.is_one() && Orders::worthwhile(payload), checksum)
                    {
                        self.orders.add((place, old.len()), 8, payload, checksum);
                        self.blanked.payload += payload.len() as u64;
                        payload.fill(0);
                    } else {
                        self.blank_from(payload, 0);
                    }
                }
            }
            Transport::Tcp(tcp) => {
                checksum = Some(Checksum {
                    at: 16,
                    pseudo: ends.new_pseudo + length,
                    seal: seal(old, 16, ends.old_pseudo + length, whole, false),
                    udp: false,
                });
                let from = old.len() - tcp.payload.len();
                options_tcp(new.get_mut(20..from).unwrap_or_default());
                let key = StreamKey {
                    source: (ends.source, tcp.source_port),
                    destination: (ends.destination, tcp.destination_port),
                };
                let places = spots.part(from, tcp.payload.len());
                let payload = new.get_mut(from..).unwrap_or_default();
                let again = self.stream_segment(tape, (way.wire, key), &tcp, payload, &places, way);
                carries = again.map(|again| Carries {
                    key: (way.wire, key),
                    sequence: tcp.sequence.wrapping_add(u32::from(tcp.flags.syn())),
                    from,
                    again,
                });
            }
            Transport::Icmp(_) | Transport::Membership(_) if ends.protocol != 58 => {
                checksum =
                    Some(Checksum { at: 2, pseudo: 0, seal: seal(old, 2, 0, whole, false), udp: false });
                if ends.protocol == 2 { self.igmp(&mut new) } else { self.icmp(&mut new) }
            }
            Transport::Icmp(_) | Transport::Icmp6(_) | Transport::Membership(_) => {
                checksum = Some(Checksum {
                    at: 2,
                    pseudo: ends.new_pseudo + length,
                    seal: seal(old, 2, ends.old_pseudo + length, whole, false),
                    udp: false,
                });
                self.icmp6(&mut new);
            }
            Transport::Fragment | Transport::Other => self.blank_from(&mut new, 0),
            Transport::Malformed(_) => {
                // Ports, and for TCP a header length that cannot be; the rest is too short to be anything.
                let keep = match ends.protocol {
                    17 => 6,
                    6 => 4,
                    _ => 2,
                };
                self.blank_from(&mut new, keep);
            }
        }
        if self.carried.is_empty() && carries.is_none() {
            // Every byte of it is final.
            if let Some(Checksum { at, pseudo, seal, udp }) = checksum {
                write_sum(&mut new, at, pseudo, seal, udp);
            }
            spots.write(tape, &new);
        } else {
            spots.write(tape, &new);
            let mut hasher = rustc_hash::FxHasher::default();
            let ports = (old.get(..2), old.get(2..4));
            (way.wire, ends.source, ends.destination, ends.protocol, ports).hash(&mut hasher);
            self.carried_frames(tape, BusKey::Carried(hasher.finish()));
            if let Some(checksum) = checksum {
                self.fixes.push_back(Fix { spots: spots.clone(), checksum, carries });
            }
        }
        self.payload = new;
    }

    /// Rewrites the payload of a datagram; `false` when nothing is known of it, and nothing was done.
    fn udp(&mut self, payload: &mut [u8], places: &Spots, udp: &Udp<'_>, way: Way) -> bool {
        let ports = (udp.source_port, udp.destination_port);
        let leases = DHCP_PORTS.contains(&ports.0) && DHCP_PORTS.contains(&ports.1);
        let names = ports.1 == MDNS_PORT || ports.1 == DNS_PORT || ports.0 == DNS_PORT;
        if leases && dhcp::is_message(payload, udp.is_cut()) {
            dhcp::rewrite(&mut self.content, payload);
        } else if names && names::is_message(payload, udp.is_cut()) {
            names::rewrite(&mut self.content, payload);
        } else if ports.1 == SSDP_PORT || ports.0 == SSDP_PORT {
            discovery::ssdp(&self.content, payload);
        } else if looks_like_lines(payload) {
            let whole = if udp.is_cut() { whole_lines(payload).len() } else { payload.len() };
            let token = crate::frames::SENTENCE_DATAGRAM;
            let from = if payload.starts_with(token) { token.len() } else { 0 };
            let (lines, rest) = payload.split_at_mut(whole.max(from.min(payload.len())));
            self.blanked.payload += rest.len() as u64;
            blank::text(rest);
            let mut at = from;
            while let Some(rest) = lines.get_mut(at..) {
                let len = memchr::memchr2(b'\r', b'\n', rest).unwrap_or(rest.len());
                self.carried_line(rest.get_mut(..len).unwrap_or_default(), &places.part(at, len), way);
                at += len + 1;
            }
        } else {
            return false;
        }
        true
    }

    /// Rewrites a line of a datagram or a stream, perhaps with blanks around it.
    pub(super) fn carried_line(&mut self, line: &mut [u8], places: &Spots, way: Way) {
        let end = line.trim_ascii_end().len();
        let end = line.get(..end).and_then(|line| line.strip_suffix(b"\0")).map_or(end, <[u8]>::len);
        let start = line.len() - line.trim_ascii_start().len();
        if start >= end {
            return;
        }
        if end > crate::frames::MAX_LINE {
            self.blanked.payload += line.len() as u64;
            blank::text(line);
            return;
        }
        let bare = line.get_mut(start..end).unwrap_or_default();
        // As the report reads what packets carry: before a number in front is taken for a time.
        let starts = matches!(bare.first(), Some(b'$' | b'!' | b'\\'));
        if !starts && can_line(bare).is_none() && is_sentence_tail(bare) {
            self.blanked.damaged += bare.len() as u64;
            blank::tail(bare);
            return;
        }
        let before = std::mem::replace(&mut self.before_first, false);
        self.line(bare, &places.part(start, end - start), way.time, true, Clock::Sender);
        self.before_first = before;
    }

    /// Group membership (RFC 9776): groups are nobody's, senders may be somebody's.
    fn igmp(&mut self, bytes: &mut [u8]) {
        match bytes.first() {
            Some(0x22) => {
                let mut at = 8;
                while let Some(&[_, auxiliary, high, low]) =
                    bytes.get(at..).and_then(|rest| rest.first_chunk())
                {
                    self.ipv4_at(bytes, at + 4);
                    let sources = usize::from(u16::from_be_bytes([high, low]));
                    for n in 0..sources.min(bytes.len() / 4) {
                        self.ipv4_at(bytes, at + 8 + 4 * n);
                    }
                    let from = at + 8 + 4 * sources;
                    at = from + 4 * usize::from(auxiliary);
                    let to = at.min(bytes.len());
                    bytes.get_mut(from..to).unwrap_or_default().fill(0);
                }
            }
            Some(0x11 | 0x12 | 0x16 | 0x17) => {
                self.ipv4_at(bytes, 4);
                for at in (12..bytes.len()).step_by(4) {
                    self.ipv4_at(bytes, at);
                }
            }
            _ => self.blank_from(bytes, 4),
        }
    }

    /// Control messages (RFC 792): the kind stays; a gateway is an address; what is quoted goes.
    fn icmp(&mut self, bytes: &mut [u8]) {
        if bytes.first() == Some(&5) {
            self.ipv4_at(bytes, 4);
        }
        self.blank_from(bytes, 8);
    }

    /// Control messages of version 6 (RFC 4861, RFC 9777).
    fn icmp6(&mut self, bytes: &mut [u8]) {
        let options = match bytes.first() {
            Some(130..=132) => {
                for at in std::iter::once(8).chain((28..bytes.len()).step_by(16)) {
                    self.ipv6_at(bytes, at);
                }
                return;
            }
            Some(143) => return self.listener_report(bytes),
            Some(133) => 8,
            Some(134) => 16,
            Some(135 | 136) => {
                self.ipv6_at(bytes, 8);
                24
            }
            Some(137) => {
                self.ipv6_at(bytes, 8);
                self.ipv6_at(bytes, 24);
                40
            }
            _ => return self.blank_from(bytes, 8),
        };
        let mut at = options;
        while let Some(&[kind, words]) = bytes.get(at..).and_then(|rest| rest.first_chunk()) {
            let len = usize::from(words) * 8;
            if len == 0 {
                break;
            }
            match kind {
                1 | 2 if len == 8 => self.mac_at(bytes, at + 2),
                3 if len == 32 => self.ipv6_at(bytes, at + 16),
                // MTU, and the nonce of duplicate detection.
                5 | 14 if len == 8 => {}
                _ => {
                    let to = (at + len).min(bytes.len());
                    bytes.get_mut(at + 2..to).unwrap_or_default().fill(0);
                }
            }
            at = (at + len).min(bytes.len());
        }
        self.blank_from(bytes, at);
    }

    fn listener_report(&mut self, bytes: &mut [u8]) {
        let mut at = 8;
        while let Some(&[_, auxiliary, high, low]) = bytes.get(at..).and_then(|rest| rest.first_chunk()) {
            let sources = usize::from(u16::from_be_bytes([high, low]));
            for n in 0..=sources.min(bytes.len() / 16) {
                self.ipv6_at(bytes, at + 4 + 16 * n);
            }
            let from = at + 20 + 16 * sources;
            at = from + 4 * usize::from(auxiliary);
            let to = at.min(bytes.len());
            bytes.get_mut(from..to).unwrap_or_default().fill(0);
        }
    }
}

/// Options of IPv4: router alert stays, everything else becomes "no operation".
fn options_4(options: &mut [u8]) {
    let mut at = 0;
    while at < options.len() {
        let kind = options.get(at).copied().unwrap_or(0);
        let len = match kind {
            0 | 1 => 1,
            _ => usize::from(options.get(at + 1).copied().unwrap_or(0)).max(2),
        };
        let to = (at + len).min(options.len());
        if kind != 0 && (kind != 148 || len != 4) {
            options.get_mut(at..to).unwrap_or_default().fill(1);
        }
        if kind == 0 {
            options.get_mut(at..).unwrap_or_default().fill(0);
            return;
        }
        at = to;
    }
}

/// Options of TCP: size, scale, selective acknowledgment and time stamps stay; everything else becomes "no operation".
fn options_tcp(options: &mut [u8]) {
    let mut at = 0;
    while at < options.len() {
        let kind = options.get(at).copied().unwrap_or(0);
        if kind == 0 {
            options.get_mut(at..).unwrap_or_default().fill(0);
            return;
        }
        let len = if kind == 1 { 1 } else { usize::from(options.get(at + 1).copied().unwrap_or(0)).max(2) };
        let to = (at + len).min(options.len());
        let known = matches!((kind, len), (2, 4) | (3, 3) | (4, 2) | (5, 10 | 18 | 26 | 34) | (8, 10));
        if !known {
            options.get_mut(at..to).unwrap_or_default().fill(1);
        }
        at = to;
    }
}

/// Extension headers of IPv6 up to `end`: kinds and lengths stay, so do router alert and the fragment header.
fn extensions(packet: &mut [u8], end: usize) {
    let mut kind = packet.get(6).copied().unwrap_or(59);
    let mut at = 40;
    while at < end {
        let Some(&[next, words]) = packet.get(at..end).and_then(|rest| rest.first_chunk()) else { return };
        let len = match kind {
            44 => 8,
            51 => (usize::from(words) + 2) * 4,
            _ => (usize::from(words) + 1) * 8,
        };
        let to = (at + len).min(end);
        let body = packet.get_mut(at + 2..to).unwrap_or_default();
        match (kind, &mut *body) {
            (44, _) => {}
            (0, [5, 2, 0, 0, filling @ ..]) => filling.fill(0),
            (0, body) if body.windows(4).any(|option| option == [5, 2, 0, 0]) => {
                body.fill(0);
                if let Some(alert) = body.get_mut(..4) {
                    alert.copy_from_slice(&[5, 2, 0, 0]);
                }
            }
            _ => body.fill(0),
        }
        (kind, at) = (next, to);
    }
}
