//! The 29-bit CAN identifier. Source: ISO 11783-3 clause 5, SAE J1939-21 clause 5.2.

/// Destination of a broadcast, and never a source.
pub const GLOBAL: u8 = 255;

/// Source of a node that could not claim an address.
pub const NULL_ADDRESS: u8 = 254;

/// What a 29-bit identifier says.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct CanId {
    /// 0 (highest) to 7.
    pub priority: u8,
    /// Parameter group number, 18 bits; the low byte is zero in an addressed (PDU1) group.
    pub pgn: u32,
    /// Address of the sender.
    pub source: u8,
    /// Address that is meant; [`GLOBAL`] for everyone.
    pub destination: u8,
}

impl CanId {
    /// Reads the lowest 29 bits of `id`.
    #[must_use]
    pub const fn from_bits(id: u32) -> Self {
        let [source, specific, format, top] = id.to_le_bytes();
        let pages = ((top & 0b11) as u32) << 16 | (format as u32) << 8;
        let priority = top >> 2 & 0b111;
        if format < 240 {
            Self { priority, pgn: pages, source, destination: specific }
        } else {
            Self { priority, pgn: pages | specific as u32, source, destination: GLOBAL }
        }
    }

    /// The 29-bit identifier. The destination of a broadcast (PDU2) group has no place in it.
    #[must_use]
    pub const fn to_bits(self) -> u32 {
        let addressed = if is_addressed(self.pgn) { (self.destination as u32) << 8 } else { 0 };
        let group = if is_addressed(self.pgn) { self.pgn & 0x3_FF00 } else { self.pgn & 0x3_FFFF };
        ((self.priority & 0b111) as u32) << 26 | group << 8 | addressed | self.source as u32
    }
}

/// Whether messages of this group carry a destination (PDU1 format).
#[must_use]
pub const fn is_addressed(pgn: u32) -> bool {
    (pgn >> 8 & 0xFF) < 240
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn published_identifiers() {
        let known = [
            // NMEA 2000 examples: position; claim to all; request from the null address; group function.
            (0x09F8_0123, 2, 129_025, 0x23, 255),
            (0x18EE_FF23, 6, 60_928, 0x23, 255),
            (0x18EA_22FE, 6, 59_904, 0xFE, 0x22),
            (0x0DED_DA01, 3, 126_208, 0x01, 0xDA),
            // J1939: engine speed and engine hours as widely printed; documentation of crate kinavis-j1939 0.1.1.
            (0x0CF0_0401, 3, 61_444, 0x01, 255),
            (0x18FE_F100, 6, 65_265, 0x00, 255),
            (0x0CFE_4947, 3, 65_097, 0x47, 255),
        ];
        for (id, priority, pgn, source, destination) in known {
            assert_eq!(CanId::from_bits(id), CanId { priority, pgn, source, destination });
            assert_eq!(CanId { priority, pgn, source, destination }.to_bits(), id);
        }
    }

    proptest! {
        #[test]
        fn every_identifier_survives_the_round_trip(id in 0_u32..1 << 29) {
            prop_assert_eq!(CanId::from_bits(id).to_bits(), id);
        }
    }
}
