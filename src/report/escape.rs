//! The door between a recording's text and whatever shows it (a terminal, a page, a forum): whatever a stranger wrote
//! arrives as text and nothing else.

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
    harmless(text, is_unsafe)
}

/// As [`plain`], for text in lines: line feeds stay.
#[must_use]
pub fn within_lines(text: &str) -> Cow<'_, str> {
    harmless(text, |c| c != '\n' && is_unsafe(c))
}

fn harmless(text: &str, is_unsafe: impl Fn(char) -> bool) -> Cow<'_, str> {
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

/// The text as Markdown that shows it and does nothing else: no HTML, link, picture, emphasis, code, table cell, heading,
/// list, mention or formula, in CommonMark and in the dialects of forums; in one line.
///
/// What belongs to a number or to prose (a decimal point, a colon in a time of day) stays as it is, so that the source
/// can be read too. A word with an at sign becomes code, as a backslash keeps no forum from calling somebody.
#[must_use]
pub fn markdown(text: &str) -> String {
    let text = plain(text.trim());
    let mut out = String::with_capacity(text.len() + text.len() / 8);
    let mut rest = text.as_ref();
    while !rest.is_empty() {
        // HTML's marks become entities, which also keep where a renderer knows no backslash.
        let end = rest.find([' ', '|', '<', '>', '&']).unwrap_or(rest.len());
        let (word, after) = rest.split_at(end);
        if word.contains('@') {
            code(word, &mut out);
        } else {
            marked(word, out.is_empty(), &mut out);
        }
        let mut left = after.chars();
        match left.next() {
            Some('|') => out.push_str("\\|"),
            Some('<') => out.push_str("&lt;"),
            Some('>') => out.push_str("&gt;"),
            Some('&') => out.push_str("&amp;"),
            Some(space) => out.push(space),
            None => {}
        }
        rest = left.as_str();
    }
    out
}

/// A word as code, in a fence that is longer than any in it (CommonMark 0.31.2, section 6.1).
fn code(word: &str, out: &mut String) {
    let longest = word.split(|c| c != '`').map(str::len).max().unwrap_or(0);
    let fence = "`".repeat(longest + 1);
    let pad = if word.starts_with('`') || word.ends_with('`') { " " } else { "" };
    let _ = write!(out, "{fence}{pad}{word}{pad}{fence}");
}

/// A word with a backslash before what Markdown would obey (CommonMark 0.31.2, section 2.4).
fn marked(word: &str, first: bool, out: &mut String) {
    let mut before = None;
    let mut chars = word.chars().peekable();
    while let Some(c) = chars.next() {
        let next = chars.peek().copied();
        // A list's or heading's mark opens a block where a line begins.
        let opens = first
            && match c {
                '-' | '+' | '=' => before.is_none(),
                '.' | ')' => next.is_none() && out.chars().all(|c| c.is_ascii_digit()),
                _ => false,
            };
        // Bare names of hosts, schemes and smileys are made into links and pictures.
        let links = match c {
            '.' => before.is_some_and(char::is_alphanumeric) && next.is_some_and(char::is_alphabetic),
            ':' => next.is_some_and(|next| !next.is_ascii_digit()),
            _ => false,
        };
        if opens || links || matches!(c, '\\' | '`' | '*' | '_' | '[' | ']' | '~' | '$' | '#' | '^') {
            out.push('\\');
        }
        out.push(c);
        before = Some(c);
    }
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

    #[test]
    fn prose_stays_readable_as_markdown() {
        for text in
            ["-11.2 deg at 10:02:11, 99.9 %", "GH-2 (35)", "UDP 10.3.7.20 to 239.2.1.1:2000", "测深仪!"]
        {
            assert_eq!(markdown(&format!("at {text}")), format!("at {text}"));
        }
    }

    /// What CommonMark 0.31.2 and the dialects of forums would obey, and how it is kept from them.
    #[test]
    fn what_markdown_would_obey_becomes_text() {
        let cases = [
            ("<script>&lt;", "&lt;script&gt;&amp;lt;"),
            ("[a](javascript:b)", "\\[a\\](javascript\\:b)"),
            ("![a](http://b.example)", "!\\[a\\](http\\://b\\.example)"),
            ("www.a.example", "www\\.a\\.example"),
            ("**a** __b__ ~~c~~ `d` $e$", "\\*\\*a\\*\\* \\_\\_b\\_\\_ \\~\\~c\\~\\~ \\`d\\` \\$e\\$"),
            ("a | b|c", "a \\| b\\|c"),
            ("# a #1", "\\# a \\#1"),
            ("- a", "\\- a"),
            ("--- a - b", "\\--- a - b"),
            ("12. a", "12\\. a"),
            ("12) a 3) b", "12\\) a 3) b"),
            ("> a", "&gt; a"),
            ("    a", "a"),
            ("a\n# b", "a\\\\u{a}\\# b"),
            ("a\\", "a\\\\"),
            ("@everyone a@b.example, c", "`@everyone` `a@b.example,` c"),
            ("`@a`|@b", "`` `@a` ``\\|`@b`"),
            (":smile: at 10:02", "\\:smile: at 10:02"),
        ];
        for (from, to) in cases {
            assert_eq!(markdown(from), to, "{from}");
        }
    }

    proptest::proptest! {
        #[test]
        fn markdown_has_no_live_mark(text in "[-a@`*_<>&|#:.\\\\ \n\\[\\]]{0,40}") {
            let safe = markdown(&text);
            proptest::prop_assert!(!safe.contains(['<', '>', '\n']), "{}", safe);
            // Outside of code spans, no mark stands without its backslash.
            let mut chars = safe.chars().peekable();
            while let Some(c) = chars.next() {
                match c {
                    '\\' => { chars.next(); }
                    '`' => {
                        let mut fence = 1;
                        while chars.next_if_eq(&'`').is_some() { fence += 1; }
                        let rest: String = chars.collect();
                        let end = rest.match_indices(&"`".repeat(fence)).map(|(at, _)| at).find(|at| {
                            !rest[..*at].ends_with('`') && !rest[at + fence..].starts_with('`')
                        });
                        let end = end.ok_or_else(|| proptest::test_runner::TestCaseError::fail(safe.clone()))?;
                        proptest::prop_assert!(rest[..end].contains('@') && !rest[..end].contains('|'), "{}", safe);
                        return Ok(());
                    }
                    c => proptest::prop_assert!(!"*_[]|#@".contains(c), "{} in {}", c, safe),
                }
            }
        }
        #[test]
        fn nothing_unsafe_comes_through(text in ".*") {
            let safe = plain(&text);
            proptest::prop_assert!(!safe.chars().any(is_unsafe));
            proptest::prop_assert_eq!(plain(&safe), safe.as_ref());
        }
    }
}
