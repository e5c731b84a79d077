//! The door between a recording's text and a terminal: whatever a stranger wrote arrives as text and nothing else.

use std::borrow::Cow;
use std::fmt::Write as _;
use unicode_width::UnicodeWidthChar;

/// Characters without width that may follow one another (accents stack on a letter); more are written as escapes, or
/// one short name could paint over half a screen.
const MAX_STACKED: usize = 3;

/// The text with every character that a terminal could obey, or that reorders or hides its neighbours, written as
/// `\u{..}`.
///
/// Those are control characters (escape sequences, line ends), the bidirectional marks, embeddings, overrides and
/// isolates (Unicode Standard Annex 9, section 2), line and paragraph separators, invisible format characters,
/// noncharacters, and marks stacked more than three high.
#[must_use]
pub fn plain(text: &str) -> Cow<'_, str> {
    // Nearly all text is printable ASCII and passes as it is.
    if text.bytes().all(|byte| (0x20..0x7f).contains(&byte)) {
        return Cow::Borrowed(text);
    }
    let mut out = String::with_capacity(text.len());
    let mut stacked = 0;
    for c in text.chars() {
        stacked = if c.width() == Some(0) { stacked + 1 } else { 0 };
        if is_unsafe(c) || stacked > MAX_STACKED {
            // Writing to a String cannot fail.
            let _ = write!(out, "\\u{{{:x}}}", u32::from(c));
        } else {
            out.push(c);
        }
    }
    Cow::Owned(out)
}

/// Whether a character must never reach a terminal as itself.
#[must_use]
pub const fn is_unsafe(c: char) -> bool {
    matches!(c,
        '\0'..='\x1f' | '\x7f'..='\u{9f}'
        | '\u{ad}' | '\u{61c}' | '\u{180e}'
        | '\u{200b}'..='\u{200f}'
        | '\u{2028}'..='\u{202e}'
        | '\u{2060}'..='\u{206f}'
        | '\u{feff}' | '\u{fff9}'..='\u{fffb}' | '\u{fffe}' | '\u{ffff}'
        | '\u{e0000}'..='\u{e0fff}')
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ordinary_names_pass_untouched() {
        for text in ["", "GH-2 (35)", "Fahrtenmesser für Bö", "测深仪", "e\u{301}te\u{301}"] {
            assert_eq!(plain(text), text);
        }
    }

    #[test]
    fn what_a_terminal_would_obey_becomes_text() {
        let cases = [
            ("a\x1b[2Jb", "a\\u{1b}[2Jb"),
            ("a\r\nb\t\0", "a\\u{d}\\u{a}b\\u{9}\\u{0}"),
            ("\u{9b}31m\x7f", "\\u{9b}31m\\u{7f}"),
            ("gps\u{202e}gol.exe\u{2066}", "gps\\u{202e}gol.exe\\u{2066}"),
            ("a\u{2028}b\u{feff}\u{200b}", "a\\u{2028}b\\u{feff}\\u{200b}"),
            ("\u{e0041}", "\\u{e0041}"),
        ];
        for (from, to) in cases {
            assert_eq!(plain(from), to);
        }
    }

    #[test]
    fn accents_do_not_pile_up() {
        let tower = format!("e{}", "\u{301}".repeat(50));
        assert_eq!(plain(&tower).matches('\u{301}').count(), MAX_STACKED);
    }

    proptest::proptest! {
        #[test]
        fn nothing_unsafe_comes_through(text in ".*") {
            let safe = plain(&text);
            proptest::prop_assert!(!safe.chars().any(is_unsafe));
            proptest::prop_assert_eq!(plain(&safe), safe.as_ref());
        }
    }
}
