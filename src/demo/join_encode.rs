//! Writes what a host says to get an address and to make itself known: DHCP and mDNS.

use crate::demo::ethernet_encode::{End, Mac};
use std::net::Ipv4Addr;

/// The mDNS group (RFC 6762 3).
pub(super) const MDNS: Ipv4Addr = Ipv4Addr::new(224, 0, 0, 251);

/// DHCP message types (RFC 2132 9.6).
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Dhcp {
    /// A host without an address looks for a server.
    Discover = 1,
    /// A server offers one.
    Offer = 2,
    /// The host asks for it, or for the one that it had.
    Request = 3,
    /// The server grants it.
    Acknowledge = 5,
}

/// A DHCP message between the host `client` called `name` and a server.
///
/// `leased` is the address that it is about. A request names the server only when it answers an offer
/// (`after_offer`); without one it comes from a host that remembers its lease (RFC 2131 4.3.2).
pub(super) fn dhcp(
    kind: Dhcp,
    transaction: u32,
    (client, name): (Mac, &str),
    leased: Ipv4Addr,
    server: Ipv4Addr,
    after_offer: bool,
) -> Vec<u8> {
    let answer = matches!(kind, Dhcp::Offer | Dhcp::Acknowledge);
    let mut p = vec![if answer { 2 } else { 1 }, 1, 6, 0];
    p.extend(transaction.to_be_bytes());
    // Seconds 0; broadcast flag: the host cannot take unicast before it has its address.
    p.extend([0, 0, 0x80, 0]);
    p.extend([0; 4]);
    p.extend(if answer { leased.octets() } else { [0; 4] });
    p.extend(if answer { server.octets() } else { [0; 4] });
    p.extend([0; 4]);
    p.extend(client);
    // The rest of the hardware address field, server name and boot file are not used.
    p.extend([0; 10 + 64 + 128]);
    p.extend([0x63, 0x82, 0x53, 0x63]);
    p.extend([53, 1, kind as u8]);
    if answer {
        p.extend([54, 4]);
        p.extend(server.octets());
        // A day's lease, 24-bit mask.
        p.extend([51, 4, 0x00, 0x01, 0x51, 0x80, 1, 4, 255, 255, 255, 0]);
    } else {
        if kind == Dhcp::Request {
            p.extend([50, 4]);
            p.extend(leased.octets());
            if after_offer {
                p.extend([54, 4]);
                p.extend(server.octets());
            }
        }
        p.extend([12, name.len() as u8]);
        p.extend(name.bytes());
        p.extend([55, 4, 1, 3, 6, 51]);
    }
    p.push(255);
    // BOOTP relays want at least 300 bytes (RFC 1542 2.1).
    p.resize(p.len().max(300), 0);
    p
}

/// The sending end of the DHCP client port of a host that has no address yet.
pub(super) fn dhcp_client(mac: Mac) -> End {
    End { mac, ip: Ipv4Addr::UNSPECIFIED, port: 68 }
}

/// An mDNS announcement (RFC 6762 8.3): the service `service` of the host `host` at `ip`, port `port`.
pub(super) fn mdns_announce(host: &str, service: &str, ip: Ipv4Addr, port: u16) -> Vec<u8> {
    let (host_name, instance) = (format!("{host}.local"), format!("{host}.{service}.local"));
    // Header: an authoritative answer with four records.
    let mut p = vec![0, 0, 0x84, 0, 0, 0, 0, 4, 0, 0, 0, 0];
    record(&mut p, &format!("{service}.local"), 12, 0x0001, 4500, &name(&instance));
    let mut target = vec![0, 0, 0, 0];
    target.extend(port.to_be_bytes());
    target.extend(name(&host_name));
    record(&mut p, &instance, 33, 0x8001, 120, &target);
    record(&mut p, &instance, 16, 0x8001, 4500, b"\x09txtvers=1");
    record(&mut p, &host_name, 1, 0x8001, 120, &ip.octets());
    p
}

/// An mDNS query: which hosts offer `service`?
pub(super) fn mdns_query(service: &str) -> Vec<u8> {
    let mut p = vec![0, 0, 0, 0, 0, 1, 0, 0, 0, 0, 0, 0];
    p.extend(name(&format!("{service}.local")));
    p.extend([0, 12, 0, 1]);
    p
}

/// A resource record (RFC 1035 4.1.3); class 0x8001 has the cache-flush bit of unique records.
fn record(p: &mut Vec<u8>, owner: &str, kind: u16, class: u16, ttl_s: u32, data: &[u8]) {
    p.extend(name(owner));
    p.extend(kind.to_be_bytes());
    p.extend(class.to_be_bytes());
    p.extend(ttl_s.to_be_bytes());
    p.extend((data.len() as u16).to_be_bytes());
    p.extend(data);
}

/// A domain name in labels, without compression.
fn name(text: &str) -> Vec<u8> {
    let mut p = Vec::new();
    for label in text.split('.') {
        p.push(label.len() as u8);
        p.extend(label.bytes());
    }
    p.push(0);
    p
}

#[cfg(test)]
mod tests {
    use super::*;
    use dhcproto::{Decodable, Decoder, v4};

    const CLIENT: Mac = [2, 0, 0, 0, 0, 9];
    const LEASED: Ipv4Addr = Ipv4Addr::new(192, 168, 47, 20);
    const SERVER: Ipv4Addr = Ipv4Addr::new(192, 168, 47, 1);

    fn read(bytes: &[u8]) -> v4::Message {
        v4::Message::decode(&mut Decoder::new(bytes)).unwrap()
    }

    /// The crate `dhcproto` reads the messages as they are meant.
    #[test]
    fn an_independent_reader_understands_dhcp() {
        let bytes = dhcp(Dhcp::Request, 77, (CLIENT, "bow-md9"), LEASED, SERVER, false);
        let message = read(&bytes);
        assert_eq!((message.xid(), message.chaddr()), (77, &CLIENT[..]));
        assert_eq!(message.opts().msg_type(), Some(v4::MessageType::Request));
        let has = |code| message.opts().get(code).is_some();
        assert!(has(v4::OptionCode::RequestedIpAddress) && has(v4::OptionCode::Hostname));
        assert!(!has(v4::OptionCode::ServerIdentifier), "a remembered lease");

        let message = read(&dhcp(Dhcp::Acknowledge, 77, (CLIENT, ""), LEASED, SERVER, true));
        assert_eq!((message.yiaddr(), message.opts().msg_type()), (LEASED, Some(v4::MessageType::Ack)));
        assert!(message.opts().get(v4::OptionCode::ServerIdentifier).is_some());
    }

    /// The crate `simple-dns` reads the announcement as it is meant.
    #[test]
    fn an_independent_reader_understands_mdns() {
        let bytes = mdns_announce("gw1", "_nmea-0183._tcp", LEASED, 10_110);
        let packet = simple_dns::Packet::parse(&bytes).unwrap();
        assert_eq!(packet.answers.len(), 4);
        assert_eq!(packet.answers[0].name.to_string(), "_nmea-0183._tcp.local");
        assert!(packet.answers[3].cache_flush && packet.answers[3].name.to_string() == "gw1.local");
        let query = mdns_query("_nmea-0183._tcp");
        assert_eq!(simple_dns::Packet::parse(&query).unwrap().questions.len(), 1);
    }
}
