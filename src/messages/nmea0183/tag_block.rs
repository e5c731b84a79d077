//! TAG blocks: what stands between two backslashes in front of a sentence.
//!
//! Source: NMEA 0183 v4 clause 7, IEC 61162-450 clause 7.

use super::framed::Checksum;
use crate::time::Time;
use memchr::memchr;

/// Times above this are milliseconds, others seconds (common practice; 1e11 s lies in the year 5138).
const SECONDS_END: i64 = 100_000_000_000;

/// A line's place in a group of lines that belong together.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Group {
    /// Place in the group, from 1.
    pub number: u32,
    /// Lines in the group.
    pub total: u32,
    /// What the group's lines have in common.
    pub id: u32,
}

/// A TAG block, borrowed from its line.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct TagBlock<'a> {
    text: &'a str,
    checksum: Checksum,
}

impl<'a> TagBlock<'a> {
    /// Splits a line that begins with a TAG block into the block and what follows.
    ///
    /// `None` when there is no whole block: no `\` at the start, none at the end, or bytes outside 0x20 to 0x7E.
    #[must_use]
    pub fn split(line: &'a [u8]) -> Option<(Self, &'a [u8])> {
        let inner = line.strip_prefix(b"\\")?;
        let end = memchr(b'\\', inner)?;
        let (block, rest) = (inner.get(..end)?, inner.get(end + 1..)?);
        if !block.iter().all(|b| (0x20..=0x7E).contains(b)) {
            return None;
        }
        let text = str::from_utf8(block).ok()?;
        let (text, checksum) = match text.split_once('*') {
            None => (text, Checksum::Absent),
            Some((text, digits)) => {
                let computed = text.bytes().fold(0, |sum, b| sum ^ b);
                (text, Checksum::compare(digits.as_bytes(), computed)?)
            }
        };
        Some((Self { text, checksum }, rest))
    }

    /// What the block's own checksum says.
    #[must_use]
    pub const fn checksum(&self) -> Checksum {
        self.checksum
    }

    /// The value of the parameter with this code, as it stands there.
    #[must_use]
    pub fn parameter(&self, code: &str) -> Option<&'a str> {
        self.text.split(',').find_map(|p| p.strip_prefix(code)?.strip_prefix(':'))
    }

    /// `c`: UTC, given in seconds or milliseconds since 1970.
    #[must_use]
    pub fn time(&self) -> Option<Time> {
        let value: i64 = self.parameter("c")?.parse().ok()?;
        Some(if value > SECONDS_END { Time(value.saturating_mul(1000)) } else { Time::from_parts(value, 0) })
    }

    /// `r`: relative time; the sender chooses the unit.
    #[must_use]
    pub fn relative_time(&self) -> Option<i64> {
        self.parameter("r")?.parse().ok()
    }

    /// `s`: source; in IEC 61162-450 the sender's system function id.
    #[must_use]
    pub fn source(&self) -> Option<&'a str> {
        self.parameter("s")
    }

    /// `d`: destination.
    #[must_use]
    pub fn destination(&self) -> Option<&'a str> {
        self.parameter("d")
    }

    /// `g`: grouping, `number-total-id`.
    #[must_use]
    pub fn group(&self) -> Option<Group> {
        let mut parts = self.parameter("g")?.split('-').map(str::parse);
        let group =
            Group { number: parts.next()?.ok()?, total: parts.next()?.ok()?, id: parts.next()?.ok()? };
        parts.next().is_none().then_some(group)
    }

    /// `n`: the sender's line count; wraps, at 999 in IEC 61162-450.
    #[must_use]
    pub fn line_count(&self) -> Option<u32> {
        self.parameter("n")?.parse().ok()
    }

    /// `t`: free text.
    #[must_use]
    pub fn text(&self) -> Option<&'a str> {
        self.parameter("t")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn reads_every_parameter() {
        let line = b"\\s:SD0001,d:NV0001,n:125,g:1-2-34,r:77,t:hello there\\$SDDPT";
        let (tag, rest) = TagBlock::split(line).unwrap();
        assert_eq!(rest, b"$SDDPT");
        assert_eq!((tag.source(), tag.destination()), (Some("SD0001"), Some("NV0001")));
        assert_eq!((tag.line_count(), tag.relative_time()), (Some(125), Some(77)));
        assert_eq!(tag.group(), Some(Group { number: 1, total: 2, id: 34 }));
        assert_eq!((tag.text(), tag.time()), (Some("hello there"), None));
        assert_eq!(tag.checksum(), Checksum::Absent);
    }

    #[test]
    fn survives_damage() {
        let line = b"\\s:SD0001,n:125*12\\$SDDPT";
        let bad = Checksum::Bad { said: 0x12, computed: 0x11 };
        assert_eq!(TagBlock::split(line).map(|(tag, _)| tag.checksum()), Some(bad));
        for end in 0..19 {
            assert!(TagBlock::split(&line[..end]).is_none(), "cut at {end}");
        }
        assert!(TagBlock::split(b"\\s:SD\x01\\").is_none());
        let (tag, _) = TagBlock::split(b"\\c:99999999999999999999,g:1-2,n:-4\\").unwrap();
        assert_eq!((tag.time(), tag.group(), tag.line_count()), (None, None, None));
        let (tag, _) = TagBlock::split(b"\\c:9223372036854775807\\").unwrap();
        assert_eq!(tag.time(), Some(Time(i64::MAX)));
    }
}
