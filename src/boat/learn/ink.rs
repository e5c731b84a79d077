//! TOML that stays TOML, whatever a recording put into a name.

use crate::report::escape::{is_unsafe, plain};
use std::fmt::Write as _;

/// Characters of one text that are written; the rest of it is a flood, not a name.
const MAX_TEXT: usize = 400;

/// The file that is being written.
#[derive(Default)]
pub(super) struct Ink {
    pub(super) text: String,
}

impl Ink {
    pub(super) fn line(&mut self, line: &str) {
        self.text.push_str(line);
        self.text.push('\n');
    }

    pub(super) fn blank(&mut self) {
        self.text.push('\n');
    }

    /// A comment in one line: text of a recording cannot end it.
    pub(super) fn comment(&mut self, text: &str) {
        let cut: String = text.chars().take(MAX_TEXT).collect();
        self.line(format!("# {}", plain(&cut)).trim_end());
    }

    /// The head of a table; never text of a recording.
    pub(super) fn table(&mut self, head: &str) {
        self.line(head);
    }

    pub(super) fn text(&mut self, key: &str, value: &str) {
        self.line(&format!("{key} = {}", quoted(value)));
    }

    pub(super) fn value(&mut self, key: &str, value: impl std::fmt::Display) {
        self.line(&format!("{key} = {value}"));
    }
}

/// A basic string of TOML 1.0, all in one line and harmless on a terminal.
pub(super) fn quoted(text: &str) -> String {
    let mut out = String::from("\"");
    for c in text.chars().take(MAX_TEXT) {
        match c {
            '"' | '\\' => out.extend(['\\', c]),
            // Writing to a String cannot fail.
            c if is_unsafe(c) => {
                let _ = write!(out, "\\U{:08X}", u32::from(c));
            }
            c => out.push(c),
        }
    }
    out.push('"');
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    proptest::proptest! {
        /// Whatever the text, TOML reads it back, and a comment stays a comment.
        #[test]
        fn any_text_is_read_back(text in "\\PC{0,40}|(?s).{0,40}") {
            let mut ink = Ink::default();
            ink.comment(&text);
            ink.text("key", &text);
            let table: toml::Table = toml::from_str(&ink.text).unwrap();
            proptest::prop_assert_eq!(table.len(), 1);
            proptest::prop_assert_eq!(table["key"].as_str().unwrap(), text);
        }
    }
}
