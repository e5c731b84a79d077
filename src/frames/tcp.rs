//! TCP segments (RFC 9293).

use super::Malformed;
use super::bytes::{be16, be32};

/// The control bits of a segment.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
pub struct TcpFlags(pub u8);

impl TcpFlags {
    /// No more data from the sender.
    #[must_use]
    pub const fn fin(self) -> bool {
        self.0 & 0x01 != 0
    }

    /// Opens a connection.
    #[must_use]
    pub const fn syn(self) -> bool {
        self.0 & 0x02 != 0
    }

    /// Resets the connection.
    #[must_use]
    pub const fn rst(self) -> bool {
        self.0 & 0x04 != 0
    }

    /// The acknowledgment number counts.
    #[must_use]
    pub const fn ack(self) -> bool {
        self.0 & 0x10 != 0
    }
}

/// A TCP segment.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Tcp<'a> {
    /// Port of the sender.
    pub source_port: u16,
    /// Port of the receiver.
    pub destination_port: u16,
    /// Number of the first payload byte (of the SYN itself when that is set).
    pub sequence: u32,
    /// Number of the next byte that the sender expects from the other side.
    pub acknowledgment: u32,
    /// Control bits.
    pub flags: TcpFlags,
    /// Receive window as it stands in the header (unscaled).
    pub window: u16,
    /// The captured payload.
    pub payload: &'a [u8],
    /// Payload bytes that the segment had; more than `payload.len()` when the recorder cut it.
    pub payload_len: u32,
}

impl<'a> Tcp<'a> {
    /// Reads the segment in `bytes`, which had `wire_len` bytes on the wire.
    ///
    /// # Errors
    /// When the header is not there or its length cannot be.
    pub fn parse(bytes: &'a [u8], wire_len: usize) -> Result<Self, Malformed> {
        let cut = wire_len > bytes.len();
        let read = || {
            let at_13 = bytes.get(12..14)?;
            let &[offset, flags] = at_13.first_chunk::<2>()?;
            let segment = Self {
                source_port: be16(bytes, 0)?,
                destination_port: be16(bytes, 2)?,
                sequence: be32(bytes, 4)?,
                acknowledgment: be32(bytes, 8)?,
                flags: TcpFlags(flags),
                window: be16(bytes, 14)?,
                payload: &[],
                payload_len: 0,
            };
            (bytes.len() >= 20).then_some((segment, usize::from(offset >> 4) * 4))
        };
        let Some((segment, header)) = read() else {
            return Err(Malformed::short("tcp", 20, bytes.len(), cut));
        };
        if header < 20 {
            return Err(Malformed::value("tcp", 12, bytes.len()));
        }
        if header > wire_len {
            return Err(Malformed::short("tcp", header, bytes.len(), false));
        }
        // A cut inside the options takes the payload away and nothing that is read here.
        let payload = bytes.get(header..).unwrap_or_default();
        Ok(Self { payload, payload_len: u32::try_from(wire_len - header).unwrap_or(u32::MAX), ..segment })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// 49152 to 80, sequence 1, acknowledgment 2, 24 header bytes (one option word), PSH ACK, window 512, "hi".
    const SAMPLE: [u8; 26] =
        [0xC0, 0, 0, 80, 0, 0, 0, 1, 0, 0, 0, 2, 0x60, 0x18, 2, 0, 0, 0, 0, 0, 1, 1, 1, 0, b'h', b'i'];

    #[test]
    fn reads() {
        let tcp = Tcp::parse(&SAMPLE, 26).unwrap();
        assert_eq!((tcp.source_port, tcp.destination_port), (49152, 80));
        assert_eq!((tcp.sequence, tcp.acknowledgment, tcp.window), (1, 2, 512));
        assert!(tcp.flags.ack() && !tcp.flags.syn() && !tcp.flags.fin() && !tcp.flags.rst());
        assert_eq!((tcp.payload, tcp.payload_len), (&b"hi"[..], 2));
        for len in 0..20 {
            assert!(Tcp::parse(&SAMPLE[..len], 26).unwrap_err().cut);
        }
        for len in 20..26 {
            let cut = Tcp::parse(&SAMPLE[..len], 26).unwrap();
            assert_eq!((cut.payload.len(), cut.payload_len), (len.saturating_sub(24), 2));
        }
        let mut wrong = SAMPLE;
        wrong[12] = 0x40;
        assert_eq!(Tcp::parse(&wrong, 26), Err(Malformed::value("tcp", 12, 26)));
        wrong[12] = 0xF0;
        assert_eq!(Tcp::parse(&wrong, 26).unwrap_err().needed, 60);
    }
}
