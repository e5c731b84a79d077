//! Hardware addresses.

use std::fmt;

/// A 48-bit hardware address (IEEE 802-2014 clause 8). Shown as `00:00:5e:00:53:01`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Mac(pub [u8; 6]);

impl Mac {
    /// Everyone: ff:ff:ff:ff:ff:ff.
    pub const BROADCAST: Self = Self([0xFF; 6]);
    /// No address: all zero.
    pub const NONE: Self = Self([0; 6]);

    /// The address of these 48 bits; those above count for nothing.
    #[must_use]
    pub const fn from_bits(bits: u64) -> Self {
        let [_, _, a, b, c, d, e, f] = bits.to_be_bytes();
        Self([a, b, c, d, e, f])
    }

    /// A name for a host of which the recording holds IPv4 addresses alone. It is a group's, as no station has one.
    #[must_use]
    pub const fn stand_in(ip: std::net::Ipv4Addr) -> Self {
        let [a, b, c, d] = ip.octets();
        Self([3, 0, a, b, c, d])
    }

    const fn first(self) -> u8 {
        let [first, ..] = self.0;
        first
    }

    /// Whether it names a group (lowest bit of the first byte); the broadcast address does too.
    #[must_use]
    pub const fn is_multicast(self) -> bool {
        self.first() & 1 != 0
    }

    /// Whether it is the broadcast address.
    #[must_use]
    pub fn is_broadcast(self) -> bool {
        self == Self::BROADCAST
    }

    /// Whether it is locally administered (second lowest bit of the first byte): it names no maker.
    #[must_use]
    pub const fn is_local(self) -> bool {
        self.first() & 2 != 0
    }

    /// Whether it looks drawn by lot, as phones, tablets and laptops do it for each network they join: locally administered,
    /// and not of the lowest block (02), from which addresses are set by hand and for virtual machines (common practice, no
    /// source).
    #[must_use]
    pub const fn is_drawn(self) -> bool {
        self.is_local() && !self.is_multicast() && self.first() != 2
    }

    /// Whether two routers may rightly share it: a VRRP virtual address, 00:00:5e:00:01:xx or :02:xx (RFC 9568 7.3).
    #[must_use]
    pub const fn is_virtual_router(self) -> bool {
        matches!(self.0, [0, 0, 0x5E, 0, 1 | 2, _])
    }
}

impl fmt::Display for Mac {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let [a, b, c, d, e, g] = self.0;
        write!(f, "{a:02x}:{b:02x}:{c:02x}:{d:02x}:{e:02x}:{g:02x}")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// RFC 9542 2.1: documentation addresses, one of a station and one of a group.
    #[test]
    fn bits_of_the_first_byte() {
        let station = Mac([0x00, 0x00, 0x5E, 0x00, 0x53, 0x01]);
        let group = Mac([0x01, 0x00, 0x5E, 0x90, 0x10, 0xFF]);
        assert_eq!(station.to_string(), "00:00:5e:00:53:01");
        assert!(!station.is_multicast() && !station.is_local() && !station.is_broadcast());
        assert!(group.is_multicast() && !group.is_broadcast());
        assert!(Mac::BROADCAST.is_broadcast() && Mac::BROADCAST.is_multicast());
        assert!(Mac([0x02, 0, 0, 0, 0, 1]).is_local() && !Mac([0x02, 0, 0, 0, 0, 1]).is_drawn());
        assert!(Mac([0xDA, 0, 0, 0, 0, 1]).is_drawn() && !station.is_drawn() && !Mac::BROADCAST.is_drawn());
        assert!(Mac([0, 0, 0x5E, 0, 1, 7]).is_virtual_router() && !station.is_virtual_router());
    }
}
