//! The time a recorder writes in front of a line.

use crate::time::{DAY_US, days_from_civil};

/// What stands in front of a line.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Stamp {
    /// A moment, microseconds since 1970.
    Moment(i64),
    /// A time of day, microseconds since midnight.
    OfDay(i64),
    /// A small whole number: a line count, or a time in a unit that nobody can tell.
    Count,
}

/// Whole numbers above these are milli-, micro-, nanoseconds since 1970 (common practice: 1e11 s lies in the year 5138).
const MILLIS_FROM: i64 = 100_000_000_000;
const MICROS_FROM: i64 = 100_000_000_000_000;
const NANOS_FROM: i64 = 100_000_000_000_000_000;

/// Whole numbers below this are no seconds since 1970 (they would lie before 1973).
const SECONDS_FROM: i64 = 100_000_000;

/// The time prefix of a line, and its length with all that separates it from the rest.
///
/// Read are seconds since 1970 with decimals, milli-, micro- and nanoseconds, RFC 3339 and its kin (`T` or a blank,
/// an offset or none: then UTC), the time of day; each bare or in brackets, followed by blanks, tabs, `,`, `;` or `:`.
pub(super) fn prefix(line: &[u8]) -> Option<(Stamp, usize)> {
    prefix_after(line, &mut Minute::default())
}

/// As [`prefix`], of a line that may be stamped in the same minute as one before.
pub(super) fn prefix_after(line: &[u8], minute: &mut Minute) -> Option<(Stamp, usize)> {
    if let Some(found) = usual_prefix(line, minute).or_else(|| bracketed_seconds(line)) {
        return Some(found);
    }
    let mut scan = Scan { rest: line };
    scan.skip(|byte| matches!(byte, b' ' | b'\t'));
    let close = match scan.peek() {
        Some(b'(') => b')',
        Some(b'[') => b']',
        Some(b'{') => b'}',
        Some(b'<') => b'>',
        Some(b'"') => b'"',
        _ => 0,
    };
    if close != 0 {
        scan.skip_one();
        scan.skip(|byte| byte == b' ');
    }
    // So many digits in a row are no date and no time of day.
    let is_number = scan.rest.first_chunk::<9>().is_some_and(|nine| nine.iter().all(u8::is_ascii_digit));
    let dated = if is_number { None } else { scan.date_time().or_else(|| scan.time_of_day()) };
    let stamp = dated.or_else(|| scan.number())?;
    if close != 0 {
        scan.skip(|byte| byte == b' ');
        if !scan.take(close) {
            return None;
        }
    }
    let before = scan.rest.len();
    scan.skip(|byte| matches!(byte, b' ' | b'\t' | b',' | b';' | b':'));
    let separated =
        close != 0 || scan.rest.len() < before || matches!(scan.peek(), Some(b'$' | b'!' | b'\\') | None);
    separated.then(|| (stamp, line.len() - scan.rest.len()))
}

/// The minute of a line in the usual form, so that it is not worked out for every line that bears it.
#[derive(Debug, Default)]
pub(super) struct Minute {
    /// `2026-01-31T12:34`; zeros before the first.
    text: [u8; 16],
    /// Microseconds since 1970.
    begins: i64,
}

impl Minute {
    fn of(&mut self, text: &[u8; 16]) -> Option<i64> {
        if self.text != *text {
            let [year, rest] = text.as_chunks::<8>().0 else { return None };
            let (year, rest) = (eight(year, b"0000-00-")?, eight(rest, b"00T00:00")?);
            let days = days_from_civil(two(year, 0) * 100 + two(year, 2), two(year, 5), two(rest, 0))?;
            let in_day = of_day(two(rest, 3), two(rest, 6), 0, 0)?;
            *self = Self { text: *text, begins: days.checked_mul(DAY_US)?.checked_add(in_day)? };
        }
        Some(self.begins)
    }
}

/// As [`prefix`], of the form that most loggers write: RFC 3339 with milliseconds, in UTC.
fn usual_prefix(line: &[u8], minute: &mut Minute) -> Option<(Stamp, usize)> {
    const LENGTH: usize = 25;
    let (head, rest) = line.split_first_chunk::<LENGTH>()?;
    let (text, [end @ .., b' ']) = head.split_first_chunk::<16>()? else { return None };
    let end = eight(end.first_chunk()?, b":00.000Z")?;
    let micros = (two(end, 4) * 10 + i64::from(end[6])) * 1000;
    let moment = minute.of(text)?.checked_add(of_day(0, 0, two(end, 1), micros)?)?;
    let blanks = rest.iter().take_while(|byte| matches!(byte, b' ' | b'\t' | b',' | b';' | b':')).count();
    Some((Stamp::Moment(moment), LENGTH + blanks))
}

/// The digits of eight characters of this form, in which 0 stands for any digit and every other character for itself;
/// `None` when they are of another form. Eight characters are looked at at once.
fn eight(text: &[u8; 8], form: &[u8; 8]) -> Option<[u8; 8]> {
    const HIGH: u64 = 0x8080_8080_8080_8080;
    let digits = u64::from_le_bytes(*text) ^ u64::from_le_bytes(*form);
    // A difference of more than 9 carries into the high bit, or has it; where no digit belongs, of more than 0.
    let most = form.map(|byte| if byte == b'0' { 0x7F - 9 } else { 0x7F });
    let over = (digits & !HIGH).wrapping_add(u64::from_le_bytes(most)) | digits;
    (over & HIGH == 0).then(|| digits.to_le_bytes())
}

/// Two digits in a row as a number.
fn two(digits: [u8; 8], at: usize) -> i64 {
    let digit = |at: usize| digits.get(at).map_or(0, |digit| i64::from(*digit));
    digit(at) * 10 + digit(at + 1)
}

/// As [`prefix`], of the form that CAN loggers write: seconds since 1970 with microseconds, in round brackets.
fn bracketed_seconds(line: &[u8]) -> Option<(Stamp, usize)> {
    const LENGTH: usize = 19;
    let (head, rest) = line.split_first_chunk::<LENGTH>()?;
    let [b'(', seconds @ .., b')'] = head else { return None };
    let (seconds, micros) = seconds.split_first_chunk::<10>()?;
    let [b'.', micros @ ..] = micros else { return None };
    // With a zero in front it may be no time since 1970: the long way tells.
    if seconds.first() == Some(&b'0') {
        return None;
    }
    let micros = whole(seconds)?.checked_mul(1_000_000)?.checked_add(whole(micros)?)?;
    let blanks = rest.iter().take_while(|byte| matches!(byte, b' ' | b'\t' | b',' | b';' | b':')).count();
    Some((Stamp::Moment(micros), LENGTH + blanks))
}

/// A whole number of seconds or milliseconds since 1970, as in TAG blocks, in microseconds: decided by its size.
pub(super) fn epoch(number: i64) -> i64 {
    match number {
        NANOS_FROM.. => number / 1000,
        MICROS_FROM.. => number,
        MILLIS_FROM.. => number.saturating_mul(1000),
        _ => number.saturating_mul(1_000_000),
    }
}

/// A number that [`epoch`] or a prefix reads as a moment, shifted by microseconds in its own unit; `None` for one that is
/// no moment.
pub(super) fn shifted(number: i64, shift_us: i64) -> Option<i64> {
    let shift = match number {
        NANOS_FROM.. => shift_us.saturating_mul(1000),
        MICROS_FROM.. => shift_us,
        MILLIS_FROM.. => shift_us / 1000,
        SECONDS_FROM.. => shift_us / 1_000_000,
        _ => return None,
    };
    Some(number.saturating_add(shift))
}

/// Microseconds of a day from `hh`, `mm`, `ss` and the decimals of the second; second 60 is a leap second.
pub(super) fn of_day(hours: i64, minutes: i64, seconds: i64, micros: i64) -> Option<i64> {
    let possible = (0..24).contains(&hours) && (0..60).contains(&minutes) && (0..=60).contains(&seconds);
    possible.then_some(((hours * 60 + minutes) * 60 + seconds) * 1_000_000 + micros)
}

/// Up to six decimals of a second in microseconds; further ones are cut off.
pub(super) fn decimals(digits: &[u8]) -> i64 {
    let six =
        digits.iter().map(|byte| i64::from(byte.wrapping_sub(b'0') % 10)).chain(std::iter::repeat(0)).take(6);
    six.fold(0, |sum, digit| sum * 10 + digit)
}

/// The value of some digits; `None` for none, other characters, or more than 64 bits.
pub(super) fn whole(digits: &[u8]) -> Option<i64> {
    let mut value = digits.first().map(|_| 0i64)?;
    for byte in digits {
        let digit = byte.is_ascii_digit().then(|| i64::from(byte - b'0'))?;
        value = value.checked_mul(10)?.checked_add(digit)?;
    }
    Some(value)
}

/// A walk over a line. Each reader leaves it where it was when it finds nothing.
struct Scan<'a> {
    rest: &'a [u8],
}

impl<'a> Scan<'a> {
    fn peek(&self) -> Option<u8> {
        self.rest.first().copied()
    }

    fn skip_one(&mut self) {
        self.rest = self.rest.get(1..).unwrap_or_default();
    }

    fn skip(&mut self, which: impl Fn(u8) -> bool) {
        while self.peek().is_some_and(&which) {
            self.skip_one();
        }
    }

    fn take(&mut self, byte: u8) -> bool {
        let there = self.peek() == Some(byte);
        if there {
            self.skip_one();
        }
        there
    }

    fn digits(&mut self) -> &'a [u8] {
        let n = self.rest.iter().take_while(|byte| byte.is_ascii_digit()).count();
        let (digits, rest) = self.rest.split_at_checked(n).unwrap_or((&[], self.rest));
        self.rest = rest;
        digits
    }

    /// A number of at most so many digits; further digits stay.
    fn few(&mut self, most: usize) -> Option<i64> {
        let digits = self.rest.get(..most.min(self.rest.len()))?;
        let n = digits.iter().take_while(|byte| byte.is_ascii_digit()).count();
        let value = whole(digits.get(..n)?)?;
        self.rest = self.rest.get(n..)?;
        Some(value)
    }

    fn fraction(&mut self) -> i64 {
        let before = self.rest;
        if self.take(b'.') || self.take(b',') {
            let digits = self.digits();
            if !digits.is_empty() {
                return decimals(digits);
            }
        }
        self.rest = before;
        0
    }

    fn attempt<T>(&mut self, read: impl FnOnce(&mut Self) -> Option<T>) -> Option<T> {
        let before = self.rest;
        let found = read(self);
        if found.is_none() {
            self.rest = before;
        }
        found
    }

    /// `2026-01-31T12:34:56.789Z` and its kin; also `20260131T123456Z`.
    fn date_time(&mut self) -> Option<Stamp> {
        self.attempt(|scan| {
            let year = scan.few(4)?;
            let dash = scan.peek().filter(|byte| matches!(byte, b'-' | b'/'));
            let part = |scan: &mut Self| match dash {
                Some(dash) => scan.take(dash).then(|| scan.few(2))?,
                None => scan.few(2),
            };
            let (month, day) = (part(scan)?, part(scan)?);
            let days = days_from_civil(year, month, day)?;
            if !(scan.take(b'T')
                || scan.take(b't')
                || (dash.is_some() && (scan.take(b' ') || scan.take(b'_'))))
            {
                return None;
            }
            let in_day = if dash.is_some() { scan.clock()? } else { scan.compact_clock()? };
            let offset = scan.offset();
            Some(Stamp::Moment(days.checked_mul(DAY_US)?.checked_add(in_day)?.checked_sub(offset)?))
        })
    }

    fn time_of_day(&mut self) -> Option<Stamp> {
        self.attempt(Self::clock).map(|in_day| {
            let _utc = self.take(b'Z');
            Stamp::OfDay(in_day)
        })
    }

    fn clock(&mut self) -> Option<i64> {
        let hours = self.few(2)?;
        let minutes = self.take(b':').then(|| self.few(2))??;
        let seconds = self.take(b':').then(|| self.few(2))??;
        of_day(hours, minutes, seconds, self.fraction())
    }

    fn compact_clock(&mut self) -> Option<i64> {
        let (hours, minutes, seconds) = (self.few(2)?, self.few(2)?, self.few(2)?);
        of_day(hours, minutes, seconds, self.fraction())
    }

    /// `Z`, `+02:00`, `+0200`, `+02` or nothing, in microseconds east.
    fn offset(&mut self) -> i64 {
        if self.take(b'Z') || self.take(b'z') {
            return 0;
        }
        self.attempt(|scan| {
            let sign = match (scan.take(b'+'), scan.take(b'-')) {
                (true, _) => 1,
                (_, true) => -1,
                _ => return None,
            };
            let hours = scan.few(2)?;
            let _colon = scan.take(b':');
            let minutes = scan.few(2).unwrap_or(0);
            of_day(hours, minutes, 0, 0).map(|micros| sign * micros)
        })
        .unwrap_or(0)
    }

    fn number(&mut self) -> Option<Stamp> {
        self.attempt(|scan| {
            let number = whole(scan.digits())?;
            let before = scan.rest;
            if scan.take(b'.') {
                let digits = scan.digits();
                if digits.is_empty() {
                    scan.rest = before;
                    return None;
                }
                // A fraction of a millisecond counts as well.
                let fraction = decimals(digits);
                let fraction = if number >= MILLIS_FROM { fraction / 1000 } else { fraction };
                return Some(Stamp::Moment(epoch(number).saturating_add(fraction)));
            }
            Some(if number < SECONDS_FROM { Stamp::Count } else { Stamp::Moment(epoch(number)) })
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// 2026-01-01 12:34:56.5 UTC (fact sheet on TAG blocks: 1767270896500 ms).
    const NOON: i64 = 1_767_270_896_500_000;

    #[test]
    fn the_short_ways_agree_with_the_long_one() {
        for line in [
            "(1772051516.000123) can0 09F80224#01",
            "(1772051516.000123),;\t x",
            "(9999999999.999999)",
            "2026-05-09T06:30:00.035Z $HCHDG",
        ] {
            let short = prefix(line.as_bytes()).unwrap();
            // A blank in front sends it the long way.
            let (stamp, length) = prefix(format!(" {line}").as_bytes()).unwrap();
            assert_eq!((short.0, short.1 + 1), (stamp, length), "{line}");
        }
        for line in ["(0772051516.000123) x", "(177205151x.000123) x", "(1772051516.00012) x", "(1772051516"]
        {
            assert_eq!(bracketed_seconds(line.as_bytes()), None, "{line}");
        }
    }

    #[test]
    fn moments_in_every_dress() {
        for text in [
            "1767270896.5 $",
            "(1767270896.500000) can0",
            "1767270896500,$",
            "[1767270896500] $",
            "1767270896500000 $",
            "1767270896500000000\t$",
            "1767270896500.0;$",
            "2026-01-01T12:34:56.5Z $",
            "2026-01-01T12:34:56.500Z: $",
            "2026-01-01 12:34:56,5 $",
            "2026/01/01 12:34:56.5 $",
            "[2026-01-01 14:34:56.5+02:00] $",
            "2026-01-01T07:04:56.5-0530,$",
            "2026-01-01T13:34:56.5+01;$",
            "20260101T123456.5Z $",
            "<1767270896.5>$",
            "1767270896.5$GP",
        ] {
            let (stamp, length) = prefix(text.as_bytes()).unwrap_or_else(|| panic!("{text}"));
            assert_eq!(stamp, Stamp::Moment(NOON), "{text}");
            assert!(text[length..].starts_with('$') || text[length..].starts_with("can0"), "{text}");
        }
    }

    #[test]
    fn times_of_day_and_counts() {
        assert_eq!(prefix(b"20:18:25.504 R 19"), Some((Stamp::OfDay(73_105_504_000), 13)));
        assert_eq!(prefix(b"(1:02:03)$"), Some((Stamp::OfDay(3_723_000_000), 9)));
        assert_eq!(prefix(b"12: $GP"), Some((Stamp::Count, 4)));
        assert_eq!(prefix(b"0.250000 $GP"), Some((Stamp::Moment(250_000), 9)));
    }

    #[test]
    fn what_is_no_time() {
        for text in ["$GPRMC", "25:00:00 x", "12:61:00 x", "(12.5 x", "abc", "", "09F80102 36", "(", "-5 $"] {
            let found = prefix(text.as_bytes());
            assert!(matches!(found, None | Some((Stamp::Count, _))), "{text}: {found:?}");
        }
        // No such date: what is left of it is no time either.
        assert_eq!(prefix(b"2026-02-30T00:00:00Z $"), None);
    }

    #[test]
    fn no_prefix_panics() {
        for text in ["(1767270896.500000) ", "[2026-01-01 14:34:56.5+02:00] ", "99999999999999999999.9 $"] {
            for n in 0..=text.len() {
                let _ = prefix(&text.as_bytes()[..n]);
            }
        }
    }
}
