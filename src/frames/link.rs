//! The lowest layer: what the recorder's link type puts in front of a packet, and what the packet then holds.

use super::bytes::{array, be16, be32, mac};
use super::{Arp, Bpdu, Ip, Mac, Malformed};
use crate::recording::LinkType;
use std::net::{IpAddr, Ipv4Addr};

/// VLAN tags that are followed; more are no network that anyone builds.
const MAX_TAGS: usize = 4;

/// EtherTypes (IEEE 802 registry, linux/if_ether.h).
mod ether_type {
    pub(super) const IPV4: u16 = 0x0800;
    pub(super) const ARP: u16 = 0x0806;
    pub(super) const IPV6: u16 = 0x86DD;
    pub(super) const VLAN: u16 = 0x8100;
    pub(super) const OUTER_VLAN: u16 = 0x88A8;
    pub(super) const EAPOL: u16 = 0x888E;
    pub(super) const LLDP: u16 = 0x88CC;
    pub(super) const LOOPBACK: u16 = 0x9000;
    /// Up to here the field is the length of an 802.3 frame (IEEE 802.3 clause 3.2.6).
    pub(super) const MAX_LENGTH: u16 = 1500;
    /// Linux cooked header: an 802.2 LLC frame (linux/if_ether.h ETH_P_802_2).
    pub(super) const COOKED_LLC: u16 = 0x0004;
}

/// Whom a frame is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Reach {
    /// One station.
    One,
    /// A group.
    Group,
    /// Everyone.
    All,
    /// The link does not say.
    Unknown,
}

/// A packet as it was on the wire.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Packet<'a> {
    /// Station that sent it, where the link says.
    pub source: Option<Mac>,
    /// Station or group that it was for, where the link says.
    pub destination: Option<Mac>,
    /// Whom it was for; on links without a destination address by the packet type or the IP address, where these say.
    pub reach: Reach,
    /// VLAN id of the innermost tag that has one (a priority tag has none).
    pub vlan: Option<u16>,
    /// EtherType behind the tags; 0 for an 802.3 frame whose LLC header names none.
    pub ether_type: u16,
    /// Whether the recording machine sent it, where the link says.
    pub outgoing: Option<bool>,
    /// Whether it was for another station than the recording machine, where the link says.
    pub overheard: bool,
    /// The number of the machine's interface that it passed, where the link says.
    pub interface: Option<u32>,
    /// What it holds.
    pub content: Content<'a>,
    /// Bytes of the Ethernet frame on the wire, without frame check sequence and padding that the recorder did not
    /// see. For links other than Ethernet: what the frame would have with an Ethernet header.
    pub wire_len: u32,
}

/// What a packet holds.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Content<'a> {
    /// Address resolution.
    Arp(Arp),
    /// IPv4 or IPv6.
    Ip(Ip<'a>),
    /// Link layer discovery; read it with [`Lldp::parse`](super::Lldp::parse).
    Lldp(&'a [u8]),
    /// Spanning tree.
    Bpdu(Bpdu),
    /// A loop test frame (EtherType 0x9000), sent by some switches to themselves.
    Loopback(&'a [u8]),
    /// Port access control (802.1X).
    Eapol(&'a [u8]),
    /// Anything else.
    Other(&'a [u8]),
    /// Headers that do not hold together, or were cut away by the recorder.
    Malformed(Malformed),
}

/// What the headers before the EtherType say.
struct Head<'a> {
    source: Option<Mac>,
    destination: Option<Mac>,
    reach: Reach,
    outgoing: Option<bool>,
    overheard: bool,
    interface: Option<u32>,
    /// EtherType or length field; `None` when IP follows and its first nibble tells.
    kind: Option<u16>,
    rest: &'a [u8],
    /// Bytes that the link's own header has.
    len: u32,
}

/// Reads a packet of the given link. `original` is the length that the packet had on the wire.
///
/// Total: whatever cannot be read is [`Content::Malformed`].
#[must_use]
pub fn parse<'a>(link: LinkType, bytes: &'a [u8], original: u32) -> Packet<'a> {
    let had = u32::try_from(bytes.len()).unwrap_or(u32::MAX);
    let original = original.max(had);
    let cut = original > had;
    let head = match link {
        LinkType::Ethernet => ethernet(bytes, cut),
        LinkType::RawIp => Ok(bare(bytes, 0)),
        LinkType::Null => family(bytes, cut, false),
        LinkType::Loop => family(bytes, cut, true),
        LinkType::LinuxCooked => cooked(bytes, cut),
        LinkType::LinuxCooked2 => cooked2(bytes, cut),
    };
    let head = match head {
        Ok(head) => head,
        Err(malformed) => {
            return Packet {
                source: None,
                destination: None,
                reach: Reach::Unknown,
                vlan: None,
                ether_type: 0,
                outgoing: None,
                overheard: false,
                interface: None,
                content: Content::Malformed(malformed),
                wire_len: original,
            };
        }
    };
    let (vlan, ether_type, content) = network(head.kind, head.rest, cut);
    Packet {
        source: head.source,
        destination: head.destination,
        reach: if head.reach == Reach::Unknown { reach_of(&content) } else { head.reach },
        vlan,
        ether_type,
        outgoing: head.outgoing,
        overheard: head.overheard,
        interface: head.interface,
        content,
        wire_len: original.saturating_sub(head.len).saturating_add(14),
    }
}

#[inline]
fn ethernet(bytes: &[u8], cut: bool) -> Result<Head<'_>, Malformed> {
    let read = || {
        let (destination, source) = (mac(bytes, 0)?, mac(bytes, 6)?);
        let reach = match destination {
            Mac::BROADCAST => Reach::All,
            group if group.is_multicast() => Reach::Group,
            _ => Reach::One,
        };
        Some(Head {
            source: Some(source),
            destination: Some(destination),
            reach,
            outgoing: None,
            overheard: false,
            interface: None,
            kind: Some(be16(bytes, 12)?),
            rest: bytes.get(14..)?,
            len: 14,
        })
    };
    read().ok_or(Malformed::short("ethernet", 14, bytes.len(), cut))
}

const fn bare(bytes: &[u8], len: u32) -> Head<'_> {
    Head {
        source: None,
        destination: None,
        reach: Reach::Unknown,
        outgoing: None,
        overheard: false,
        interface: None,
        kind: None,
        rest: bytes,
        len,
    }
}

/// BSD loopback: a word of address family, in the recorder's byte order or (`big`) always big endian.
fn family(bytes: &[u8], cut: bool, big: bool) -> Result<Head<'_>, Malformed> {
    /// AF_INET, and AF_INET6 of Linux, NetBSD and OpenBSD, FreeBSD, Darwin (draft-ietf-opsawg-pcaplinktype).
    const FAMILIES: [u32; 5] = [2, 10, 24, 28, 30];
    let (Some(word), Some(rest)) = (array::<4>(bytes, 0), bytes.get(4..)) else {
        return Err(Malformed::short("loopback", 4, bytes.len(), cut));
    };
    let known = FAMILIES.contains(&u32::from_be_bytes(word))
        || (!big && FAMILIES.contains(&u32::from_le_bytes(word)));
    if known { Ok(bare(rest, 4)) } else { Err(Malformed::value("loopback", 0, bytes.len())) }
}

/// The packet type of a cooked header of what is for another station (linux/if_packet.h).
const OTHER_HOST: u16 = 3;

/// A cooked header: its packet type (linux/if_packet.h), the length of the sender's address and where that stands, the
/// interface, the protocol, and how long it is.
fn cooked_head(
    bytes: &[u8],
    packet_type: u16,
    (address_len, address_at): (u16, usize),
    interface: Option<u32>,
    kind: u16,
    len: u32,
) -> Option<Head<'_>> {
    let (reach, outgoing) = match packet_type {
        0 | OTHER_HOST => (Reach::One, Some(false)),
        1 => (Reach::All, Some(false)),
        2 => (Reach::Group, Some(false)),
        4 => (Reach::Unknown, Some(true)),
        _ => (Reach::Unknown, None),
    };
    Some(Head {
        source: if address_len == 6 { mac(bytes, address_at) } else { None },
        destination: None,
        reach,
        outgoing,
        overheard: packet_type == OTHER_HOST,
        interface,
        kind: Some(kind),
        rest: bytes.get(len as usize..)?,
        len,
    })
}

fn cooked(bytes: &[u8], cut: bool) -> Result<Head<'_>, Malformed> {
    let read = || cooked_head(bytes, be16(bytes, 0)?, (be16(bytes, 4)?, 6), None, be16(bytes, 14)?, 16);
    read().ok_or(Malformed::short("linux-cooked", 16, bytes.len(), cut))
}

fn cooked2(bytes: &[u8], cut: bool) -> Result<Head<'_>, Malformed> {
    let byte = |at: usize| bytes.get(at).map(|byte| u16::from(*byte));
    let read = || cooked_head(bytes, byte(10)?, (byte(11)?, 12), be32(bytes, 4), be16(bytes, 0)?, 20);
    read().ok_or(Malformed::short("linux-cooked-2", 20, bytes.len(), cut))
}

/// VLAN, EtherType and content behind the link's header.
#[inline]
fn network(kind: Option<u16>, bytes: &[u8], cut: bool) -> (Option<u16>, u16, Content<'_>) {
    let Some(mut kind) = kind else {
        let kind = match bytes.first().map(|first| first >> 4) {
            Some(4) => ether_type::IPV4,
            Some(6) => ether_type::IPV6,
            _ => 0,
        };
        return (None, kind, or_malformed(Ip::parse(bytes, cut).map(Content::Ip)));
    };
    let (mut rest, mut vlan, mut tags) = (bytes, None, 0);
    while matches!(kind, ether_type::VLAN | ether_type::OUTER_VLAN) && tags < MAX_TAGS {
        let (Some(tag), Some(inner), Some(behind)) = (be16(rest, 0), be16(rest, 2), rest.get(4..)) else {
            return (vlan, kind, Content::Malformed(Malformed::short("vlan", 4, rest.len(), cut)));
        };
        let id = tag & 0x0FFF;
        vlan = if id == 0 { vlan } else { Some(id) };
        (kind, rest, tags) = (inner, behind, tags + 1);
    }
    if kind == ether_type::COOKED_LLC || kind <= ether_type::MAX_LENGTH {
        let (kind, content) = llc(kind, rest, cut);
        return (vlan, kind, content);
    }
    (vlan, kind, content(kind, rest, cut))
}

#[inline]
fn content(kind: u16, rest: &[u8], cut: bool) -> Content<'_> {
    match kind {
        ether_type::IPV4 | ether_type::IPV6 => or_malformed(Ip::parse(rest, cut).map(Content::Ip)),
        ether_type::ARP => {
            or_malformed(Arp::parse(rest, cut).map(|arp| arp.map_or(Content::Other(rest), Content::Arp)))
        }
        ether_type::LLDP => Content::Lldp(rest),
        ether_type::LOOPBACK => Content::Loopback(rest),
        ether_type::EAPOL => Content::Eapol(rest),
        _ => Content::Other(rest),
    }
}

/// An 802.3 frame: a length field and an LLC header (IEEE 802.2), perhaps with a SNAP extension (RFC 1042).
fn llc(length: u16, rest: &[u8], cut: bool) -> (u16, Content<'_>) {
    let stated = usize::from(length);
    let body = if length == ether_type::COOKED_LLC { rest } else { rest.get(..stated).unwrap_or(rest) };
    match body {
        [0x42, 0x42, 0x03, bpdu @ ..] => (0, or_malformed(Bpdu::parse(bpdu, cut).map(Content::Bpdu))),
        [0xAA, 0xAA, 0x03, 0, 0, 0, high, low, inner @ ..] => {
            let kind = u16::from_be_bytes([*high, *low]);
            (kind, content(kind, inner, cut))
        }
        _ => (0, Content::Other(body)),
    }
}

/// Whom a packet is for, as far as its own address says, where the link does not.
fn reach_of(content: &Content<'_>) -> Reach {
    match content {
        Content::Ip(ip) if ip.destination.is_multicast() => Reach::Group,
        Content::Ip(ip) if ip.destination == IpAddr::V4(Ipv4Addr::BROADCAST) => Reach::All,
        _ => Reach::Unknown,
    }
}

fn or_malformed<'a>(read: Result<Content<'a>, Malformed>) -> Content<'a> {
    read.unwrap_or_else(Content::Malformed)
}

#[cfg(test)]
#[path = "link_tests.rs"]
mod tests;
