//! The acceptance sheet as one page, to be read on a screen, printed and signed.

use super::words;
use crate::boat::sheet::{Row, Sheet, Standing};
use crate::report::figures::{count, duration};
use crate::report::html::shell::Document;
use crate::report::html::table::{Cell, Head, cards, text};
use maud::{Markup, html};
use std::io;

/// Rows of one table at most, so that the page stays a page; JSON has them all.
const MAX_ROWS: usize = 500;

/// What is written by hand under the sheet, each with an empty line.
const BY_HAND: [&str; 6] =
    ["Boat", "Place and date", "Installer, name", "Installer, signature", "Owner, name", "Owner, signature"];

/// Empty lines for remarks.
const REMARK_LINES: usize = 5;

const HEADS: [Head; 6] = [
    text("What"),
    text("Expectation"),
    text("Expected"),
    text("Found"),
    text("How judged, what to do"),
    text("Line of the boat file"),
];

/// Writes the page.
///
/// # Errors
/// When the output refuses it.
pub fn write(sheet: &Sheet, out: &mut dyn io::Write) -> io::Result<()> {
    let sections = [
        ("failed", "Failed", rows(sheet, Standing::Failed)),
        ("not-seen", "Not seen", rows(sheet, Standing::NotSeen)),
        ("unexpected", "There and not expected", unexpected(sheet)),
        ("passed", "Passed", rows(sheet, Standing::Passed)),
        ("read", "What was read", Some(read(sheet))),
        ("signatures", "Remarks and signatures", Some(by_hand())),
    ];
    let parts: Vec<(&str, &str)> =
        sections.iter().filter(|(_, _, part)| part.is_some()).map(|(id, name, _)| (*id, *name)).collect();
    let title = words::title(sheet);
    let document = Document {
        title: &format!("{title}: {}", sheet.boat.name),
        tool: &sheet.tool,
        about: html! { p { (kind(sheet)) } p.of { (sheet.boat.name) } },
        parts: &parts,
        main: html! {
            section.answer.(class(sheet)) {
                h1 { (title) }
                p.sentence { (words::verdict(sheet)) }
                @if let Some(remarks) = &sheet.boat.remarks { p { (remarks) } }
            }
            @for (id, name, part) in &sections {
                @if let Some(part) = part { "\n" section id=(id) { h2 { (name) } (part) } }
            }
        },
    };
    document.write(out)
}

/// What was recorded for too short a time makes no page green.
fn class(sheet: &Sheet) -> &'static str {
    match (sheet.passed(), sheet.too_short) {
        (false, _) => "fault",
        (true, true) => "warning",
        (true, false) => "good",
    }
}

fn kind(sheet: &Sheet) -> &'static str {
    if sheet.recordings.is_empty() { "Desk check of a boat file" } else { "Acceptance sheet" }
}

/// The expectations that stand so, as one table.
fn rows(sheet: &Sheet, standing: Standing) -> Option<Markup> {
    let all: Vec<&Row> = sheet.expectations.iter().filter(|row| row.standing == standing).collect();
    if all.is_empty() {
        return None;
    }
    let rows: Vec<Vec<Cell>> = all.iter().take(MAX_ROWS).map(|row| cells(row)).collect();
    let left = all.len().saturating_sub(MAX_ROWS);
    let more = (left > 0).then(|| format!("{left} more; JSON has them all."));
    let caption = match standing {
        Standing::Failed => "Expectations that are not met",
        Standing::NotSeen => "Expectations that could not be judged",
        Standing::Passed => "Expectations that are met",
    };
    let id = words::standing(standing).to_lowercase().replace(' ', "-");
    Some(cards(&format!("{id}-rows"), caption, &HEADS, &rows, more.as_deref()))
}

fn cells(row: &Row) -> Vec<Cell> {
    let line = row.line.map(|line| line.to_string()).unwrap_or_default();
    vec![
        Cell::text(&row.subject),
        Cell::text(&row.expectation),
        Cell::text(&row.expected),
        Cell::text(&row.measured),
        Cell::text(&row.note),
        Cell::figure(&line, row.line.map(|line| line as f64)),
    ]
}

fn unexpected(sheet: &Sheet) -> Option<Markup> {
    (!sheet.unexpected.is_empty()).then(|| {
        html! { ul { @for thing in &sheet.unexpected { li { (thing.what) ": " (thing.text) } } } }
    })
}

fn read(sheet: &Sheet) -> Markup {
    html! {
        ul {
            li { "Boat file " (sheet.file_name()) }
            @for heard in &sheet.recordings {
                li {
                    "Recording " (sheet.name_of(heard))
                    @if let Some(first) = heard.first { ", from " (first.to_string()) }
                    @if let Some(length) = heard.duration_s { ", " (duration(length)) }
                    ", " (count(heard.frames)) " frames"
                }
            }
        }
    }
}

/// Places to write on; they keep together on paper.
fn by_hand() -> Markup {
    html! {
        div style="break-inside: avoid" {
            p { "Remarks" }
            @for _ in 0..REMARK_LINES { div style="border-bottom: 1px solid; height: 2.2em" {} }
            @for name in BY_HAND {
                div style="display: flex; gap: 1rem; align-items: flex-end; height: 3em" {
                    span style="min-width: 12rem" { (name) }
                    span style="flex: 1; border-bottom: 1px solid" {}
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::boat::{parse, verify};
    use crate::report::fixture;

    fn page(boat: &str) -> String {
        let boat = parse("boat.toml", boat).unwrap();
        let mut out = Vec::new();
        write(&verify(&boat, &fixture::hostile()), &mut out).unwrap();
        String::from_utf8(out).unwrap()
    }

    #[test]
    fn a_sheet_can_be_signed_and_a_strangers_text_stays_text() {
        let page = page("[boat]\nname = \"<b>x</b>\"\n[[device]]\nname = \"<i>\"\nn2k = { address = 99 }\n");
        for wanted in ["Owner, signature", "Installer, signature", "Place and date", "Remarks", "FAILED"] {
            assert!(page.contains(wanted), "{wanted}");
        }
        assert!(page.contains("&lt;b&gt;x&lt;/b&gt;") && !page.contains("<b>") && !page.contains("<i>"));
        assert!(!page.contains('\u{1b}') && !page.contains('\u{202e}'));
    }
}
