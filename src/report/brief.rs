//! One line a report, for a shop that looks through many.

use super::escape::plain;
use super::figures::{counted, duration};
use super::model::{Report, Severity};

/// Kinds that one line names.
const MAX_NAMED: usize = 3;

/// Columns for the state, so that the paths stand below each other.
const STATE_WIDTH: usize = 22;

/// The report in one line: the state, the recording, how long it is, and the gravest kinds. Safe for a terminal.
#[must_use]
pub fn line(path: &str, report: &Report) -> String {
    let number = |severity| report.findings.iter().filter(|f| f.severity == severity).count() as u64;
    let (faults, warnings) = (number(Severity::Fault), number(Severity::Warning));
    let frames = report.recordings.iter().map(|r| r.frames).fold(0, u64::saturating_add);
    let mut parts = Vec::new();
    if faults > 0 {
        parts.push(counted(faults, "fault", "faults"));
    }
    if warnings > 0 {
        parts.push(counted(warnings, "warning", "warnings"));
    }
    let state = match (parts.is_empty(), frames) {
        (_, 0) => "nothing read".to_owned(),
        (true, _) => "nothing wrong seen".to_owned(),
        (false, _) => parts.join(", "),
    };
    let mut kinds: Vec<&str> = Vec::new();
    for finding in report.findings.iter().filter(|f| f.severity > Severity::Note) {
        if !kinds.contains(&finding.kind) {
            kinds.push(finding.kind);
        }
    }
    let more = kinds.len().saturating_sub(MAX_NAMED);
    kinds.truncate(MAX_NAMED);
    let mut told = kinds.join(", ");
    if more > 0 {
        told.push_str(&format!(" and {more} more"));
    }
    let seconds = report.recordings.iter().filter_map(|r| r.duration_s).fold(0.0, f64::max);
    let length = if seconds > 0.0 { duration(seconds) } else { "no clock".to_owned() };
    let devices = counted(report.devices.len() as u64, "device", "devices");
    let between = if told.is_empty() { "" } else { ": " };
    format!("{state:STATE_WIDTH$} {}  {length}, {devices}{between}{told}", plain(path))
}

/// The line of a recording that could not be read.
#[must_use]
pub fn unread(path: &str, why: &str) -> String {
    format!("{:STATE_WIDTH$} {}  {}", "not read", plain(path), plain(why))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::fixture;

    #[test]
    fn one_line_tells_the_state() {
        assert_eq!(
            line("bow.log", &fixture::troubled()),
            "1 fault, 1 warning     bow.log  12 min 04 s, 4 devices: duplicate-heading-source, message-dropout"
        );
        assert!(line("calm.log", &fixture::healthy()).starts_with("nothing wrong seen     calm.log"));
        assert!(line("a\u{1b}[2Jb\nc", &fixture::empty()).lines().count() == 1);
        assert!(!line("a\u{1b}[2Jb", &fixture::empty()).contains('\u{1b}'));
        assert_eq!(unread("x.bin", "it is no recording"), "not read               x.bin  it is no recording");
    }
}
