//! Control messages of IPv4 (RFC 792).

use super::Malformed;
use super::bytes::{be16, v4};
use std::net::Ipv4Addr;

/// The packet that an error message is about, from the copy of its header in the message.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Quoted {
    /// Sender of the packet in trouble.
    pub source: Ipv4Addr,
    /// Where it could not go.
    pub destination: Ipv4Addr,
    /// Its protocol number.
    pub protocol: u8,
    /// Its identification.
    pub id: u16,
}

/// A control message.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Icmp {
    /// Are you there?
    EchoRequest {
        /// Names the asking program.
        id: u16,
        /// Counts its questions.
        sequence: u16,
    },
    /// I am.
    EchoReply {
        /// As in the request.
        id: u16,
        /// As in the request.
        sequence: u16,
    },
    /// The packet cannot be delivered. Code 3: no program listens on the port; 4: too big and must not be fragmented.
    Unreachable {
        /// Why (RFC 792, RFC 1122 3.2.2.1).
        code: u8,
        /// Largest packet that would pass, for code 4 (RFC 1191).
        mtu: Option<u16>,
        /// The packet in trouble.
        about: Option<Quoted>,
    },
    /// Too many hops (code 0), or fragments missing for too long (code 1).
    TimeExceeded {
        /// Which of the two.
        code: u8,
        /// The packet in trouble.
        about: Option<Quoted>,
    },
    /// Anything else.
    Other {
        /// Type.
        kind: u8,
        /// Code.
        code: u8,
    },
}

impl Icmp {
    /// Reads a control message.
    ///
    /// # Errors
    /// When its eight header bytes are not there.
    pub fn parse(bytes: &[u8], cut: bool) -> Result<Self, Malformed> {
        let read = || {
            let &[kind, code] = bytes.first_chunk::<2>()?;
            let (first, second) = (be16(bytes, 4)?, be16(bytes, 6)?);
            let about = quoted(bytes.get(8..)?);
            Some(match kind {
                0 => Self::EchoReply { id: first, sequence: second },
                8 => Self::EchoRequest { id: first, sequence: second },
                3 => Self::Unreachable { code, mtu: (code == 4 && second > 0).then_some(second), about },
                11 => Self::TimeExceeded { code, about },
                _ => Self::Other { kind, code },
            })
        };
        read().ok_or(Malformed::short("icmp", 8, bytes.len(), cut))
    }
}

fn quoted(bytes: &[u8]) -> Option<Quoted> {
    let read = Quoted {
        source: v4(bytes, 12)?,
        destination: v4(bytes, 16)?,
        protocol: *bytes.get(9)?,
        id: be16(bytes, 4)?,
    };
    (bytes.first()? >> 4 == 4).then_some(read)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn echoes() {
        // Type 8, code 0, checksum, id 0x1234, sequence 5; then the answer.
        let request = [8, 0, 0, 0, 0x12, 0x34, 0, 5, 1, 2, 3];
        assert_eq!(Icmp::parse(&request, false), Ok(Icmp::EchoRequest { id: 0x1234, sequence: 5 }));
        let reply = [0, 0, 0, 0, 0x12, 0x34, 0, 5];
        assert_eq!(Icmp::parse(&reply, false), Ok(Icmp::EchoReply { id: 0x1234, sequence: 5 }));
        for len in 0..8 {
            assert_eq!(Icmp::parse(&reply[..len], false), Err(Malformed::short("icmp", 8, len, false)));
        }
        assert_eq!(
            Icmp::parse(&[5, 1, 0, 0, 0, 0, 0, 0], false),
            Ok(Icmp::Other { kind: 5, code: 1 }),
            "redirect"
        );
    }

    #[test]
    fn errors_quote_the_packet() {
        // Type 3 code 4, next-hop MTU 1400; about UDP 192.0.2.1 to 198.51.100.2, id 7.
        let mut bytes = vec![3, 4, 0, 0, 0, 0, 0x05, 0x78];
        bytes.extend([0x45, 0, 0, 40, 0, 7, 0x40, 0, 64, 17, 0, 0, 192, 0, 2, 1, 198, 51, 100, 2]);
        let about = Quoted {
            source: Ipv4Addr::new(192, 0, 2, 1),
            destination: Ipv4Addr::new(198, 51, 100, 2),
            protocol: 17,
            id: 7,
        };
        assert_eq!(
            Icmp::parse(&bytes, false),
            Ok(Icmp::Unreachable { code: 4, mtu: Some(1400), about: Some(about) })
        );
        for len in 8..28 {
            assert_eq!(
                Icmp::parse(&bytes[..len], true),
                Ok(Icmp::Unreachable { code: 4, mtu: Some(1400), about: None })
            );
        }
        (bytes[0], bytes[1]) = (11, 1);
        assert_eq!(Icmp::parse(&bytes, false), Ok(Icmp::TimeExceeded { code: 1, about: Some(about) }));
    }
}
