//! The sheet as JSON: the machine-readable format, version 1 (`docs/verify.schema.json`).

use crate::boat::sheet::Sheet;
use std::io;

/// Writes the sheet as it is.
///
/// # Errors
/// When the output refuses it.
pub fn write(sheet: &Sheet, out: &mut dyn io::Write) -> io::Result<()> {
    crate::report::json::write(sheet, out)
}
