//! Why bytes are not what they should be.

use std::fmt;

/// A header or message that does not hold together.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Malformed {
    /// The layer at fault: `ethernet`, `ipv4`, `udp` ...
    pub layer: &'static str,
    /// Offset within that layer's own bytes where it goes wrong.
    pub at: usize,
    /// Bytes that the layer needs from its start; equal to `had` when the bytes are there but their value cannot be.
    pub needed: usize,
    /// Bytes that were there.
    pub had: usize,
    /// The recorder cut the packet before this: nobody sent anything wrong.
    pub cut: bool,
}

impl Malformed {
    /// The bytes end too early.
    pub(super) const fn short(layer: &'static str, needed: usize, had: usize, cut: bool) -> Self {
        Self { layer, at: had, needed, had, cut }
    }

    /// A field at `at` has a value that cannot be.
    pub(super) const fn value(layer: &'static str, at: usize, had: usize) -> Self {
        Self { layer, at, needed: had, had, cut: false }
    }
}

impl fmt::Display for Malformed {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Self { layer, at, needed, had, cut } = self;
        if needed == had {
            write!(f, "{layer}: impossible value at byte {at}")
        } else if *cut {
            write!(f, "{layer}: cut by the recorder after {had} of {needed} bytes")
        } else {
            write!(f, "{layer}: ends after {had} of {needed} bytes")
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn says_what_is_wrong() {
        assert_eq!(Malformed::short("udp", 8, 3, false).to_string(), "udp: ends after 3 of 8 bytes");
        assert_eq!(
            Malformed::short("udp", 8, 3, true).to_string(),
            "udp: cut by the recorder after 3 of 8 bytes"
        );
        assert_eq!(Malformed::value("ipv4", 0, 40).to_string(), "ipv4: impossible value at byte 0");
    }
}
