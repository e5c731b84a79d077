//! From a file to a boat: read, parsed, checked for what cannot be.

use super::check;
use super::mistake::{BoatError, Lines, Mistake};
use super::model::BoatFile;
use std::fs::File;
use std::io::Read as _;
use std::path::Path;

/// Most bytes of a boat file: a thousand devices at a kilobyte each.
const MAX_BYTES: u64 = 1 << 20;

/// A boat file that says nothing impossible.
#[derive(Debug, Clone)]
pub struct Boat {
    /// The path as it was given.
    pub path: String,
    /// What it says.
    pub file: BoatFile,
    lines: Lines,
}

impl Boat {
    /// The line, from 1, on which a value stands.
    #[must_use]
    pub fn line<T>(&self, value: &toml::Spanned<T>) -> usize {
        self.lines.line(value.span().start)
    }
}

/// Reads a boat file.
///
/// # Errors
/// When it cannot be read, is no TOML, or holds unknown keys, impossible values or contradictions.
pub fn load(path: &Path) -> Result<Boat, BoatError> {
    let name = path.display().to_string();
    let fail = |source| BoatError::Read { path: name.clone(), source };
    let mut bytes = Vec::new();
    File::open(path).map_err(fail)?.take(MAX_BYTES + 1).read_to_end(&mut bytes).map_err(fail)?;
    if bytes.len() as u64 > MAX_BYTES {
        return Err(BoatError::TooLong { path: name, most: MAX_BYTES });
    }
    let text = String::from_utf8(bytes).map_err(|_| BoatError::NoText { path: name.clone() })?;
    parse(&name, &text)
}

/// As [`load`], of a text that is in memory already.
///
/// # Errors
/// As there.
pub fn parse(path: &str, text: &str) -> Result<Boat, BoatError> {
    let lines = Lines::of(text);
    let fail = |mistakes| Err(BoatError::Mistakes { path: path.to_owned(), mistakes });
    let file: BoatFile = match toml::from_str(text) {
        Ok(file) => file,
        Err(error) => {
            let line = lines.line(error.span().map_or(0, |span| span.start));
            let what = error.message().replace('\n', "; ").replace('`', "");
            return fail(vec![Mistake { line, what: format!("{}{}", in_words(&what), hint(&what)) }]);
        }
    };
    let mut mistakes = check::mistakes(&file, &lines);
    if mistakes.is_empty() {
        return Ok(Boat { path: path.to_owned(), file, lines });
    }
    mistakes.sort_by_key(|mistake| mistake.line);
    fail(mistakes)
}

/// What the parser calls its kinds of number, and what people call them.
const NUMBERS: [(&str, &str); 4] = [
    ("expected f64", "expected a number"),
    ("expected u8", "expected a whole number from 0 to 255"),
    ("expected u16", "expected a whole number from 0 to 65535"),
    ("expected u32", "expected a whole number, 0 or more"),
];

/// A message of the parser without its kinds of number.
fn in_words(what: &str) -> String {
    NUMBERS
        .iter()
        .find_map(|(kind, words)| what.strip_suffix(kind).map(|begin| format!("{begin}{words}")))
        .unwrap_or_else(|| what.to_owned())
}

/// What to write instead, where the parser does not say it.
fn hint(what: &str) -> &'static str {
    let says = |text| what.contains(text);
    if says("unknown field") {
        "; docs/boat-file.md tells every key, take this one out or mend its spelling"
    } else if says("duplicate key") {
        "; keep one of the two"
    } else if says("invalid type: string") && (says("expected u") || says("expected i") || says("expected f"))
    {
        "; write a number without quotes"
    } else if says("expected a string") {
        "; write a text in quotes"
    } else if says("missing field") {
        "; add it, docs/boat-file.md tells what belongs there"
    } else {
        ""
    }
}
