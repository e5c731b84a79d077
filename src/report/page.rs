//! A page of text: lines no wider than the page, columns that line up, colour where it is wanted.
//!
//! Everything printed goes through here, and everything is escaped here (see [`escape`](super::escape)): no other file
//! can let a recording's text reach a terminal raw.

use super::escape::plain;
use anstyle::Style;
use std::io::{self, Write};
use unicode_width::{UnicodeWidthChar, UnicodeWidthStr};

/// Pages are never wider: longer lines are hard to read.
pub const MAX_WIDTH: usize = 80;

/// Pages are never narrower: tables need some room.
pub const MIN_WIDTH: usize = 40;

/// Columns of one piece of text that are printed at most; the rest of it is a flood, not a sentence.
const MAX_TEXT: usize = 2000;

/// Units that stay in the line of their number.
const UNITS: [&str; 20] = [
    "%", "us", "ms", "s", "min", "h", "d", "deg", "m", "nm", "kn", "V", "A", "mA", "rpm", "Hz", "bytes",
    "kB", "MB", "GB",
];

/// Lines out, wrapped to a width.
pub struct Page<'a> {
    out: &'a mut dyn Write,
    width: usize,
    colour: bool,
}

impl<'a> Page<'a> {
    /// A page on `out`, its width brought into [`MIN_WIDTH`] to [`MAX_WIDTH`].
    pub fn new(out: &'a mut dyn Write, width: usize, colour: bool) -> Self {
        Self { out, width: width.clamp(MIN_WIDTH, MAX_WIDTH), colour }
    }

    /// Columns of a line.
    #[must_use]
    pub const fn width(&self) -> usize {
        self.width
    }

    /// An empty line.
    ///
    /// # Errors
    /// When the output refuses it.
    pub fn blank(&mut self) -> io::Result<()> {
        writeln!(self.out)
    }

    /// A heading of its own line.
    ///
    /// # Errors
    /// When the output refuses it.
    pub fn heading(&mut self, text: &str) -> io::Result<()> {
        let text = cut(&plain(text), self.width);
        self.styled(&text, Style::new().bold())?;
        self.blank()
    }

    /// Text wrapped from column `indent` on, with `lead` in front of its first line (in the same line when it fits
    /// before the indent, else in a line of its own).
    ///
    /// # Errors
    /// When the output refuses it.
    pub fn hanging(&mut self, lead: &str, style: Style, indent: usize, text: &str) -> io::Result<()> {
        let indent = indent.min(self.width / 2);
        let lead = cut(&plain(lead), self.width);
        let lines = wrap(&cut(&plain(text), MAX_TEXT), self.width - indent);
        let mut at = lead.width();
        self.styled(&lead, style)?;
        if !lead.is_empty() && at >= indent {
            self.blank()?;
            at = 0;
        }
        for line in &lines {
            writeln!(self.out, "{:pad$}{line}", "", pad = indent.saturating_sub(at))?;
            at = 0;
        }
        if lines.is_empty() {
            self.blank()?;
        }
        Ok(())
    }

    /// Text wrapped from column `indent` on.
    ///
    /// # Errors
    /// When the output refuses it.
    pub fn text(&mut self, indent: usize, text: &str) -> io::Result<()> {
        self.hanging("", Style::new(), indent, text)
    }

    /// As [`hanging`](Self::hanging), with `right` at the right edge when the text leaves room for it in its only
    /// line, else in a line below.
    ///
    /// # Errors
    /// When the output refuses it.
    pub fn sides(
        &mut self,
        lead: &str,
        style: Style,
        indent: usize,
        text: &str,
        right: &str,
    ) -> io::Result<()> {
        let (shown, right) = (plain(text), cut(&plain(right), self.width));
        let room = self.width.saturating_sub(indent + right.width() + 2);
        if shown.width() <= room && !shown.is_empty() {
            let lead = cut(&plain(lead), indent.saturating_sub(1));
            self.styled(&lead, style)?;
            write!(self.out, "{:pad$}{shown}", "", pad = indent.saturating_sub(lead.width()))?;
            let gap = self.width.saturating_sub(indent + shown.width() + right.width());
            write!(self.out, "{:gap$}", "")?;
            self.styled(&right, Style::new().dimmed())?;
            return self.blank();
        }
        self.hanging(lead, style, indent, text)?;
        write!(self.out, "{:pad$}", "", pad = self.width.saturating_sub(right.width()))?;
        self.styled(&right, Style::new().dimmed())?;
        self.blank()
    }

    /// A ready line (see [`table`](super::table)); escaped and cut to the width.
    ///
    /// # Errors
    /// When the output refuses it.
    pub(super) fn line(&mut self, text: &str, style: Style) -> io::Result<()> {
        let text = cut(plain(text).trim_end(), self.width);
        self.styled(&text, style)?;
        self.blank()
    }

    fn styled(&mut self, text: &str, style: Style) -> io::Result<()> {
        if self.colour && !text.is_empty() {
            write!(self.out, "{style}{text}{style:#}")
        } else {
            write!(self.out, "{text}")
        }
    }
}

/// The text, its end replaced by an ellipsis when it is wider than `width` columns.
#[must_use]
pub fn cut(text: &str, width: usize) -> String {
    if text.width() <= width {
        return text.to_owned();
    }
    let mut out = String::new();
    let mut used = 0;
    for c in text.chars() {
        let next = c.width().unwrap_or(0);
        if used + next + 1 > width {
            break;
        }
        used += next;
        out.push(c);
    }
    let mut out = out.trim_end().to_owned();
    if width > 0 {
        out.push('…');
    }
    out
}

/// The text in lines of at most `width` columns, broken at spaces; a word that is wider is broken within.
fn wrap(text: &str, width: usize) -> Vec<String> {
    let mut lines = Vec::new();
    let mut line = String::new();
    let mut used = 0;
    for word in &words(text) {
        let wide = word.width();
        if used > 0 && used + 1 + wide > width {
            lines.push(std::mem::take(&mut line));
            used = 0;
        }
        if used > 0 {
            line.push(' ');
            used += 1;
        }
        if wide <= width {
            line.push_str(word);
            used += wide;
            continue;
        }
        for c in word.chars() {
            let next = c.width().unwrap_or(0);
            if used > 0 && used + next > width {
                lines.push(std::mem::take(&mut line));
                used = 0;
            }
            line.push(c);
            used += next;
        }
    }
    if !line.is_empty() {
        lines.push(line);
    }
    lines
}

/// The words of a text; a number and its unit are one.
fn words(text: &str) -> Vec<String> {
    let mut words: Vec<String> = Vec::new();
    for word in text.split_whitespace() {
        let is_unit = UNITS.contains(&word.trim_end_matches(|c: char| c.is_ascii_punctuation() && c != '%'));
        match words.last_mut() {
            Some(number) if is_unit && number.ends_with(|c: char| c.is_ascii_digit()) => {
                number.push(' ');
                number.push_str(word);
            }
            _ => words.push(word.to_owned()),
        }
    }
    words
}

#[cfg(test)]
mod tests {
    use super::*;

    fn page(width: usize, fill: impl FnOnce(&mut Page<'_>) -> io::Result<()>) -> String {
        let mut out = Vec::new();
        fill(&mut Page::new(&mut out, width, false)).unwrap();
        String::from_utf8(out).unwrap()
    }

    #[test]
    fn cuts_by_columns_not_by_characters() {
        assert_eq!(cut("sounder", 7), "sounder");
        assert_eq!(cut("sounders", 7), "sounde…");
        assert_eq!(cut("测深仪测深仪", 6), "测深…", "each of these is two columns wide");
        assert_eq!(cut("ab", 0), "");
    }

    #[test]
    fn wraps_at_spaces_and_within_endless_words() {
        assert_eq!(wrap("one two  three", 7), ["one two", "three"]);
        assert_eq!(wrap("abcdefghij k", 4), ["abcd", "efgh", "ij k"]);
        assert_eq!(wrap("测深仪", 5), ["测深", "仪"]);
        assert_eq!(wrap("a leap of 12 deg, twice", 13), ["a leap of", "12 deg, twice"]);
        assert!(wrap("  ", 4).is_empty());
    }

    #[test]
    fn text_hangs_below_its_lead() {
        let text =
            page(40, |p| p.hanging("Open", Style::new(), 8, "a deviation of the bow sensor that no one saw"));
        assert_eq!(text, "Open    a deviation of the bow sensor\n        that no one saw\n");
        let text = page(40, |p| p.hanging("a long lead", Style::new(), 8, "text"));
        assert_eq!(text, "a long lead\n        text\n");
    }

    #[test]
    fn a_right_side_keeps_to_the_edge() {
        let text = page(40, |p| p.sides("FAULT", Style::new(), 8, "It leaps", "heading-jump"));
        assert_eq!(text, "FAULT   It leaps            heading-jump\n");
        let text = page(40, |p| p.sides("FAULT", Style::new(), 8, "It leaps much and often", "heading-jump"));
        assert_eq!(text, "FAULT   It leaps much and often\n                            heading-jump\n");
    }

    #[test]
    fn nothing_escapes_the_escaping() {
        let bad = "x\x1b[2J\ny\u{202e}";
        let text = page(60, |p| {
            p.heading(bad)?;
            p.hanging(bad, Style::new(), 30, bad)?;
            p.sides(bad, Style::new(), 30, bad, bad)?;
            p.line(bad, Style::new())
        });
        assert!(!text.chars().any(|c| c != '\n' && super::super::escape::is_unsafe(c)), "{text}");
        assert!(text.lines().all(|line| line.width() <= 60), "{text}");
    }
}
