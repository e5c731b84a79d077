//! The sheet as Markdown, for a forum or a ticket.

use super::words;
use crate::boat::sheet::{Row, Sheet, Standing};
use crate::report::escape::markdown as safe;
use crate::report::figures::{count, duration};
use std::io;

/// Writes the sheet.
///
/// # Errors
/// When the output refuses it.
pub fn write(sheet: &Sheet, out: &mut dyn io::Write) -> io::Result<()> {
    writeln!(out, "# {}: {}\n", safe(&sheet.boat.name), words::title(sheet).to_lowercase())?;
    writeln!(out, "{}", safe(&words::verdict(sheet)))?;
    if let Some(remarks) = &sheet.boat.remarks {
        writeln!(out, "\n{}", safe(remarks))?;
    }
    for standing in [Standing::Failed, Standing::NotSeen, Standing::Passed] {
        let rows: Vec<&Row> = sheet.expectations.iter().filter(|row| row.standing == standing).collect();
        table(out, standing, &rows)?;
    }
    if !sheet.unexpected.is_empty() {
        writeln!(out, "\n## There and not expected\n")?;
        for thing in &sheet.unexpected {
            writeln!(out, "- {}: {}", thing.what, safe(&thing.text))?;
        }
    }
    writeln!(out, "\n## Read\n\n- boat file {}", safe(sheet.file_name()))?;
    for heard in &sheet.recordings {
        let length = heard.duration_s.map(|s| format!(", {}", duration(s))).unwrap_or_default();
        writeln!(out, "- recording {}{length}, {} frames", safe(sheet.name_of(heard)), count(heard.frames))?;
    }
    writeln!(out, "\n{}", words::CAUTION)
}

fn table(out: &mut dyn io::Write, standing: Standing, rows: &[&Row]) -> io::Result<()> {
    if rows.is_empty() {
        return Ok(());
    }
    let mut title = words::standing(standing).to_lowercase();
    if let Some(first) = title.get_mut(..1) {
        first.make_ascii_uppercase();
    }
    writeln!(out, "\n## {title}\n")?;
    writeln!(out, "| What | Expectation | Expected | Found | Line |\n|---|---|---|---|---|")?;
    for row in rows {
        let line = row.line.map(|line| line.to_string()).unwrap_or_default();
        let cells =
            [&row.subject, &row.expectation, &row.expected, &row.measured, &line].map(|cell| safe(cell));
        writeln!(out, "| {} |", cells.join(" | "))?;
    }
    if standing != Standing::Passed {
        writeln!(out)?;
        for row in rows.iter().filter(|row| !row.note.is_empty()) {
            writeln!(out, "- {}: {}", safe(&row.subject), safe(&row.note))?;
        }
    }
    Ok(())
}
