//! What an IP packet carries.

use super::{Icmp, Icmp6, Ip, Malformed, Membership, Tcp, Udp};
use std::net::IpAddr;

/// The layer above IP.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Transport<'a> {
    /// A datagram.
    Udp(Udp<'a>),
    /// A segment.
    Tcp(Tcp<'a>),
    /// A control message of version 4.
    Icmp(Icmp),
    /// A control message of version 6.
    Icmp6(Icmp6<'a>),
    /// Group membership: IGMP, or MLD out of ICMPv6.
    Membership(Membership<'a>),
    /// A fragment: give the packet to [`Fragments`](super::Fragments).
    Fragment,
    /// Another protocol, as the packet's `protocol` says.
    Other,
    /// A header that does not hold together.
    Malformed(Malformed),
}

impl<'a> Ip<'a> {
    /// What the packet carries.
    #[must_use]
    pub fn transport(&self) -> Transport<'a> {
        if self.fragment.is_some() {
            return Transport::Fragment;
        }
        self.transport_of(self.payload, self.payload_len)
    }

    /// What `payload` (put together from fragments, say) is under this packet's addresses and protocol; it had
    /// `payload_len` bytes on the wire.
    #[must_use]
    pub fn transport_of<'b>(&self, payload: &'b [u8], payload_len: usize) -> Transport<'b> {
        let cut = payload_len > payload.len();
        let read = match (self.protocol, self.source) {
            (17, _) => Udp::parse(payload, payload_len).map(Transport::Udp),
            (6, _) => Tcp::parse(payload, payload_len).map(Transport::Tcp),
            (1, IpAddr::V4(_)) => Icmp::parse(payload, cut).map(Transport::Icmp),
            (2, IpAddr::V4(_)) => Membership::parse_igmp(payload, cut).map(Transport::Membership),
            (58, IpAddr::V6(source)) => match payload.first() {
                Some(130..=132 | 143) => Membership::parse_mld(payload, cut).map(Transport::Membership),
                _ => Icmp6::parse(payload, source, cut).map(Transport::Icmp6),
            },
            _ => Ok(Transport::Other),
        };
        read.unwrap_or_else(Transport::Malformed)
    }
}
