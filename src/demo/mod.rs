//! Demo recordings with known faults.

use std::io;
use std::path::Path;

/// One demo recording that was written.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Written {
    /// Its file name, without folders.
    pub file: String,
    /// The fault that it shows.
    pub shows: &'static str,
    /// Its size.
    pub bytes: u64,
}

/// Writes the demo recordings into `dir`, which must exist; files of the same names are written over.
///
/// # Errors
/// When the operating system refuses a file.
pub fn write(dir: &Path) -> io::Result<Vec<Written>> {
    const HEADING: &str = "(1767261600.000000) can0 09F11223#00102700000000FD\n";
    std::fs::write(dir.join("two-headings.log"), HEADING)?;
    let bytes = HEADING.len() as u64;
    Ok(vec![Written { file: String::from("two-headings.log"), shows: "one heading message", bytes }])
}
