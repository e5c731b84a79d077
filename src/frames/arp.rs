//! Address resolution (RFC 826) as Ethernet and IPv4 use it, and what a packet of it tells (RFC 5227).

use super::bytes::{be16, mac, v4};
use super::{Mac, Malformed};
use std::net::Ipv4Addr;

/// Bytes of an ARP packet for Ethernet and IPv4.
const LEN: usize = 28;

/// An ARP packet.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Arp {
    /// 1 request, 2 reply.
    pub operation: u16,
    /// Hardware address that the sender states.
    pub sender_mac: Mac,
    /// Address that the sender claims; 0.0.0.0 in a probe.
    pub sender_ip: Ipv4Addr,
    /// Hardware address of the target, zero when asked for.
    pub target_mac: Mac,
    /// Address asked for or answered to.
    pub target_ip: Ipv4Addr,
}

/// What an ARP packet is for (RFC 5227 sections 1.1, 2.1, 2.3 and 3).
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum ArpKind {
    /// Asks whether someone already has the address that the sender would like.
    Probe,
    /// A request for the sender's own address: "this is mine".
    Announcement,
    /// A reply that nobody asked for, about the sender's own address (at link up or failover).
    GratuitousReply,
    /// Asks who has an address.
    Request,
    /// Answers.
    Reply,
    /// Another operation.
    Other,
}

impl Arp {
    /// Reads an ARP packet; `Ok(None)` when it is about other networks than Ethernet and IPv4.
    ///
    /// # Errors
    /// When the bytes end too early.
    pub fn parse(bytes: &[u8], cut: bool) -> Result<Option<Self>, Malformed> {
        let read = || {
            let kinds = (be16(bytes, 0)?, be16(bytes, 2)?, be16(bytes, 4)?);
            Some((kinds == (1, 0x0800, 0x0604)).then_some(Self {
                operation: be16(bytes, 6)?,
                sender_mac: mac(bytes, 8)?,
                sender_ip: v4(bytes, 14)?,
                target_mac: mac(bytes, 18)?,
                target_ip: v4(bytes, 24)?,
            }))
        };
        read().ok_or(Malformed::short("arp", LEN, bytes.len(), cut))
    }

    /// What it is for.
    #[must_use]
    pub fn kind(&self) -> ArpKind {
        match (self.operation, self.sender_ip.is_unspecified(), self.sender_ip == self.target_ip) {
            (1, true, false) => ArpKind::Probe,
            (1, false, true) => ArpKind::Announcement,
            (1, ..) => ArpKind::Request,
            (2, false, true) => ArpKind::GratuitousReply,
            (2, ..) => ArpKind::Reply,
            _ => ArpKind::Other,
        }
    }

    /// The address and hardware address that this packet binds together, when it claims one.
    #[must_use]
    pub fn claim(&self) -> Option<(Ipv4Addr, Mac)> {
        (matches!(self.operation, 1 | 2) && !self.sender_ip.is_unspecified())
            .then_some((self.sender_ip, self.sender_mac))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The fact sheet's probe for 192.0.2.10 (RFC 5227 2.1.1), without the Ethernet header.
    const PROBE: [u8; 28] = [
        0x00, 0x01, 0x08, 0x00, 6, 4, 0, 1, 0x00, 0x00, 0x5E, 0x00, 0x53, 0x01, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0,
        0xC0, 0x00, 0x02, 0x0A,
    ];

    fn changed(edit: impl Fn(&mut [u8; 28])) -> Arp {
        let mut bytes = PROBE;
        edit(&mut bytes);
        Arp::parse(&bytes, false).unwrap().unwrap()
    }

    #[test]
    fn kinds() {
        let probe = changed(|_| ());
        assert_eq!((probe.kind(), probe.claim()), (ArpKind::Probe, None));
        assert_eq!(probe.target_ip, Ipv4Addr::new(192, 0, 2, 10));
        let own = |b: &mut [u8; 28]| b[14..18].copy_from_slice(&[192, 0, 2, 10]);
        let announcement = changed(own);
        assert_eq!(announcement.kind(), ArpKind::Announcement);
        assert_eq!(announcement.claim(), Some((Ipv4Addr::new(192, 0, 2, 10), Mac([0, 0, 0x5E, 0, 0x53, 1]))));
        let reply = |b: &mut [u8; 28]| b[7] = 2;
        assert_eq!(changed(|b| (own(b), reply(b)).0).kind(), ArpKind::GratuitousReply);
        let other = |b: &mut [u8; 28]| b[14..18].copy_from_slice(&[192, 0, 2, 11]);
        assert_eq!(changed(other).kind(), ArpKind::Request);
        assert_eq!(changed(|b| (other(b), reply(b)).0).kind(), ArpKind::Reply);
        assert_eq!(changed(|b| b[7] = 3).kind(), ArpKind::Other);
    }

    #[test]
    fn other_networks_and_short_packets() {
        let mut bytes = PROBE;
        bytes[1] = 6;
        assert_eq!(Arp::parse(&bytes, false), Ok(None), "hardware type 6");
        for len in 0..28 {
            let error = Arp::parse(&PROBE[..len], true).unwrap_err();
            assert_eq!((error.needed, error.had, error.cut), (28, len, true));
        }
    }
}
