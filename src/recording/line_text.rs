//! One line of a text log: what it is, and what time it bears.

use super::CanFrame;
use super::can_text::{self, CanText};
use super::stamp::{self, Minute, Stamp, prefix_after};

/// TAG blocks in front of one sentence that are looked through.
const MAX_TAG_BLOCKS: usize = 8;

/// What a line of a text log is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum What<'a> {
    /// A 0183 sentence, TAG blocks included, from this offset of the line on.
    Sentence(usize),
    /// A TAG block alone: its time holds for what follows.
    TagBlock,
    /// A CAN frame, with the interface that the line names.
    Can(CanFrame, Option<&'a str>),
    /// The beginning of a CAN frame.
    Incomplete,
    /// A sentence that lost its beginning, from this offset of the line on.
    Tail(usize),
    /// A comment of the recorder.
    Comment,
    /// Nothing of the kind.
    Other,
}

/// Tells what a line (without line end) is and the time in front of it or in its TAG block.
pub(super) fn recognise(line: &[u8]) -> (Option<Stamp>, What<'_>) {
    recognise_after(line, &mut Minute::default())
}

/// As [`recognise`], of a line that may be stamped in the same minute as one before.
pub(super) fn recognise_after<'a>(line: &'a [u8], minute: &mut Minute) -> (Option<Stamp>, What<'a>) {
    let blanks = line.iter().take_while(|byte| matches!(byte, b' ' | b'\t')).count();
    let bare = line.get(blanks..).unwrap_or_default();
    match bare {
        [b'$' | b'!', ..] => return (None, What::Sentence(blanks)),
        [b'#' | b';', ..] | [b'/', b'/', ..] => return (None, What::Comment),
        [b'\\', ..] => return behind_tag(bare, blanks, None),
        _ => {}
    }
    let timed = prefix_after(line, minute)
        .map(|(stamp, length)| (stamp, length, line.get(length..).unwrap_or_default()));
    if let Some((stamp, length, rest)) = timed {
        match rest {
            [b'$' | b'!', ..] => return (Some(stamp), What::Sentence(length)),
            [b'\\', ..] => return behind_tag(rest, length, Some(stamp)),
            _ => {}
        }
    }
    match recognise_can(bare, timed.map(|(stamp, _, rest)| (stamp, rest))) {
        (stamp, What::Other) => {
            // A bare number and a comma are the first field that is left of a sentence, and no time.
            let field = |length: usize| {
                let number = bare.iter().take_while(|byte| byte.is_ascii_digit() || **byte == b'.').count();
                bare.get(number) == Some(&b',') && length == blanks + number + 1
            };
            let timed = timed.filter(|(_, length, _)| !(field(*length) && is_sentence_tail(bare)));
            let stamp = stamp.filter(|_| timed.is_some());
            let at = timed.map_or(blanks, |(_, length, _)| length);
            let is_tail = is_sentence_tail(line.get(at..).unwrap_or_default());
            (stamp, if is_tail { What::Tail(at) } else { What::Other })
        }
        known => known,
    }
}

/// Whether a line is the end of a sentence: fields, and a checksum behind them, with no start in front. That the rest was lost
/// is common practice, no source: nothing else on a 0183 line ends in `*` and two hex digits.
#[must_use]
pub fn is_sentence_tail(line: &[u8]) -> bool {
    let [fields @ .., b'*', high, low] = line.trim_ascii() else { return false };
    hex_byte(&[*high, *low]).is_some()
        && memchr::memchr(b',', fields).is_some()
        && fields
            .iter()
            .all(|byte| matches!(byte, b' '..=b'~') && !matches!(byte, b'$' | b'!' | b'\\' | b'*'))
}

/// Eight digits in front may be an identifier as well as a number: the reading that gives data bytes wins, and of two
/// that give none the one with a time.
fn recognise_can<'a>(bare: &'a [u8], timed: Option<(Stamp, &'a [u8])>) -> (Option<Stamp>, What<'a>) {
    let what = |text| match text {
        CanText::Frame(frame, name) => What::Can(frame, name),
        CanText::Incomplete => What::Incomplete,
        CanText::Other => What::Other,
    };
    let Some((stamp, rest)) = timed else { return (None, what(can_text::parse(bare, false))) };
    let bytes = |text: CanText<'_>| match text {
        CanText::Frame(frame, _) => Some(frame.len),
        CanText::Incomplete | CanText::Other => None,
    };
    let with_time = can_text::parse(rest, true);
    if bytes(with_time).is_none_or(|len| len == 0) {
        let without = can_text::parse(bare, false);
        if bytes(without) > bytes(with_time) {
            return (None, what(without));
        }
    }
    (Some(stamp), what(with_time))
}

/// What follows the TAG blocks in front of `rest` (NMEA 0183 v4 clause 7), which begins at `at` of the line.
fn behind_tag(rest: &[u8], at: usize, mut time: Option<Stamp>) -> (Option<Stamp>, What<'static>) {
    let mut rest = rest;
    for _ in 0..MAX_TAG_BLOCKS {
        let [b'\\', inner @ ..] = rest else { break };
        let Some(end) = memchr::memchr(b'\\', inner) else { return (time, What::Other) };
        let (block, behind) = inner.split_at_checked(end).unwrap_or_default();
        time = time.or_else(|| tag_time(block).map(Stamp::Moment));
        rest = behind.get(1..).unwrap_or_default().trim_ascii_start();
        match rest {
            [] => return (time, What::TagBlock),
            [b'$' | b'!', ..] => return (time, What::Sentence(at)),
            _ => {}
        }
    }
    (time, What::Other)
}

/// The time in the TAG blocks in front of a sentence, as [`recognise`] takes it.
pub(super) fn tagged_time(line: &[u8]) -> Option<i64> {
    match behind_tag(line, 0, None) {
        (Some(Stamp::Moment(us)), _) => Some(us),
        _ => None,
    }
}

/// The UNIX time `c:` of a TAG block without its backslashes, when its checksum, if there is one, is right.
fn tag_time(block: &[u8]) -> Option<i64> {
    let (fields, checksum) = match memchr::memchr(b'*', block) {
        Some(star) => (block.get(..star)?, Some(block.get(star + 1..)?)),
        None => (block, None),
    };
    if checksum.is_some_and(|digits| hex_byte(digits) != Some(xor(fields))) {
        return None;
    }
    let value = fields.split(|&byte| byte == b',').find_map(|field| field.strip_prefix(b"c:"))?;
    stamp::whole(value).map(stamp::epoch)
}

/// The XOR of all bytes (NMEA 0183 clause 5).
pub(super) fn xor(bytes: &[u8]) -> u8 {
    bytes.iter().fold(0, |sum, byte| sum ^ byte)
}

/// The value of exactly two hex digits.
pub(super) fn hex_byte(digits: &[u8]) -> Option<u8> {
    let &[high, low] = digits else { return None };
    let digit = |byte| char::from(byte).to_digit(16);
    u8::try_from(digit(high)? << 4 | digit(low)?).ok()
}

/// The sentence behind the TAG blocks of a sentence line.
pub(super) fn bare_sentence(line: &[u8]) -> &[u8] {
    let mut rest = line;
    for _ in 0..MAX_TAG_BLOCKS {
        let [b'\\', inner @ ..] = rest else { break };
        let end = memchr::memchr(b'\\', inner).map_or(inner.len(), |end| end + 1);
        rest = inner.get(end..).unwrap_or_default().trim_ascii_start();
    }
    rest
}

/// The fields between start and `*` of a sentence, and whether its checksum is right; `None` for no checksum.
pub(super) fn checked(sentence: &[u8]) -> (&[u8], Option<bool>) {
    let body = sentence.trim_ascii_end();
    let body = body.get(1..).unwrap_or_default();
    match memchr::memrchr(b'*', body) {
        Some(star) => {
            let (fields, digits) = body.split_at_checked(star).unwrap_or_default();
            (fields, Some(digits.get(1..).and_then(hex_byte) == Some(xor(fields))))
        }
        None => (body, None),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sentences_behind_every_prefix() {
        for (line, stamp, at) in [
            ("$SDDPT,7.4,0.4,100*4D", None, 0),
            ("  !AIVDM,1,1,,B,16,0*40", None, 2),
            ("1767270896.500 $SDDPT,7.4", Some(Stamp::Moment(1_767_270_896_500_000)), 15),
            // TAG vectors of the 0183 fact sheet, section 5 (checksums computed there).
            (r"\c:1767270896500,s:YX0001*0C\$SDDPT", Some(Stamp::Moment(1_767_270_896_500_000)), 0),
            (r"\c:1503079517*53\!AIVDM,1,1", Some(Stamp::Moment(1_503_079_517_000_000)), 0),
            (r"\s:SD0001,n:125*11\$SDDPT,7.4,0.4,100*4D", None, 0),
            // A wrong checksum makes the time worthless.
            (r"\c:1503079517*54\!AIVDM,1,1", None, 0),
            (r"\g:1-2-34,s:AI0001*00\\c:1503079517\!AIVDM", Some(Stamp::Moment(1_503_079_517_000_000)), 0),
            (r"12:00:00 \c:1503079517*53\!AIVDM,1,1", Some(Stamp::OfDay(43_200_000_000)), 9),
        ] {
            assert_eq!(recognise(line.as_bytes()), (stamp, What::Sentence(at)), "{line}");
        }
    }

    #[test]
    fn the_rest() {
        let lone = Some(Stamp::Moment(1_671_533_231_000_000));
        assert_eq!(recognise(br"\s:2573535,c:1671533231*08\"), (lone, What::TagBlock));
        for comment in ["# x", "; x", " // x"] {
            assert_eq!(recognise(comment.as_bytes()), (None, What::Comment));
        }
        assert_eq!(recognise(br"\s:SD0001"), (None, What::Other));
        // An identifier of digits only is not taken for a number of seconds.
        let (stamp, what) = recognise(b"18100102 01 02 03");
        assert!(matches!(what, What::Can(frame, None) if frame.id == 0x1810_0102 && frame.len == 3));
        assert_eq!(stamp, None);
        // Nor is the time in front of a frame without data taken for the interface's name.
        let (stamp, what) = recognise(b"06:30:02.652 R 09F1130C 0");
        assert!(matches!(what, What::Can(frame, None) if frame.id == 0x09F1_130C && frame.len == 0));
        assert_eq!(stamp, Some(Stamp::OfDay(23_402_652_000)));
        let (stamp, what) = recognise(b"(1410714882.622188) can0 09F80102#36729A16021AB80D");
        assert!(matches!(what, What::Can(frame, Some("can0")) if frame.id == 0x09F8_0102));
        assert_eq!(stamp, Some(Stamp::Moment(1_410_714_882_622_188)));
    }

    #[test]
    fn a_sentence_without_its_beginning() {
        for (line, at) in [
            ("PGGA,083022.00,,,,,0,00,99.9,,M,,M,,*5A", 0),
            ("  ,0.4,100*4D", 2),
            ("12:00:00 DPT,7.4,0.4,100*4D\r", 9),
            ("3023.99,S,02435.99,W,0.2*1F", 0),
            ("1767270896.5, DPT,7.4*4D", 14),
        ] {
            assert!(matches!(recognise(line.as_bytes()).1, What::Tail(found) if found == at), "{line}");
        }
        for line in
            ["0*4D", "note, and a remark", "a,b*4", "a,b*4G", "x $SDDPT,7.4*4D", "a*b,c*4D", r"\s:a,n:1*4D"]
        {
            assert_eq!(recognise(line.as_bytes()).1, What::Other, "{line}");
        }
    }

    #[test]
    fn checksums() {
        assert_eq!(checked(b"$SDDPT,7.4,0.4,100*4D").1, Some(true));
        assert_eq!(checked(b"$SDDPT,7.4,0.4,100*4E").1, Some(false));
        assert_eq!(checked(b"$SDDPT,7.4,0.4,100*4").1, Some(false));
        assert_eq!(checked(b"$SDDPT,7.4"), (&b"SDDPT,7.4"[..], None));
        assert_eq!(bare_sentence(br"\s:SD0001,n:125*11\$SDDPT,7.4"), b"$SDDPT,7.4");
    }
}
