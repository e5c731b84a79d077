//! The parts of a line of a text log, for whoever writes the line anew.

use super::can_text::{bracketed, is_direction, separates};
use super::line_text::{What, recognise, tagged_time};
use super::{CanFrame, CanKind, stamp};
use crate::time::{DAY_US, civil, days_from_civil};
use std::ops::Range;

/// What a line is.
#[derive(Debug, Clone, PartialEq)]
pub enum LineKind {
    /// A sentence, TAG blocks included, from this offset on.
    Sentence(usize),
    /// A TAG block alone, from this offset on.
    TagBlock(usize),
    /// A CAN frame, and where the line names the interface.
    Can(CanFrame, Option<Range<usize>>),
    /// The beginning of a CAN frame.
    Incomplete,
    /// A sentence that lost its beginning, from this offset on.
    Tail(usize),
    /// A comment of the recorder.
    Comment,
    /// Nothing of the kind.
    Other,
}

/// The parts of a line.
#[derive(Debug, Clone, PartialEq)]
pub struct LineParts {
    /// Length of the time in front with all that separates it from the rest; 0 when there is none.
    pub stamp: usize,
    /// What the line is.
    pub kind: LineKind,
}

/// Takes a line (without its end) apart, exactly as a text log is read.
#[must_use]
pub fn split_line(line: &[u8]) -> LineParts {
    if let [b'$' | b'!', ..] = line {
        return LineParts { stamp: 0, kind: LineKind::Sentence(0) };
    }
    let (time, what) = recognise(line);
    let prefix = || stamp_length(line);
    let (stamp, kind) = match what {
        What::Sentence(at) => (prefix().min(at), LineKind::Sentence(at)),
        What::TagBlock => {
            let at = line.iter().position(|byte| *byte == b'\\').unwrap_or(line.len());
            (prefix().min(at), LineKind::TagBlock(at))
        }
        What::Can(frame, name) => {
            let name = name.and_then(|name| find(line, name.as_bytes()));
            (time.map_or(0, |_| prefix()), LineKind::Can(frame, name))
        }
        What::Incomplete => (prefix(), LineKind::Incomplete),
        What::Comment => (0, LineKind::Comment),
        What::Tail(at) => (prefix().min(at), LineKind::Tail(at)),
        What::Other => (prefix(), LineKind::Other),
    };
    LineParts { stamp, kind }
}

/// The length of the time in front of a line with all that separates it from the rest; 0 when there is none.
#[must_use]
pub fn stamp_length(line: &[u8]) -> usize {
    stamp::prefix(line).map_or(0, |(_, len)| len)
}

/// How a time in front of a line is written.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct StampForm {
    /// The bracket or quotation mark in front of it, else 0.
    bracket: u8,
    kind: StampKind,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
enum StampKind {
    Date,
    OfDay,
    Decimal,
    Whole,
    Tag,
}

/// The time that a line was read with.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct StampSeen {
    /// Microseconds since 1970, or since midnight.
    pub us: i64,
    /// How it is written.
    pub form: StampForm,
}

impl StampSeen {
    /// Whether it is a time of day alone.
    #[must_use]
    pub const fn is_of_day(self) -> bool {
        matches!(self.form.kind, StampKind::OfDay)
    }

    /// Whether it stands in a TAG block.
    #[must_use]
    pub const fn is_tag(self) -> bool {
        matches!(self.form.kind, StampKind::Tag)
    }
}

/// Reads the times in front of lines, most of which bear the same minute as the one before.
#[derive(Debug, Default)]
pub struct Sight(stamp::Minute);

impl Sight {
    /// The time in front of a line; `None` when there is none, or a mere count.
    pub fn stamp(&mut self, line: &[u8]) -> Option<StampSeen> {
        seen(line, stamp::prefix_after(line, &mut self.0)?.0)
    }
}

fn seen(line: &[u8], stamp: stamp::Stamp) -> Option<StampSeen> {
    let text = line.trim_ascii_start();
    let bracket = text.first().copied().filter(|byte| !byte.is_ascii_digit()).unwrap_or(0);
    let text = text.get(usize::from(bracket != 0)..)?.trim_ascii_start();
    let digits = text.iter().take_while(|byte| byte.is_ascii_digit()).count();
    let (us, kind) = match (stamp, text.get(digits)) {
        (stamp::Stamp::Count, _) => return None,
        (stamp::Stamp::OfDay(us), _) => (us, StampKind::OfDay),
        (stamp::Stamp::Moment(us), Some(b'.')) => (us, StampKind::Decimal),
        (stamp::Stamp::Moment(us), Some(b'-' | b'/' | b'T' | b't')) => (us, StampKind::Date),
        (stamp::Stamp::Moment(us), _) => (us, StampKind::Whole),
    };
    Some(StampSeen { us, form: StampForm { bracket, kind } })
}

/// The time in the TAG blocks that a line, or what stands behind the time in front of it, begins with.
#[must_use]
pub fn tag_seen(line: &[u8]) -> Option<StampSeen> {
    let us = tagged_time(line)?;
    Some(StampSeen { us, form: StampForm { bracket: 0, kind: StampKind::Tag } })
}

/// The moment that the whole number of a TAG block's time means, microseconds since 1970; `None` for one that nobody sends: a
/// number of so few digits would lie before 2001, and TAG blocks are younger (NMEA 0183 v4, 2008).
#[must_use]
pub fn tag_moment(digits: &[u8]) -> Option<i64> {
    const SHORTEST: usize = 10;
    stamp::whole(digits).filter(|_| digits.len() >= SHORTEST).map(stamp::epoch)
}

/// Blanks the time in front of a line, so that a reader finds a count there, which tells no time, and everything else where it
/// was. `clocks`: of a time of day the colons stay.
pub fn blank_stamp(prefix: &mut [u8], clocks: bool) {
    let Some(from) = prefix.iter().position(u8::is_ascii_digit) else { return };
    let Some(to) = prefix.iter().rposition(|byte| byte.is_ascii_digit() || matches!(byte, b'Z' | b'z'))
    else {
        return;
    };
    let Some(value) = prefix.get_mut(from..=to) else { return };
    if clocks && value.get(2) == Some(&b':') {
        value.iter_mut().filter(|byte| byte.is_ascii_digit()).for_each(|byte| *byte = b'0');
        return;
    }
    // Eight zeros could be the identifier of a frame; nine nines and more are a moment.
    let digit = if value.len() <= 8 { b'9' } else { b'0' };
    value.fill(digit);
}

/// Where `part`, which is lent from `line`, stands in it.
fn find(line: &[u8], part: &[u8]) -> Option<Range<usize>> {
    let from = (part.as_ptr() as usize).checked_sub(line.as_ptr() as usize)?;
    let range = from..from.checked_add(part.len())?;
    (line.get(range.clone()) == Some(part)).then_some(range)
}

/// Where the data of a frame may begin in the line that it was read from: behind the identifier. `stamp` is the length
/// of the time in front.
#[must_use]
pub fn data_begins(line: &[u8], stamp: usize, id: u32) -> Option<usize> {
    let mut at = stamp;
    loop {
        at += line.get(at..)?.iter().position(|byte| !separates(byte))?;
        let rest = line.get(at..)?;
        let end = rest.iter().position(|byte| separates(byte) || *byte == b'#').unwrap_or(rest.len());
        if rest.get(end) == Some(&b'#') {
            // Two of them and a digit of flags begin a CAN FD frame's data.
            return Some(at + end + if rest.get(end + 1) == Some(&b'#') { 3 } else { 1 });
        }
        let token = rest.get(..end)?;
        let bare = token.strip_prefix(b"0x").or_else(|| token.strip_prefix(b"0X")).unwrap_or(token);
        let bare = bare.strip_suffix(b"x").or_else(|| bare.strip_suffix(b"X")).unwrap_or(bare);
        let number = std::str::from_utf8(bare).ok().and_then(|text| u32::from_str_radix(text, 16).ok());
        if bare.len() >= 3 && number.is_some_and(|number| number & 0x1FFF_FFFF == id) {
            return Some(at + token.len());
        }
        at += token.len();
    }
}

/// Where the recorder's remark begins behind the identifier of a frame without data, in the `tail` of its line: behind the
/// length or the letter that says so, if one stands there.
#[must_use]
pub fn remark_begins(tail: &[u8], kind: CanKind) -> usize {
    if let (CanKind::Remote, [b'R' | b'r', ..]) = (kind, tail) {
        return 1;
    }
    let mut at = 0;
    for token in tail.split(separates) {
        at += token.len();
        if token == b"0" || bracketed(token) == Some(0) {
            return at;
        }
        if !(token.is_empty() || is_direction(token) || token == b"d") {
            break;
        }
        at += 1;
    }
    0
}

/// Shifts the time in front of a line by whole days. Times of day stay as they are. What cannot be shifted within its
/// digits becomes nines.
pub fn shift_stamp(prefix: &mut [u8], shift_us: i64) {
    let Some(from) = prefix.iter().position(u8::is_ascii_digit) else { return };
    let run = |from: usize, bytes: &[u8]| {
        bytes.get(from..).unwrap_or_default().iter().take_while(|byte| byte.is_ascii_digit()).count()
    };
    let len = run(from, prefix);
    let date = match (len, prefix.get(from + len)) {
        (4, Some(b'-' | b'/')) => Some([0..4, 5..7, 8..10]),
        (8, Some(b'T' | b't')) => Some([0..4, 4..6, 6..8]),
        _ => None,
    };
    match (date, prefix.get_mut(from..)) {
        (Some(parts), Some(rest)) => shift_date(rest, parts, shift_us),
        (None, Some(rest)) => shift_number(rest.get_mut(..len).unwrap_or_default(), shift_us),
        _ => {}
    }
}

fn shift_date(text: &mut [u8], parts: [Range<usize>; 3], shift_us: i64) {
    let number = |part: &Range<usize>| stamp::whole(text.get(part.clone())?);
    let [year, month, day] = &parts;
    let days = number(year)
        .zip(number(month))
        .zip(number(day))
        .and_then(|((year, month), day)| days_from_civil(year, month, day));
    let Some(days) = days else { return };
    let (year, month, day) = civil(days.saturating_add(shift_us.div_euclid(DAY_US)));
    for (part, value) in parts.into_iter().zip([year, month, day]) {
        write_number(text.get_mut(part).unwrap_or_default(), value);
    }
}

/// Gives the time in front of a line in UTC where it states an offset from it, which tells the longitude. Lengths stay.
pub fn stamp_to_utc(prefix: &mut [u8]) {
    let rest = prefix.iter().position(u8::is_ascii_digit).and_then(|from| prefix.get_mut(from..));
    // What has no such offset stays as it is.
    let _ = rest.and_then(to_utc);
}

fn to_utc(text: &mut [u8]) -> Option<()> {
    const DAY_MIN: i64 = 24 * 60;
    let extended = matches!(text.get(4), Some(b'-' | b'/'));
    let date = if extended { [0..4, 5..7, 8..10] } else { [0..4, 4..6, 6..8] };
    let hours = if extended { 11..13 } else { 9..11 };
    let minutes = hours.end + usize::from(extended)..hours.end + usize::from(extended) + 2;
    let sign = minutes.end + text.get(minutes.end..)?.iter().position(|b| matches!(b, b'+' | b'-'))?;
    let number = |part: Range<usize>| stamp::whole(text.get(part)?);
    let minutes_at = sign + 3 + usize::from(text.get(sign + 3) == Some(&b':'));
    let (east_h, east_min) = (sign + 1..sign + 3, minutes_at..minutes_at + 2);
    let offset = 60 * number(east_h.clone())? + number(east_min.clone()).unwrap_or(0);
    let offset = if text.get(sign) == Some(&b'-') { -offset } else { offset };
    let [year, month, day] = date.clone().map(number);
    let day = days_from_civil(year?, month?, day?)?;
    let moment = day * DAY_MIN + 60 * number(hours.clone())? + number(minutes.clone())? - offset;
    let (year, month, day) = civil(moment.div_euclid(DAY_MIN));
    let of_day = moment.rem_euclid(DAY_MIN);
    let [year_at, month_at, day_at] = date;
    for (part, value) in [
        (year_at, year),
        (month_at, month),
        (day_at, day),
        (hours, of_day / 60),
        (minutes, of_day % 60),
        (east_h, 0),
        (east_min, 0),
    ] {
        if let Some(digits) = text.get_mut(part).filter(|part| part.iter().all(u8::is_ascii_digit)) {
            write_number(digits, value);
        }
    }
    *text.get_mut(sign)? = b'+';
    Some(())
}

/// Shifts a whole number of seconds, milli-, micro- or nanoseconds since 1970 (its size tells which), in its digits.
pub fn shift_number(digits: &mut [u8], shift_us: i64) {
    let Some(number) = stamp::whole(digits) else { return };
    let Some(shifted) = stamp::shifted(number, shift_us) else { return };
    write_number(digits, shifted);
}

/// Writes a number over digits, with zeros in front; nines when it does not fit.
fn write_number(digits: &mut [u8], value: i64) {
    let mut rest = value.max(0);
    for digit in digits.iter_mut().rev() {
        *digit = b'0' + (rest % 10) as u8;
        rest /= 10;
    }
    if rest > 0 {
        digits.fill(b'9');
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const WEEK_US: i64 = 7 * DAY_US;

    #[test]
    fn stamps_are_shifted_in_their_own_form() {
        for (stamp, want) in [
            ("(1767270896.500123) ", "(1766666096.500123) "),
            ("1767270896500 ", "1766666096500 "),
            ("2026-01-03T12:34:56.789Z ", "2025-12-27T12:34:56.789Z "),
            ("[2026/01/03 12:34:56] ", "[2025/12/27 12:34:56] "),
            ("20260103T123456Z ", "20251227T123456Z "),
            ("12:34:56.789 ", "12:34:56.789 "),
            ("17 ", "17 "),
        ] {
            let mut bytes = stamp.as_bytes().to_vec();
            shift_stamp(&mut bytes, -WEEK_US);
            assert_eq!(String::from_utf8_lossy(&bytes), want);
        }
    }

    #[test]
    fn offsets_from_utc_are_taken_in() {
        for (stamp, want) in [
            ("2026-03-23T12:35:00.050+10:00 ", "2026-03-23T02:35:00.050+00:00 "),
            ("[2026/01/01 01:30:00-0530] ", "[2026/01/01 07:00:00+0000] "),
            ("2026-01-01T01:30:00+02 ", "2025-12-31T23:30:00+00 "),
            ("20260101T233000-01 ", "20260102T003000+00 "),
            ("2026-01-03T12:34:56.789Z ", "2026-01-03T12:34:56.789Z "),
            ("(1767270896.500123) ", "(1767270896.500123) "),
            ("12:34:56 ", "12:34:56 "),
        ] {
            let mut bytes = stamp.as_bytes().to_vec();
            stamp_to_utc(&mut bytes);
            assert_eq!(String::from_utf8_lossy(&bytes), want);
        }
    }

    #[test]
    fn the_data_of_every_form_is_found() {
        for (line, want) in [
            ("(1.5) can0 09F80102#3672 R", "3672 R"),
            ("(1.5) can1 1ABCDEF0##10001", "0001"),
            ("R 09F80102 36 72", " 36 72"),
            ("T 0x09F80102 3672", " 3672"),
            ("1 9F80102x Rx d 2 36 72", " Rx d 2 36 72"),
            ("can0,09F80102,2,36,72", ",2,36,72"),
        ] {
            let parts = split_line(line.as_bytes());
            let LineKind::Can(frame, _) = parts.kind else { panic!("{line}") };
            let at = data_begins(line.as_bytes(), parts.stamp, frame.id).unwrap();
            assert_eq!(&line[at..], want);
        }
    }
}
