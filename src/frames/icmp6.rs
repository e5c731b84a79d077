//! Control messages of IPv6 (RFC 4443) and neighbour discovery (RFC 4861, 4862).

use super::bytes::{be16, be32, mac, v6};
use super::{Mac, Malformed};
use std::net::Ipv6Addr;

/// A control message of version 6. Group membership (MLD) is [`Membership`](super::Membership).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Icmp6<'a> {
    /// Are you there?
    EchoRequest {
        /// Names the asking program.
        id: u16,
        /// Counts its questions.
        sequence: u16,
    },
    /// I am.
    EchoReply {
        /// As in the request.
        id: u16,
        /// As in the request.
        sequence: u16,
    },
    /// The packet cannot be delivered.
    Unreachable {
        /// Why (RFC 4443 3.1).
        code: u8,
    },
    /// Too big for the next link.
    PacketTooBig {
        /// Largest packet that would pass.
        mtu: u32,
    },
    /// Too many hops (code 0), or fragments missing for too long (code 1).
    TimeExceeded {
        /// Which of the two.
        code: u8,
    },
    /// A host has come up and looks for routers.
    RouterSolicitation {
        /// The host's hardware address, when it says.
        source: Option<Mac>,
    },
    /// A router announces itself.
    RouterAdvertisement(RouterAdvertisement<'a>),
    /// Who has this address?
    NeighborSolicitation {
        /// The address asked for.
        target: Ipv6Addr,
        /// Sent from no address: the sender wants to take `target` and asks whether someone has it (RFC 4862 5.4).
        duplicate_detection: bool,
        /// The sender's hardware address, when it says.
        source: Option<Mac>,
    },
    /// I have this address.
    NeighborAdvertisement {
        /// The address.
        target: Ipv6Addr,
        /// Whether the sender is a router.
        router: bool,
        /// Whether it answers a question.
        solicited: bool,
        /// The sender's hardware address, when it says.
        source: Option<Mac>,
    },
    /// Anything else.
    Other {
        /// Type.
        kind: u8,
        /// Code.
        code: u8,
    },
}

/// What a router says of itself (RFC 4861 4.2).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct RouterAdvertisement<'a> {
    /// Seconds that it may serve as default router; 0: it may not, or no longer.
    pub lifetime_s: u16,
    /// Whether addresses come by DHCPv6.
    pub managed: bool,
    /// The router's hardware address, when it says.
    pub source: Option<Mac>,
    options: &'a [u8],
}

/// A prefix that a router announces (RFC 4861 4.6.2).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Prefix {
    /// The prefix; bits behind its length are as sent.
    pub prefix: Ipv6Addr,
    /// Its length in bits.
    pub len: u8,
    /// Whether its addresses are on this link.
    pub on_link: bool,
    /// Whether hosts may make themselves an address of it.
    pub autonomous: bool,
    /// Seconds that it stays valid.
    pub valid_s: u32,
}

impl RouterAdvertisement<'_> {
    /// The prefixes, in the order sent; bounded by the packet.
    pub fn prefixes(&self) -> impl Iterator<Item = Prefix> {
        options(self.options).filter_map(|(kind, option)| {
            let flags = *option.get(3)?;
            (kind == 3).then_some(Prefix {
                prefix: v6(option, 16)?,
                len: *option.get(2)?,
                on_link: flags & 0x80 != 0,
                autonomous: flags & 0x40 != 0,
                valid_s: be32(option, 4)?,
            })
        })
    }

    /// The link's MTU, when the router says.
    #[must_use]
    pub fn mtu(&self) -> Option<u32> {
        options(self.options).find(|(kind, _)| *kind == 5).and_then(|(_, option)| be32(option, 4))
    }
}

impl<'a> Icmp6<'a> {
    /// Reads a control message that came from `source`.
    ///
    /// # Errors
    /// When the message ends before its fields do.
    pub fn parse(bytes: &'a [u8], source: Ipv6Addr, cut: bool) -> Result<Self, Malformed> {
        let short = |needed| Malformed::short("icmpv6", needed, bytes.len(), cut);
        let (Some(&[kind, code]), Some(first), Some(second), Some(rest)) =
            (bytes.first_chunk::<2>(), be16(bytes, 4), be16(bytes, 6), bytes.get(8..))
        else {
            return Err(short(8));
        };
        Ok(match kind {
            1 => Self::Unreachable { code },
            2 => Self::PacketTooBig { mtu: (u32::from(first) << 16) | u32::from(second) },
            3 => Self::TimeExceeded { code },
            128 => Self::EchoRequest { id: first, sequence: second },
            129 => Self::EchoReply { id: first, sequence: second },
            133 => Self::RouterSolicitation { source: link_address(rest, 1) },
            134 => {
                let options = bytes.get(16..).ok_or(short(16))?;
                Self::RouterAdvertisement(RouterAdvertisement {
                    lifetime_s: second,
                    managed: first & 0x80 != 0,
                    source: link_address(options, 1),
                    options,
                })
            }
            135 => {
                let (target, options) = v6(bytes, 8).zip(bytes.get(24..)).ok_or(short(24))?;
                let source_mac = link_address(options, 1);
                let duplicate_detection = source.is_unspecified();
                Self::NeighborSolicitation { target, duplicate_detection, source: source_mac }
            }
            136 => {
                let (target, options) = v6(bytes, 8).zip(bytes.get(24..)).ok_or(short(24))?;
                Self::NeighborAdvertisement {
                    target,
                    router: first & 0x8000 != 0,
                    solicited: first & 0x4000 != 0,
                    source: link_address(options, 2),
                }
            }
            _ => Self::Other { kind, code },
        })
    }
}

/// The hardware address option: kind 1 source, 2 target (RFC 4861 4.6.1).
fn link_address(bytes: &[u8], wanted: u8) -> Option<Mac> {
    options(bytes).find(|(kind, _)| *kind == wanted).and_then(|(_, option)| mac(option, 2))
}

/// Type and bytes (header included) of each whole option; an option of length zero ends them (RFC 4861 4.6).
fn options(mut bytes: &[u8]) -> impl Iterator<Item = (u8, &[u8])> {
    std::iter::from_fn(move || {
        let &[kind, units] = bytes.first_chunk::<2>()?;
        let (option, rest) = bytes.split_at_checked(usize::from(units) * 8).filter(|_| units > 0)?;
        bytes = rest;
        Some((kind, option))
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    const NOBODY: Ipv6Addr = Ipv6Addr::UNSPECIFIED;
    const ROUTER: Ipv6Addr = Ipv6Addr::new(0xFE80, 0, 0, 0, 0, 0, 0, 1);
    const TARGET: [u8; 16] = [0xFE, 0x80, 0, 0, 0, 0, 0, 0, 2, 0, 0x5E, 0xFF, 0xFE, 0, 0x53, 1];
    const STATION: Mac = Mac([0, 0, 0x5E, 0, 0x53, 1]);

    #[test]
    fn neighbours() {
        let mut bytes = vec![135, 0, 0, 0, 0, 0, 0, 0];
        bytes.extend(TARGET);
        let target = Ipv6Addr::from(TARGET);
        assert_eq!(
            Icmp6::parse(&bytes, NOBODY, false),
            Ok(Icmp6::NeighborSolicitation { target, duplicate_detection: true, source: None })
        );
        bytes.extend([1, 1, 0, 0, 0x5E, 0, 0x53, 1]);
        assert_eq!(
            Icmp6::parse(&bytes, ROUTER, false),
            Ok(Icmp6::NeighborSolicitation { target, duplicate_detection: false, source: Some(STATION) })
        );
        (bytes[0], bytes[4], bytes[24]) = (136, 0x60, 2);
        assert_eq!(
            Icmp6::parse(&bytes, ROUTER, false),
            Ok(Icmp6::NeighborAdvertisement {
                target,
                router: false,
                solicited: true,
                source: Some(STATION)
            })
        );
        for len in 0..24 {
            let error = Icmp6::parse(&bytes[..len], ROUTER, true).unwrap_err();
            assert_eq!((error.needed, error.had), (if len < 8 { 8 } else { 24 }, len));
        }
    }

    #[test]
    fn routers() {
        // Hop limit 64, managed, lifetime 1800 s; prefix 2001:db8::/64 on link and autonomous, valid 86400 s; MTU 1492.
        let mut bytes = vec![134, 0, 0, 0, 64, 0x80, 0x07, 0x08, 0, 0, 0, 0, 0, 0, 0, 0];
        bytes.extend([1, 1, 0, 0, 0x5E, 0, 0x53, 1]);
        bytes.extend([3, 4, 64, 0xC0, 0, 1, 0x51, 0x80, 0, 0, 0x38, 0x40, 0, 0, 0, 0]);
        bytes.extend([0x20, 1, 0xD, 0xB8, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0]);
        bytes.extend([5, 1, 0, 0, 0, 0, 0x05, 0xD4]);
        let Ok(Icmp6::RouterAdvertisement(router)) = Icmp6::parse(&bytes, ROUTER, false) else {
            panic!("a router advertisement");
        };
        assert_eq!((router.lifetime_s, router.managed, router.source), (1800, true, Some(STATION)));
        assert_eq!(router.mtu(), Some(1492));
        let prefix = Ipv6Addr::new(0x2001, 0xDB8, 0, 0, 0, 0, 0, 0);
        let want = Prefix { prefix, len: 64, on_link: true, autonomous: true, valid_s: 86400 };
        assert_eq!(router.prefixes().collect::<Vec<_>>(), [want]);
        for len in 0..bytes.len() {
            if let Ok(Icmp6::RouterAdvertisement(router)) = Icmp6::parse(&bytes[..len], ROUTER, true) {
                assert_eq!(router.prefixes().count(), usize::from(len >= 56), "{len}");
                assert_eq!(router.mtu(), None, "{len}");
            } else {
                assert!(len < 16, "{len}");
            }
        }
        bytes[17] = 0;
        let Ok(Icmp6::RouterAdvertisement(broken)) = Icmp6::parse(&bytes, ROUTER, false) else {
            panic!("a router advertisement");
        };
        assert_eq!(broken.prefixes().count(), 0, "an option of length zero ends the list");
    }

    #[test]
    fn others() {
        let message = |kind| [kind, 1, 0, 0, 0, 0, 5, 0];
        assert_eq!(
            Icmp6::parse(&message(133), ROUTER, false),
            Ok(Icmp6::RouterSolicitation { source: None })
        );
        assert_eq!(Icmp6::parse(&message(2), ROUTER, false), Ok(Icmp6::PacketTooBig { mtu: 1280 }));
        assert_eq!(Icmp6::parse(&message(1), ROUTER, false), Ok(Icmp6::Unreachable { code: 1 }));
        assert_eq!(Icmp6::parse(&message(3), ROUTER, false), Ok(Icmp6::TimeExceeded { code: 1 }));
        assert_eq!(
            Icmp6::parse(&message(128), ROUTER, false),
            Ok(Icmp6::EchoRequest { id: 0, sequence: 1280 })
        );
        assert_eq!(
            Icmp6::parse(&message(129), ROUTER, false),
            Ok(Icmp6::EchoReply { id: 0, sequence: 1280 })
        );
        assert_eq!(Icmp6::parse(&message(137), ROUTER, false), Ok(Icmp6::Other { kind: 137, code: 1 }));
    }
}
