//! Who sends a record, as far as the record alone tells it.

use crate::clocks::Voice;
use crate::messages::n2k::CanId;
use crate::messages::nmea0183::{Checksum, Framed};
use crate::recording::{CanKind, LentFrame, LinkType, Payload};

/// Who sends this, and what kind of message it is.
pub(super) fn voice(payload: &Payload<'_>) -> Option<Voice> {
    match payload {
        Payload::Packet { link, bytes, .. } => Some(Voice::new(sender(*link, bytes)?, &[])),
        Payload::Can(frame) => of_can(frame),
        Payload::Line(line) => {
            let is_whole = |framed: &Framed<'_>| !matches!(framed.checksum(), Checksum::Bad { .. });
            let framed = Framed::parse(line).ok().filter(is_whole)?;
            Some(Voice::new(framed.talker_bytes(), framed.name_bytes()))
        }
        Payload::Other => None,
    }
}

fn of_can(frame: &LentFrame<'_>) -> Option<Voice> {
    match frame.kind {
        CanKind::Extended => {
            let id = CanId::from_bits(frame.id);
            Some(Voice::new(&[id.source], &id.pgn.to_be_bytes()))
        }
        CanKind::Standard => Some(Voice::new(&frame.id.to_be_bytes(), &[])),
        CanKind::Remote | CanKind::Error => None,
    }
}

/// The source address in a packet's headers.
fn sender(link: LinkType, bytes: &[u8]) -> Option<&[u8]> {
    match link {
        LinkType::Ethernet => bytes.get(6..12),
        LinkType::LinuxCooked => bytes.get(6..14),
        LinkType::LinuxCooked2 => bytes.get(12..20),
        LinkType::RawIp => of_ip(bytes),
        LinkType::Null | LinkType::Loop => of_ip(bytes.get(4..)?),
    }
}

fn of_ip(bytes: &[u8]) -> Option<&[u8]> {
    match bytes.first()? >> 4 {
        4 => bytes.get(12..16),
        6 => bytes.get(8..24),
        _ => None,
    }
}
