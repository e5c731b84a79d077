//! What messages are called.

use super::sentence_name::SentenceName;
use std::fmt;

/// What a message is called, whichever wire it came by.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Message {
    /// A parameter group number.
    Pgn(u32),
    /// A 0183 sentence with its talker.
    Sentence(SentenceName),
    /// A network protocol.
    Protocol(&'static str),
}

impl Message {
    /// As `==`; of one protocol's name there is mostly but one text, and then its characters need no look.
    #[inline(always)]
    pub(super) fn is(&self, other: &Self) -> bool {
        match (self, other) {
            (Self::Pgn(a), Self::Pgn(b)) => a == b,
            (Self::Sentence(a), Self::Sentence(b)) => a == b,
            (Self::Protocol(a), Self::Protocol(b)) => same_text(a, b),
            _ => false,
        }
    }

    /// A number that most messages do not share, quicker to make than a hash.
    #[inline(always)]
    pub(super) fn mark(&self) -> u32 {
        match self {
            Self::Pgn(pgn) => *pgn,
            Self::Sentence(name) => {
                let [a, b, c, d, e, ..] = name.as_bytes();
                u32::from_le_bytes([*b, *c, *d, *e]).wrapping_add(u32::from(*a) << 3)
            }
            Self::Protocol(name) => match name.as_bytes() {
                [a, b, c, .., last] => u32::from_le_bytes([*a, *b, *c, *last]),
                short => short.len() as u32,
            },
        }
    }
}

/// As `==`; one and the same text needs no look at its characters.
pub(super) fn same_text(a: &str, b: &str) -> bool {
    std::ptr::eq(a, b) || a == b
}

impl fmt::Display for Message {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Pgn(pgn) => write!(f, "{pgn}"),
            Self::Sentence(name) => f.write_str(name.as_str()),
            Self::Protocol(name) => f.write_str(name),
        }
    }
}
