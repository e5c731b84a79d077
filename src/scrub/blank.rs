//! What blanked bytes become.

/// A letter that is no hex digit and begins no number: a blanked line is no frame and no sentence.
pub(super) const LETTER: u8 = b'z';

/// Blanks text: line ends, NULs and blanks stay.
pub(super) fn text(bytes: &mut [u8]) {
    for byte in bytes {
        if !matches!(byte, b'\r' | b'\n' | 0 | b' ' | b'\t') {
            *byte = LETTER;
        }
    }
}

/// Blanks the end of a sentence so that it stays one: commas stay, and a checksum, which says nothing of what is lost.
pub(super) fn tail(line: &mut [u8]) {
    let length = line.trim_ascii_end().len();
    let Some((fields, [_, digits @ ..])) =
        line.get_mut(..length).and_then(|line| line.split_last_chunk_mut::<3>())
    else {
        return;
    };
    fields.iter_mut().filter(|byte| !matches!(byte, b' ' | b'\t' | b',')).for_each(|byte| *byte = LETTER);
    *digits = *b"00";
}

/// Blanks a line that is none, so that it stays what it was to a reader: a text, or damage. `heading`: characters of any
/// language count as text here.
pub(super) fn strange(line: &mut [u8], heading: bool) {
    let letters = heading && std::str::from_utf8(line).is_ok();
    // A datagram whose first line begins with a bracket and a digit is taken for lines of frames.
    let stamp = matches!(line, [b'(', b'0'..=b'9', ..]);
    for (n, byte) in line.iter_mut().enumerate() {
        *byte = match *byte {
            b'\t' | b' ' | 0 => *byte,
            // These tell whether the beginning of a record was cut off.
            b'(' | b'[' | b'<' | b'{' | b'\\' if n == 0 => *byte,
            b'0'..=b'9' if n == 0 || (n == 1 && stamp) => b'0',
            b'!'..=b'~' => LETTER,
            _ if letters => LETTER,
            _ => 1,
        };
    }
}
