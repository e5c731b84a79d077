use super::*;
use crate::frames::{ArpKind, Lldp, Mdns, Ssdp, Transport, datagram_lines, likeness, looks_like_lines};
use crate::frames::{Dhcp, Doubles, Fragments, ipv4_header_is_sound};
use crate::time::Time;
use etherparse::PacketBuilder;
use proptest::prelude::*;
use std::net::IpAddr;

const STATION: Mac = Mac([0x00, 0x00, 0x5E, 0x00, 0x53, 0x01]);
const OTHER: Mac = Mac([0x00, 0x00, 0x5E, 0x00, 0x53, 0x02]);
const LINKS: [LinkType; 6] = [
    LinkType::Ethernet,
    LinkType::RawIp,
    LinkType::Null,
    LinkType::Loop,
    LinkType::LinuxCooked,
    LinkType::LinuxCooked2,
];

fn ethernet(kind: u16, rest: &[u8]) -> Vec<u8> {
    let mut bytes = OTHER.0.to_vec();
    bytes.extend(STATION.0);
    bytes.extend(kind.to_be_bytes());
    bytes.extend(rest);
    bytes
}

/// A UDP datagram "hi" from 192.0.2.1:2000 to 192.0.2.2:10110 without a link header, by an independent builder.
fn datagram() -> Vec<u8> {
    let builder = PacketBuilder::ipv4([192, 0, 2, 1], [192, 0, 2, 2], 64).udp(2000, 10110);
    let mut bytes = Vec::new();
    builder.write(&mut bytes, b"hi").unwrap();
    bytes
}

fn whole(link: LinkType, bytes: &[u8]) -> Packet<'_> {
    parse(link, bytes, u32::try_from(bytes.len()).unwrap())
}

fn is_datagram(packet: &Packet<'_>) -> bool {
    let Content::Ip(ip) = packet.content else { return false };
    matches!(ip.transport(), Transport::Udp(udp) if udp.payload == b"hi" && udp.destination_port == 10110)
}

/// The fact sheet's ARP probe, 42 bytes (RFC 5227 2.1.1).
#[test]
fn an_arp_probe() {
    let mut bytes = vec![0xFF; 6];
    bytes.extend([
        0x00, 0x00, 0x5E, 0x00, 0x53, 0x01, 0x08, 0x06, 0x00, 0x01, 0x08, 0x00, 0x06, 0x04, 0x00, 0x01,
    ]);
    bytes.extend([0x00, 0x00, 0x5E, 0x00, 0x53, 0x01, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0xC0, 0x00, 0x02, 0x0A]);
    let packet = whole(LinkType::Ethernet, &bytes);
    assert_eq!((packet.source, packet.destination), (Some(STATION), Some(Mac::BROADCAST)));
    assert_eq!((packet.reach, packet.ether_type, packet.wire_len), (Reach::All, 0x0806, 42));
    assert!(matches!(packet.content, Content::Arp(arp) if arp.kind() == ArpKind::Probe));
    for len in 0..bytes.len() {
        let cut = parse(LinkType::Ethernet, &bytes[..len], 42);
        assert!(matches!(cut.content, Content::Malformed(error) if error.cut), "{len}");
        assert_eq!((cut.wire_len, cut.source.is_some()), (42, len >= 14));
    }
}

#[test]
fn vlan_tags() {
    let plain = ethernet(0x0800, &datagram());
    let packet = whole(LinkType::Ethernet, &plain);
    assert!(is_datagram(&packet));
    assert_eq!((packet.vlan, packet.reach), (None, Reach::One));
    // Outer tag 100, inner tag 5 with priority 7.
    let mut tagged = plain.clone();
    tagged.splice(12..12, [0x88, 0xA8, 0x00, 100, 0x81, 0x00, 0xE0, 5]);
    let packet = whole(LinkType::Ethernet, &tagged);
    assert!(is_datagram(&packet));
    assert_eq!((packet.vlan, packet.ether_type), (Some(5), 0x0800));
    let mut priority = plain.clone();
    priority.splice(12..12, [0x81, 0x00, 0xE0, 0]);
    assert_eq!(whole(LinkType::Ethernet, &priority).vlan, None);
    let mut endless = plain;
    endless.splice(12..12, [0x81, 0, 0, 1].repeat(20));
    assert!(matches!(whole(LinkType::Ethernet, &endless).content, Content::Other(_)));
    for len in 14..18 {
        let cut = parse(LinkType::Ethernet, &tagged[..len], 60);
        assert!(matches!(cut.content, Content::Malformed(error) if error.layer == "vlan" && error.cut));
    }
}

#[test]
fn lengths_instead_of_ether_types() {
    // A topology change notification of 4 bytes: length 7 with its LLC header, then padding.
    let mut body = vec![0x42, 0x42, 3, 0, 0, 0, 0x80];
    body.resize(46, 0);
    let bytes = ethernet(7, &body);
    let packet = whole(LinkType::Ethernet, &bytes);
    assert_eq!((packet.ether_type, packet.content), (0, Content::Bpdu(Bpdu::TopologyChangeNotification)));
    let mut snap = vec![0xAA, 0xAA, 3, 0, 0, 0, 8, 0];
    snap.extend(datagram());
    let bytes = ethernet(u16::try_from(snap.len()).unwrap(), &snap);
    let packet = whole(LinkType::Ethernet, &bytes);
    assert!(is_datagram(&packet) && packet.ether_type == 0x0800);
    let bytes = ethernet(3, &[0xE0, 0xE0, 3, 9]);
    assert_eq!(whole(LinkType::Ethernet, &bytes).content, Content::Other(&[0xE0, 0xE0, 3]));
}

#[test]
fn other_ether_types() {
    for (kind, want) in [
        (0x88CC, Content::Lldp(&[1, 2])),
        (0x9000, Content::Loopback(&[1, 2])),
        (0x888E, Content::Eapol(&[1, 2])),
        (0x88F7, Content::Other(&[1, 2])),
    ] {
        let bytes = ethernet(kind, &[1, 2]);
        let packet = whole(LinkType::Ethernet, &bytes);
        assert_eq!((packet.ether_type, packet.content), (kind, want));
    }
}

#[test]
fn linux_cooked() {
    // Sent by us (4), Ethernet (1), address of 6 bytes, IPv4.
    let mut bytes = vec![0, 4, 0, 1, 0, 6, 0x00, 0x00, 0x5E, 0x00, 0x53, 0x01, 0, 0, 0x08, 0x00];
    bytes.extend(datagram());
    let packet = whole(LinkType::LinuxCooked, &bytes);
    assert!(is_datagram(&packet));
    assert_eq!((packet.source, packet.destination), (Some(STATION), None));
    assert_eq!((packet.outgoing, packet.reach), (Some(true), Reach::Unknown));
    assert_eq!(packet.wire_len, 14 + 30, "as with an Ethernet header");
    (bytes[1], bytes[5]) = (1, 0);
    let packet = whole(LinkType::LinuxCooked, &bytes);
    assert_eq!((packet.source, packet.outgoing, packet.reach), (None, Some(false), Reach::All));
    // Version 2: protocol, reserved, interface 3, Ethernet, type 2 (multicast), address of 6 bytes.
    let mut bytes = vec![0x08, 0x00, 0, 0, 0, 0, 0, 3, 0, 1, 2, 6, 0x00, 0x00, 0x5E, 0x00, 0x53, 0x01, 0, 0];
    bytes.extend(datagram());
    let packet = whole(LinkType::LinuxCooked2, &bytes);
    assert!(is_datagram(&packet));
    assert_eq!((packet.source, packet.outgoing, packet.reach), (Some(STATION), Some(false), Reach::Group));
    assert_eq!(packet.wire_len, 14 + 30);
}

#[test]
fn the_ip_address_tells_the_reach_where_the_link_does_not() {
    let mut raw = datagram();
    assert_eq!(whole(LinkType::RawIp, &raw).reach, Reach::Unknown);
    raw[16..20].copy_from_slice(&[239, 192, 0, 1]);
    assert_eq!(whole(LinkType::RawIp, &raw).reach, Reach::Group);
    raw[16..20].copy_from_slice(&[255; 4]);
    assert_eq!(whole(LinkType::RawIp, &raw).reach, Reach::All);
}

#[test]
fn bare_packets() {
    let raw = datagram();
    let packet = whole(LinkType::RawIp, &raw);
    assert!(is_datagram(&packet));
    assert_eq!((packet.ether_type, packet.wire_len), (0x0800, 44));
    for family in [2_u32, 10, 24, 28, 30] {
        for (link, word, good) in [
            (LinkType::Null, family.to_le_bytes(), true),
            (LinkType::Null, family.to_be_bytes(), true),
            (LinkType::Loop, family.to_be_bytes(), true),
            (LinkType::Loop, family.to_le_bytes(), false),
        ] {
            let bytes = [&word[..], &raw].concat();
            assert_eq!(is_datagram(&whole(link, &bytes)), good, "{link:?} {word:?}");
        }
    }
    let bytes = [&[7, 0, 0, 0][..], &raw].concat();
    assert!(matches!(whole(LinkType::Null, &bytes).content, Content::Malformed(_)), "an unknown family");
}

/// A packet cut by the recorder is what it was, as far as its headers are there.
#[test]
fn cut_packets() {
    let bytes = ethernet(0x0800, &datagram());
    for len in 14..bytes.len() {
        let packet = parse(LinkType::Ethernet, &bytes[..len], u32::try_from(bytes.len()).unwrap());
        match packet.content {
            Content::Malformed(error) => assert!(len < 34 && error.cut, "{len}"),
            Content::Ip(ip) => match ip.transport() {
                Transport::Malformed(error) => assert!(len < 42 && error.cut, "{len}"),
                Transport::Udp(udp) => assert_eq!((udp.payload.len(), udp.payload_len), (len - 42, 2)),
                other => panic!("{len}: {other:?}"),
            },
            other => panic!("{len}: {other:?}"),
        }
        let short = whole(LinkType::Ethernet, &bytes[..len]);
        assert!(matches!(short.content, Content::Malformed(error) if !error.cut), "{len}: sent like this");
    }
}

/// Everything that the room can do with a packet's content.
fn read_all(packet: &Packet<'_>, fragments: &mut Fragments) {
    let read = |payload: &[u8]| {
        let _ = Dhcp::parse(payload, false);
        let _ = Mdns::parse(payload, false);
        let _ = Ssdp::parse(payload);
        let _ = looks_like_lines(payload);
        datagram_lines(payload).count()
    };
    let transport = |transport: Transport<'_>| match transport {
        Transport::Udp(udp) => read(udp.payload),
        Transport::Tcp(tcp) => read(tcp.payload),
        Transport::Membership(super::super::Membership::Report(report)) => report.groups().count(),
        Transport::Icmp6(super::super::Icmp6::RouterAdvertisement(router)) => router.prefixes().count(),
        _ => 0,
    };
    match packet.content {
        Content::Ip(ip) => {
            transport(ip.transport());
            if let Some(whole) = fragments.add(Time(0), &ip) {
                transport(ip.transport_of(whole, whole.len()));
            }
        }
        Content::Lldp(bytes) => drop(Lldp::parse(bytes, false)),
        _ => {}
    }
}

proptest! {
    #[test]
    fn any_bytes_do_no_harm(bytes in prop::collection::vec(any::<u8>(), 0..200), original in any::<u32>()) {
        let mut fragments = Fragments::default();
        let mut doubles = Doubles::default();
        for link in LINKS {
            let packet = parse(link, &bytes, original);
            prop_assert!(packet.wire_len > 0 || bytes.is_empty());
            read_all(&packet, &mut fragments);
            let _ = likeness(link, &bytes);
        }
        doubles.seen(Time(0), &bytes);
    }

    /// Any bytes where an IP packet of any protocol would stand.
    #[test]
    fn any_ip_payload_does_no_harm(
        protocol in prop_oneof![Just(1u8), Just(2), Just(6), Just(17), Just(44), Just(58), Just(0)],
        six in any::<bool>(),
        kind in prop_oneof![any::<u8>(), 128u8..145],
        mut payload in prop::collection::vec(any::<u8>(), 1..200),
    ) {
        payload[0] = kind;
        let mut bytes = Vec::new();
        if six {
            bytes.extend([0x60, 0, 0, 0, 0, payload.len() as u8, protocol, 1]);
            bytes.extend([0xFE; 32]);
        } else {
            bytes.extend([0x45, 0, 0, 20 + payload.len() as u8, 0, 0, 0, 0, 1, protocol, 0, 0, 1, 2, 3, 4, 5, 6, 7, 8]);
        }
        bytes.extend(&payload);
        let mut fragments = Fragments::default();
        for len in 0..=bytes.len() {
            let packet = parse(LinkType::RawIp, &bytes[..len], u32::try_from(bytes.len()).unwrap());
            read_all(&packet, &mut fragments);
        }
        let packet = whole(LinkType::RawIp, &bytes);
        prop_assert!(six || matches!(packet.content, Content::Ip(ip) if ip.payload == payload));
    }

    /// What an independent builder wrote is read back.
    #[test]
    fn agrees_with_an_independent_builder(
        source in any::<[u8; 4]>(), destination in any::<[u8; 16]>(), ports in any::<(u16, u16)>(),
        sequence in any::<u32>(), vlan in 1u16..4095, payload in prop::collection::vec(any::<u8>(), 0..100),
    ) {
        let vlan_id = etherparse::VlanId::try_new(vlan).unwrap();
        let builder = PacketBuilder::ethernet2(STATION.0, OTHER.0).single_vlan(vlan_id);
        let mut bytes = Vec::new();
        builder.ipv4(source, [192, 0, 2, 2], 9).tcp(ports.0, ports.1, sequence, 77).psh().ack(5)
            .write(&mut bytes, &payload).unwrap();
        let packet = whole(LinkType::Ethernet, &bytes);
        prop_assert_eq!((packet.source, packet.vlan), (Some(STATION), Some(vlan)));
        let Content::Ip(ip) = packet.content else { panic!("IP") };
        prop_assert!(ipv4_header_is_sound(&bytes[18..38]));
        prop_assert_eq!((ip.source, ip.hop_limit), (IpAddr::from(source), 9));
        let Transport::Tcp(tcp) = ip.transport() else { panic!("TCP") };
        prop_assert_eq!((tcp.source_port, tcp.destination_port), ports);
        prop_assert_eq!((tcp.sequence, tcp.acknowledgment, tcp.window), (sequence, 5, 77));
        prop_assert_eq!(tcp.payload, &payload[..]);

        bytes.clear();
        PacketBuilder::ethernet2(STATION.0, OTHER.0).ipv6([9; 16], destination, 3).udp(ports.0, ports.1)
            .write(&mut bytes, &payload).unwrap();
        let packet = whole(LinkType::Ethernet, &bytes);
        let Content::Ip(ip) = packet.content else { panic!("IP") };
        prop_assert_eq!((ip.destination, ip.hop_limit), (IpAddr::from(destination), 3));
        let Transport::Udp(udp) = ip.transport() else { panic!("UDP") };
        prop_assert_eq!((udp.source_port, udp.destination_port, udp.payload), (ports.0, ports.1, &payload[..]));
    }
}
