//! What is done to a packet when its last byte is final: repeated bytes of a stream are repeated, checksums made good.

use super::spots::Spots;
use super::stream::Streams;
use crate::frames::StreamKey;
use crate::recording::Tape;

/// How a checksum is to be.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Seal {
    /// It was right and shall be.
    Right,
    /// It was wrong and stays wrong.
    Wrong,
    /// It cannot be told, or there is none: it stays zero.
    None,
}

/// The checksum of a segment, datagram or message.
#[derive(Debug, Clone, Copy)]
pub(super) struct Checksum {
    /// Where it stands in the segment.
    pub(super) at: usize,
    /// Sum over the pseudo header.
    pub(super) pseudo: u64,
    /// How it shall be.
    pub(super) seal: Seal,
    /// Whether zero stands for "none", so that a sum of zero is sent as all ones (UDP).
    pub(super) udp: bool,
}

/// The bytes of a stream in a segment.
#[derive(Debug, Clone, Copy)]
pub(super) struct Carries {
    /// Which stream.
    pub(super) key: (usize, StreamKey),
    /// Number of the first byte.
    pub(super) sequence: u32,
    /// Where they begin in the segment.
    pub(super) from: usize,
    /// So many of the first were sent before.
    pub(super) again: usize,
}

/// Work on a segment that waits until all before it is final.
#[derive(Debug)]
pub(super) struct Fix {
    /// The segment.
    pub(super) spots: Spots,
    /// Its checksum.
    pub(super) checksum: Checksum,
    /// What it carries of a stream.
    pub(super) carries: Option<Carries>,
}

impl Fix {
    pub(super) fn begin(&self) -> u64 {
        self.spots.begin()
    }

    pub(super) fn end(&self) -> u64 {
        self.spots.end()
    }

    /// Does it.
    pub(super) fn apply(self, tape: &mut Tape, streams: &mut Streams) {
        let mut bytes = self.spots.read(tape);
        if let Some(carries) = self.carries
            && let Some(payload) = bytes.get_mut(carries.from..)
        {
            streams.remember(&carries, payload);
        }
        let Checksum { at, pseudo, seal, udp } = self.checksum;
        write_sum(&mut bytes, at, pseudo, seal, udp);
        self.spots.write(tape, &bytes);
    }
}

/// The sum of a stretch's 16-bit words, not folded in full.
///
/// It is the same in either byte order, but for the order of its own bytes (RFC 1071 clause 2): so four bytes are added at
/// once, low ones first.
pub(super) fn sum(bytes: &[u8]) -> u64 {
    let (words, rest) = bytes.as_chunks::<4>();
    let sum: u64 = words.iter().map(|word| u64::from(u32::from_le_bytes(*word))).sum();
    let mut last = [0; 4];
    for (to, byte) in last.iter_mut().zip(rest) {
        *to = *byte;
    }
    let sum = sum + u64::from(u32::from_le_bytes(last));
    folded((sum & 0xFFFF_FFFF) + (sum >> 32)).swap_bytes().into()
}

fn folded(mut sum: u64) -> u16 {
    while sum > 0xFFFF {
        sum = (sum & 0xFFFF) + (sum >> 16);
    }
    sum as u16
}

/// What the checksum at `at` is: `whole` says that all bytes are there, `udp` that zero stands for none.
pub(super) fn seal(bytes: &[u8], at: usize, pseudo: u64, whole: bool, udp: bool) -> Seal {
    match bytes.get(at..at + 2) {
        Some([0, 0]) if udp => Seal::None,
        Some(_) if whole => {
            if folded(sum(bytes) + pseudo) == 0xFFFF {
                Seal::Right
            } else {
                Seal::Wrong
            }
        }
        _ => Seal::None,
    }
}

/// Writes the checksum at `at`.
pub(super) fn write_sum(bytes: &mut [u8], at: usize, pseudo: u64, seal: Seal, udp: bool) {
    let Some(field) = bytes.get_mut(at..at + 2) else { return };
    field.fill(0);
    let right = !folded(sum(bytes) + pseudo);
    let right = if udp && right == 0 { 0xFFFF } else { right };
    let value = match seal {
        Seal::Right => right,
        // Neither the right one nor zero.
        Seal::Wrong if right ^ 0x5555 == 0 => 1,
        Seal::Wrong => right ^ 0x5555,
        Seal::None => 0,
    };
    if let Some(field) = bytes.get_mut(at..at + 2) {
        field.copy_from_slice(&value.to_be_bytes());
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sums_stay_what_they_were() {
        // The IPv4 header of the reference sheet: checksum B861.
        let head =
            [0x45, 0, 0, 0x73, 0, 0, 0x40, 0, 0x40, 0x11, 0xB8, 0x61, 0xC0, 0xA8, 0, 1, 0xC0, 0xA8, 0, 0xC7];
        assert_eq!(seal(&head, 10, 0, true, false), Seal::Right);
        let mut other = head;
        other[15] = 9;
        assert_eq!(seal(&other, 10, 0, true, false), Seal::Wrong);
        for want in [Seal::Right, Seal::Wrong] {
            write_sum(&mut other, 10, 0, want, false);
            assert_eq!(seal(&other, 10, 0, true, false), want);
        }
        write_sum(&mut other, 10, 0, Seal::None, true);
        assert_eq!(seal(&other, 10, 0, true, true), Seal::None);
    }
}
