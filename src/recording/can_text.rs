//! A CAN frame in one line of text, without its time: the SocketCAN log form and free forms.

use super::{CanFrame, CanKind, stamp};

/// What a line is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum CanText<'a> {
    /// A frame, with the interface when the line names one.
    Frame(CanFrame, Option<&'a str>),
    /// The beginning of a frame: cut in the identifier or in a byte, or shorter than the length it names.
    Incomplete,
    /// Something else.
    Other,
}

/// The frame in a line of text that something else carried (a datagram, a stream), whatever time stands in front.
#[must_use]
pub fn can_line(line: &[u8]) -> Option<CanFrame> {
    let start = stamp::prefix(line).map_or(0, |(_, len)| len);
    match parse(line.get(start..)?, start > 0) {
        CanText::Frame(frame, _) => Some(frame),
        CanText::Incomplete | CanText::Other => None,
    }
}

/// Longest interface name (IFNAMSIZ of Linux is 16 with the NUL).
const MAX_NAME: usize = 15;

/// Reads a line. `timed` says that a time stood in front: then less is asked of the rest, for example no data.
///
/// Source of the log form: the SocketCAN log as written by common tools (id`#`data, `##` with a digit of flags for FD,
/// `#R` for remote frames; the number of id digits tells standard from extended; bit 29 marks controller errors).
pub(super) fn parse(line: &[u8], timed: bool) -> CanText<'_> {
    let mut tokens = Tokens { rest: line };
    let (mut name, mut direction) = (None, false);
    loop {
        let Some(token) = tokens.next() else {
            return if timed { CanText::Incomplete } else { CanText::Other };
        };
        if let Some(at) = memchr::memchr(b'#', token) {
            let (id, data) = token.split_at_checked(at).unwrap_or_default();
            return log_form(id, data.get(1..).unwrap_or_default(), tokens, name);
        }
        if let Some(id) = extended_id(token) {
            return free_form(id, CanKind::Extended, tokens, name, timed);
        }
        if let Some(id) = hex(token).filter(|&id| token.len() == 3 && id <= 0x7FF)
            && tokens.clone().next().is_some_and(|next| bracketed(next).is_some())
        {
            return free_form(id, CanKind::Standard, tokens, name, timed);
        }
        if let Some(id) = hex(token).filter(|id| token.len() == 8 && id >> 29 == 1)
            && tokens.clone().next().is_some_and(|next| bracketed(next).is_some())
        {
            return free_form(id & 0x1FFF_FFFF, CanKind::Error, tokens, name, timed);
        }
        if !direction && is_direction(token) {
            direction = true;
            tokens.skip_marks();
        } else if name.is_none()
            && let Some(text) = interface_name(token)
        {
            name = Some(text);
        } else {
            return CanText::Other;
        }
    }
}

/// `id#data`, `id##fdata`, `id#R`, then perhaps a direction letter.
fn log_form<'a>(id: &[u8], data: &[u8], mut rest: Tokens<'_>, name: Option<&'a str>) -> CanText<'a> {
    let Some(number) = hex(id).filter(|_| matches!(id.len(), 3 | 8)) else { return CanText::Other };
    if rest.next().is_some_and(|token| !is_direction(token)) || rest.next().is_some() {
        return CanText::Other;
    }
    let (kind, number) = match id.len() {
        3 if number <= 0x7FF => (CanKind::Standard, number),
        3 => return CanText::Other,
        _ if number & 0x2000_0000 != 0 => (CanKind::Error, number & 0x1FFF_FFFF),
        _ => (CanKind::Extended, number & 0x1FFF_FFFF),
    };
    if let Some(b'R' | b'r') = data.first() {
        return CanText::Frame(CanFrame::new(number, CanKind::Remote, &[]), name);
    }
    let (fd, data) = match data {
        [b'#', flags, data @ ..] if flags.is_ascii_hexdigit() => (true, data),
        [b'#'] => return CanText::Incomplete,
        [b'#', ..] => return CanText::Other,
        data => (false, data),
    };
    // A raw length code may follow: `_F`.
    let data = match data {
        [data @ .., b'_', code] if code.is_ascii_hexdigit() => data,
        data => data,
    };
    let mut bytes = Bytes::new(if fd { 64 } else { 8 });
    match bytes.add(data) {
        Added::All => CanText::Frame(CanFrame { fd, ..CanFrame::new(number, kind, bytes.got()) }, name),
        Added::Half => CanText::Incomplete,
        Added::No => CanText::Other,
    }
}

/// Bytes behind an identifier, joined or separated, perhaps with a length in front.
fn free_form<'a>(
    id: u32,
    kind: CanKind,
    mut tokens: Tokens<'_>,
    name: Option<&'a str>,
    timed: bool,
) -> CanText<'a> {
    let mut length = None;
    let mut bytes = Bytes::new(8);
    let mut direction = false;
    while let Some(token) = tokens.next() {
        if length.is_some_and(|length| bytes.len >= length) {
            // What follows the bytes is a comment of the recorder (the bytes as characters, mostly).
            break;
        }
        if bytes.len == 0 && length.is_none() {
            let single = match token {
                &[digit @ b'0'..=b'8'] => Some(usize::from(digit - b'0')),
                _ => None,
            };
            if let Some(number) = bracketed(token).or(single) {
                length = Some(number);
                bytes.most = number.max(8);
                continue;
            }
            // A direction, then perhaps `d` for a data frame.
            if (!direction && is_direction(token)) || token == b"d" {
                direction = true;
                continue;
            }
        }
        let last = tokens.clone().next().is_none();
        match bytes.add(token.strip_prefix(b"0x").unwrap_or(token)) {
            Added::All => {}
            Added::Half if last => return CanText::Incomplete,
            Added::Half | Added::No => return CanText::Other,
        }
    }
    match length {
        Some(length) if bytes.len < length => CanText::Incomplete,
        None if bytes.len == 0 && !timed => CanText::Other,
        length => {
            let got = bytes.got();
            let data = got.get(..length.unwrap_or(got.len())).unwrap_or(got);
            CanText::Frame(CanFrame { fd: data.len() > 8, ..CanFrame::new(id, kind, data) }, name)
        }
    }
}

/// Data bytes being gathered.
struct Bytes {
    bytes: [u8; 64],
    len: usize,
    most: usize,
}

/// How the characters of a token went into [`Bytes`].
enum Added {
    All,
    /// All but a lone last digit.
    Half,
    No,
}

impl Bytes {
    fn new(most: usize) -> Self {
        Self { bytes: [0; 64], len: 0, most }
    }

    fn got(&self) -> &[u8] {
        self.bytes.get(..self.len).unwrap_or_default()
    }

    /// Adds pairs of hex digits, perhaps with `.` or `-` between them.
    fn add(&mut self, mut text: &[u8]) -> Added {
        while let [high, rest @ ..] = text {
            if matches!(high, b'.' | b'-') && self.len > 0 {
                text = rest;
                continue;
            }
            let Some(high) = digit(*high) else { return Added::No };
            let [low, rest @ ..] = rest else { return Added::Half };
            let Some(low) = digit(*low) else { return Added::No };
            if self.len >= self.most {
                return Added::No;
            }
            let Some(slot) = self.bytes.get_mut(self.len) else { return Added::No };
            *slot = high << 4 | low;
            self.len += 1;
            text = rest;
        }
        Added::All
    }
}

/// The value of a hex digit.
#[must_use]
pub fn digit(byte: u8) -> Option<u8> {
    DIGITS.get(usize::from(byte)).copied().filter(|value| *value < 16)
}

/// The value of each hexadecimal digit; 16 for what is none.
static DIGITS: [u8; 256] = digits();

const fn digits() -> [u8; 256] {
    let (mut digits, mut value) = ([16; 256], 0);
    #[expect(clippy::indexing_slicing, reason = "compile time; every index is below the length")]
    while value < 16 {
        digits[b"0123456789abcdef"[value] as usize] = value as u8;
        digits[b"0123456789ABCDEF"[value] as usize] = value as u8;
        value += 1;
    }
    digits
}

/// The value of up to 8 hex digits and nothing else.
fn hex(text: &[u8]) -> Option<u32> {
    if text.is_empty() || text.len() > 8 {
        return None;
    }
    text.iter().try_fold(0u32, |sum, &byte| Some(sum << 4 | u32::from(digit(byte)?)))
}

/// A 29-bit identifier: 8 hex digits, perhaps behind `0x`, or 4 to 8 in front of an `x`. Bit 31 may mark it as extended.
fn extended_id(token: &[u8]) -> Option<u32> {
    let bare = token.strip_prefix(b"0x").or_else(|| token.strip_prefix(b"0X")).unwrap_or(token);
    let marked = bare.strip_suffix(b"x").or_else(|| bare.strip_suffix(b"X"));
    let digits = marked.unwrap_or(bare);
    let least = if marked.is_some() { 4 } else { 8 };
    let id = hex(digits).filter(|_| digits.len() >= least)?;
    matches!(id >> 29, 0 | 4).then_some(id & 0x1FFF_FFFF)
}

/// `[8]`.
pub(super) fn bracketed(token: &[u8]) -> Option<usize> {
    let digits = token.strip_prefix(b"[")?.strip_suffix(b"]")?;
    let number = std::str::from_utf8(digits).ok()?.parse().ok()?;
    (number <= 64).then_some(number)
}

/// Whether a word says which way a frame went.
#[must_use]
pub fn is_direction(token: &[u8]) -> bool {
    matches!(token, b"R" | b"T" | b"r" | b"t" | b"Rx" | b"Tx" | b"RX" | b"TX" | b"rx" | b"tx")
}

fn interface_name(token: &[u8]) -> Option<&str> {
    let fits = token.len() <= MAX_NAME
        && token.first().is_some_and(u8::is_ascii_alphanumeric)
        && token
            .iter()
            .all(|&byte| byte.is_ascii_alphanumeric() || matches!(byte, b'_' | b'-' | b'.' | b':'));
    // A number alone is a channel, and those are small.
    let number = token.iter().all(u8::is_ascii_digit) && token.len() > 2;
    std::str::from_utf8(token).ok().filter(|_| fits && !number)
}

/// Whether a byte stands between the words of a line.
pub(super) const fn separates(byte: &u8) -> bool {
    matches!(byte, b' ' | b'\t' | b',' | b';')
}

/// The words of a line.
#[derive(Clone)]
struct Tokens<'a> {
    rest: &'a [u8],
}

impl Tokens<'_> {
    /// Passes over what some tools write behind the direction: whether the rate was switched, and who was error passive; `-` for not.
    fn skip_marks(&mut self) {
        let mut marks = self.clone();
        let is_mark =
            |token: Option<&[u8]>, letter: u8| token.is_some_and(|token| token == b"-" || token == [letter]);
        if is_mark(marks.next(), b'B') && is_mark(marks.next(), b'E') {
            *self = marks;
        }
    }
}

impl<'a> Iterator for Tokens<'a> {
    type Item = &'a [u8];

    fn next(&mut self) -> Option<&'a [u8]> {
        let start = self.rest.iter().position(|byte| !separates(byte))?;
        let rest = self.rest.get(start..)?;
        let end = rest.iter().position(separates).unwrap_or(rest.len());
        let (token, rest) = rest.split_at_checked(end)?;
        self.rest = rest;
        Some(token)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const DATA: [u8; 8] = [0x36, 0x72, 0x9A, 0x16, 2, 0x1A, 0xB8, 0x0D];

    #[test]
    fn one_frame_in_many_forms() {
        for (line, name) in [
            ("can0 09F80102#36729A16021AB80D", Some("can0")),
            ("can0 09F80102#36729A16021AB80D R", Some("can0")),
            ("can0 09f80102#36.72.9a.16.02.1a.b8.0d", Some("can0")),
            ("R 09F80102 36 72 9A 16 02 1A B8 0D", None),
            ("09F80102 36 72 9A 16 02 1A B8 0D", None),
            ("T 0x09F80102 36729A16 021AB80D", None),
            ("slcan0 09F80102 [8] 36 72 9A 16 02 1A B8 0D", Some("slcan0")),
            ("can1  09F80102   [8]  36 72 9A 16 02 1A B8 0D   '6r......'", Some("can1")),
            ("1 9F80102x Rx d 8 36 72 9A 16 02 1A B8 0D", Some("1")),
            ("can0,09F80102,8,36,72,9A,16,02,1A,B8,0D", Some("can0")),
            ("89F80102 36.72.9A.16.02.1A.B8.0D", None),
            ("can0  RX - -  09F80102   [8]  36 72 9A 16 02 1A B8 0D", Some("can0")),
            ("can0  TX B -  09F80102   [8]  36 72 9A 16 02 1A B8 0D", Some("can0")),
            ("Rx can0 09F80102 0x36 0x72 0x9A 0x16 0x02 0x1A 0xB8 0x0D", Some("can0")),
        ] {
            let want = CanFrame::new(0x09F8_0102, CanKind::Extended, &DATA);
            assert_eq!(parse(line.as_bytes(), false), CanText::Frame(want, name), "{line}");
        }
    }

    #[test]
    fn other_kinds_in_the_log_form() {
        let frame = |line: &'static str| match parse(line.as_bytes(), true) {
            CanText::Frame(frame, _) => frame,
            other => panic!("{line}: {other:?}"),
        };
        assert_eq!(frame("can0 123#0102"), CanFrame::new(0x123, CanKind::Standard, &[1, 2]));
        assert_eq!(frame("can0 123#R4"), CanFrame::new(0x123, CanKind::Remote, &[]));
        assert_eq!(frame("can0 20000080#0000000000000000"), CanFrame::new(0x80, CanKind::Error, &[0; 8]));
        assert_eq!(frame("can0 20000080#"), CanFrame::new(0x80, CanKind::Error, &[]));
        let fd = frame("can1 1ABCDEF0##1000102030405060708090A0B");
        assert_eq!(
            (fd.fd, fd.id, fd.data()),
            (true, 0x1ABC_DEF0, &[0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11][..])
        );
        assert_eq!(frame("can0 09F80102#3672_F").len, 2);
        assert_eq!(frame("can0 123 [2] 01 02").kind, CanKind::Standard);
    }

    #[test]
    fn error_messages_in_columns() {
        for (line, most) in [
            ("can0  20000080   [8]  00 00 00 00 00 00 82 07   ERRORFRAME", 7),
            ("can0  RX - -  20000080   [8]  00 00 00 00 00 00 82 07", 7),
        ] {
            let want = CanFrame::new(0x80, CanKind::Error, &[0, 0, 0, 0, 0, 0, 0x82, most]);
            assert_eq!(parse(line.as_bytes(), false), CanText::Frame(want, Some("can0")), "{line}");
        }
        assert_eq!(parse(b"20000080 boats", false), CanText::Other);
    }

    #[test]
    fn cut_lines_are_incomplete() {
        for line in [
            "can0 09F80102#36729A1",
            "can0",
            "R 09F801",
            "R 09F80102 36 7",
            "09F80102 [8] 36 72",
            "can0 1ABCDEF0##",
        ] {
            assert_eq!(parse(line.as_bytes(), true), CanText::Incomplete, "{line}");
        }
    }

    #[test]
    fn prose_and_sentences_are_no_frames() {
        for line in [
            "deadbeef cafe",
            "the 12345678 boats",
            "$GPRMC,163059.00,A",
            "Serial 12345678",
            "12345678",
            "section #12: wiring",
            "09F80102 36 72 9A 16 02 1A B8 0D 0E",
            "can0 800#01",
            "begin of log 09F80102 12",
            "date Mon Jan 1",
            "",
        ] {
            assert_eq!(parse(line.as_bytes(), false), CanText::Other, "{line}");
        }
    }

    #[test]
    fn no_cut_panics() {
        let line = b"Rx can0 0x09F80102x [8] 36.72 9A-16 02 1A B8 0D '..'";
        for n in 0..line.len() {
            let _ = parse(&line[..n], n % 2 == 0);
        }
    }
}
