//! Where the data bytes of a CAN frame lie on the tape: as bytes, or as hex digits of a line.

use crate::recording::Tape;

/// Hex digits, by the value of a byte.
const BIG: [[u8; 2]; 256] = pairs(b"0123456789ABCDEF");
const SMALL: [[u8; 2]; 256] = pairs(b"0123456789abcdef");

const fn pairs(digits: &[u8; 16]) -> [[u8; 2]; 256] {
    let (mut pairs, mut value) = ([[0; 2]; 256], 0);
    #[expect(clippy::indexing_slicing, reason = "compile time; every index is below the length")]
    while value < 256 {
        pairs[value] = [digits[value >> 4], digits[value & 15]];
        value += 1;
    }
    pairs
}

/// Where the data bytes of a frame lie on the tape: each as a byte, or as two hex digits.
#[derive(Debug, Clone)]
pub(super) enum Place {
    /// Bytes in a row from here on.
    Binary(u64),
    /// Digits in a row from here on.
    Digits {
        /// The first.
        at: u64,
        /// Whether they are small letters.
        small: bool,
    },
    /// Digits with something between them, or in several stretches of the tape.
    Scattered(Box<Scattered>),
}

/// Offset of each digit on the tape.
#[derive(Debug, Clone)]
pub(super) struct Scattered {
    /// Of each first digit.
    pub(super) at: [u64; 8],
    /// Of each second digit.
    pub(super) low: [u64; 8],
    /// Whether they are small letters.
    pub(super) small: bool,
}

impl Place {
    /// Offset of the first of `len` bytes.
    pub(super) fn begin(&self, len: usize) -> u64 {
        match self {
            _ if len == 0 => u64::MAX,
            Self::Binary(at) | Self::Digits { at, .. } => *at,
            Self::Scattered(digits) => digits.at.iter().take(len).copied().min().unwrap_or(u64::MAX),
        }
    }

    /// Writes bytes from the `n`th on.
    pub(super) fn put(&self, tape: &mut Tape, n: usize, bytes: &[u8]) {
        let pairs = |small: bool| if small { &SMALL } else { &BIG };
        let pair = |small, byte: u8| pairs(small).get(usize::from(byte)).copied().unwrap_or_default();
        match self {
            Self::Binary(at) => {
                let Some(to) = tape.get_mut(at + n as u64, bytes.len()) else { return };
                // Nearly every frame has eight bytes: a copy of a known length needs no call.
                match (<&mut [u8; 8]>::try_from(&mut *to), <&[u8; 8]>::try_from(bytes)) {
                    (Ok(to), Ok(bytes)) => *to = *bytes,
                    _ => to.copy_from_slice(bytes),
                }
            }
            Self::Digits { at, small } => {
                if let Some(to) = tape.get_mut(at + 2 * n as u64, 2 * bytes.len()) {
                    for (to, byte) in to.as_chunks_mut().0.iter_mut().zip(bytes) {
                        *to = pair(*small, *byte);
                    }
                }
            }
            Self::Scattered(digits) => {
                let places = digits.at.iter().zip(&digits.low).skip(n);
                for ((high, low), byte) in places.zip(bytes) {
                    let [a, b] = pair(digits.small, *byte);
                    for (at, digit) in [(high, a), (low, b)] {
                        if let Some([to]) = tape.get_mut(*at, 1) {
                            *to = digit;
                        }
                    }
                }
            }
        }
    }

    /// Writes the bytes of a frame.
    pub(super) fn write(&self, tape: &mut Tape, data: &[u8]) {
        self.put(tape, 0, data);
    }
}
