//! Bit fields of a message, and the codes that stand for "no value".
//!
//! Source: NMEA 2000 appendix B (data formats). Numbers are little endian; bits count upwards from the lowest bit of
//! the first byte. A field that a short message does not reach is [`Absent::Missing`].

use crate::messages::{Absent, Value};
use crate::units::{KNOTS_PER_M_S, Place};

/// Degrees in the standard's angle step of 1e-4 rad.
const DEG_PER_STEP: f64 = 1e-4 * 180.0 / std::f64::consts::PI;

/// 0 degrees Celsius in hundredths of a kelvin.
const ZERO_CELSIUS_CK: f64 = 27_315.0;

/// The payload of one message.
#[derive(Clone, Copy)]
pub(super) struct Fields<'a>(pub(super) &'a [u8]);

impl<'a> Fields<'a> {
    /// The bits as they stand; `bits` is 1 to 64.
    pub(super) fn raw(self, start: usize, bits: u32) -> Option<u64> {
        let first = start / 8;
        let shift = start % 8;
        let bytes = self.0.get(first..first + (shift + bits as usize).div_ceil(8))?;
        if let Some(word) = bytes.first_chunk::<8>().filter(|_| bytes.len() == 8) {
            return Some((u64::from_le_bytes(*word) >> shift) & mask(bits));
        }
        let word = bytes.iter().rev().fold(0_u128, |word, byte| word << 8 | u128::from(*byte));
        Some((word >> shift) as u64 & mask(bits))
    }

    /// An unsigned number. Of 4 bits and more the three highest codes are no value; of 2 and 3 bits the two highest;
    /// a single bit is always a value.
    pub(super) fn unsigned(self, start: usize, bits: u32) -> Result<u64, Absent> {
        let raw = self.raw(start, bits).ok_or(Absent::Missing)?;
        if bits == 1 {
            return Ok(raw);
        }
        match mask(bits) - raw {
            0 => Err(Absent::NotAvailable),
            1 => Err(Absent::OutOfRange),
            2 if bits >= 4 => Err(Absent::Unusable),
            _ => Ok(raw),
        }
    }

    /// A two's complement number of at least 4 bits; its three highest codes are no value.
    pub(super) fn signed(self, start: usize, bits: u32) -> Result<i64, Absent> {
        let raw = self.raw(start, bits).ok_or(Absent::Missing)?;
        let unused = 64 - bits;
        let value = ((raw << unused) as i64) >> unused;
        match ((mask(bits) >> 1) as i64).wrapping_sub(value) {
            0 => Err(Absent::NotAvailable),
            1 => Err(Absent::OutOfRange),
            2 => Err(Absent::Unusable),
            _ => Ok(value),
        }
    }

    /// A byte-sized or smaller number as such: instances, codes, counts.
    pub(super) fn small(self, start: usize, bits: u32) -> Option<u8> {
        self.unsigned(start, bits).ok().and_then(|value| u8::try_from(value).ok())
    }

    /// An unsigned number times its resolution.
    pub(super) fn scaled(self, start: usize, bits: u32, resolution: f64) -> Value {
        self.unsigned(start, bits).map(|raw| scale(raw as f64, resolution))
    }

    /// A signed number times its resolution.
    pub(super) fn scaled_signed(self, start: usize, bits: u32, resolution: f64) -> Value {
        self.signed(start, bits).map(|raw| scale(raw as f64, resolution))
    }

    /// A direction of 16 bits and 1e-4 rad, in degrees. More than a full turn cannot be.
    pub(super) fn direction_deg(self, start: usize) -> Value {
        match self.unsigned(start, 16)? {
            raw @ ..62_832 => Ok(raw as f64 * DEG_PER_STEP),
            62_832 => Ok(0.0),
            _ => Err(Absent::Unusable),
        }
    }

    /// A signed angle of 16 bits and 1e-4 rad, in degrees.
    pub(super) fn angle_deg(self, start: usize) -> Value {
        self.scaled_signed(start, 16, DEG_PER_STEP)
    }

    /// A speed of 16 bits and 0.01 m/s, in knots.
    pub(super) fn speed_kn(self, start: usize) -> Value {
        self.scaled(start, 16, 0.01 * KNOTS_PER_M_S)
    }

    /// A temperature of `bits` and so many steps a kelvin, in degrees Celsius.
    pub(super) fn celsius(self, start: usize, bits: u32, steps: f64) -> Value {
        self.unsigned(start, bits).map(|raw| (raw as f64 - ZERO_CELSIUS_CK * steps / 100.0) / steps)
    }

    /// A place of two 32-bit coordinates in 1e-7 degrees.
    pub(super) fn place(self, lat_start: usize, lon_start: usize) -> Result<Place, Absent> {
        let (lat, lon) = (self.signed(lat_start, 32)?, self.signed(lon_start, 32)?);
        // Dividing keeps the decimal digits that multiplying by an inexact 1e-7 would lose.
        Place::new(lat as f64 / 1e7, lon as f64 / 1e7).ok_or(Absent::Unusable)
    }

    /// Days since 1970-01-01 in 16 bits.
    pub(super) fn days(self, start: usize) -> Option<i64> {
        self.unsigned(start, 16).ok().map(|days| days as i64)
    }

    /// Time of day of 32 bits and 1e-4 s, in microseconds; a leap second is the last that a day can have.
    pub(super) fn of_day_us(self, start: usize) -> Option<i64> {
        self.unsigned(start, 32).ok().filter(|raw| *raw < 864_010_000).map(|raw| raw as i64 * 100)
    }

    /// Text of `length` bytes from `byte` on (or what there is of it), without its fill.
    pub(super) fn text(self, byte: usize, length: usize) -> String {
        let end = byte.saturating_add(length).min(self.0.len());
        clean(self.0.get(byte..end).unwrap_or_default())
    }

    /// Variable text from `byte` on, and the byte after it. `None` when it is malformed or cut off.
    ///
    /// Length with both head bytes, type (0 UTF-16, else 8-bit), then the characters.
    pub(super) fn variable_text(self, byte: usize) -> Option<(String, usize)> {
        let [length, kind] = *self.0.get(byte..)?.first_chunk()?;
        let end = byte + usize::from(length);
        let content = self.0.get(byte + 2..end)?;
        let text = if kind == 0 {
            let units = content.as_chunks::<2>().0.iter().map(|unit| u16::from_le_bytes(*unit));
            let units = units.take_while(|unit| !matches!(unit, 0 | 0xFFFF));
            let text: String = char::decode_utf16(units).map(|c| c.unwrap_or('\u{FFFD}')).collect();
            text.trim().to_owned()
        } else {
            clean(content)
        };
        Some((text, end))
    }
}

/// A raw number times its resolution. Decimal fractions are no exact numbers but their inverses are, so dividing keeps
/// the decimal digits.
fn scale(raw: f64, resolution: f64) -> f64 {
    if resolution < 1.0 { raw / resolution.recip() } else { raw * resolution }
}

/// The lowest `bits` bits set; `bits` is 1 to 64.
const fn mask(bits: u32) -> u64 {
    u64::MAX >> (64 - bits)
}

/// Text up to its fill (0x00, 0xFF or the `@` of AIS), trimmed; foreign bytes become U+FFFD.
fn clean(bytes: &[u8]) -> String {
    let end = bytes.iter().position(|byte| matches!(byte, 0 | 0xFF | b'@')).unwrap_or(bytes.len());
    String::from_utf8_lossy(bytes.get(..end).unwrap_or(bytes)).trim().to_owned()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn codes_without_value() {
        use Absent::{Missing, NotAvailable, OutOfRange, Unusable};
        for (byte, want) in
            [(255, Err(NotAvailable)), (254, Err(OutOfRange)), (253, Err(Unusable)), (252, Ok(252))]
        {
            assert_eq!(Fields(&[byte]).unsigned(0, 8), want);
        }
        for (byte, want) in [
            (127, Err(NotAvailable)),
            (126, Err(OutOfRange)),
            (125, Err(Unusable)),
            (124, Ok(124)),
            (128, Ok(-128)),
        ] {
            assert_eq!(Fields(&[byte]).signed(0, 8), want);
        }
        // Two bits: 3 is "not available", 2 is "error"; three bits: 7 and 6; one bit has no codes.
        let two: Vec<_> = (0..4).map(|n| Fields(&[0b1110_0100]).unsigned(n * 2, 2)).collect();
        assert_eq!(two, [Ok(0), Ok(1), Err(OutOfRange), Err(NotAvailable)]);
        for (value, want) in [(5, Ok(5)), (6, Err(OutOfRange)), (7, Err(NotAvailable))] {
            assert_eq!(Fields(&[value << 3]).unsigned(3, 3), want);
        }
        assert_eq!(Fields(&[0xFF]).unsigned(7, 1), Ok(1));
        assert_eq!(Fields(&[0xFF]).unsigned(4, 8), Err(Missing));
        assert_eq!(Fields(&[0xF0]).unsigned(4, 4), Err(NotAvailable));
    }

    #[test]
    fn widths_up_to_64_bits_at_any_place() {
        let bytes = [0x10, 0x32, 0x54, 0x76, 0x98, 0xBA, 0xDC, 0xFE, 0x0F];
        assert_eq!(Fields(&bytes).raw(0, 64), Some(0xFEDC_BA98_7654_3210));
        assert_eq!(Fields(&bytes).raw(4, 64), Some(0xFFED_CBA9_8765_4321));
        assert_eq!(Fields(&bytes).raw(4, 56), Some(0xED_CBA9_8765_4321));
        assert_eq!(Fields(&bytes).raw(12, 24), Some(0x87_6543));
        assert_eq!(Fields(&bytes).raw(9, 64), None);
        assert_eq!(Fields(&bytes).signed(0, 64), Ok(0xFEDC_BA98_7654_3210_u64 as i64));
        assert_eq!(Fields(&i64::MAX.to_le_bytes()).signed(0, 64), Err(Absent::NotAvailable));
        assert_eq!(Fields(&i64::MIN.to_le_bytes()).signed(0, 64), Ok(i64::MIN));
    }

    /// Scales worked out from the resolutions of appendix B.
    #[test]
    fn scales() {
        let direction = |raw: u16| Fields(&raw.to_le_bytes()).direction_deg(0);
        for (raw, deg) in
            [(15_708, 90.000_210), (31_416, 180.000_421), (62_831, 359.995_112), (43_109, 246.996_376)]
        {
            assert!((direction(raw).unwrap() - deg).abs() < 1e-6);
        }
        assert_eq!(direction(62_832), Ok(0.0));
        assert_eq!(direction(62_833), Err(Absent::Unusable));
        assert_eq!(Fields(&28_865_u16.to_le_bytes()).celsius(0, 16, 100.0), Ok(15.5));
        assert_eq!(Fields(&920_u16.to_le_bytes()).scaled(0, 16, 0.01), Ok(9.2));
        assert!((Fields(&309_u16.to_le_bytes()).speed_kn(0).unwrap() - 6.0065).abs() < 1e-4);
        assert_eq!(Fields(&452_965_000_u32.to_le_bytes()).of_day_us(0), Some(45_296_500_000));
        assert_eq!(Fields(&864_010_000_u32.to_le_bytes()).of_day_us(0), None);
    }

    #[test]
    fn texts() {
        assert_eq!(Fields(b"Depth Sensor\xFF\xFF").text(0, 14), "Depth Sensor");
        assert_eq!(Fields(b"KIEL@@@@x").text(0, 9), "KIEL");
        assert_eq!(Fields(b"A \0junk").text(0, 32), "A");
        assert_eq!(Fields(b"A").text(5, 3), "");
        // ASCII "BOW"; empty; UTF-16 "Öl"; malformed; cut off.
        assert_eq!(Fields(b"\x05\x01BOW").variable_text(0), Some((String::from("BOW"), 5)));
        assert_eq!(Fields(b"\x02\x01").variable_text(0), Some((String::new(), 2)));
        assert_eq!(Fields(b"\x06\x00\xD6\x00l\x00").variable_text(0), Some((String::from("Öl"), 6)));
        assert_eq!(Fields(b"\x01\x01").variable_text(0), None);
        assert_eq!(Fields(b"\x05\x01BO").variable_text(0), None);
        assert_eq!(Fields(b"\x05").variable_text(0), None);
    }
}
