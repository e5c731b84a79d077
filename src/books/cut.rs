//! What a recorder cut off the packets in which a host sends lines.

use super::bounded;
use crate::frames::whole_lines;

/// Longest sentence, its line end included (NMEA 0183 5.3): a longer rest of a datagram may hold another one.
const LONGEST_SENTENCE: usize = 82;

/// Most talkers whose sentences were cut that are told apart.
const MAX_TALKERS: usize = 16;

/// What was cut off the lines of one host.
#[derive(Debug, Clone, Default)]
pub struct CutLines {
    /// Whether anything was.
    any: bool,
    /// Whether any line may have stood behind a cut.
    anything: bool,
    /// Whether the host sends several lines in one datagram.
    several: bool,
    /// The talkers of sentences that were cut, when each datagram holds but one.
    talkers: Vec<Vec<u8>>,
}

impl CutLines {
    /// Books a datagram with several lines.
    pub fn several(&mut self) {
        self.several = true;
    }

    /// Books that a stream was cut, in which there are no borders.
    pub fn stream(&mut self) {
        self.any = true;
        self.anything = true;
    }

    /// Books a cut datagram that was `len` bytes long, `payload` of them seen.
    pub fn datagram(&mut self, payload: &[u8], len: usize) {
        if payload.ends_with(b"\r") && len == payload.len() + 1 {
            // Its line feed alone is missing.
            return;
        }
        self.any = true;
        self.several |= !whole_lines(payload).trim_ascii().is_empty();
        let told = talker_of_one(payload, len).and_then(|talker| {
            bounded::entry(&mut self.talkers, MAX_TALKERS, |t| t == talker, || talker.to_vec())
        });
        self.anything |= told.is_none();
    }

    /// Whether anything was cut.
    #[must_use]
    pub const fn any(&self) -> bool {
        self.any
    }

    /// Whether a sentence of this talker may have stood behind a cut.
    #[must_use]
    pub fn may_hold(&self, talker: &str) -> bool {
        self.any && (self.anything || self.several || self.talkers.iter().any(|t| t == talker.as_bytes()))
    }
}

/// Whose sentence a cut datagram holds, as long as it is one sentence that begins in what was seen.
fn talker_of_one(payload: &[u8], len: usize) -> Option<&[u8]> {
    let start = payload.iter().position(|b| matches!(b, b'$' | b'!'))?;
    let sentence = payload.get(start + 1..).filter(|_| len.saturating_sub(start) <= LONGEST_SENTENCE)?;
    let address = sentence.split(|b| *b == b',').next().filter(|address| address.len() < sentence.len())?;
    match address {
        [b'P', ..] => address.get(..4),
        _ => address.get(..2),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn cut(seen: &str, len: usize) -> CutLines {
        let mut cut = CutLines::default();
        cut.datagram(seen.as_bytes(), len);
        cut
    }

    #[test]
    fn one_sentence_a_datagram_hides_no_other_talker() {
        let one = cut("$GPGGA,120000.00,5430.1", 70);
        assert!(one.any() && one.may_hold("GP") && !one.may_hold("SD"));
        assert!(!CutLines::default().may_hold("GP"));
        assert!(!cut("$GPGSA,A,3,02,05,07,09,12*2C\r", 30).any());
        let own = cut("\\s:a*12\\$PGRME,15.0", 60);
        assert!(own.may_hold("PGRM") && !own.may_hold("GP"));
    }

    #[test]
    fn where_another_line_may_follow_anything_may_be_hidden() {
        for (seen, len) in [
            ("$GPGGA,120000.00,5430.1", 90),
            ("$GPG", 70),
            ("12:00:00.000 R 09F8", 60),
            ("$HCHDT,90.0,T*1A\r\n$GPGGA,120", 70),
        ] {
            assert!(cut(seen, len).may_hold("SD"), "{seen}");
        }
        let mut elsewhere = cut("$GPGGA,120000.00,5430.1", 70);
        elsewhere.several();
        assert!(elsewhere.may_hold("SD"));
        let mut stream = CutLines::default();
        stream.stream();
        assert!(stream.may_hold("SD"));
    }
}
