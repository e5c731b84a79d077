//! User datagrams (RFC 768).

use super::Malformed;
use super::bytes::be16;

/// A UDP datagram.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Udp<'a> {
    /// Port of the sender.
    pub source_port: u16,
    /// Port of the receiver.
    pub destination_port: u16,
    /// The captured payload.
    pub payload: &'a [u8],
    /// Payload bytes that the datagram had; more than `payload.len()` when the recorder cut it.
    pub payload_len: usize,
}

impl<'a> Udp<'a> {
    /// Reads the datagram in `bytes`, which had `wire_len` bytes on the wire.
    ///
    /// # Errors
    /// When the header is not there or states more bytes than the packet had.
    pub fn parse(bytes: &'a [u8], wire_len: usize) -> Result<Self, Malformed> {
        let cut = wire_len > bytes.len();
        let (Some(source_port), Some(destination_port), Some(stated), Some(rest)) =
            (be16(bytes, 0), be16(bytes, 2), be16(bytes, 4), bytes.get(8..))
        else {
            return Err(Malformed::short("udp", 8, bytes.len(), cut));
        };
        // Zero stands for "as long as the packet" in jumbograms (RFC 2675 4) and in offloaded packets.
        let stated = if stated == 0 { wire_len } else { usize::from(stated) };
        if stated < 8 {
            return Err(Malformed::value("udp", 4, bytes.len()));
        }
        if stated > wire_len {
            return Err(Malformed::short("udp", stated, bytes.len(), false));
        }
        let payload_len = stated - 8;
        Ok(Self {
            source_port,
            destination_port,
            payload: rest.get(..payload_len).unwrap_or(rest),
            payload_len,
        })
    }

    /// Whether the recorder cut the payload.
    #[must_use]
    pub const fn is_cut(&self) -> bool {
        self.payload.len() < self.payload_len
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Port 2000 (0x07D0) to 10110 (0x277E), length 11, no checksum, "$GP" and a byte of padding.
    const SAMPLE: [u8; 12] = [0x07, 0xD0, 0x27, 0x7E, 0, 11, 0, 0, b'$', b'G', b'P', 0];

    #[test]
    fn reads_and_trims() {
        let udp = Udp::parse(&SAMPLE, 12).unwrap();
        assert_eq!((udp.source_port, udp.destination_port, udp.payload), (2000, 10110, &b"$GP"[..]));
        let cut = Udp::parse(&SAMPLE[..9], 12).unwrap();
        assert_eq!((cut.payload, cut.payload_len, cut.is_cut()), (&b"$"[..], 3, true));
        for len in 0..8 {
            assert!(Udp::parse(&SAMPLE[..len], 12).unwrap_err().cut);
        }
        assert!(!Udp::parse(&SAMPLE[..10], 10).unwrap_err().cut, "states more than the packet has");
        let mut small = SAMPLE;
        small[5] = 7;
        assert_eq!(Udp::parse(&small, 12), Err(Malformed::value("udp", 4, 12)));
    }
}
