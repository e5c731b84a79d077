//! The comparison as text for a terminal: the verdict, what is not told, then findings, then what else changed.

use super::Renderer;
use super::model::{Comparison, FindingChange, Recorded, SideRow, Standing};
use super::numbers::words;
use super::said;
use super::verdict::is_note_change;
use crate::report::figures::{counted, duration};
use crate::report::model::Severity;
use crate::report::page::Page;
use anstyle::{AnsiColor, Style};
use std::io::{self, Write};

/// Column where the text of the first paragraphs begins.
const FIRST: usize = 13;

/// Column where the text of a finding begins.
const INDENT: usize = 11;

/// Rows of one part that are printed at most; JSON has them all.
const MAX_ROWS: usize = 40;

/// Figures of one finding that are printed.
const MAX_NUMBERS: usize = 6;

/// Text for people.
#[derive(Debug, Clone, Copy)]
pub struct Text {
    /// Columns of a line; brought into 40 to 80.
    pub width: usize,
    /// Whether to colour. Colour repeats what the words say and never says anything alone.
    pub colour: bool,
}

impl Renderer for Text {
    fn render(&self, comparison: &Comparison, out: &mut dyn Write) -> io::Result<()> {
        let page = &mut Page::new(out, self.width, self.colour);
        answer(page, comparison)?;
        for finding in comparison.findings.iter().filter(|f| f.severity > Severity::Note).take(MAX_ROWS) {
            page.blank()?;
            grave(page, finding)?;
        }
        let notes: Vec<&FindingChange> = comparison.findings.iter().filter(|f| is_note_change(f)).collect();
        if !notes.is_empty() {
            page.blank()?;
        }
        for note in notes.into_iter().take(MAX_ROWS) {
            page.sides(
                said::standing(note.standing),
                Style::new().bold(),
                INDENT,
                &note.summary,
                &note.kind,
            )?;
        }
        part(page, "Devices", comparison.devices.iter().map(said::device))?;
        part(page, "Sources", comparison.sources.iter().map(said::source))?;
        part(page, "Timing", comparison.timing.iter().map(said::timing))?;
        let loads = comparison.wires.iter().filter(|wire| wire.recorded == Recorded::Both);
        part(page, "Load", loads.filter_map(said::load))?;
        page.blank()?;
        page.heading("Recordings")?;
        side(page, "Before", &comparison.before)?;
        side(page, "After", &comparison.after)?;
        page.blank()?;
        page.text(0, said::CAUTION)
    }
}

fn answer(page: &mut Page<'_>, comparison: &Comparison) -> io::Result<()> {
    let worst =
        comparison.findings.iter().filter(|f| f.standing != Standing::Cleared).map(|f| f.severity).max();
    let colour = match worst {
        Some(Severity::Fault) => AnsiColor::Red,
        Some(Severity::Warning) => AnsiColor::Yellow,
        _ => AnsiColor::Green,
    };
    page.hanging("COMPARED", Style::new().bold().fg_color(Some(colour.into())), FIRST, &comparison.verdict)?;
    if let Some(check) = said::touch_first(comparison) {
        page.hanging("Touch first", Style::new().bold(), FIRST, check)?;
    }
    if let Some(next) = &comparison.next {
        page.hanging("Next", Style::new().bold(), FIRST, next)?;
    }
    let mut lead = "Cannot tell";
    for line in comparison.cannot_tell.iter().take(MAX_ROWS) {
        page.hanging(lead, Style::new().bold(), FIRST, line)?;
        lead = "";
    }
    Ok(())
}

fn grave(page: &mut Page<'_>, finding: &FindingChange) -> io::Result<()> {
    let colour = match (finding.standing, finding.severity) {
        (Standing::Cleared, _) => AnsiColor::Green,
        (_, Severity::Fault) => AnsiColor::Red,
        _ => AnsiColor::Yellow,
    };
    let style = Style::new().bold().fg_color(Some(colour.into()));
    let lead = said::standing(finding.standing);
    page.sides(lead, style, INDENT, &said::headline(finding), &finding.kind)?;
    page.text(INDENT, &said::sentence(&finding.because))?;
    for row in finding.numbers.iter().take(MAX_NUMBERS) {
        let (name, before, after) = words(row);
        page.text(INDENT, &format!("{name}: before {before}, after {after}"))?;
    }
    if finding.standing <= Standing::Still {
        let evidence = finding.evidence.iter().take(said::EVIDENCE);
        evidence.into_iter().try_for_each(|line| page.text(INDENT, line))?;
    }
    Ok(())
}

/// A part of lines, each with what happened in front; nothing when there are none.
fn part(
    page: &mut Page<'_>,
    title: &str,
    rows: impl Iterator<Item = (&'static str, String)>,
) -> io::Result<()> {
    let rows: Vec<(&str, String)> = rows.collect();
    if rows.is_empty() {
        return Ok(());
    }
    page.blank()?;
    page.heading(title)?;
    for (lead, text) in rows.iter().take(MAX_ROWS) {
        page.hanging(&format!("  {lead}"), Style::new(), INDENT + 2, text)?;
    }
    match rows.len().saturating_sub(MAX_ROWS) {
        0 => Ok(()),
        more => page.text(2, &format!("... {} more; --format json has them all.", more)),
    }
}

fn side(page: &mut Page<'_>, name: &str, side: &SideRow) -> io::Result<()> {
    let mut lead = format!("  {name}");
    for recording in side.recordings.iter().take(MAX_ROWS) {
        let path = if recording.path == "-" { "standard input" } else { &recording.path };
        let when = match (recording.duration_s, recording.first) {
            (Some(length), Some(first)) => {
                let first = first.to_string();
                let (day, clock) =
                    (first.get(..10).unwrap_or_default(), first.get(11..19).unwrap_or_default());
                format!("{} from {day} {clock} UTC", duration(length))
            }
            _ => String::from("no clock"),
        };
        let frames = counted(recording.frames, "frame", "frames");
        page.hanging(&lead, Style::new(), INDENT, &format!("{path}, {when}, {frames}"))?;
        lead.clear();
    }
    let (faults, warnings) =
        (counted(side.faults, "fault", "faults"), counted(side.warnings, "warning", "warnings"));
    page.hanging(&lead, Style::new(), INDENT, &format!("{faults}, {warnings}"))
}

#[cfg(test)]
pub(crate) mod tests {
    use super::*;
    use crate::compare::compare;
    use crate::compare::side::Side;
    use crate::report::escape::is_unsafe;
    use crate::report::fixture;
    use crate::report::model::{Number, Report};
    use unicode_width::UnicodeWidthStr;

    fn text(before: &Report, after: &Report, width: usize) -> String {
        let mut out = Vec::new();
        let comparison = compare(&Side::of(before).unwrap(), &Side::of(after).unwrap());
        Text { width, colour: false }.render(&comparison, &mut out).unwrap();
        String::from_utf8(out).unwrap()
    }

    /// The troubled boat on the next day: one thing changed of each sort.
    pub(crate) fn next_day() -> Report {
        let mut report = fixture::troubled();
        for recording in &mut report.recordings {
            recording.first = recording.first.map(|t| t.plus(86_400.0));
            recording.last = recording.last.map(|t| t.plus(86_400.0));
        }
        report.devices[1].address = Some(36);
        report.devices[0].software = Some(String::from("1.05"));
        report.devices.remove(2);
        report.sources[0].valid = 5000;
        report.sources[1].reference = Some("true");
        report.sources.remove(2);
        report.timing[0].p50 = Some(0.2);
        report.timing[0].p90 = Some(0.2);
        report.findings[0].numbers.insert("median_difference_deg", Number::Real(-4.0));
        report.findings.remove(1);
        report
            .findings
            .push(crate::report::model::FindingRow { kind: "fix-lost", ..report.findings[0].clone() });
        report.wires[0].load = Some(crate::report::model::Load { mean_percent: 52.0, peak_percent: 70.0 });
        report
    }

    #[test]
    fn a_second_visit() {
        insta::assert_snapshot!(text(&fixture::troubled(), &next_day(), 80));
    }

    #[test]
    fn another_wire() {
        insta::assert_snapshot!(text(&fixture::troubled(), &fixture::healthy(), 80));
    }

    #[test]
    fn nothing_changed() {
        insta::assert_snapshot!(text(&fixture::healthy(), &fixture::healthy(), 60));
    }

    #[test]
    fn wires_of_two_kinds_are_not_called_alike() {
        let mut other = fixture::healthy();
        other.wires.iter_mut().for_each(|wire| wire.kind = "ethernet");
        let told = text(&fixture::healthy(), &other, 200).replace('\n', " ");
        assert!(told.starts_with("COMPARED     No wire of one side is known again"), "{told}");
    }

    #[test]
    fn hostile_names_stay_text_and_within_the_page() {
        for (before, after) in [
            (fixture::hostile(), fixture::troubled()),
            (fixture::troubled(), fixture::hostile()),
            (fixture::hostile(), next_day()),
        ] {
            for width in [0, 40, 57, 80, 500] {
                let text = text(&before, &after, width);
                assert!(!text.chars().any(|c| c != '\n' && is_unsafe(c)));
                assert!(!text.lines().any(|line| line.starts_with("FAULT forged")));
                let limit = width.clamp(40, 80);
                let long: Vec<&str> = text.lines().filter(|line| line.width() > limit).collect();
                assert!(long.is_empty(), "wider than {limit}: {long:#?}");
            }
        }
    }

    #[test]
    fn long_lists_are_cut() {
        let text = text(&fixture::healthy(), &fixture::crowded(), 80);
        assert!(text.contains("more; --format json has them all") && text.lines().count() < 300, "{text}");
    }

    #[test]
    fn colour_adds_nothing_but_colour() {
        let sides = (Side::of(&fixture::troubled()).unwrap(), Side::of(&next_day()).unwrap());
        let mut out = Vec::new();
        Text { width: 80, colour: true }.render(&compare(&sides.0, &sides.1), &mut out).unwrap();
        let coloured = String::from_utf8(out).unwrap();
        assert!(coloured.contains('\x1b'));
        let plain = text(&fixture::troubled(), &next_day(), 80);
        assert_eq!(anstream::adapter::strip_str(&coloured).to_string(), plain);
    }
}
