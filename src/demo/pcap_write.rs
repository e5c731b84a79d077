//! Writes pcap files (IETF draft-ietf-opsawg-pcap), little endian.

use crate::recording::CanFrame;
use crate::time::Time;

/// Link type of Ethernet packets.
pub(super) const ETHERNET: u32 = 1;
/// Link type of SocketCAN frames.
pub(super) const SOCKETCAN: u32 = 227;

/// How finely a file counts its times.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Clock {
    /// Microseconds.
    Micro,
    /// Nanoseconds.
    Nano,
}

/// A file of packets.
pub(super) fn pcap<'a>(link: u32, clock: Clock, packets: impl Iterator<Item = (Time, &'a [u8])>) -> Vec<u8> {
    let (magic, per_us) = match clock {
        Clock::Micro => (0xA1B2_C3D4_u32, 1),
        Clock::Nano => (0xA1B2_3C4D, 1000),
    };
    let mut out = magic.to_le_bytes().to_vec();
    out.extend(2_u16.to_le_bytes());
    out.extend(4_u16.to_le_bytes());
    // Time zone and accuracy are always 0.
    for field in [0, 0, 65_535, link] {
        out.extend(u32::to_le_bytes(field));
    }
    for (time, bytes) in packets {
        let (seconds, micros) = (time.0.div_euclid(1_000_000), time.0.rem_euclid(1_000_000));
        let length = bytes.len() as u32;
        for field in [seconds as u32, micros as u32 * per_us, length, length] {
            out.extend(field.to_le_bytes());
        }
        out.extend(bytes);
    }
    out
}

/// A CAN frame as link type 227 holds it: identifier with flags (big endian), length, three reserved bytes, data.
pub(super) fn socketcan(frame: &CanFrame) -> Vec<u8> {
    // The demo's frames all have the 29-bit identifier.
    let mut out = (frame.id | 0x8000_0000).to_be_bytes().to_vec();
    out.extend([frame.len, 0, 0, 0]);
    out.extend(frame.data());
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::recording::CanKind;

    #[test]
    fn header_and_record_lie_where_they_should() {
        let frame = CanFrame::new(0x09F8_0123, CanKind::Extended, &[0xE8, 0x13]);
        let bytes = socketcan(&frame);
        assert_eq!(bytes, [0x89, 0xF8, 0x01, 0x23, 2, 0, 0, 0, 0xE8, 0x13]);
        let file = pcap(SOCKETCAN, Clock::Nano, [(Time(1_500_000), &*bytes)].into_iter());
        assert_eq!(file[..8], [0x4D, 0x3C, 0xB2, 0xA1, 2, 0, 4, 0]);
        assert_eq!(file[20..24], [227, 0, 0, 0]);
        // Second 1, 500 000 000 ns, ten bytes captured of ten.
        assert_eq!(file[24..40], [1, 0, 0, 0, 0x00, 0x65, 0xCD, 0x1D, 10, 0, 0, 0, 10, 0, 0, 0]);
        assert_eq!(file.len(), 50);
    }
}
