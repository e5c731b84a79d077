//! Vocabulary: times and spans of a recording.
//!
//! Recording time is UTC in whole microseconds since 1970-01-01. Nothing in the crate reads a wall clock.

use serde::{Serialize, Serializer};
use std::fmt;

/// A moment in recording time: whole microseconds since 1970-01-01T00:00:00Z.
///
/// Any 64-bit value is legal (recordings come from strangers); differences saturate. [`fmt::Display`] and
/// [`Serialize`] write RFC 3339 with six decimals, clamped to the years 1 to 9999.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
pub struct Time(pub i64);

/// Microseconds in a day.
pub const DAY_US: i64 = 86_400_000_000;

/// 0001-01-01 and the end of 9999-12-31, in microseconds: what RFC 3339 can write.
const RFC_3339_RANGE: (i64, i64) = (-62_135_596_800_000_000, 253_402_300_799_999_999);

impl Time {
    /// The moment that lies `seconds` and `micros` after 1970; saturates.
    #[must_use]
    pub const fn from_parts(seconds: i64, micros: i64) -> Self {
        Self(seconds.saturating_mul(1_000_000).saturating_add(micros))
    }

    /// Seconds from `earlier` to this moment; negative when this one is the earlier.
    #[must_use]
    pub fn since(self, earlier: Self) -> f64 {
        self.micros_since(earlier) as f64 / 1e6
    }

    /// Microseconds from `earlier` to this moment, saturating.
    #[must_use]
    #[inline(always)]
    pub const fn micros_since(self, earlier: Self) -> i64 {
        // Every message asks several times, and no sound recording saturates: a branch not taken costs a third.
        match self.0.checked_sub(earlier.0) {
            Some(us) => us,
            None => furthest(self.0 < earlier.0),
        }
    }

    /// This moment moved by microseconds, saturating.
    #[must_use]
    #[inline(always)]
    pub const fn moved(self, us: i64) -> Self {
        match self.0.checked_add(us) {
            Some(moved) => Self(moved),
            None => Self(furthest(us < 0)),
        }
    }

    /// This moment moved by `seconds`, saturating.
    #[must_use]
    pub fn plus(self, seconds: f64) -> Self {
        self.moved((seconds * 1e6).round() as i64)
    }

    /// Time of day alone, `hh:mm:ss`, for text that names the date elsewhere.
    #[must_use]
    pub fn clock(self) -> String {
        let text = self.to_string();
        text.get(11..19).unwrap_or(&text).to_owned()
    }
}

/// The longest step back, or ahead.
#[cold]
const fn furthest(back: bool) -> i64 {
    if back { i64::MIN } else { i64::MAX }
}

/// A moment in RFC 3339.
const RFC_3339: [u8; 27] = *b"0000-00-00T00:00:00.000000Z";

impl Time {
    /// In RFC 3339 with six decimals: a report has thousands of moments, and formatting each number by itself takes four
    /// times as long.
    fn rfc_3339(self) -> [u8; RFC_3339.len()] {
        let us = self.0.clamp(RFC_3339_RANGE.0, RFC_3339_RANGE.1);
        let (days, of_day) = (us.div_euclid(DAY_US), us.rem_euclid(DAY_US));
        let (y, m, d) = civil(days);
        let (s, frac) = (of_day / 1_000_000, of_day % 1_000_000);
        let mut text = RFC_3339;
        for (place, number) in [
            (0..4, y),
            (5..7, m),
            (8..10, d),
            (11..13, s / 3600),
            (14..16, s / 60 % 60),
            (17..19, s % 60),
            (20..26, frac),
        ] {
            let mut rest = number as u32;
            for digit in text.get_mut(place).unwrap_or_default().iter_mut().rev() {
                *digit = b'0' + (rest % 10) as u8;
                rest /= 10;
            }
        }
        text
    }
}

impl fmt::Display for Time {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(std::str::from_utf8(&self.rfc_3339()).unwrap_or_default())
    }
}

impl Serialize for Time {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.serialize_str(std::str::from_utf8(&self.rfc_3339()).unwrap_or_default())
    }
}

/// Year, month and day of a day number (days since 1970-01-01), proleptic Gregorian calendar.
///
/// Source: the 400-year cycle of the Gregorian calendar (146 097 days); years are counted from March so that the
/// leap day comes last.
#[must_use]
pub const fn civil(days: i64) -> (i64, i64, i64) {
    let from_march_0000 = days.saturating_add(719_468);
    let era = from_march_0000.div_euclid(146_097);
    let day_of_era = from_march_0000.rem_euclid(146_097);
    let year_of_era = (day_of_era - day_of_era / 1460 + day_of_era / 36_524 - day_of_era / 146_096) / 365;
    let day_of_year = day_of_era - (365 * year_of_era + year_of_era / 4 - year_of_era / 100);
    let month_from_march = (5 * day_of_year + 2) / 153;
    let day = day_of_year - (153 * month_from_march + 2) / 5 + 1;
    let month = if month_from_march < 10 { month_from_march + 3 } else { month_from_march - 9 };
    (year_of_era + era * 400 + if month <= 2 { 1 } else { 0 }, month, day)
}

/// Days since 1970-01-01 of a calendar date, or `None` when there is no such date (month 13, 30 February) or the
/// year lies outside 1 to 9999.
#[must_use]
pub fn days_from_civil(year: i64, month: i64, day: i64) -> Option<i64> {
    let leap = year % 4 == 0 && (year % 100 != 0 || year % 400 == 0);
    let longest = match month {
        2 if leap => 29,
        2 => 28,
        4 | 6 | 9 | 11 => 30,
        1..=12 => 31,
        _ => return None,
    };
    if !(1..=9999).contains(&year) || !(1..=longest).contains(&day) {
        return None;
    }
    let y = if month <= 2 { year - 1 } else { year };
    let era = y.div_euclid(400);
    let year_of_era = y.rem_euclid(400);
    let month_from_march = (month + 9) % 12;
    let day_of_year = (153 * month_from_march + 2) / 5 + day - 1;
    Some(era * 146_097 + year_of_era * 365 + year_of_era / 4 - year_of_era / 100 + day_of_year - 719_468)
}

/// A stretch of recording time, both ends included; `from` is never after `to`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
pub struct Span {
    /// Where it begins.
    pub from: Time,
    /// Where it ends.
    pub to: Time,
}

impl Span {
    /// The span between two moments, in whichever order they are given.
    #[must_use]
    pub fn new(a: Time, b: Time) -> Self {
        Self { from: a.min(b), to: a.max(b) }
    }

    /// Its length in microseconds, saturating.
    #[must_use]
    pub const fn micros(self) -> i64 {
        self.to.micros_since(self.from)
    }

    /// Its length in seconds.
    #[must_use]
    pub fn seconds(self) -> f64 {
        self.to.since(self.from)
    }

    /// For how long the two go on at the same time, seconds; negative by how far they are apart.
    #[must_use]
    pub fn shared_s(self, other: Self) -> f64 {
        self.to.min(other.to).since(self.from.max(other.from))
    }

    /// Whether the two share a moment once both ends of `self` are widened by `slack` seconds.
    #[must_use]
    pub fn touches(self, other: Self, slack: f64) -> bool {
        self.from.plus(-slack) <= other.to && self.to.plus(slack) >= other.from
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn writes_rfc_3339_with_microseconds() {
        // RFC 3339 5.8 gives 1985-04-12T23:20:50.52Z as an example; 482196050.52 is its POSIX time.
        assert_eq!(Time(482_196_050_520_000).to_string(), "1985-04-12T23:20:50.520000Z");
        assert_eq!(Time(0).to_string(), "1970-01-01T00:00:00.000000Z");
        assert_eq!(Time(-1).to_string(), "1969-12-31T23:59:59.999999Z");
        assert_eq!(Time(i64::MAX).to_string(), "9999-12-31T23:59:59.999999Z");
        assert_eq!(Time(i64::MIN).to_string(), "0001-01-01T00:00:00.000000Z");
        assert_eq!(Time(482_196_050_520_000).clock(), "23:20:50");
    }

    #[test]
    fn the_calendar_agrees_with_an_independent_library() {
        // jiff (crates.io) walks the same calendar; every 97th day of 400 years around 2000.
        for days in (-73_048..73_048).step_by(97) {
            let date = jiff::civil::date(1970, 1, 1)
                .checked_add(jiff::Span::new().days(days))
                .expect("within jiff's range");
            let (y, m, d) = civil(days);
            assert_eq!((y, m, d), (date.year().into(), date.month().into(), date.day().into()));
            assert_eq!(days_from_civil(y, m, d), Some(days));
        }
        assert_eq!(days_from_civil(2026, 2, 29), None);
        assert_eq!(days_from_civil(2026, 13, 1), None);
        assert_eq!(days_from_civil(2026, 1, 1), Some(20_454), "nmea2000 fact sheet, section 6 scales");
    }

    #[test]
    fn spans_order_their_ends() {
        let span = Span::new(Time(5), Time(2));
        assert_eq!((span.from, span.to), (Time(2), Time(5)));
        assert!(span.touches(Span::new(Time(1_000_005), Time(2_000_000)), 1.0));
        assert!(!span.touches(Span::new(Time(1_000_006), Time(2_000_000)), 1.0));
    }
}
