//! The 64-bit NAME of a node. Source: ISO 11783-5 clause 4, NMEA corrigendum 060928.

use std::fmt;

/// A node's NAME: who it is, whatever address it holds. Of two that want one address the lower number wins.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Name(pub u64);

impl Name {
    /// The NAME in the first eight bytes of an address claim.
    #[must_use]
    pub fn from_claim(data: &[u8]) -> Option<Self> {
        data.first_chunk().map(|bytes| Self(u64::from_le_bytes(*bytes)))
    }

    const fn bits(self, start: u32, count: u32) -> u64 {
        self.0 >> start & ((1 << count) - 1)
    }

    /// Serial-like number, unique within the manufacturer (21 bits).
    #[must_use]
    pub const fn unique_number(self) -> u32 {
        self.bits(0, 21) as u32
    }

    /// Manufacturer code (11 bits).
    #[must_use]
    pub const fn manufacturer(self) -> u16 {
        self.bits(21, 11) as u16
    }

    /// Device instance, lower part (3 bits).
    #[must_use]
    pub const fn instance_lower(self) -> u8 {
        self.bits(32, 3) as u8
    }

    /// Device instance, upper part (5 bits).
    #[must_use]
    pub const fn instance_upper(self) -> u8 {
        self.bits(35, 5) as u8
    }

    /// Whether it is the NAME of the same unit: all is alike but the instances, which a display may set anew by command
    /// (PGN 126208, fact sheet NMEA 2000, section 4).
    #[must_use]
    pub const fn is_same_unit(self, other: Self) -> bool {
        const INSTANCES: u64 = 0xFF << 32 | 0xF << 56;
        (self.0 ^ other.0) & !INSTANCES == 0
    }

    /// Device instance: upper x 8 + lower.
    #[must_use]
    pub const fn instance(self) -> u8 {
        self.bits(32, 8) as u8
    }

    /// Device function; its meaning depends on the class.
    #[must_use]
    pub const fn function(self) -> u8 {
        self.bits(40, 8) as u8
    }

    /// Device class (7 bits).
    #[must_use]
    pub const fn class(self) -> u8 {
        self.bits(49, 7) as u8
    }

    /// System instance (4 bits).
    #[must_use]
    pub const fn system_instance(self) -> u8 {
        self.bits(56, 4) as u8
    }

    /// Industry group (3 bits); 4 is marine.
    #[must_use]
    pub const fn industry_group(self) -> u8 {
        self.bits(60, 3) as u8
    }

    /// Whether the node can choose another address by itself.
    #[must_use]
    pub const fn self_configurable(self) -> bool {
        self.bits(63, 1) == 1
    }
}

impl fmt::Display for Name {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:016X}", self.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Read alike by PyPI n2k 0.5.0, PyPI can-j1939 and crate kinavis-j1939 0.1.1.
    #[test]
    fn a_marine_name() {
        let name = Name::from_claim(&[0x15, 0xCD, 0xFB, 0xFF, 0x00, 0x91, 0x78, 0xC0]).unwrap();
        assert_eq!((name.unique_number(), name.manufacturer()), (1_821_973, 2047));
        assert_eq!((name.instance_lower(), name.instance_upper(), name.instance()), (0, 0, 0));
        assert_eq!((name.function(), name.class(), name.system_instance()), (145, 60, 0));
        assert_eq!((name.industry_group(), name.self_configurable()), (4, true));
        assert_eq!(name.to_string(), "C0789100FFFBCD15");
    }

    /// Published test of crate kinavis-j1939 0.1.1.
    #[test]
    fn a_tractor_name() {
        let name = Name::from_claim(&[0x4D, 0x74, 0x30, 0x04, 0x00, 0x34, 0x02, 0x20]).unwrap();
        assert_eq!((name.unique_number(), name.manufacturer()), (0x10_744D, 0x21));
        assert_eq!((name.function(), name.class(), name.industry_group()), (0x34, 1, 2));
        assert!(!name.self_configurable());
    }

    #[test]
    fn instances_and_short_claims() {
        let name = Name(0xB5 << 32 | 0xA << 56);
        assert_eq!((name.instance_lower(), name.instance_upper(), name.instance()), (5, 22, 181));
        assert_eq!(name.system_instance(), 10);
        assert_eq!(Name::from_claim(&[0; 7]), None);
        assert_eq!(Name::from_claim(&[1, 0, 0, 0, 0, 0, 0, 0, 9]), Some(Name(1)));
    }
}
