//! Hardware and network addresses: replaced so that devices stay apart and the same, and networks stay networks.

use super::key::{Domain, Keyed};
use crate::frames::Mac;
use std::net::{Ipv4Addr, Ipv6Addr};

/// Values of the last three bytes of a hardware address.
const STATIONS: u64 = 1 << 24;

/// Values of the first three bytes without the bits for "group" and "local".
const MAKERS: u64 = 1 << 22;

impl Keyed {
    /// The last three bytes of a hardware address. Those of IPv6 addresses and of solicited-node groups are copies of
    /// them (RFC 4291 2.7.1 and appendix A), so all three go this way.
    fn station(&mut self, low: [u8; 3]) -> [u8; 3] {
        let [a, b, c] = low;
        let value = u64::from(u32::from_be_bytes([0, a, b, c]));
        let [_, a, b, c] = (self.permuted(Domain::Station, value, STATIONS) as u32).to_be_bytes();
        [a, b, c]
    }

    /// A hardware address; whether it was replaced. Those that every network has (all, none, groups, virtual routers)
    /// stay.
    pub(super) fn mac(&mut self, mac: &mut [u8; 6], keep_makers: bool) -> bool {
        let [a, b, c, d, e, f] = *mac;
        if let [0x33, 0x33, 0xFF, ..] = *mac {
            let [d, e, f] = self.station([d, e, f]);
            *mac = [a, b, c, d, e, f];
            return true;
        }
        let kind = Mac(*mac);
        if kind.is_multicast() || kind == Mac::NONE || kind.is_virtual_router() {
            return false;
        }
        let [d, e, f] = self.station([d, e, f]);
        let [a, b, c] = if keep_makers && !kind.is_local() { [a, b, c] } else { self.mac_maker([a, b, c]) };
        *mac = [a, b, c, d, e, f];
        true
    }

    /// The first three bytes of a hardware address. Whether one looks drawn by lot is what findings rest on: what does so still
    /// does, and what does not does not.
    fn mac_maker(&mut self, maker: [u8; 3]) -> [u8; 3] {
        let [a, b, c] = maker;
        if a >> 2 == 0 && a & 2 != 0 {
            let block = u64::from(u16::from_be_bytes([b, c]));
            let [b, c] = (self.permuted(Domain::MacMaker, block, 1 << 16) as u16).to_be_bytes();
            return [a, b, c];
        }
        let mut value = u64::from(u32::from_be_bytes([0, a >> 2, b, c]));
        loop {
            value = self.permuted(Domain::MacMaker, value, MAKERS);
            let [_, high, b, c] = (value as u32).to_be_bytes();
            if high != 0 || a & 2 == 0 {
                return [high << 2 | (a & 3), b, c];
            }
        }
    }

    /// An IPv4 address; whether it was replaced. Private and special ones stay: every boat has the same. Of a public one
    /// the last byte stays, and addresses that share their first two or three bytes share them still.
    pub(super) fn ipv4(&mut self, ip: &mut [u8; 4]) -> bool {
        let [a, b, c, d] = *ip;
        if stays(*ip) {
            return false;
        }
        if a == 169 && b == 254 {
            let value = u64::from(c) - 1;
            let third = self.permuted(Domain::Ip4Third, value, 254) + 1;
            *ip = [a, b, third as u8, d];
            return true;
        }
        let mut head = u64::from(u16::from_be_bytes([a, b]));
        let [a, b] = loop {
            head = self.permuted(Domain::Ip4, head, 1 << 16);
            let bytes = (head as u16).to_be_bytes();
            if is_public(bytes) {
                break bytes;
            }
        };
        let size = 256 | u64::from(u16::from_be_bytes([a, b])) << 9;
        let third = self.fraction_of_byte(size, c);
        *ip = [a, b, third, d];
        true
    }

    /// A permutation of the bytes, another one for each `network`.
    fn fraction_of_byte(&mut self, network: u64, byte: u8) -> u8 {
        let shift = self.number(Domain::Ip4Third, &network.to_le_bytes()) as u8;
        self.permuted(Domain::Ip4Third, u64::from(byte.wrapping_add(shift)), 256) as u8
    }

    /// An IPv6 address; whether it was replaced. Groups, loopback and "none" stay; the network part of a private or
    /// public one is replaced, the subnet number stays; the host part goes with the hardware address where it is made
    /// of one.
    pub(super) fn ipv6(&mut self, ip: &mut [u8; 16], keep_makers: bool) -> bool {
        let address = Ipv6Addr::from(*ip);
        if let [0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0xFF, 0xFF, a, b, c, d] = *ip {
            let mut v4 = [a, b, c, d];
            let replaced = self.ipv4(&mut v4);
            put(ip, 12, &v4);
            return replaced;
        }
        if address.is_unspecified() || address.is_loopback() {
            return false;
        }
        if address.is_multicast() {
            return self.group(ip);
        }
        let [a, b, c, d, e, f, ..] = *ip;
        if !address.is_unicast_link_local() {
            let mut network = [0; 6];
            self.fill(Domain::Ip6, &[a, b, c, d, e, f], &mut network);
            let [first, rest @ ..] = network;
            // What kind of network it is stands in the first bits (RFC 4291 2.4, RFC 4193 3.1).
            let first = if a >> 5 == 1 { 0x20 | first & 0x1F } else { a };
            put(ip, 0, &[first]);
            put(ip, 1, &rest);
        }
        self.host(ip, keep_makers);
        true
    }

    /// The last eight bytes.
    fn host(&mut self, ip: &mut [u8; 16], keep_makers: bool) {
        let [.., a, b, c, d, e, f, g, h] = *ip;
        if [d, e] == [0xFF, 0xFE] {
            let mut mac = [a ^ 2, b, c, f, g, h];
            self.mac(&mut mac, keep_makers);
            let [a, b, c, f, g, h] = mac;
            put(ip, 8, &[a ^ 2, b, c, d, e, f, g, h]);
            return;
        }
        if [a, b, c, d, e] != [0; 5] {
            let mut high = [0; 5];
            self.fill(Domain::Ip6, &[a, b, c, d, e], &mut high);
            put(ip, 8, &high);
        }
        put(ip, 13, &self.station([f, g, h]));
    }

    /// A group address: those of the standards stay; one that is made of a host's or a network's address does not.
    fn group(&mut self, ip: &mut [u8; 16]) -> bool {
        if let [0xFF, _, 0, 0, 0, 0, 0, 0, 0, 0, 0, 1, 0xFF, a, b, c] = *ip {
            put(ip, 13, &self.station([a, b, c]));
            return true;
        }
        let [_, flags, _, _, a, b, c, d, e, f, g, h, ..] = *ip;
        if flags >> 4 == 0 {
            return false;
        }
        let mut network = [0; 8];
        self.fill(Domain::Ip6, &[a, b, c, d, e, f, g, h], &mut network);
        put(ip, 4, &network);
        true
    }
}

/// Writes `bytes` at `at`; what does not fit is left out.
fn put(ip: &mut [u8; 16], at: usize, bytes: &[u8]) {
    for (to, from) in ip.iter_mut().skip(at).zip(bytes) {
        *to = *from;
    }
}

/// Whether an IPv4 address tells nothing. A host often works its own link-local address out of its hardware address
/// (RFC 3927 2.1), so that one does not stay.
pub(super) fn stays([a, b, c, _]: [u8; 4]) -> bool {
    match [a, b] {
        [169, 254] => c == 0 || c == 255,
        head => !is_public(head) || is_special_block([a, b, c]),
    }
}

/// Whether addresses that begin so are public ones of a single host (IANA IPv4 special-purpose address registry,
/// RFC 6890).
fn is_public([a, b]: [u8; 2]) -> bool {
    let ip = Ipv4Addr::new(a, b, 1, 1);
    let shared = a == 100 && b & 0xC0 == 64;
    let benchmark = a == 198 && b & 0xFE == 18;
    !(ip.is_private()
        || ip.is_loopback()
        || ip.is_link_local()
        || ip.is_multicast()
        || a == 0
        || a >= 240
        || shared
        || benchmark)
}

/// Blocks of three bytes that are special though their neighbours are not (same registry): protocols and documentation.
const fn is_special_block(head: [u8; 3]) -> bool {
    matches!(head, [192, 0, 0 | 2] | [192, 88, 99] | [198, 51, 100] | [203, 0, 113])
}

#[cfg(test)]
mod tests {
    use super::super::Key;
    use super::*;

    fn keyed() -> Keyed {
        Keyed::new(Key([3; 32]))
    }

    fn mac(keyed: &mut Keyed, mut mac: [u8; 6], keep: bool) -> [u8; 6] {
        keyed.mac(&mut mac, keep);
        mac
    }

    fn v6(keyed: &mut Keyed, ip: &str) -> Ipv6Addr {
        let mut bytes = ip.parse::<Ipv6Addr>().unwrap().octets();
        keyed.ipv6(&mut bytes, false);
        bytes.into()
    }

    #[test]
    fn hardware_addresses_stay_what_they_are() {
        let mut k = keyed();
        let own = [0x00, 0x1B, 0xC5, 0x01, 0x02, 0x03];
        let new = mac(&mut k, own, false);
        assert!(new[..3] != own[..3] && new[3..] != own[3..]);
        assert_eq!(new[0] & 3, 0, "one station, of a maker");
        assert_eq!(mac(&mut k, own, false), new);
        let kept = mac(&mut k, own, true);
        assert_eq!((&kept[..3], &kept[3..]), (&own[..3], &new[3..]));
        let local = [0x02, 0x42, 0xC0, 0xA8, 0x00, 0x01];
        assert_eq!(mac(&mut k, local, true)[0] & 3, 2);
        assert_ne!(mac(&mut k, local, true)[..3], local[..3]);
        assert!(!Mac(mac(&mut k, local, false)).is_drawn());
        let drawn = |i: u8| [0xDA, i, 7, 1, 2, 3];
        let others: std::collections::BTreeSet<_> = (0..200).map(|i| mac(&mut k, drawn(i), false)).collect();
        assert!(others.len() == 200 && others.iter().all(|other| Mac(*other).is_drawn()));
        for stays in [
            [0xFF; 6],
            [0; 6],
            [0x01, 0x00, 0x5E, 0x00, 0x00, 0xFB],
            [0x33, 0x33, 0, 0, 0, 1],
            [0x01, 0x80, 0xC2, 0, 0, 0x0E],
            [0, 0, 0x5E, 0, 1, 7],
        ] {
            assert_eq!(mac(&mut k, stays, false), stays);
        }
    }

    #[test]
    fn addresses_made_of_one_hardware_address_stay_so() {
        let mut k = keyed();
        let [a, b, c, d, e, f] = mac(&mut k, [0x00, 0x1B, 0xC5, 0x01, 0x02, 0x03], false);
        let host = [a ^ 2, b, c, 0xFF, 0xFE, d, e, f];
        assert_eq!(v6(&mut k, "fe80::21b:c5ff:fe01:203").octets()[8..], host);
        assert_eq!(v6(&mut k, "fe80::21b:c5ff:fe01:203").octets()[..8], [0xFE, 0x80, 0, 0, 0, 0, 0, 0]);
        assert_eq!(v6(&mut k, "ff02::1:ff01:203").octets()[13..], [d, e, f]);
        assert_eq!(mac(&mut k, [0x33, 0x33, 0xFF, 1, 2, 3], false), [0x33, 0x33, 0xFF, d, e, f]);
        let global = v6(&mut k, "2001:db8:1234:5:21b:c5ff:fe01:203");
        assert_eq!(global.octets()[8..], host);
        assert_eq!((global.octets()[0] >> 5, &global.octets()[6..8]), (1, &[0, 5][..]));
        assert_ne!(global.octets()[..6], [0x20, 0x01, 0x0D, 0xB8, 0x12, 0x34]);
        assert_eq!(v6(&mut k, "fd12:3456:789a::1").octets()[0], 0xFD);
        for stays in ["::", "::1", "ff02::fb", "ff02::1", "ff05::c", "::ffff:192.168.1.2"] {
            assert_eq!(v6(&mut k, stays), stays.parse::<Ipv6Addr>().unwrap());
        }
        assert_ne!(v6(&mut k, "ff3e:30:2001:db8::1"), "ff3e:30:2001:db8::1".parse::<Ipv6Addr>().unwrap());
    }

    #[test]
    fn public_networks_are_replaced_and_private_ones_stay() {
        let mut k = keyed();
        let mut v4 = |ip: &str| {
            let mut bytes = ip.parse::<Ipv4Addr>().unwrap().octets();
            k.ipv4(&mut bytes);
            bytes
        };
        for stays in [
            "192.168.1.2",
            "10.0.0.1",
            "172.16.3.4",
            "127.0.0.1",
            "224.0.0.251",
            "0.0.0.0",
            "203.0.113.5",
            "192.0.0.9",
        ] {
            assert_eq!(v4(stays), stays.parse::<Ipv4Addr>().unwrap().octets());
        }
        assert_eq!(v4("255.255.255.255"), [255; 4]);
        let (a, b, c) = (v4("8.8.8.8"), v4("8.8.8.9"), v4("8.8.9.8"));
        assert!(is_public([a[0], a[1]]) && a[..2] != [8, 8]);
        assert_eq!(a[..3], b[..3]);
        assert_eq!(a[..2], c[..2]);
        assert_ne!(a[2], c[2]);
        assert_ne!(v4("203.0.5.7")[..2], [203, 0], "a neighbour of a special block");
        assert_eq!(v4("169.254.7.9")[..2], [169, 254]);
        assert_ne!(v4("169.254.7.9"), [169, 254, 7, 9]);
        let mut heads: Vec<_> = (0..=u16::MAX).map(u16::to_be_bytes).filter(|h| is_public(*h)).collect();
        let before = heads.len();
        heads = heads
            .iter()
            .map(|[a, b]| {
                let mut ip = [*a, *b, 1, 1];
                k.ipv4(&mut ip);
                assert_ne!([ip[0], ip[1]], [*a, *b]);
                [ip[0], ip[1]]
            })
            .collect();
        heads.sort_unstable();
        heads.dedup();
        assert_eq!(heads.len(), before, "no two networks fall together");
    }
}
