//! Text that devices send about themselves, made harmless and short.

/// Characters kept of one text; host names end at 63, descriptions rarely say more.
pub const MAX_TEXT: usize = 128;

/// The text in `bytes` for later display: invalid UTF-8, control characters and characters that steer the direction
/// or width of text become U+FFFD; zero bytes and white space at the ends go; at most [`MAX_TEXT`] characters stay.
#[must_use]
pub fn clean(bytes: &[u8]) -> String {
    // Four bytes are the longest character; what lies behind cannot be shown anyway.
    let start = bytes.iter().position(|b| !b.is_ascii_whitespace() && *b != 0).unwrap_or(bytes.len());
    let head = bytes.get(start..).unwrap_or_default();
    let head = head.get(..MAX_TEXT * 4).unwrap_or(head);
    let end = head.iter().rposition(|b| !b.is_ascii_whitespace() && *b != 0).map_or(0, |last| last + 1);
    let text = head.get(..end).unwrap_or_default();
    let readable = String::from_utf8_lossy(text);
    // Nearly every text is harmless as it stands.
    if text.len() <= MAX_TEXT && text.iter().all(|b| (b' '..=b'~').contains(b)) {
        return readable.into_owned();
    }
    readable
        .chars()
        .take(MAX_TEXT)
        .map(|c| if is_harmless(c) { c } else { char::REPLACEMENT_CHARACTER })
        .collect()
}

/// As [`clean`], but `None` when nothing is left.
pub(super) fn clean_some(bytes: &[u8]) -> Option<String> {
    Some(clean(bytes)).filter(|text| !text.is_empty())
}

/// Whether a character shows as itself: no control character, no line or paragraph separator, no direction mark.
fn is_harmless(c: char) -> bool {
    !c.is_control()
        && !matches!(c, '\u{200B}'..='\u{200F}' | '\u{2028}'..='\u{202E}' | '\u{2060}'..='\u{206F}'
            | '\u{061C}' | '\u{FEFF}' | '\u{FFF9}'..='\u{FFFB}')
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn cleans_hostile_text() {
        assert_eq!(clean(b"  bow display\0\0"), "bow display");
        assert_eq!(clean(b"\x1b[31mred\r\nline"), "\u{FFFD}[31mred\u{FFFD}\u{FFFD}line");
        assert_eq!(clean("K\u{fc}che \u{202E}x".as_bytes()), "K\u{fc}che \u{FFFD}x");
        assert_eq!(clean(b"\xFF\xFE"), "\u{FFFD}\u{FFFD}");
        assert_eq!(clean(&[b'a'; 5000]).len(), MAX_TEXT);
        assert_eq!(clean_some(b" \0\r\n"), None);
    }
}
