//! Datagrams and TCP segments in the form that nearly all have, found with a look at a few fixed places.

use super::bytes::{array, be16, be32};
use super::{Mac, Tcp, Udp};
use crate::recording::LinkType;
use std::net::Ipv4Addr;

/// Bytes of the two MAC addresses in front.
const MACS: usize = 12;

/// Bytes of the Ethernet header.
const ETHERNET: usize = 14;

/// Bytes of a VLAN tag behind it (IEEE 802.1Q 9.3).
const TAG: usize = 4;

/// Bytes of an IPv4 header without options.
const IP: usize = 20;

/// Bytes of it and a UDP header.
const HEADERS: usize = IP + 8;

/// Protocol numbers (IANA).
const TCP: u8 = 6;
const UDP: u8 = 17;

/// Sender and receiver of an Ethernet frame, as they stand in front of it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Macs {
    /// Destination, and the first two bytes of the source.
    first: u64,
    /// The rest of the source.
    second: u32,
}

impl Macs {
    /// Those of the frame `bytes`.
    #[must_use]
    #[inline(always)]
    pub fn of(bytes: &[u8]) -> Option<Self> {
        Some(Self { first: array(bytes, 0).map(u64::from_be_bytes)?, second: be32(bytes, 8)? })
    }

    /// The sender.
    #[must_use]
    pub const fn source(self) -> Mac {
        Mac::from_bits(self.first << 32 | self.second as u64)
    }

    /// The receiver.
    #[must_use]
    pub const fn destination(self) -> Mac {
        Mac::from_bits(self.first >> 16)
    }

    /// Whether the frame is for a group, as [`Mac::is_multicast`] of the receiver.
    #[must_use]
    pub const fn is_to_group(self) -> bool {
        self.first >> 56 & 1 != 0
    }
}

/// Where a datagram or segment goes: what all of one flow have in common.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct FlowKey {
    macs: Macs,
    /// Of sender and receiver.
    ports: u32,
    /// The two addresses.
    ips: u64,
}

/// An Ethernet frame, with one VLAN tag or none, with a UDP datagram over IPv4 without options, whose lengths agree. The
/// recorder may have cut the payload.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct PlainDatagram<'a> {
    /// Between whom.
    pub flow: FlowKey,
    /// What was recorded of what it carries.
    pub payload: &'a [u8],
    /// Bytes that it carries.
    payload_len: usize,
    /// Identification of the packet.
    pub id: u16,
}

impl<'a> PlainDatagram<'a> {
    /// The datagram in the packet `bytes`, which had `original` bytes on the link; `None` when it is not of this form, and
    /// [`parse`](super::parse) must look.
    #[must_use]
    #[inline(always)]
    pub fn of(link: LinkType, bytes: &'a [u8], original: u32) -> Option<Self> {
        let Headers { macs, head, behind, link_len } = Headers::of(link, bytes)?;
        let total = length(head, UDP)?;
        let stated = usize::from(be16(head, 24)?);
        let had = bytes.len().max(original as usize);
        if total != stated + IP || had < total + link_len {
            return None;
        }
        let payload_len = stated.checked_sub(8)?;
        Some(Self {
            flow: FlowKey::of(macs, head)?,
            payload: behind.get(..payload_len).unwrap_or(behind),
            payload_len,
            id: be16(head, 4)?,
        })
    }

    /// Whether the recorder cut the payload.
    #[must_use]
    pub const fn is_cut(&self) -> bool {
        self.payload.len() < self.payload_len
    }

    /// The datagram as [`Ip::transport`](super::Ip::transport) gives it.
    #[must_use]
    #[inline]
    pub fn udp(&self) -> Udp<'a> {
        let (source_port, destination_port) = self.flow.ports();
        Udp { source_port, destination_port, payload: self.payload, payload_len: self.payload_len }
    }
}

/// As [`PlainDatagram`], with a TCP segment.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct PlainSegment<'a> {
    /// Between whom.
    pub flow: FlowKey,
    /// The segment.
    pub tcp: Tcp<'a>,
    /// Whether the recorder cut the packet.
    pub is_cut: bool,
    /// Identification of the packet.
    pub id: u16,
}

impl<'a> PlainSegment<'a> {
    /// The segment in the packet `bytes`, as [`PlainDatagram::of`].
    #[must_use]
    #[inline]
    pub fn of(link: LinkType, bytes: &'a [u8], original: u32) -> Option<Self> {
        let Headers { macs, head, link_len, .. } = Headers::of(link, bytes)?;
        let total = length(head, TCP)?;
        let had = bytes.len().max(original as usize);
        if had < total + link_len {
            return None;
        }
        let carried_len = total.checked_sub(IP)?;
        let from = link_len + IP;
        let carried = bytes.get(from..link_len + total).or_else(|| bytes.get(from..))?;
        Some(Self {
            flow: FlowKey::of(macs, head)?,
            tcp: Tcp::parse(carried, carried_len).ok()?,
            is_cut: carried.len() < carried_len,
            id: be16(head, 4)?,
        })
    }
}

/// The headers of an Ethernet frame with IPv4 in it.
struct Headers<'a> {
    macs: &'a [u8; MACS],
    /// Those of IPv4 and UDP, or as many bytes.
    head: &'a [u8; HEADERS],
    behind: &'a [u8],
    /// Bytes of the Ethernet header, with its VLAN tag.
    link_len: usize,
}

impl<'a> Headers<'a> {
    #[inline(always)]
    fn of(link: LinkType, bytes: &'a [u8]) -> Option<Self> {
        let (macs, rest) = bytes.split_first_chunk::<MACS>().filter(|_| link == LinkType::Ethernet)?;
        let (packet, link_len) = match rest {
            [0x08, 0x00, packet @ ..] => (packet, ETHERNET),
            [0x81, 0x00, _, _, 0x08, 0x00, packet @ ..] => (packet, ETHERNET + TAG),
            _ => return None,
        };
        let (head, behind) = packet.split_first_chunk::<HEADERS>()?;
        Some(Self { macs, head, behind, link_len })
    }
}

/// The length of an IPv4 packet, when its header has five words, it is no fragment (RFC 791 3.1) and carries this protocol.
#[inline(always)]
fn length(head: &[u8; HEADERS], protocol: u8) -> Option<usize> {
    let form = (array(head, 0)?, array(head, 9)?, be16(head, 6)? & 0x3FFF);
    (form == ([0x45], [protocol], 0)).then_some(usize::from(be16(head, 2)?))
}

impl FlowKey {
    /// The flow of a packet with these headers.
    #[inline(always)]
    fn of(macs: &[u8; MACS], head: &[u8; HEADERS]) -> Option<Self> {
        Some(Self {
            macs: Macs::of(macs)?,
            ports: be32(head, IP)?,
            ips: array(head, 12).map(u64::from_be_bytes)?,
        })
    }

    /// The MAC addresses of sender and receiver.
    #[must_use]
    pub const fn macs(&self) -> Macs {
        self.macs
    }

    /// The IPv4 addresses of sender and receiver.
    #[must_use]
    pub const fn ips(&self) -> (Ipv4Addr, Ipv4Addr) {
        (Ipv4Addr::from_bits((self.ips >> 32) as u32), Ipv4Addr::from_bits(self.ips as u32))
    }

    /// The ports of sender and receiver.
    #[must_use]
    pub const fn ports(&self) -> (u16, u16) {
        ((self.ports >> 16) as u16, self.ports as u16)
    }

    /// A number to find it by: the upper bits differ when the keys do, mostly.
    #[must_use]
    #[inline]
    pub const fn mark(&self) -> u64 {
        // Odd, and with about as many ones as zeros: 2^64 divided by the golden ratio.
        const SPREAD: u64 = 0x9E37_79B9_7F4A_7C15;
        let mixed = (self.macs.first ^ self.ips.rotate_left(29)).wrapping_mul(SPREAD);
        let rest = (self.macs.second as u64) << 32 | self.ports as u64;
        (mixed ^ mixed >> 32 ^ rest).wrapping_mul(SPREAD)
    }
}

#[cfg(test)]
mod tests {
    use super::super::{Content, Packet, Transport, parse};
    use super::*;
    use proptest::prelude::*;

    /// A datagram "depth" of five bytes from 192.0.2.1 port 2000 to 192.0.2.2 port 10110, in the smallest frame.
    fn sample() -> Vec<u8> {
        let mut bytes = vec![2, 0, 0, 0, 0, 2, 2, 0, 0, 0, 0, 1, 8, 0];
        bytes.extend([0x45, 0, 0, 33, 0, 7, 0x40, 0, 64, 17, 0, 0, 192, 0, 2, 1, 192, 0, 2, 2]);
        bytes.extend([0x07, 0xD0, 0x27, 0x7E, 0, 13, 0, 0]);
        bytes.extend(b"depth");
        bytes.resize(60, 0);
        bytes
    }

    fn is_between(flow: &FlowKey, packet: &Packet<'_>) -> bool {
        let Content::Ip(ip) = packet.content else { return false };
        let macs = flow.macs();
        let (source, destination) = (macs.source(), macs.destination());
        let ips = flow.ips();
        (packet.source, packet.destination) == (Some(source), Some(destination))
            && packet.outgoing.is_none()
            && macs.is_to_group() == destination.is_multicast()
            && (ip.source, ip.destination) == (ips.0.into(), ips.1.into())
    }

    fn is_as_parsed(plain: &PlainDatagram<'_>, packet: &Packet<'_>) -> bool {
        let Content::Ip(ip) = packet.content else { return false };
        is_between(&plain.flow, packet)
            && ip.id == Some(plain.id)
            && ip.transport() == Transport::Udp(plain.udp())
            && (ip.is_cut(), plain.udp().is_cut()) == (plain.is_cut(), plain.is_cut())
    }

    /// The same packet with a segment "hi" in it: the header of 24 bytes with one word of options.
    fn segment() -> Vec<u8> {
        let mut bytes = sample();
        bytes.truncate(34);
        (bytes[17], bytes[23]) = (20 + 26, TCP);
        bytes.extend([0xC0, 0, 0x27, 0x7E, 0, 0, 0, 1, 0, 0, 0, 2, 0x60, 0x18, 2, 0, 0, 0, 0, 0, 1, 1, 1, 0]);
        bytes.extend(b"hi");
        bytes
    }

    fn is_segment_as_parsed(plain: &PlainSegment<'_>, packet: &Packet<'_>) -> bool {
        let Content::Ip(ip) = packet.content else { return false };
        is_between(&plain.flow, packet)
            && ip.id == Some(plain.id)
            && ip.is_cut() == plain.is_cut
            && ip.transport() == Transport::Tcp(plain.tcp)
            && plain.flow.ports() == (plain.tcp.source_port, plain.tcp.destination_port)
    }

    #[test]
    fn a_plain_segment_is_found() {
        let bytes = segment();
        let plain = PlainSegment::of(LinkType::Ethernet, &bytes, 60).unwrap();
        assert_eq!(
            (plain.tcp.payload, plain.flow.ports(), plain.is_cut),
            (&b"hi"[..], (49_152, 10_110), false)
        );
        assert!(is_segment_as_parsed(&plain, &parse(LinkType::Ethernet, &bytes, 60)));
        let cut = PlainSegment::of(LinkType::Ethernet, &bytes[..59], 60).unwrap();
        assert_eq!((cut.tcp.payload, cut.is_cut), (&b"h"[..], true));
        for (at, value) in [(12, 0x86), (14, 0x46), (20, 0x20), (23, UDP), (17, 60), (46, 0x40)] {
            let mut other = bytes.clone();
            other[at] = value;
            assert_eq!(PlainSegment::of(LinkType::Ethernet, &other, 60), None, "byte {at}");
        }
    }

    #[test]
    fn a_plain_datagram_is_found() {
        let bytes = sample();
        let plain = PlainDatagram::of(LinkType::Ethernet, &bytes, 60).unwrap();
        assert_eq!((plain.payload, plain.flow.ports()), (&b"depth"[..], (2000, 10_110)));
        assert!(is_as_parsed(&plain, &parse(LinkType::Ethernet, &bytes, 60)));
        assert_eq!(PlainDatagram::of(LinkType::RawIp, &bytes, 60), None);
        for len in 0..47 {
            assert_eq!(PlainDatagram::of(LinkType::Ethernet, &bytes[..len], 0), None, "{len}");
        }
        let cut = PlainDatagram::of(LinkType::Ethernet, &bytes[..44], 60).unwrap();
        assert_eq!((cut.payload, cut.is_cut(), plain.is_cut()), (&b"de"[..], true, false));
        let mut tagged = bytes.clone();
        tagged.splice(12..12, [0x81, 0, 0, 5]);
        assert_eq!(PlainDatagram::of(LinkType::Ethernet, &tagged, 64), Some(plain));
        // Another type, options, a fragment, TCP, lengths that do not agree.
        for (at, value) in [(12, 0x86), (14, 0x46), (20, 0x20), (23, 6), (17, 34), (39, 14)] {
            let mut other = bytes.clone();
            other[at] = value;
            assert_eq!(PlainDatagram::of(LinkType::Ethernet, &other, 60), None, "byte {at}");
        }
    }

    proptest! {
        /// What is found so is what a full look finds.
        #[test]
        fn the_quick_look_finds_what_the_full_one_does(
            changes in prop::collection::vec((0_usize..60, any::<u8>()), 0..4),
            len in 40_usize..65,
            original in 0_u32..80,
            tagged in any::<bool>(),
            of_tcp in any::<bool>(),
        ) {
            let mut bytes = if of_tcp { segment() } else { sample() };
            bytes.resize(60, 0);
            if tagged {
                bytes.splice(12..12, [0x81, 0, 0, 5]);
            }
            for (at, value) in changes {
                bytes[at] = value;
            }
            bytes.truncate(len);
            if let Some(plain) = PlainDatagram::of(LinkType::Ethernet, &bytes, original) {
                let packet = parse(LinkType::Ethernet, &bytes, original);
                prop_assert!(is_as_parsed(&plain, &packet));
                prop_assert_eq!(packet.wire_len as usize, bytes.len().max(original as usize));
            }
            if let Some(plain) = PlainSegment::of(LinkType::Ethernet, &bytes, original) {
                let packet = parse(LinkType::Ethernet, &bytes, original);
                prop_assert!(is_segment_as_parsed(&plain, &packet));
                prop_assert_eq!(packet.wire_len as usize, bytes.len().max(original as usize));
            }
        }
    }
}
