//! Opening what may be a recording or a report of an earlier run; told from the content.

use super::exit::Error;
use crate::recording::{self, Recording, RecordingError};
use std::fs::File;
use std::io::{self, Cursor, Read};

/// Bytes of the beginning that are looked at: white space may stand before a report's brace.
const HEAD: usize = 64;

/// What was opened.
pub(super) enum Input {
    /// A recording.
    Recording(Box<dyn Recording>),
    /// The JSON of a report.
    Report(Box<dyn Read + Send>),
}

/// Opens the file at `path`; `-` is standard input.
///
/// # Errors
/// When the system refuses, or when it is neither a recording nor JSON.
pub(super) fn open(path: &str) -> Result<Input, Error> {
    let io = |source| RecordingError::Io { path: path.to_owned(), source };
    if path == "-" {
        return Ok(told(path, None, Box::new(io::stdin())).map_err(io)??);
    }
    let file = File::open(path).map_err(io)?;
    let about = file.metadata().map_err(io)?;
    if about.is_dir() {
        // The room that knows recordings has the words for this.
        return Ok(Input::Recording(recording::open(path)?));
    }
    let size = about.is_file().then_some(about.len());
    Ok(told(path, size, Box::new(file)).map_err(io)??)
}

/// No recording begins with a brace, and a report does.
fn told(
    path: &str,
    size: Option<u64>,
    mut input: Box<dyn Read + Send>,
) -> io::Result<Result<Input, RecordingError>> {
    let mut head = Vec::new();
    input.by_ref().take(HEAD as u64).read_to_end(&mut head)?;
    let text = head.strip_prefix(b"\xEF\xBB\xBF").unwrap_or(&head).trim_ascii_start();
    let is_json = text.first() == Some(&b'{');
    let whole = Box::new(Cursor::new(head).chain(input));
    Ok(if is_json {
        Ok(Input::Report(whole))
    } else {
        recording::open_reader(path, size, whole).map(Input::Recording)
    })
}
