//! SocketCAN headers in captures: link type 227 and Linux cooked protocols 0x000C, 0x000D.

use super::CanKind;
use super::bytes::u32_at;
use super::can_frame::CanHead;

/// Identifier flag: 29-bit identifier (linux/can.h).
const EFF: u32 = 0x8000_0000;
/// Identifier flag: remote frame (linux/can.h).
const RTR: u32 = 0x4000_0000;
/// Identifier flag: error message of the controller (linux/can.h).
const ERR: u32 = 0x2000_0000;
/// Where the data begin: behind the identifier, the length and three more bytes (linux/can.h).
pub(super) const DATA_AT: usize = 8;
/// FD flag: the frame is CAN FD (linux/can.h).
const FDF: u8 = 0x04;

/// Which byte order the identifiers of a cooked capture are in. Old recorders left them in the host's order; that
/// shows only frame by frame, so the verdict of clear frames holds for the doubtful ones.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct IdOrder {
    /// What the last clear frame showed.
    swapped: Option<bool>,
}

/// The bits of an identifier's first byte that tell a data frame of NMEA 2000 with 29 bits, and their values there: the flags
/// (linux/can.h), and the extended data page, which is 0 (ISO 11783-3).
const DATA_OF_29_BITS: (u8, u8) = (0xE2, 0x80);

impl IdOrder {
    /// Whether this frame's identifier is little endian.
    fn is_little(&mut self, id: &[u8]) -> bool {
        let Some([first, second, third, fourth]) = id.first_chunk::<4>() else { return false };
        let standard = first & 0x9F == 0 && *second == 0 && *third < 8;
        let standard_swapped = fourth & 0x9F == 0 && *third == 0 && *second < 8;
        match (first & 0x80 != 0, fourth & 0x80 != 0) {
            (true, false) if !standard_swapped => self.swapped = Some(false),
            (false, true) if !standard => self.swapped = Some(true),
            _ => {}
        }
        // Before a clear frame: sources of 128 and more look like flags in the other order, most of them like none of data.
        let (mask, value) = DATA_OF_29_BITS;
        let is_data = |byte: &u8| byte & mask == value;
        self.swapped.unwrap_or_else(|| !is_data(first) && is_data(fourth))
    }
}

/// The frame in a SocketCAN packet, identifier big endian, whose data begin at [`DATA_AT`], or `None` when the bytes are too few for it.
///
/// Source: IETF draft-ietf-opsawg-pcaplinktype (227); linux/can.h.
pub(super) fn frame(bytes: &[u8]) -> Option<CanHead> {
    decode(bytes, u32_at(bytes, 0, true)?, false)
}

/// Identifier and data of the usual frame: a data frame with a 29-bit identifier and eight bytes.
#[inline(always)]
pub(super) fn usual_frame(bytes: &[u8; 16]) -> Option<(u32, &[u8; 8])> {
    let [a, b, c, d, len, flags, ..] = *bytes;
    let id = u32::from_be_bytes([a, b, c, d]);
    let is_usual = id & (EFF | RTR | ERR) == EFF && len == 8 && flags & FDF == 0;
    bytes.last_chunk().filter(|_| is_usual).map(|data| (id & 0x1FFF_FFFF, data))
}

/// As [`frame`], behind a Linux cooked header; `fd` when the protocol is 0x000D.
pub(super) fn cooked_frame(bytes: &[u8], fd: bool, order: &mut IdOrder) -> Option<CanHead> {
    let little = order.is_little(bytes);
    decode(bytes, u32_at(bytes, 0, !little)?, fd)
}

fn decode(bytes: &[u8], id: u32, fd: bool) -> Option<CanHead> {
    let (len, flags) = (usize::from(*bytes.get(4)?), *bytes.get(5)?);
    let fd = fd || flags & FDF != 0 || len > 8;
    let kind = if id & ERR != 0 {
        CanKind::Error
    } else if id & RTR != 0 {
        CanKind::Remote
    } else if id & EFF != 0 {
        CanKind::Extended
    } else {
        CanKind::Standard
    };
    // A remote frame has a length and no data.
    let len = if kind == CanKind::Remote { 0 } else { len };
    if len > 64 {
        return None;
    }
    bytes.get(DATA_AT..DATA_AT + len)?;
    let mask = if id & (EFF | ERR) != 0 { 0x1FFF_FFFF } else { 0x7FF };
    Some(CanHead { id: id & mask, kind, fd: fd && kind != CanKind::Error, len: len as u8 })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::recording::CanFrame;

    fn frame(bytes: &[u8]) -> Option<CanFrame> {
        let head = super::frame(bytes)?;
        Some(head.with(&bytes[DATA_AT..DATA_AT + usize::from(head.len)]).kept())
    }

    /// Extended id 0x09F80102 (PGN 129025, source 2), 8 bytes.
    const POSITION: [u8; 16] =
        [0x89, 0xF8, 0x01, 0x02, 8, 0, 0, 0, 0x36, 0x72, 0x9A, 0x16, 2, 0x1A, 0xB8, 0x0D];

    #[test]
    fn every_kind() {
        let frame_of = |bytes: &[u8]| frame(bytes).unwrap();
        let position = frame_of(&POSITION);
        assert_eq!(
            (position.id, position.kind, position.data()),
            (0x09F8_0102, CanKind::Extended, &POSITION[8..])
        );
        // Standard id 0x123, two bytes.
        let standard = frame_of(&[0, 0, 1, 0x23, 2, 0, 0, 0, 1, 2]);
        assert_eq!((standard.id, standard.kind, standard.data()), (0x123, CanKind::Standard, &[1, 2][..]));
        // Remote frame of id 0x123, length code 4, no data.
        let remote = frame_of(&[0x40, 0, 1, 0x23, 4, 0, 0, 0]);
        assert_eq!((remote.id, remote.kind, remote.len), (0x123, CanKind::Remote, 0));
        // Error message, class 0x080 bus error with counters.
        let error = frame_of(&[0x20, 0, 0, 0x80, 8, 0, 0, 0, 0, 0, 4, 0, 0, 0, 0, 96]);
        assert_eq!((error.id, error.kind, error.bytes[7]), (0x80, CanKind::Error, 96));
        // CAN FD by its flag, and by its length.
        assert!(frame_of(&[0x80, 0, 0, 1, 1, FDF, 0, 0, 9]).fd);
        let long: Vec<u8> = [0x80, 0, 0, 1, 12, 0, 0, 0].into_iter().chain(0..12).collect();
        assert_eq!((frame_of(&long).fd, frame_of(&long).len), (true, 12));
    }

    #[test]
    fn the_usual_frame_is_as_any() {
        for (at, value) in [(0, 0x89), (0, 0x09), (0, 0xC9), (0, 0xA9), (4, 7), (4, 9), (5, FDF), (6, 1)] {
            let mut bytes = POSITION;
            bytes[at] = value;
            let usual = usual_frame(&bytes);
            assert_eq!(usual.is_some(), matches!((at, value), (0, 0x89) | (6, 1)), "byte {at}");
            if let Some((id, data)) = usual {
                let head = CanHead { id, kind: CanKind::Extended, fd: false, len: 8 };
                assert_eq!(Some(head), super::frame(&bytes));
                assert_eq!(data[..], bytes[DATA_AT..]);
            }
        }
    }

    #[test]
    fn too_short_is_none() {
        for n in 0..POSITION.len() {
            assert_eq!(frame(&POSITION[..n]), None, "{n} bytes");
        }
        assert_eq!(frame(&[0; 8]).map(|f| f.len), Some(0));
    }

    #[test]
    fn cooked_identifiers_in_host_order() {
        let mut swapped = POSITION;
        swapped[..4].reverse();
        let mut order = IdOrder::default();
        assert_eq!(cooked_frame(&POSITION, false, &mut order).unwrap().id, 0x09F8_0102);
        assert_eq!(cooked_frame(&swapped, false, &mut order).unwrap().id, 0x09F8_0102);
        // Source 0x85 in host order reads as either; the order seen before decides.
        let doubtful = [0x85, 0x01, 0xF8, 0x89, 0, 0, 0, 0];
        assert_eq!(cooked_frame(&doubtful, false, &mut order).unwrap().id, 0x09F8_0185);
        // Before any clear one, 0xA5 would be the flag of an error message and 0x86 another data page.
        for source in [0xA5, 0x86, 0xE3] {
            let early = [source, 0x01, 0xF8, 0x89, 0, 0, 0, 0];
            let read = cooked_frame(&early, false, &mut IdOrder::default()).unwrap();
            assert_eq!((read.id, read.kind), (0x09F8_0100 | u32::from(source), CanKind::Extended));
        }
        // A standard identifier whose last byte has bit 7 set is no sign of a swapped one.
        let mut fresh = IdOrder::default();
        assert_eq!(cooked_frame(&[0, 0, 1, 0xFF, 0, 0, 0, 0], false, &mut fresh).unwrap().id, 0x1FF);
    }
}
