//! The comparison as one page, in the frame that every page of the program stands in.

use super::model::{Comparison, FindingChange, Recorded, SideRow, Standing};
use super::numbers::words;
use super::verdict::is_note_change;
use super::{Renderer, said};
use crate::report::figures::{counted, duration};
use crate::report::html::shell::Document;
use crate::report::html::table::{self, Cell};
use crate::report::model::Severity;
use maud::{Markup, html};
use std::io::{self, Write};

/// Rows of one part at most, so that the page stays a page; JSON has them all.
const MAX_ROWS: usize = 300;

/// A page in one file.
#[derive(Debug, Clone, Copy, Default)]
pub struct Html;

impl Renderer for Html {
    fn render(&self, comparison: &Comparison, out: &mut dyn Write) -> io::Result<()> {
        let loads = comparison.wires.iter().filter(|wire| wire.recorded == Recorded::Both);
        let sections = [
            ("findings", "Findings", findings(comparison)),
            ("devices", "Devices", changes("Devices", comparison.devices.iter().map(said::device))),
            ("sources", "Sources", changes("Sources", comparison.sources.iter().map(said::source))),
            ("timing", "Timing", changes("Timing", comparison.timing.iter().map(said::timing))),
            ("load", "Load", changes("Load", loads.filter_map(said::load))),
            ("recordings", "Recordings", Some(recordings(comparison))),
        ];
        let parts: Vec<(&str, &str)> =
            sections.iter().filter(|(.., part)| part.is_some()).map(|(id, name, _)| (*id, *name)).collect();
        let document = Document {
            title: &format!("Compared: {}", comparison.verdict),
            tool: &comparison.tool,
            about: html! {
                p { "Leadsman comparison of" }
                p.of { (name(&comparison.before)) " and " (name(&comparison.after)) }
            },
            parts: &parts,
            main: html! {
                (answer(comparison))
                @for (id, _, part) in &sections {
                    @if let Some(part) = part { "\n" section id=(id) { (part) } }
                }
            },
        };
        document.write(out)
    }
}

/// What the recordings of a side are called together.
fn name(side: &SideRow) -> String {
    match side.recordings.split_first() {
        None => String::from("no recording"),
        Some((first, more)) => {
            let file = side.name_of(first);
            if more.is_empty() { file.to_owned() } else { format!("{file} and {} more", more.len()) }
        }
    }
}

fn class(severity: Severity) -> &'static str {
    match severity {
        Severity::Fault => "fault",
        Severity::Warning => "warning",
        Severity::Note => "note",
    }
}

fn answer(comparison: &Comparison) -> Markup {
    let worst =
        comparison.findings.iter().filter(|f| f.standing != Standing::Cleared).map(|f| f.severity).max();
    let class = worst.filter(|worst| *worst > Severity::Note).map_or("good", class);
    html! {
        div class={ "answer " (class) } {
            h1 { "Compared" }
            p.sentence { (comparison.verdict) }
            dl.facts.touch {
                @if let Some(check) = said::touch_first(comparison) { dt { "Touch first" } dd { p { (check) } } }
                @if let Some(next) = &comparison.next { dt { "Next" } dd { p { (next) } } }
                @if !comparison.cannot_tell.is_empty() {
                    dt { "Cannot tell" }
                    dd { ul { @for line in comparison.cannot_tell.iter().take(MAX_ROWS) { li { (line) } } } }
                }
            }
        }
    }
}

fn findings(comparison: &Comparison) -> Option<Markup> {
    let shown = |finding: &&FindingChange| finding.severity > Severity::Note || is_note_change(finding);
    let rows: Vec<&FindingChange> = comparison.findings.iter().filter(shown).collect();
    (!rows.is_empty()).then(|| {
        html! {
            h2 { "Findings" }
            @for (at, finding) in rows.into_iter().take(MAX_ROWS).enumerate() { "\n" (card(at, finding)) }
        }
    })
}

fn card(at: usize, finding: &FindingChange) -> Markup {
    let id = format!("finding-{}", at + 1);
    let class = if finding.standing == Standing::Cleared { "good" } else { class(finding.severity) };
    html! {
        article.card.(class) id=(id) aria-labelledby={ (id) "-title" } {
            h3 id={ (id) "-title" } {
                span class={ "severity " (class) } { (said::standing(finding.standing)) }
                " "
                (said::headline(finding))
            }
            p { (said::sentence(&finding.because)) }
            @if !finding.numbers.is_empty() { (numbers(&id, finding)) }
            @if finding.standing <= Standing::Still && !finding.evidence.is_empty() {
                ul { @for line in &finding.evidence { li { (line) } } }
            }
            dl.facts {
                @if finding.standing <= Standing::Still && !finding.checks.is_empty() {
                    dt { "Check" } dd { ol { @for check in &finding.checks { li { (check) } } } }
                }
                dt { "Kind" } dd.kind { code { (finding.kind) } }
            }
        }
    }
}

/// A finding's figures side by side.
fn numbers(id: &str, finding: &FindingChange) -> Markup {
    let rows: Vec<Vec<Cell>> = finding
        .numbers
        .iter()
        .map(|row| {
            let (name, before, after) = words(row);
            vec![
                Cell::text(&name),
                Cell::figure(&before, row.before.as_f64()),
                Cell::figure(&after, row.after.as_f64()),
            ]
        })
        .collect();
    let heads = [table::text("Figure"), table::number("Before"), table::number("After")];
    table::table(&format!("{id}-numbers"), "Figures that differ", &heads, &rows, None)
}

/// A part of changes, each a word and a text; `None` when there are none.
fn changes(title: &str, rows: impl Iterator<Item = (&'static str, String)>) -> Option<Markup> {
    let rows: Vec<(&str, String)> = rows.collect();
    let more = rows.len().saturating_sub(MAX_ROWS);
    (!rows.is_empty()).then(|| {
        html! {
            h2 { (title) }
            ul { @for (word, text) in rows.iter().take(MAX_ROWS) { li { strong { (word) } " " (text) } } }
            @if more > 0 { p.more { "... " (more) " more; --format json has them all." } }
        }
    })
}

fn recordings(comparison: &Comparison) -> Markup {
    let sides = [("Before", &comparison.before), ("After", &comparison.after)];
    let rows: Vec<Vec<Cell>> = sides
        .iter()
        .flat_map(|(name, side)| {
            side.recordings.iter().take(MAX_ROWS).map(move |recording| {
                let length = recording.duration_s.map_or_else(|| String::from("no clock"), duration);
                vec![
                    Cell::text(name),
                    Cell::text(side.name_of(recording)),
                    Cell::text(&recording.first.map_or_else(String::new, |first| first.to_string())),
                    Cell::figure(&length, recording.duration_s),
                    Cell::figure(
                        &counted(recording.frames, "frame", "frames"),
                        Some(recording.frames as f64),
                    ),
                ]
            })
        })
        .collect();
    let heads = [
        table::text("Side"),
        table::text("Recording"),
        table::text("Begins (UTC)"),
        table::number("Length"),
        table::number("Frames"),
    ];
    html! {
        h2 { "Recordings" }
        (table::table("recordings-read", "What was read", &heads, &rows, None))
        p { (said::LIMIT) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::compare::compare;
    use crate::compare::side::Side;
    use crate::compare::text::tests::next_day;
    use crate::report::escape::is_unsafe;
    use crate::report::fixture;
    use crate::report::model::Report;

    fn written(before: &Report, after: &Report) -> String {
        let mut out = Vec::new();
        let comparison = compare(&Side::of(before).unwrap(), &Side::of(after).unwrap());
        Html.render(&comparison, &mut out).unwrap();
        String::from_utf8(out).unwrap()
    }

    #[test]
    fn a_second_visit_is_told_whole() {
        let page = written(&fixture::troubled(), &next_day());
        for part in [
            "One fault still there, one new; one warning cleared.",
            ">NEW<",
            ">STILL<",
            ">CLEARED<",
            "software was 1.04, is 1.05",
            "-11.2 deg",
            "id=\"recordings\"",
        ] {
            assert!(page.contains(part), "{part} is missing:\n{page}");
        }
        assert_eq!(page.matches("<h1").count(), 1);
        let ids: Vec<&str> = page.split(" id=\"").skip(1).filter_map(|rest| rest.split('"').next()).collect();
        let unique: std::collections::BTreeSet<&&str> = ids.iter().collect();
        assert_eq!(unique.len(), ids.len(), "an id stands twice: {ids:?}");
    }

    /// A page travels, and folders bear people's names.
    #[test]
    fn recordings_are_named_without_folders() {
        let mut before = fixture::troubled();
        before.recordings[0].path = String::from("/home/somebody/bow.log");
        let page = written(&before, &next_day());
        assert!(page.contains(">bow.log<") && !page.contains("somebody"), "{page}");
        assert!(page.contains("CLEARED</span> Warning: "), "a blank stands between the words: {page}");
    }

    #[test]
    fn hostile_names_stay_text() {
        let mut report = fixture::hostile();
        for device in &mut report.devices {
            device.label = String::from("</li><script>alert(1)</script>");
        }
        for finding in &mut report.findings {
            finding.summary = String::from("<img src=x onerror=alert(1)>");
        }
        for page in [written(&report, &next_day()), written(&fixture::troubled(), &report)] {
            assert!(!page.contains("<script>alert") && !page.contains("<img"), "{page}");
            assert!(!page.chars().any(|c| c != '\n' && is_unsafe(c)));
        }
    }
}
