//! The report as Markdown: what a helper pastes into a forum. The answer, what to touch, the findings, the causes, a
//! short table of devices and one line of caution; short enough to be read there.

use super::Renderer;
use super::escape::markdown;
use super::figures::{Calendar, count};
use super::model::{CauseRow, ComplaintRow, DeviceRow, Report, Severity, Standing};
use super::page::cut;
use super::words::answer::{Answer, capitalised, sentence};
use super::words::findings::{gravest_first, seen, untold_devices, untold_messages};
use super::words::inventory::{choose, identity, suspects};
use super::words::limits::open_alike;
use super::words::names::{Names, address, in_words};
use super::words::recordings::{facts, file_name};
use std::io::{self, Write};

/// Findings that are told; a post with more is not read.
const MAX_FINDINGS: usize = 12;

/// Rows of the table of devices, suspects first.
const MAX_ROWS: usize = 20;

/// Problems of one recording that are told.
const MAX_PROBLEMS: usize = 3;

/// Columns of one piece of text; the rest of it is a flood.
const MAX_TEXT: usize = 400;

/// Columns of one cell of the table.
const MAX_CELL: usize = 60;

/// One line of caution: in a post, nobody reads more.
const CAUTION: &str = "An aid to fault-finding, not to navigation. Supply off before you touch wiring; secure propellers and \
    bow motors; local codes come first.";

/// Markdown for forums.
#[derive(Debug, Clone, Copy)]
pub struct Markdown {
    /// The complaint that was asked, when one was.
    pub asked: Option<&'static str>,
}

impl Renderer for Markdown {
    fn render(&self, report: &Report, out: &mut dyn Write) -> io::Result<()> {
        let answer = Answer::of(report, self.asked);
        writeln!(out, "**{}.** {}", safe(&answer.title), safe(&answer.sentence))?;
        if let Some(check) = answer.touch_first {
            writeln!(out, "\n**Touch first:** {}", safe(check))?;
        }
        if let Some(unseen) = &answer.not_seen {
            writeln!(out, "\n**Not seen:** {}", safe(unseen))?;
        }
        findings(report, answer.touch_first, out)?;
        causes(report, self.asked, answer.touch_first, out)?;
        devices(report, out)?;
        recordings(report, out)?;
        writeln!(out, "\n*{CAUTION}*")
    }
}

/// A recording's text: escaped, and cut when it is endless.
fn safe(text: &str) -> String {
    markdown(&cut(text, MAX_TEXT))
}

fn findings(report: &Report, touch_first: Option<&str>, out: &mut dyn Write) -> io::Result<()> {
    let rows = gravest_first(report);
    if rows.is_empty() {
        return Ok(());
    }
    let names = Names::of(report);
    let first = report.recordings.iter().filter_map(|recording| recording.first).min();
    let calendar = Calendar::starting(first);
    writeln!(out, "\n### Findings\n")?;
    for (_, row) in rows.iter().take(MAX_FINDINGS) {
        let severity = match row.severity {
            Severity::Fault => "FAULT",
            Severity::Warning => "WARNING",
            Severity::Note => "NOTE",
        };
        writeln!(out, "- **{severity}** {} (`{}`)", safe(&row.summary), row.kind)?;
        if row.severity == Severity::Note {
            continue;
        }
        for line in &row.evidence {
            writeln!(out, "  - {}", safe(line))?;
        }
        let labelled = [
            ("Devices", untold_devices(&names, row)),
            ("Messages", untold_messages(row)),
            ("Seen", seen(calendar, row)),
        ];
        for (label, text) in labelled.iter().filter(|(_, text)| !text.is_empty()) {
            writeln!(out, "  - {label}: {}", safe(text))?;
        }
        for check in row.checks.iter().filter(|check| touch_first != Some(check.as_str())) {
            writeln!(out, "  - Check: {}", safe(check))?;
        }
    }
    match rows.len().checked_sub(MAX_FINDINGS) {
        Some(more @ 1..) => writeln!(out, "- {more} more"),
        _ => Ok(()),
    }
}

/// The causes of the complaint that was asked; else which complaints the findings would explain.
fn causes(
    report: &Report,
    asked: Option<&str>,
    touch_first: Option<&str>,
    out: &mut dyn Write,
) -> io::Result<()> {
    let Some(asked) = asked else { return explained(report, out) };
    let Some(row) = report.complaints.iter().find(|row| row.complaint == asked) else { return Ok(()) };
    for (title, standing) in
        [("Supported", Standing::Supported), ("Ruled out", Standing::RuledOut), ("Open", Standing::Open)]
    {
        let causes: Vec<&CauseRow> = row.causes.iter().filter(|cause| cause.standing == standing).collect();
        if !causes.is_empty() {
            writeln!(out, "\n### {title}\n")?;
        }
        for alike in causes.chunk_by(|one, next| open_alike(one, next)) {
            let Some(cause) = alike.first() else { continue };
            let names: Vec<String> =
                alike.iter().map(|cause| safe(&capitalised(&in_words(&cause.cause)))).collect();
            write!(out, "- {}: {}", names.join(", "), safe(&sentence(&cause.because)))?;
            let check = cause.next_check.trim();
            if standing != Standing::RuledOut
                && !check.is_empty()
                && Some(cause.next_check.as_str()) != touch_first
            {
                write!(out, " Next: {}", safe(check))?;
            }
            writeln!(out)?;
        }
    }
    Ok(())
}

/// Which complaints the findings would explain: by their names alone where a finding has said why.
fn explained(report: &Report, out: &mut dyn Write) -> io::Result<()> {
    let told = |answer: &str| report.findings.iter().any(|f| sentence(&f.summary) == sentence(answer));
    let (short, long): (Vec<&ComplaintRow>, Vec<&ComplaintRow>) =
        report.complaints.iter().partition(|row| told(&row.answer));
    if !short.is_empty() {
        let names: Vec<String> = short.iter().map(|row| in_words(row.complaint)).collect();
        writeln!(out, "\n**Would explain:** {}", names.join(", "))?;
    }
    if !long.is_empty() {
        writeln!(out, "\n### Complaints that this would explain\n")?;
    }
    for row in long {
        writeln!(out, "- {}: {}", capitalised(&in_words(row.complaint)), safe(&row.answer))?;
    }
    Ok(())
}

fn devices(report: &Report, out: &mut dyn Write) -> io::Result<()> {
    if report.devices.is_empty() {
        return Ok(());
    }
    let suspects = suspects(report);
    let (rows, more) =
        choose(&report.devices, MAX_ROWS, |row: &DeviceRow| suspects.contains(row.id.as_str()));
    writeln!(out, "\n### Devices\n\n| Device | Address | Frames | Known as |\n|---|---|---:|---|")?;
    for row in rows {
        let cells = [row.label.clone(), address(row), count(row.frames), identity(row)];
        let cells = cells.map(|text| markdown(&cut(&text, MAX_CELL)));
        writeln!(out, "| {} |", cells.join(" | "))?;
    }
    if more > 0 {
        writeln!(out, "\n{more} more devices.")?;
    }
    Ok(())
}

fn recordings(report: &Report, out: &mut dyn Write) -> io::Result<()> {
    if !report.recordings.is_empty() {
        writeln!(out, "\n### Recordings\n")?;
    }
    for recording in &report.recordings {
        writeln!(out, "- {}: {}", safe(file_name(report, recording)), safe(&facts(recording)))?;
        for problem in recording.problems.iter().take(MAX_PROBLEMS) {
            writeln!(out, "  - {}", safe(problem))?;
        }
        if let Some(more @ 1..) = recording.problems.len().checked_sub(MAX_PROBLEMS) {
            writeln!(out, "  - {more} more")?;
        }
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::{escape::is_unsafe, fixture};

    fn text(report: &Report, asked: Option<&'static str>) -> String {
        let mut out = Vec::new();
        Markdown { asked }.render(report, &mut out).unwrap();
        String::from_utf8(out).unwrap()
    }

    #[test]
    fn a_complaint_answered() {
        insta::assert_snapshot!(text(&fixture::troubled(), Some("heading-jumps")));
    }

    #[test]
    fn a_troubled_boat_unasked() {
        insta::assert_snapshot!(text(&fixture::troubled(), None));
    }

    #[test]
    fn a_healthy_boat() {
        insta::assert_snapshot!(text(&fixture::healthy(), None));
    }

    #[test]
    fn nothing_at_all() {
        insta::assert_snapshot!(text(&fixture::empty(), Some("no-depth")));
    }

    #[test]
    fn hostile_names_stay_text() {
        let text = text(&fixture::hostile(), Some("heading-jumps"));
        assert!(!text.chars().any(|c| c != '\n' && is_unsafe(c)));
        for bad in [
            "<script", "<img", " [a](", "![c]", "http://", "www.m", "**f**", "__g__", " `h`", " | i | ",
            "~~k",
        ] {
            assert!(!text.contains(bad), "{bad}: {text}");
        }
        let cells = |line: &str| line.replace("\\|", "").matches('|').count();
        let rows: Vec<&str> = text.lines().filter(|line| line.starts_with('|')).collect();
        assert_eq!(rows.len(), 6, "head, rule and four devices");
        assert!(rows.iter().all(|row| cells(row) == 5), "{rows:#?}");
        insta::assert_snapshot!(text);
    }

    #[test]
    fn a_crowded_boat_makes_a_short_post() {
        let mut report = fixture::crowded();
        let finding = report.findings[0].clone();
        report.findings = vec![finding; 50];
        let text = text(&report, None);
        assert!(text.lines().count() < 70, "{text}");
        assert!(text.contains("- 38 more") && text.contains("80 more devices") && text.contains("sensor 99"));
    }

    #[test]
    fn what_could_embarrass_in_public_is_left_out() {
        let mut report = fixture::troubled();
        report.recordings[0].path = String::from("/home/somebody/boat/bow.log.gz");
        let text = text(&report, None);
        assert!(!text.contains("somebody") && text.contains("bow\\.log\\.gz"), "{text}");
        assert!(!text.contains("54.") && !text.contains("000117"), "no place, no serial number: {text}");
    }
}
