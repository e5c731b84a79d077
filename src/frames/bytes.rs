//! Checked reads of big-endian fields: `None` where the bytes end.

use super::Mac;
use std::net::{Ipv4Addr, Ipv6Addr};

/// The `N` bytes at `at`.
pub(super) fn array<const N: usize>(bytes: &[u8], at: usize) -> Option<[u8; N]> {
    bytes.get(at..)?.first_chunk().copied()
}

/// Two bytes, big endian.
pub(super) fn be16(bytes: &[u8], at: usize) -> Option<u16> {
    array(bytes, at).map(u16::from_be_bytes)
}

/// Four bytes, big endian.
pub(super) fn be32(bytes: &[u8], at: usize) -> Option<u32> {
    array(bytes, at).map(u32::from_be_bytes)
}

/// Six bytes of a hardware address.
pub(super) fn mac(bytes: &[u8], at: usize) -> Option<Mac> {
    array(bytes, at).map(Mac)
}

/// An IPv4 address.
pub(super) fn v4(bytes: &[u8], at: usize) -> Option<Ipv4Addr> {
    array::<4>(bytes, at).map(Ipv4Addr::from)
}

/// An IPv6 address.
pub(super) fn v6(bytes: &[u8], at: usize) -> Option<Ipv6Addr> {
    array::<16>(bytes, at).map(Ipv6Addr::from)
}

/// The folded 16-bit one's complement sum of RFC 1071; 0xFFFF over a header that bears its right checksum.
pub(super) fn ones_complement_sum(bytes: &[u8]) -> u16 {
    let mut sum: u64 = 0;
    for pair in bytes.chunks(2) {
        let (high, low) = (pair.first().copied().unwrap_or(0), pair.get(1).copied().unwrap_or(0));
        sum += u64::from(u16::from_be_bytes([high, low]));
    }
    while sum > 0xFFFF {
        sum = (sum & 0xFFFF) + (sum >> 16);
    }
    u16::try_from(sum).unwrap_or(u16::MAX)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn reads_end_where_the_bytes_end() {
        let bytes = [1, 2, 3, 4, 5];
        assert_eq!(be16(&bytes, 3), Some(0x0405));
        assert_eq!(be16(&bytes, 4), None);
        assert_eq!(be32(&bytes, 1), Some(0x0203_0405));
        assert_eq!(be32(&bytes, usize::MAX), None);
    }

    /// The fact sheet's RFC 1071 check value: this header's checksum is B861.
    #[test]
    fn one_s_complement_sum() {
        let mut header =
            [0x45, 0, 0, 0x73, 0, 0, 0x40, 0, 0x40, 0x11, 0, 0, 0xC0, 0xA8, 0, 1, 0xC0, 0xA8, 0, 0xC7];
        assert_eq!(!ones_complement_sum(&header), 0xB861);
        (header[10], header[11]) = (0xB8, 0x61);
        assert_eq!(ones_complement_sum(&header), 0xFFFF);
        assert_eq!(ones_complement_sum(&[1]), 0x0100, "an odd byte counts as the high one");
        // RFC 1071 section 3: 0001 f203 f4f5 f6f7 sum to ddf2.
        assert_eq!(ones_complement_sum(&[0, 1, 0xF2, 3, 0xF4, 0xF5, 0xF6, 0xF7]), 0xDDF2);
    }
}
