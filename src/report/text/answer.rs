//! The answer: one sentence, and what to touch first.

use super::Context;
use super::names::in_words;
use crate::report::figures::{count, counted, duration};
use crate::report::model::{ComplaintRow, FindingRow, Report, Severity, Standing};
use crate::report::page::Page;
use anstyle::{AnsiColor, Style};
use std::io;

/// Kinds of findings that the one sentence names.
const MAX_NAMED: usize = 3;

/// Column where the sentence begins.
const ANSWER_INDENT: usize = 13;

pub(super) fn write<'a>(page: &mut Page<'_>, context: &mut Context<'a>) -> io::Result<()> {
    let report = context.report;
    let asked = context.asked.and_then(|name| report.complaints.iter().find(|row| row.complaint == name));
    let (title, sentence) = match (asked, context.asked) {
        (Some(row), _) => (in_words(row.complaint).to_uppercase(), row.answer.clone()),
        (None, Some(name)) => (
            in_words(name).to_uppercase(),
            String::from("The recording holds nothing that speaks for or against a cause."),
        ),
        (None, None) => state(report),
    };
    let colour = match worst(report) {
        Some(Severity::Fault) => AnsiColor::Red,
        Some(Severity::Warning) => AnsiColor::Yellow,
        _ => AnsiColor::Green,
    };
    let indent = ANSWER_INDENT.max(title.len() + 2);
    page.hanging(&title, Style::new().bold().fg_color(Some(colour.into())), indent, &sentence)?;
    if let Some(check) = touch_first(report, asked)
        && context.first_time(check)
    {
        page.hanging("Touch first", Style::new().bold(), indent, check)?;
    }
    if report.findings.iter().all(|finding| finding.severity == Severity::Note) && context.asked.is_none() {
        unseen(page, report, indent)?;
    }
    Ok(())
}

fn worst(report: &Report) -> Option<Severity> {
    report.findings.iter().map(|finding| finding.severity).max()
}

/// The boat's state: a title, and a sentence made from the gravest findings: the only one in full, several by their kinds.
fn state(report: &Report) -> (String, String) {
    let number = |severity| report.findings.iter().filter(|f| f.severity == severity).count() as u64;
    let (faults, warnings) = (number(Severity::Fault), number(Severity::Warning));
    let frames = report.recordings.iter().map(|r| r.frames).fold(0, u64::saturating_add);
    if frames == 0 {
        return (
            String::from("NOTHING READ"),
            String::from("The recordings hold no frame that can be read."),
        );
    }
    let (title, gravest) = match (faults, warnings) {
        (0, 0) => return (String::from("NOTHING WRONG SEEN"), healthy(report, frames)),
        (0, w) => (counted(w, "WARNING", "WARNINGS"), Severity::Warning),
        (f, _) => (counted(f, "FAULT", "FAULTS"), Severity::Fault),
    };
    let besides = |mut sentence: String| {
        if gravest == Severity::Fault && warnings > 0 {
            sentence.push_str(&format!("; besides, {}", counted(warnings, "warning", "warnings")));
        }
        sentence.push('.');
        sentence
    };
    let mut of_gravest = report.findings.iter().filter(|finding| finding.severity == gravest);
    if let (Some(only), None) = (of_gravest.next(), of_gravest.next()) {
        return (title, besides(only.summary.trim_end_matches('.').to_owned()));
    }
    let mut kinds: Vec<&str> = Vec::new();
    for finding in report.findings.iter().filter(|finding| finding.severity == gravest) {
        if !kinds.contains(&finding.kind) {
            kinds.push(finding.kind);
        }
    }
    let named: Vec<String> = kinds.iter().take(MAX_NAMED).map(|kind| in_words(kind)).collect();
    let more = kinds.len().saturating_sub(MAX_NAMED);
    let sentence = capitalised(&match (named.split_last(), more) {
        (Some((last, first)), 0) if !first.is_empty() => format!("{} and {last}", first.join(", ")),
        (_, 0) => named.join(", "),
        (_, more) => {
            format!("{} and {}", named.join(", "), counted(more as u64, "other kind", "other kinds"))
        }
    });
    (title, besides(sentence))
}

fn healthy(report: &Report, frames: u64) -> String {
    let length = report.recordings.iter().filter_map(|r| r.duration_s).fold(0.0, f64::max);
    let over = if length > 0.0 { format!(" over {}", duration(length)) } else { String::new() };
    let devices = counted(report.devices.len() as u64, "device", "devices");
    format!("No fault and no warning in {} frames from {devices}{over}.", count(frames))
}

/// What a healthy recording cannot tell.
fn unseen(page: &mut Page<'_>, report: &Report, indent: usize) -> io::Result<()> {
    let kinds = [("can", "a CAN bus"), ("ethernet", "an Ethernet"), ("line", "an NMEA 0183 line")];
    let absent: Vec<&str> =
        kinds.iter().filter(|(kind, _)| !report.wires.iter().any(|w| w.kind == *kind)).map(|k| k.1).collect();
    let mut text = match absent.split_last() {
        None => String::new(),
        Some((last, [])) => format!("The recording holds no frames of {last}. "),
        Some((last, first)) => format!("The recording holds no frames of {} or {last}. ", first.join(", ")),
    };
    text.push_str(
        "What did not act up while it ran, and what each display makes of the data, it cannot show.",
    );
    page.hanging("Not seen", Style::new().bold(), indent, &text)
}

/// The next check of the first supported cause of the complaint, else the first check of the gravest finding.
fn touch_first<'a>(report: &'a Report, asked: Option<&'a ComplaintRow>) -> Option<&'a str> {
    if let Some(row) = asked {
        let supported = row.causes.iter().filter(|cause| cause.standing == Standing::Supported);
        let open = row.causes.iter().filter(|cause| cause.standing == Standing::Open);
        return supported.chain(open).map(|cause| cause.next_check.as_str()).find(|check| !check.is_empty());
    }
    let grave = |finding: &&FindingRow| finding.severity > Severity::Note;
    report.findings.iter().filter(grave).find_map(|finding| finding.checks.first()).map(String::as_str)
}

fn capitalised(text: &str) -> String {
    let mut chars = text.chars();
    chars.next().map_or_else(String::new, |first| first.to_uppercase().chain(chars).collect())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::fixture;

    #[test]
    fn the_state_tells_the_only_fault_or_names_the_kinds() {
        let mut report = fixture::troubled();
        assert_eq!(
            state(&report),
            (
                String::from("1 FAULT"),
                String::from("Two devices supply heading, 11 deg apart; besides, 1 warning.")
            )
        );
        let fault = report.findings[0].clone();
        for kind in ["heading-jump", "fix-lost", "link-flap", "link-flap", "ip-conflict"] {
            report.findings.push(FindingRow { kind, ..fault.clone() });
        }
        let (title, sentence) = state(&report);
        assert_eq!(title, "6 FAULTS");
        assert!(sentence.contains("heading jump, fix lost and 2 other kinds"), "{sentence}");
    }

    #[test]
    fn an_asked_complaint_decides_what_to_touch() {
        let report = fixture::troubled();
        assert!(touch_first(&report, report.complaints.first()).unwrap().starts_with("Pick one"));
        let mut open = report.complaints[0].clone();
        open.causes.retain(|cause| cause.standing != Standing::Supported);
        assert!(touch_first(&report, Some(&open)).unwrap().starts_with("Steer a slow"));
        assert_eq!(touch_first(&fixture::healthy(), None), None);
    }
}
