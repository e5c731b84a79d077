//! The sheet as text: the verdict, what failed, what was not seen, what was not expected, what passed.

use super::words;
use crate::boat::sheet::{Row, Sheet, Standing};
use crate::report::figures::{count, duration};
use crate::report::model::Severity;
use crate::report::page::Page;
use anstyle::{AnsiColor, Style};
use std::io;

/// Column where the words behind a standing begin.
const INDENT: usize = 10;

/// Writes the sheet, its lines no wider than `width`.
///
/// # Errors
/// When the output refuses it.
pub fn write(sheet: &Sheet, width: usize, colour: bool, out: &mut dyn io::Write) -> io::Result<()> {
    let mut page = Page::new(out, width, colour);
    let title = words::title(sheet);
    let indent = title.len() + 2;
    let whole = if sheet.in_part() && sheet.passed() { Standing::NotSeen } else { Standing::Passed };
    page.hanging(title, style(sheet.passed(), whole), indent, &words::verdict(sheet))?;
    if let Some(remarks) = sheet.boat.remarks.as_deref().filter(|text| !text.is_empty()) {
        page.hanging("Remarks", Style::new(), indent.max(INDENT), remarks)?;
    }
    for standing in [Standing::Failed, Standing::NotSeen] {
        for row in sheet.expectations.iter().filter(|row| row.standing == standing) {
            page.blank()?;
            in_full(&mut page, row)?;
        }
    }
    unexpected(&mut page, sheet)?;
    passed(&mut page, sheet)?;
    recordings(&mut page, sheet)?;
    page.blank()?;
    page.text(0, words::CAUTION)
}

fn style(good: bool, standing: Standing) -> Style {
    let colour = match standing {
        Standing::Passed if good => AnsiColor::Green,
        Standing::NotSeen => AnsiColor::Yellow,
        _ => AnsiColor::Red,
    };
    Style::new().bold().fg_color(Some(colour.into()))
}

fn in_full(page: &mut Page<'_>, row: &Row) -> io::Result<()> {
    let text = format!("{}: {}", row.subject, row.expectation);
    let (lead, style, place) = (words::standing(row.standing), style(true, row.standing), words::place(row));
    if place.is_empty() {
        page.hanging(lead, style, INDENT, &text)?;
    } else {
        page.sides(lead, style, INDENT, &text, &place)?;
    }
    let figures = words::figures(row);
    for line in [figures.as_str(), row.note.as_str()].into_iter().filter(|line| !line.is_empty()) {
        page.text(INDENT, line)?;
    }
    Ok(())
}

fn unexpected(page: &mut Page<'_>, sheet: &Sheet) -> io::Result<()> {
    if sheet.unexpected.is_empty() {
        return Ok(());
    }
    page.blank()?;
    page.heading("There and not expected")?;
    for thing in &sheet.unexpected {
        let lead = match thing.severity {
            Some(Severity::Fault) => "  fault",
            Some(_) => "  warning",
            None => thing.what,
        };
        let lead = format!("  {}", lead.trim_start());
        page.hanging(&lead, Style::new(), INDENT + 1, &thing.text)?;
    }
    Ok(())
}

fn passed(page: &mut Page<'_>, sheet: &Sheet) -> io::Result<()> {
    let mut topic = None;
    for row in sheet.expectations.iter().filter(|row| row.standing == Standing::Passed) {
        if topic.is_none() {
            page.blank()?;
            page.heading("Passed")?;
        }
        if topic != Some(row.topic) {
            topic = Some(row.topic);
            page.text(2, words::topic(row.topic))?;
        }
        let figures = match (row.measured.is_empty(), row.expected.is_empty() || row.expected == row.measured)
        {
            (true, _) => String::new(),
            (false, true) => format!(": {}", row.measured),
            (false, false) => format!(": {} ({})", row.measured, row.expected),
        };
        page.hanging("", Style::new(), 4, &format!("{}: {}{figures}", row.subject, row.expectation))?;
    }
    Ok(())
}

fn recordings(page: &mut Page<'_>, sheet: &Sheet) -> io::Result<()> {
    page.blank()?;
    page.hanging("Boat file", Style::new(), INDENT + 2, &sheet.boat.file)?;
    for heard in &sheet.recordings {
        let mut text = heard.path.clone();
        if let (Some(first), Some(length)) = (heard.first, heard.duration_s) {
            text.push_str(&format!(", {} from {first}", duration(length)));
        }
        text.push_str(&format!(", {} frames", count(heard.frames)));
        page.hanging("Recording", Style::new(), INDENT + 2, &text)?;
    }
    Ok(())
}
