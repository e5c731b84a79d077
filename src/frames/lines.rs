//! Text lines inside datagrams and streams. It finds and splits them; what they say is read elsewhere.

use memchr::memchr2;

/// Longest line that is kept. A 0183 sentence has 82 characters (NMEA 0183 5.3), TAG blocks and gateways' times add
/// some; a receiver of corrections may send long proprietary ones.
pub const MAX_LINE: usize = 1024;

/// What begins a datagram of sentences (IEC 61162-450 7.2.3.3).
pub const SENTENCE_DATAGRAM: &[u8] = b"UdPbC\0";

/// Bytes at a payload's begin that tell text from other data.
const TEXT_HEAD: usize = 64;

/// Whether a payload looks like lines of sentences or of CAN frames in hex; looks at its first bytes only.
#[must_use]
pub fn looks_like_lines(payload: &[u8]) -> bool {
    begins_line(payload) && is_text(payload.strip_prefix(SENTENCE_DATAGRAM).unwrap_or(payload))
}

/// Whether three in four of the first bytes are text; a noisy line has some that are not.
fn is_text(payload: &[u8]) -> bool {
    let head = payload.get(..TEXT_HEAD).unwrap_or(payload);
    if other_than_printable(head) * 4 <= head.len() as u64 {
        return true;
    }
    let other = head.iter().filter(|b| !matches!(b, b' '..=b'~' | b'\r' | b'\n' | b'\t' | b'\0')).count();
    other * 4 <= head.len()
}

/// How many of at most [`TEXT_HEAD`] bytes are not 0x20 to 0x7E, line ends among them; eight at once.
fn other_than_printable(head: &[u8]) -> u64 {
    const ONES: u64 = 0x0101_0101_0101_0101;
    const LOW: u64 = 0x7F * ONES;
    let (eights, rest) = head.as_chunks::<8>();
    let others = eights.iter().fold(0_u64, |sum, eight| {
        let eight = u64::from_le_bytes(*eight);
        // The highest bit of each byte; no sum of lower bits carries over it.
        let printable = (eight & LOW).wrapping_add(0x60 * ONES) & !(eight & LOW).wrapping_add(ONES) & !eight;
        sum + (!printable >> 7 & ONES)
    });
    let rest = rest.iter().filter(|byte| !matches!(byte, b' '..=b'~')).count();
    // The sum of all bytes, each at most eight, stands in the highest.
    (others.wrapping_mul(ONES) >> 56) + rest as u64
}

fn begins_line(payload: &[u8]) -> bool {
    match payload.trim_ascii_start() {
        [b'$' | b'!', next, ..] => next.is_ascii_uppercase() || next.is_ascii_digit(),
        [b'\\', next, ..] => next.is_ascii_alphanumeric(),
        // A log line: (seconds) interface identifier#data.
        [b'(', next, ..] => next.is_ascii_digit(),
        // A gateway's line: hh:mm:ss.sss R identifier bytes.
        [a, b, b':', c, d, b':', ..] => [a, b, c, d].iter().all(|b| b.is_ascii_digit()),
        start => start.starts_with(SENTENCE_DATAGRAM),
    }
}

/// The lines of a datagram's payload, without line ends, empty ones left out; the last needs no end. The token of a
/// sentence datagram is taken off; TAG blocks stay.
pub fn datagram_lines(payload: &[u8]) -> impl Iterator<Item = &[u8]> {
    let mut rest = payload.strip_prefix(SENTENCE_DATAGRAM).unwrap_or(payload);
    std::iter::from_fn(move || {
        loop {
            if rest.is_empty() {
                return None;
            }
            let end = memchr2(b'\r', b'\n', rest).unwrap_or(rest.len());
            let (line, behind) = rest.split_at_checked(end)?;
            rest = behind.get(1..).unwrap_or_default();
            // A zero byte is some senders' end of text.
            let line = line.trim_ascii_end().strip_suffix(b"\0").unwrap_or(line);
            if !line.trim_ascii().is_empty() && line.len() <= MAX_LINE {
                return Some(line);
            }
        }
    })
}

/// The whole lines of a payload that a recorder cut short: its last, unfinished line is left out.
#[must_use]
pub fn whole_lines(payload: &[u8]) -> &[u8] {
    payload.get(..memchr::memrchr2(b'\r', b'\n', payload).unwrap_or(0)).unwrap_or_default()
}

/// Cuts a stream of bytes into lines.
#[derive(Debug, Default)]
pub struct LineSplitter {
    partial: Vec<u8>,
    /// Drops bytes up to the next line end.
    skipping: bool,
    /// The first line may be the rest of one.
    may_be_rest: bool,
    dropped: u64,
}

impl LineSplitter {
    /// For a stream that begins where the recording found it: its first line only counts when it looks like one.
    #[must_use]
    pub fn mid_stream() -> Self {
        Self { may_be_rest: true, ..Self::default() }
    }

    /// Takes the next bytes and gives each line that ends in them, without its end, to `line`. Empty ones are left out.
    pub fn push(&mut self, mut bytes: &[u8], mut line: impl FnMut(&[u8])) {
        while let Some(end) = memchr2(b'\r', b'\n', bytes) {
            let (head, behind) = bytes.split_at_checked(end).unwrap_or((bytes, &[]));
            bytes = behind.get(1..).unwrap_or_default();
            if self.skipping {
                self.skipping = false;
            } else if self.partial.is_empty() {
                self.give(head, &mut line);
            } else {
                let mut whole = std::mem::take(&mut self.partial);
                whole.extend_from_slice(head.get(..=MAX_LINE).unwrap_or(head));
                self.give(&whole, &mut line);
                whole.clear();
                self.partial = whole;
            }
        }
        if self.skipping {
            return;
        }
        if self.partial.len().saturating_add(bytes.len()) > MAX_LINE {
            self.partial.clear();
            self.skipping = true;
            self.may_be_rest = false;
            self.dropped = self.dropped.saturating_add(1);
        } else {
            self.partial.extend_from_slice(bytes);
        }
    }

    /// Bytes are missing here: the line that they fall into is dropped, up to its end.
    pub fn lost(&mut self) {
        self.partial.clear();
        // Where nothing had begun the next bytes may still begin a line: its looks decide.
        self.skipping = false;
        self.may_be_rest = true;
        self.dropped = self.dropped.saturating_add(1);
    }

    /// The stream is over: what is there of a last line is given as one.
    pub fn finish(&mut self, mut line: impl FnMut(&[u8])) {
        let partial = std::mem::take(&mut self.partial);
        self.give(&partial, &mut line);
    }

    /// Lines dropped because they were too long or lost their bytes.
    #[must_use]
    pub const fn dropped(&self) -> u64 {
        self.dropped
    }

    fn give(&mut self, line: &[u8], to: &mut impl FnMut(&[u8])) {
        if line.is_empty() {
            return;
        }
        let is_rest = std::mem::take(&mut self.may_be_rest) && !looks_like_lines(line);
        if line.len() > MAX_LINE {
            self.dropped = self.dropped.saturating_add(1);
        } else if !is_rest {
            to(line);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn looks() {
        let lines: [&[u8]; 8] = [
            b"$GPGGA,",
            b"!AIVDM,1",
            b"\\s:GP0001*0A\\$GPZDA",
            b"UdPbC\0\\s:GP0001*0A\\$GPZDA",
            b"17:33:21.107 R 19F51323 01 2F 30 70 00 2F 30 70\r\n",
            b"(1767270896.1) can0 09F80123#00112233",
            b"\r\n$IIHDG",
            b"$1,x",
        ];
        for line in lines {
            assert!(looks_like_lines(line), "{}", line.escape_ascii());
        }
        let others: [&[u8]; 8] = [
            b"",
            b"$",
            b"GET / HTTP/1.1",
            b"{\"a\":1}",
            b"\x16\x03\x01",
            b"RaUdP\0\0\x02",
            b"(abc)",
            b"1a:00:00 R",
        ];
        for other in others {
            assert!(!looks_like_lines(other), "{}", other.escape_ascii());
        }
    }

    #[test]
    fn data_that_begins_as_a_sentence_does_is_no_text() {
        let noise = |start: &[u8]| -> Vec<u8> {
            start
                .iter()
                .copied()
                .chain((0..200_u32).map(|i| (i.wrapping_mul(2_654_435_761) >> 13) as u8))
                .collect()
        };
        assert!(!looks_like_lines(&noise(b"$M")) && !looks_like_lines(&noise(b"\\8")));
        assert!(looks_like_lines(b"$GPGGA,1\x82\x03,\xFF,N*00\r\n"), "a noisy line");
    }

    #[test]
    fn a_cut_payload_gives_its_whole_lines() {
        assert_eq!(whole_lines(b"$A*00\r\n$B*0"), b"$A*00\r");
        assert_eq!(whole_lines(b"\\s:GP"), b"");
    }

    #[test]
    fn lines_of_a_datagram() {
        let lines = |bytes| datagram_lines(bytes).collect::<Vec<&[u8]>>();
        assert_eq!(lines(b"UdPbC\0\\s:A*00\\$A\r\n$B\r\n\r\n$C"), [&b"\\s:A*00\\$A"[..], b"$B", b"$C"]);
        assert_eq!(lines(b"$A\0"), [b"$A"]);
        assert_eq!(lines(b"\r\n \r\n"), [b""; 0]);
        assert_eq!(lines(&[b'x'; 1025]), [b""; 0]);
    }

    fn split(mut splitter: LineSplitter, chunks: &[&[u8]]) -> (Vec<String>, u64) {
        let mut lines = Vec::new();
        let mut keep = |line: &[u8]| lines.push(String::from_utf8_lossy(line).into_owned());
        for chunk in chunks {
            if chunk.is_empty() {
                splitter.lost();
            } else {
                splitter.push(chunk, &mut keep);
            }
        }
        splitter.finish(&mut keep);
        (lines, splitter.dropped())
    }

    #[test]
    fn splits_streams() {
        let (lines, dropped) = split(LineSplitter::default(), &[b"$A,1\r", b"\n$B,", b"2\n$C", b",3"]);
        assert_eq!((lines, dropped), (vec!["$A,1".into(), "$B,2".into(), "$C,3".into()], 0));
        let (lines, _) = split(LineSplitter::mid_stream(), &[b"4,5*00\r\n$B,2\r\n"]);
        assert_eq!(lines, ["$B,2"]);
        let (lines, _) = split(LineSplitter::mid_stream(), &[b"$AB\r\nrest\r\n"]);
        assert_eq!(lines, ["$AB", "rest"], "only the first line is in doubt");
        let (lines, dropped) = split(LineSplitter::default(), &[b"$A,1", b"", b"23\r\n$B,2\r\n"]);
        assert_eq!((lines, dropped), (vec!["$B,2".to_owned()], 1), "no line is made of two halves");
    }

    #[test]
    fn lines_are_bounded() {
        let long = vec![b'x'; 700];
        let mut splitter = LineSplitter::default();
        let mut count = 0;
        for _ in 0..100 {
            splitter.push(&long, |_| count += 1);
            assert!(splitter.partial.capacity() <= 4 * MAX_LINE);
        }
        splitter.push(b"x\r\n$A\r\n", |line| {
            assert_eq!(line, b"$A");
            count += 1;
        });
        assert_eq!((count, splitter.dropped()), (1, 1));
        let mut whole = vec![b'x'; 2000];
        whole.push(b'\n');
        let (lines, dropped) = split(LineSplitter::default(), &[&whole, &[b'y'; 1024], b"\n"]);
        assert_eq!((lines.len(), dropped), (1, 1));
        assert_eq!(lines[0].len(), 1024);
    }

    proptest! {
        /// However the bytes are cut, the lines are the same.
        #[test]
        fn cuts_do_not_matter(text in "[$!A-Z0-9,\r\n]{0,300}", cuts in prop::collection::vec(1usize..50, 1..20)) {
            let whole = split(LineSplitter::default(), &[text.as_bytes()]).0;
            let mut chunks = Vec::new();
            let mut rest = text.as_bytes();
            for cut in cuts {
                let (head, behind) = rest.split_at(cut.min(rest.len()));
                chunks.push(head);
                rest = behind;
            }
            chunks.push(rest);
            chunks.retain(|chunk| !chunk.is_empty());
            prop_assert_eq!(&split(LineSplitter::default(), &chunks).0, &whole);
            let plain: Vec<_> = text.split(['\r', '\n']).filter(|line| !line.is_empty()).map(str::to_owned).collect();
            prop_assert_eq!(whole, plain);
        }
    }
}
