//! What is wrong with a boat file, and where.

use crate::report::escape::plain;
use std::ops::Range;

/// One mistake in the file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Mistake {
    /// Line, from 1.
    pub line: usize,
    /// What is wrong, and what to write instead.
    pub what: String,
}

/// Why a boat file cannot be used.
#[derive(Debug, thiserror::Error)]
pub enum BoatError {
    /// It could not be read.
    #[error("cannot read the boat file {path}")]
    Read {
        /// The path as it was given.
        path: String,
        /// What the system said.
        source: std::io::Error,
    },
    /// It is far longer than any boat needs.
    #[error("the boat file {path} holds more than {most} bytes; this is no boat file")]
    TooLong {
        /// The path as it was given.
        path: String,
        /// Most bytes that are read.
        most: u64,
    },
    /// It is no text.
    #[error("the boat file {path} is no text in UTF-8; save it as UTF-8")]
    NoText {
        /// The path as it was given.
        path: String,
    },
    /// It holds mistakes.
    #[error("{}", listed(path, mistakes).join("\n"))]
    Mistakes {
        /// The path as it was given.
        path: String,
        /// The mistakes, by line.
        mistakes: Vec<Mistake>,
    },
}

/// Mistakes that are told at once; further ones show when these are mended.
const MAX_TOLD: usize = 20;

/// One line for each mistake, safe for a terminal.
fn listed(path: &str, mistakes: &[Mistake]) -> Vec<String> {
    let told = mistakes.iter().take(MAX_TOLD);
    let mut lines: Vec<String> =
        told.map(|m| plain(&format!("{path}:{}: {}", m.line, m.what)).into_owned()).collect();
    if mistakes.len() > MAX_TOLD {
        lines.push(format!("... and {} more", mistakes.len() - MAX_TOLD));
    }
    lines
}

/// Where each line of a file begins.
#[derive(Debug, Clone)]
pub(super) struct Lines(Vec<usize>);

impl Lines {
    pub(super) fn of(text: &str) -> Self {
        Self(std::iter::once(0).chain(text.match_indices('\n').map(|(at, _)| at + 1)).collect())
    }

    /// The line, from 1, that holds the byte.
    pub(super) fn line(&self, byte: usize) -> usize {
        self.0.partition_point(|begin| *begin <= byte).max(1)
    }

    /// The mistake of what stands at `span`.
    pub(super) fn mistake(&self, span: &Range<usize>, what: impl Into<String>) -> Mistake {
        Mistake { line: self.line(span.start), what: what.into() }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_byte_has_its_line() {
        let lines = Lines::of("a\nbc\n\nd");
        assert_eq!([0, 1, 2, 4, 5, 6, 99].map(|at| lines.line(at)), [1, 1, 2, 2, 3, 4, 4]);
        assert_eq!(Lines::of("").line(0), 1);
    }

    #[test]
    fn a_flood_of_mistakes_is_cut() {
        let mistakes = (1..=50).map(|line| Mistake { line, what: String::from("wrong\u{1b}") }).collect();
        let error = BoatError::Mistakes { path: String::from("b.toml"), mistakes };
        let text = error.to_string();
        let lines: Vec<&str> = text.lines().collect();
        assert_eq!(lines.len(), MAX_TOLD + 1);
        assert_eq!(lines[0], "b.toml:1: wrong\\u{1b}");
        assert_eq!(lines[MAX_TOLD], "... and 30 more");
    }
}
