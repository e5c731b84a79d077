//! The kinds of field that sentences are made of.
//!
//! Source: IEC 61162-1 clause 7.2.3 (field types) and NMEA 0183 clause 5.2.

use super::sentence::Sentence;
use crate::messages::{Absent, North, Reading, Value};
use crate::time::days_from_civil;
use crate::units::{KNOTS_PER_M_S, M_PER_NM, Place};
use std::ops::RangeInclusive;

/// Speeds that anything with a 0183 plug can have, knots.
pub(super) const SPEED_KN: RangeInclusive<f64> = 0.0..=1000.0;

/// From here on a dilution of precision means "none": receivers write 99.9 or 99.99.
const NO_DILUTION: f64 = 99.0;

/// Powers of ten that are exact numbers.
const TENS: [f64; 16] =
    [1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15];

/// A number as fields write it: sign, digits, point, digits. No exponent, no words; padding blanks are passed over.
#[inline]
pub(super) fn decimal(text: &[u8]) -> Option<f64> {
    few_digits(text).or_else(|| any_decimal(text))
}

/// As [`decimal`], of any text.
#[inline(never)]
fn any_decimal(text: &[u8]) -> Option<f64> {
    let quick = match text {
        [b'-', digits @ ..] => few_digits(digits).map(|size| -size),
        [b'+', digits @ ..] | digits => few_digits(digits),
    };
    if quick.is_some() {
        return quick;
    }
    let text = str::from_utf8(text).ok()?.trim_ascii();
    let digits = text.strip_prefix(['-', '+']).unwrap_or(text);
    let sound = digits.bytes().all(|b| b.is_ascii_digit() || b == b'.');
    // "." and "" and two points fail in the library's parser; huge runs of digits give infinity.
    if sound { text.parse().ok().filter(|v: &f64| v.is_finite()) } else { None }
}

/// A number of at most 16 characters, digits and one point at most: eight of them are looked at at once, as the bytes of a word.
/// `None` of another text. Digits and power of ten are exact numbers, so that their quotient is the nearest number, as the library's
/// parser gives it, and sooner.
#[inline]
fn few_digits(text: &[u8]) -> Option<f64> {
    let (digits, decimals) = if text.len() <= 8 {
        eight_digits(text)?
    } else {
        let (high, low) = text.split_last_chunk::<8>()?;
        let ((high, of_high), (low, of_low)) = (eight_digits(high)?, eight_digits(low)?);
        match (of_high, of_low) {
            (Some(_), Some(_)) => return None,
            (None, Some(_)) => (high * 10_000_000 + low, of_low),
            (_, None) => (high * 100_000_000 + low, of_high.map(|decimals| decimals + 8)),
        }
    };
    match decimals {
        Some(0) if text.len() == 1 => None,
        // Fifteen digits at most beside a point, sixteen without one.
        Some(decimals) => Some(digits as f64 / TENS.get(decimals)?),
        None if text.len() <= 15 => Some(digits as f64),
        None => None,
    }
}

/// The digits of at most eight characters as a number, and how many of them stand behind a point, if there is one.
#[inline(always)]
fn eight_digits(text: &[u8]) -> Option<(u64, Option<usize>)> {
    const ONES: u64 = 0x0101_0101_0101_0101;
    const HIGHS: u64 = 0x80 * ONES;
    const POINT: u64 = (b'.' ^ b'0') as u64 * ONES;
    let empty = 8 * 8_usize.checked_sub(text.len()).filter(|empty| *empty < 8)?;
    // The last character stands in the highest byte, and zeros below the first.
    let word = (word_of(text) ^ (u64::from(b'0') * ONES)) << empty;
    let others = word ^ POINT;
    let point = !((others & !HIGHS).wrapping_add(!HIGHS) | others) & HIGHS;
    let (digits, decimals) = if point == 0 {
        (word, None)
    } else {
        // What stands before the first point moves up into its place.
        let at = point.trailing_zeros() - 7;
        let before = (1_u64 << at) - 1;
        (word & !(before << 8 | 0xFF) | (word & before) << 8, Some(7 - at as usize / 8))
    };
    if (digits | digits.wrapping_add((0x7F - 9) * ONES)) & HIGHS != 0 {
        return None;
    }
    let pairs = digits.wrapping_mul(10 << 8 | 1) >> 8 & 0x00FF_00FF_00FF_00FF;
    let fours = pairs.wrapping_mul(100 << 16 | 1) >> 16 & 0x0000_FFFF_0000_FFFF;
    Some((fours.wrapping_mul(10_000 << 32 | 1) >> 32, decimals))
}

/// The bytes of a text of one to eight as a number with zeros above.
#[inline]
fn word_of(text: &[u8]) -> u64 {
    if let (Some(first), Some(last)) = (text.first_chunk::<4>(), text.last_chunk::<4>()) {
        let last = u64::from(u32::from_le_bytes(*last));
        u64::from(u32::from_le_bytes(*first)) | last << (8 * (text.len() - 4))
    } else {
        text.iter().rev().fold(0, |word, byte| word << 8 | u64::from(*byte))
    }
}

/// The value, when it lies within bounds.
pub(super) fn within(value: Value, bounds: &RangeInclusive<f64>) -> Value {
    value.and_then(|v| if bounds.contains(&v) { Ok(v) } else { Err(Absent::Unusable) })
}

/// A value that its sentence never carries.
pub(super) const NOT_CARRIED: Value = Err(Absent::Missing);

impl Sentence<'_> {
    /// The field's text, when there is some.
    pub(super) fn text(&self, n: usize) -> Result<&str, Absent> {
        str::from_utf8(self.bytes(n)?).map_err(|_| Absent::Unusable)
    }

    /// As [`text`](Self::text), as bytes.
    #[inline]
    pub(super) fn bytes(&self, n: usize) -> Result<&[u8], Absent> {
        let field = self.field_bytes(n).ok_or(Absent::Missing)?;
        match (field.first(), field.last()) {
            // Nothing to trim.
            (Some(b'!'..), Some(b'!'..)) => Ok(field),
            _ => Some(field.trim_ascii()).filter(|field| !field.is_empty()).ok_or(Absent::NotAvailable),
        }
    }

    /// A number.
    pub(super) fn number(&self, n: usize) -> Value {
        decimal(self.bytes(n)?).ok_or(Absent::Unusable)
    }

    /// A number whose unit letter follows. The letter may be left out; another one makes the number unusable.
    pub(super) fn number_in(&self, n: usize, unit: &str) -> Value {
        let number = self.number(n)?;
        match self.bytes(n + 1) {
            Ok(letter) if letter != unit.as_bytes() => Err(Absent::Unusable),
            _ => Ok(number),
        }
    }

    /// A direction: 0 to 360 degrees, where 360 is 0.
    pub(super) fn direction(&self, n: usize) -> Value {
        round_the_circle(self.number(n))
    }

    /// A direction whose reference letter follows.
    pub(super) fn direction_in(&self, n: usize, reference: &str) -> Value {
        round_the_circle(self.number_in(n, reference))
    }

    /// A number whose sign is a letter in the next field; `bound` is the largest possible size.
    pub(super) fn signed(&self, n: usize, plus: &str, minus: &str, bound: f64) -> Value {
        let number = within(self.number(n), &(-bound..=bound))?;
        match self.bytes(n + 1) {
            Ok(letter) if letter == plus.as_bytes() => Ok(number),
            Ok(letter) if letter == minus.as_bytes() => Ok(-number),
            _ => Err(Absent::Unusable),
        }
    }

    /// A status: `V` marks the data invalid. Old talkers that leave it out are believed.
    pub(super) fn status(&self, n: usize) -> Result<(), Absent> {
        match self.bytes(n) {
            Ok(b"A") | Err(_) => Ok(()),
            Ok(b"V") => Err(Absent::MarkedInvalid),
            Ok(_) => Err(Absent::Unusable),
        }
    }

    /// A speed in knots; the unit letter stands in field `unit` (K km/h, M m/s, N knots, S miles an hour).
    pub(super) fn speed(&self, n: usize, unit: usize) -> Value {
        let number = self.number(n)?;
        let factor = match self.bytes(unit) {
            Ok(b"N") => 1.0,
            Ok(b"K") => 1000.0 / M_PER_NM,
            Ok(b"M") => KNOTS_PER_M_S,
            Ok(b"S") => 1609.344 / M_PER_NM,
            _ => return Err(Absent::Unusable),
        };
        within(Ok(number * factor), &SPEED_KN)
    }

    /// A place in four fields: `ddmm.mm`, N/S, `dddmm.mm`, E/W.
    pub(super) fn place(&self, n: usize) -> Result<Place, Absent> {
        let lat = coordinate(self.number(n), self.bytes(n + 1), b"N", b"S")?;
        let lon = coordinate(self.number(n + 2), self.bytes(n + 3), b"E", b"W")?;
        Place::new(lat, lon).ok_or(Absent::Unusable)
    }

    /// A dilution of precision.
    pub(super) fn dilution(&self, n: usize) -> Value {
        match self.number(n)? {
            v if v >= NO_DILUTION => Err(Absent::NotAvailable),
            v if v <= 0.0 => Err(Absent::Unusable),
            v => Ok(v),
        }
    }

    /// A whole number.
    pub(super) fn whole<T: std::str::FromStr>(&self, n: usize) -> Option<T> {
        self.text(n).ok()?.parse().ok()
    }

    /// A time of day `hhmmss.ss` in microseconds. Second 60 is a leap second.
    pub(super) fn time_of_day(&self, n: usize) -> Option<i64> {
        let (whole, rest) = self.bytes(n).ok()?.split_first_chunk::<6>()?;
        let [hours, minutes, seconds] = pairs(whole)?;
        let fraction = match rest {
            [b'.', digits @ ..] => digits,
            [] => rest,
            _ => return None,
        };
        if hours > 23 || minutes > 59 || seconds > 60 || !fraction.iter().all(u8::is_ascii_digit) {
            return None;
        }
        let (mut micros, mut unit) = (0, 100_000);
        for digit in fraction {
            micros += i64::from(digit - b'0') * unit;
            unit /= 10;
        }
        Some(((hours * 60 + minutes) * 60 + seconds) * 1_000_000 + micros)
    }

    /// A date `ddmmyy` as days since 1970; years 80 to 99 are of the last century (common practice).
    pub(super) fn date(&self, n: usize) -> Option<i64> {
        let [day, month, year] = pairs(self.bytes(n).ok()?.as_array()?)?;
        days_from_civil(if year < 80 { 2000 + year } else { 1900 + year }, month, day)
    }
}

/// A heading of which its sentence says nothing more.
pub(super) const fn heading(deg: Value, north: North) -> Reading {
    Reading::Heading { deg, north: Some(north), deviation_deg: NOT_CARRIED, variation_deg: NOT_CARRIED }
}

/// A quantity of which there is one.
pub(super) const fn other(quantity: &'static str, value: Value, unit: &'static str) -> Reading {
    Reading::Other { quantity, instance: None, value, unit }
}

fn round_the_circle(value: Value) -> Value {
    within(value, &(0.0..=360.0)).map(|deg| if deg >= 360.0 { 0.0 } else { deg })
}

/// 180 degrees as `dddmm.mm`.
const MOST_COORDINATE: f64 = 18_000.0;

/// `dddmm.mm` and its hemisphere in degrees.
fn coordinate(number: Value, hemisphere: Result<&[u8], Absent>, plus: &[u8], minus: &[u8]) -> Value {
    let number = number?;
    if !(0.0..=MOST_COORDINATE).contains(&number) {
        return Err(Absent::Unusable);
    }
    let degrees = f64::from((number / 100.0) as u32);
    let minutes = number - degrees * 100.0;
    if minutes >= 60.0 {
        return Err(Absent::Unusable);
    }
    let size = degrees + minutes / 60.0;
    match hemisphere {
        Ok(letter) if letter == plus => Ok(size),
        Ok(letter) if letter == minus => Ok(-size),
        _ => Err(Absent::Unusable),
    }
}

/// Three two-digit numbers written together.
fn pairs(&[a, b, c, d, e, f]: &[u8; 6]) -> Option<[i64; 3]> {
    let pair = |tens: u8, ones: u8| {
        (tens.is_ascii_digit() && ones.is_ascii_digit())
            .then(|| i64::from(tens - b'0') * 10 + i64::from(ones - b'0'))
    };
    Some([pair(a, b)?, pair(c, d)?, pair(e, f)?])
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// A sentence with these fields.
    fn with(fields: &str, check: impl FnOnce(Sentence<'_>)) {
        check(Sentence::parse(format!("$IIABC,{fields}").as_bytes()).unwrap());
    }

    #[test]
    fn numbers() {
        for (text, want) in [
            ("005.5", Some(5.5)),
            ("-33.9", Some(-33.9)),
            (" 7 ", Some(7.0)),
            ("+.5", Some(0.5)),
            ("3.", Some(3.0)),
        ] {
            assert_eq!(decimal(text.as_bytes()), want, "{text}");
        }
        for text in ["", ".", "-", "1e3", "inf", "nan", "1.2.3", "--1", "0x1", "1,2", "1 2", &"9".repeat(400)]
        {
            assert_eq!(decimal(text.as_bytes()), None, "{text}");
        }
    }

    proptest! {
        #[test]
        fn all_ways_read_the_same_number(text in "[+-]?[0-9]{0,9}[.]?[0-9]{0,9}|[ -~]{0,9}|[0-9.]{0,18}") {
            let plain = text.trim_ascii();
            let digits = plain.strip_prefix(['+', '-']).unwrap_or(plain);
            let sound = digits.bytes().all(|b| b.is_ascii_digit() || b == b'.');
            let want = plain.parse::<f64>().ok().filter(|_| sound).map(f64::to_bits);
            prop_assert_eq!(decimal(text.as_bytes()).map(f64::to_bits), want);
            prop_assert_eq!(any_decimal(text.as_bytes()).map(f64::to_bits), want);
        }
    }

    #[test]
    fn absences_are_told_apart() {
        with(",x,4", |s| {
            assert_eq!(s.number(1), Err(Absent::NotAvailable));
            assert_eq!(s.number(2), Err(Absent::Unusable));
            assert_eq!(s.number(3), Ok(4.0));
            assert_eq!(s.number(4), Err(Absent::Missing));
        });
        with("A,V,,x", |s| {
            assert_eq!((s.status(1), s.status(2)), (Ok(()), Err(Absent::MarkedInvalid)));
            assert_eq!((s.status(3), s.status(4), s.status(5)), (Ok(()), Err(Absent::Unusable), Ok(())));
        });
    }

    #[test]
    fn directions() {
        with("360.0,T,400,T,-1,T,12,M", |s| {
            assert_eq!(s.direction_in(1, "T"), Ok(0.0));
            assert_eq!(s.direction_in(3, "T"), Err(Absent::Unusable));
            assert_eq!(s.direction_in(5, "T"), Err(Absent::Unusable));
            assert_eq!(s.direction_in(7, "T"), Err(Absent::Unusable));
        });
        with("3.0,W,3.0,E,3.0,,,E,181,E", |s| {
            assert_eq!(s.signed(1, "E", "W", 180.0), Ok(-3.0));
            assert_eq!(s.signed(3, "E", "W", 180.0), Ok(3.0));
            assert_eq!(s.signed(5, "E", "W", 180.0), Err(Absent::Unusable));
            assert_eq!(s.signed(7, "E", "W", 180.0), Err(Absent::NotAvailable));
            assert_eq!(s.signed(9, "E", "W", 180.0), Err(Absent::Unusable));
        });
    }

    #[test]
    fn places() {
        with("4807.038,N,01131.000,E", |s| {
            let at = s.place(1).unwrap();
            assert!((at.lat_deg - 48.1173).abs() < 1e-9 && (at.lon_deg - 11.516_666_667).abs() < 1e-9);
        });
        with(",,,", |s| assert_eq!(s.place(1), Err(Absent::NotAvailable)));
        for bad in
            ["9500.0,N,01131.000,E", "4860.0,N,01131.000,E", "4807.0,E,01131.000,E", "4807.0,,01131.000,E"]
        {
            with(bad, |s| assert_eq!(s.place(1), Err(Absent::Unusable), "{bad}"));
        }
    }

    #[test]
    fn speeds() {
        with("1,N,18.52,K,1852,M,1.852,S,1,X", |s| {
            assert_eq!(s.speed(1, 2), Ok(1.0));
            assert!((s.speed(3, 4).unwrap() - 10.0).abs() < 1e-12);
            assert_eq!(s.speed(5, 6), Err(Absent::Unusable), "3600 kn");
            assert!((s.speed(7, 8).unwrap() - 1.609_344).abs() < 1e-12);
            assert_eq!(s.speed(9, 10), Err(Absent::Unusable));
        });
    }

    #[test]
    fn times_and_dates() {
        with("123519,235960.5,240000,126000,12351,12351a,000000.1234567,1.5,120000.x", |s| {
            assert_eq!(s.time_of_day(1), Some(45_319_000_000));
            assert_eq!(s.time_of_day(2), Some(86_400_500_000), "leap second");
            assert_eq!([3, 4, 5, 6, 8, 9].map(|n| s.time_of_day(n)), [None; 6]);
            assert_eq!(s.time_of_day(7), Some(123_456));
        });
        with("191194,320726,2208-1,300226,010126", |s| {
            assert_eq!(s.date(1), days_from_civil(1994, 11, 19));
            assert_eq!([2, 3, 4].map(|n| s.date(n)), [None; 3]);
            assert_eq!(s.date(5), Some(20_454));
        });
    }
}
