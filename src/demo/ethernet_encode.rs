//! Writes Ethernet packets: ARP, IPv4 with UDP, TCP and IGMP, each with its checksums, padded as on the wire.

use std::net::Ipv4Addr;

/// A hardware address.
pub(super) type Mac = [u8; 6];

/// Everyone.
pub(super) const BROADCAST: Mac = [0xFF; 6];

/// Shortest Ethernet frame without its check sequence (IEEE 802.3 4.4.2).
const SHORTEST: usize = 60;

/// One end of a conversation.
#[derive(Debug, Clone, Copy)]
pub(super) struct End {
    /// Hardware address.
    pub(super) mac: Mac,
    /// IPv4 address.
    pub(super) ip: Ipv4Addr,
    /// Port.
    pub(super) port: u16,
}

impl End {
    /// A multicast group: its hardware address holds the low 23 bits of the group (RFC 1112 6.4).
    pub(super) fn group(ip: Ipv4Addr, port: u16) -> Self {
        let [_, b, c, d] = ip.octets();
        Self { mac: [0x01, 0x00, 0x5E, b & 0x7F, c, d], ip, port }
    }
}

/// An ARP packet (RFC 826): operation 1 asks, 2 answers.
pub(super) fn arp(to: Mac, operation: u8, sender: (Mac, Ipv4Addr), target: (Mac, Ipv4Addr)) -> Vec<u8> {
    let mut p = vec![0, 1, 0x08, 0x00, 6, 4, 0, operation];
    for (mac, ip) in [sender, target] {
        p.extend(mac);
        p.extend(ip.octets());
    }
    ethernet(to, sender.0, 0x0806, &p)
}

/// A UDP datagram (RFC 768).
pub(super) fn udp(from: End, to: End, id: u16, ttl: u8, data: &[u8]) -> Vec<u8> {
    let length = data.len() as u16 + 8;
    let mut p = from.port.to_be_bytes().to_vec();
    p.extend(to.port.to_be_bytes());
    p.extend(length.to_be_bytes());
    p.extend([0, 0]);
    p.extend(data);
    let sum = match checksum(&[&pseudo(from.ip, to.ip, 17, length), &p]) {
        // 0 would mean "no checksum".
        0 => 0xFFFF,
        sum => sum,
    };
    put(&mut p, 6, sum);
    ipv4((from.mac, from.ip), (to.mac, to.ip), Header { id, ttl, protocol: 17, alert: false }, &p)
}

/// TCP flags (RFC 9293 3.1).
pub(super) const SYN: u8 = 0x02;
/// Data are to be handed to the reader at once.
pub(super) const PUSH: u8 = 0x08;
/// The acknowledgement number counts.
pub(super) const ACK: u8 = 0x10;

/// A TCP segment without options but for the largest segment size beside SYN; window 64240.
pub(super) fn tcp(
    from: End,
    to: End,
    id: u16,
    (flags, sequence, acknowledged): (u8, u32, u32),
    data: &[u8],
) -> Vec<u8> {
    let options: &[u8] = if flags & SYN != 0 { &[2, 4, 0x05, 0xB4] } else { &[] };
    let mut p = from.port.to_be_bytes().to_vec();
    p.extend(to.port.to_be_bytes());
    p.extend(sequence.to_be_bytes());
    p.extend(acknowledged.to_be_bytes());
    p.extend([((20 + options.len() as u8) / 4) << 4, flags]);
    p.extend(64_240_u16.to_be_bytes());
    p.extend([0, 0, 0, 0]);
    p.extend(options);
    p.extend(data);
    let sum = checksum(&[&pseudo(from.ip, to.ip, 6, p.len() as u16), &p]);
    put(&mut p, 16, sum);
    ipv4((from.mac, from.ip), (to.mac, to.ip), Header { id, ttl: 64, protocol: 6, alert: false }, &p)
}

/// An IGMPv3 report (RFC 9776 4.2): the sender is a member of `groups`. `kind` 4: has just joined; 2: still is.
pub(super) fn igmp_report(from: (Mac, Ipv4Addr), id: u16, kind: u8, groups: &[Ipv4Addr]) -> Vec<u8> {
    let mut p = vec![0x22, 0, 0, 0, 0, 0, 0, groups.len() as u8];
    for group in groups {
        p.extend([kind, 0, 0, 0]);
        p.extend(group.octets());
    }
    igmp(from, Ipv4Addr::new(224, 0, 0, 22), id, p)
}

/// An IGMPv3 general query (RFC 9776 4.1): who is a member of what? Answers within 10 s, asked every 125 s.
pub(super) fn igmp_query(from: (Mac, Ipv4Addr), id: u16) -> Vec<u8> {
    igmp(from, Ipv4Addr::new(224, 0, 0, 1), id, vec![0x11, 100, 0, 0, 0, 0, 0, 0, 2, 125, 0, 0])
}

fn igmp(from: (Mac, Ipv4Addr), to: Ipv4Addr, id: u16, mut p: Vec<u8>) -> Vec<u8> {
    let sum = checksum(&[&p]);
    put(&mut p, 2, sum);
    ipv4(from, (End::group(to, 0).mac, to), Header { id, ttl: 1, protocol: 2, alert: true }, &p)
}

struct Header {
    id: u16,
    ttl: u8,
    protocol: u8,
    /// Router alert (RFC 2113), which IGMP demands.
    alert: bool,
}

fn ipv4(from: (Mac, Ipv4Addr), to: (Mac, Ipv4Addr), header: Header, data: &[u8]) -> Vec<u8> {
    let options: &[u8] = if header.alert { &[0x94, 4, 0, 0] } else { &[] };
    let header_length = 20 + options.len();
    let mut p = vec![0x40 | (header_length / 4) as u8, 0];
    p.extend(((header_length + data.len()) as u16).to_be_bytes());
    p.extend(header.id.to_be_bytes());
    // Not to be fragmented.
    p.extend([0x40, 0, header.ttl, header.protocol, 0, 0]);
    p.extend(from.1.octets());
    p.extend(to.1.octets());
    p.extend(options);
    let sum = checksum(&[&p]);
    put(&mut p, 10, sum);
    p.extend(data);
    ethernet(to.0, from.0, 0x0800, &p)
}

fn ethernet(to: Mac, from: Mac, kind: u16, data: &[u8]) -> Vec<u8> {
    let mut out = to.to_vec();
    out.extend(from);
    out.extend(kind.to_be_bytes());
    out.extend(data);
    out.resize(out.len().max(SHORTEST), 0);
    out
}

fn pseudo(from: Ipv4Addr, to: Ipv4Addr, protocol: u8, length: u16) -> Vec<u8> {
    let mut p = from.octets().to_vec();
    p.extend(to.octets());
    p.extend([0, protocol]);
    p.extend(length.to_be_bytes());
    p
}

/// The internet checksum (RFC 1071) of parts that follow each other; every part but the last is even in length.
fn checksum(parts: &[&[u8]]) -> u16 {
    let mut sum = 0_u32;
    for pair in parts.iter().flat_map(|part| part.chunks(2)) {
        let high = pair.first().copied().unwrap_or(0);
        let low = pair.get(1).copied().unwrap_or(0);
        sum += u32::from(u16::from_be_bytes([high, low]));
    }
    while sum > 0xFFFF {
        sum = (sum & 0xFFFF) + (sum >> 16);
    }
    !(sum as u16)
}

fn put(bytes: &mut [u8], at: usize, value: u16) {
    for (to, from) in bytes.iter_mut().skip(at).zip(value.to_be_bytes()) {
        *to = from;
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use etherparse::{NetSlice, SlicedPacket, TransportSlice};

    const A: End = End { mac: [2, 0, 0, 0, 0, 1], ip: Ipv4Addr::new(192, 168, 0, 1), port: 10_110 };
    const B: End = End { mac: [2, 0, 0, 0, 0, 2], ip: Ipv4Addr::new(192, 168, 0, 2), port: 50_000 };

    #[test]
    fn checksum_of_the_well_known_header() {
        // Widely published example of RFC 1071's method: B861.
        let header =
            [0x45, 0, 0, 0x73, 0, 0, 0x40, 0, 0x40, 0x11, 0, 0, 0xC0, 0xA8, 0, 1, 0xC0, 0xA8, 0, 0xC7_u8];
        assert_eq!(checksum(&[&header]), 0xB861);
    }

    /// The crate `etherparse` takes the packets apart and finds their checksums right.
    #[test]
    fn an_independent_parser_finds_the_checksums_right() {
        let packet = udp(A, End::group(Ipv4Addr::new(239, 254, 7, 1), 10_110), 7, 4, b"odd");
        assert_eq!(packet[..6], [0x01, 0x00, 0x5E, 0x7E, 0x07, 0x01]);
        let sliced = SlicedPacket::from_ethernet(&packet).unwrap();
        let (Some(NetSlice::Ipv4(ip)), Some(TransportSlice::Udp(udp))) = (&sliced.net, &sliced.transport)
        else {
            panic!("no UDP in it")
        };
        let header = ip.header().to_header();
        assert_eq!(header.calc_header_checksum(), header.header_checksum);
        assert_eq!(udp.to_header().calc_checksum_ipv4(&header, b"odd").unwrap(), udp.checksum());
        assert_eq!(udp.payload(), b"odd");

        let packet = tcp(A, B, 8, (SYN | ACK, 5, 6), &[]);
        let sliced = SlicedPacket::from_ethernet(&packet).unwrap();
        let (Some(NetSlice::Ipv4(ip)), Some(TransportSlice::Tcp(tcp))) = (&sliced.net, &sliced.transport)
        else {
            panic!("no TCP in it")
        };
        assert_eq!(
            tcp.to_header().calc_checksum_ipv4(&ip.header().to_header(), &[]).unwrap(),
            tcp.checksum()
        );
        assert!(tcp.syn() && tcp.ack() && tcp.sequence_number() == 5);
    }

    /// RFC 5227 probe as in RFC 826's layout: sender address 0, target hardware address 0.
    #[test]
    fn an_arp_probe_byte_by_byte() {
        let probe = arp(
            BROADCAST,
            1,
            ([0, 0, 0x5E, 0, 0x53, 1], Ipv4Addr::UNSPECIFIED),
            ([0; 6], Ipv4Addr::new(192, 0, 2, 10)),
        );
        let want = [
            0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0, 0, 0x5E, 0, 0x53, 1, 8, 6, 0, 1, 8, 0, 6, 4, 0, 1, 0, 0,
            0x5E, 0, 0x53, 1, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 192, 0, 2, 10,
        ];
        assert_eq!(probe[..42], want);
        assert_eq!(probe.len(), 60);
    }

    #[test]
    fn igmp_says_which_groups() {
        let report = igmp_report((A.mac, A.ip), 1, 4, &[Ipv4Addr::new(239, 254, 7, 1)]);
        // 14 bytes of Ethernet, 24 of IP with router alert.
        assert_eq!(report[14], 0x46);
        let igmp = &report[38..54];
        assert_eq!(igmp[8..], [4, 0, 0, 0, 239, 254, 7, 1]);
        assert_eq!(checksum(&[igmp]), 0, "a right checksum makes the sum of the whole 0");
    }
}
