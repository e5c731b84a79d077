//! The sheet as Markdown, for a forum or a ticket.

use super::words;
use crate::boat::sheet::{Row, Sheet, Standing};
use crate::report::escape::plain;
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
    writeln!(out, "\n## Read\n\n- boat file {}", safe(&sheet.boat.file))?;
    for heard in &sheet.recordings {
        let length = heard.duration_s.map(|s| format!(", {}", duration(s))).unwrap_or_default();
        writeln!(out, "- recording {}{length}, {} frames", safe(&heard.path), count(heard.frames))?;
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

/// Text that stays text: no control characters, no Markdown and no HTML.
fn safe(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in plain(text).chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            // A mention or an address would become a link by itself.
            '@' => out.push_str("&#64;"),
            '\\' | '`' | '*' | '_' | '[' | ']' | '#' | '|' | '~' | '!' | '$' => out.extend(['\\', c]),
            _ => out.push(c),
        }
    }
    out.replace("://", ":&#47;/")
}

#[cfg(test)]
mod tests {
    use super::safe;

    #[test]
    fn nothing_is_obeyed() {
        assert_eq!(safe("GH-2 at 35"), "GH-2 at 35");
        assert_eq!(safe("<b>|*x*|\u{1b}[0m"), "&lt;b&gt;\\|\\*x\\*\\|\\\\u{1b}\\[0m");
        assert_eq!(safe("![a](http://b)"), "\\!\\[a\\](http:&#47;/b)");
    }
}
