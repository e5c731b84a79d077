//! One line a report, for a shop that looks through many.

use super::escape::plain;
use super::figures::{counted, duration};
use super::model::{Report, Severity, Standing};
use super::words::answer::Answer;

/// Kinds or causes that one line names.
const MAX_NAMED: usize = 3;

/// Columns for the state, so that the paths stand below each other.
const STATE_WIDTH: usize = 22;

/// The report in one line: the state, the recording, how long it is, and the gravest kinds, or what the causes of the
/// `asked` complaint come to. Safe for a terminal.
#[must_use]
pub fn line(path: &str, report: &Report, asked: Option<&str>) -> String {
    let number = |severity| report.findings.iter().filter(|f| f.severity == severity).count() as u64;
    let (faults, warnings) = (number(Severity::Fault), number(Severity::Warning));
    let mut parts = Vec::new();
    if faults > 0 {
        parts.push(counted(faults, "fault", "faults"));
    }
    if warnings > 0 {
        parts.push(counted(warnings, "warning", "warnings"));
    }
    let state =
        if parts.is_empty() { Answer::of(report, None).title.to_lowercase() } else { parts.join(", ") };
    let told = asked.map_or_else(|| gravest(report), |name| weighed(report, name));
    let seconds = report.recordings.iter().filter_map(|r| r.duration_s).fold(0.0, f64::max);
    let length = if seconds > 0.0 { duration(seconds) } else { "no clock".to_owned() };
    let devices = counted(report.devices_heard(), "device", "devices");
    let between = if told.is_empty() { "" } else { ": " };
    format!("{state:STATE_WIDTH$} {}  {length}, {devices}{between}{told}", plain(path))
}

/// The kinds of faults and warnings, the gravest first; nothing where there is none.
fn gravest(report: &Report) -> String {
    let mut kinds: Vec<&str> = Vec::new();
    for finding in report.findings.iter().filter(|f| f.severity > Severity::Note) {
        if !kinds.contains(&finding.kind) {
            kinds.push(finding.kind);
        }
    }
    named(&kinds)
}

/// What the causes of a complaint come to: those that the recording shows, and how many it leaves open or rules out.
fn weighed(report: &Report, name: &str) -> String {
    let causes = report.complaints.iter().filter(|row| row.complaint == name).flat_map(|row| &row.causes);
    let mut supported: Vec<&str> = Vec::new();
    let (mut open, mut ruled_out) = (0, 0);
    for cause in causes {
        match cause.standing {
            Standing::Supported => supported.push(&cause.cause),
            Standing::Open => open += 1,
            Standing::RuledOut => ruled_out += 1,
        }
    }
    let shown = if supported.is_empty() { "no cause shown".to_owned() } else { named(&supported) };
    format!("{name}: {shown} ({open} open, {ruled_out} ruled out)")
}

/// The first names, and how many more there are.
fn named(names: &[&str]) -> String {
    let mut told = names.iter().take(MAX_NAMED).copied().collect::<Vec<_>>().join(", ");
    let more = names.len().saturating_sub(MAX_NAMED);
    if more > 0 {
        told.push_str(&format!(" and {more} more"));
    }
    told
}

/// The line of a recording that could not be read. `why` may name it too, and needs not do so twice.
#[must_use]
pub fn unread(path: &str, why: &str) -> String {
    let path = plain(path);
    let why = plain(why).replacen(&*path, "it", 1);
    format!("{:STATE_WIDTH$} {path}  {why}", "not read")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::fixture;

    #[test]
    fn an_asked_complaint_takes_the_place_of_the_kinds() {
        assert_eq!(
            line("bow.log", &fixture::troubled(), Some("heading-jumps")),
            "1 fault, 1 warning     bow.log  12 min 04 s, 4 devices: heading-jumps: duplicate-heading-source (1 open, 2 ruled out)"
        );
        assert!(
            line("calm.log", &fixture::healthy(), Some("no-depth"))
                .ends_with(": no-depth: no cause shown (0 open, 0 ruled out)")
        );
    }

    #[test]
    fn one_line_tells_the_state() {
        assert_eq!(
            line("bow.log", &fixture::troubled(), None),
            "1 fault, 1 warning     bow.log  12 min 04 s, 4 devices: duplicate-heading-source, message-dropout"
        );
        assert!(line("calm.log", &fixture::healthy(), None).starts_with("nothing wrong seen     calm.log"));
        assert!(line("a\u{1b}[2Jb\nc", &fixture::empty(), None).lines().count() == 1);
        assert!(!line("a\u{1b}[2Jb", &fixture::empty(), None).contains('\u{1b}'));
        assert!(line("none.log", &fixture::empty(), None).starts_with("nothing read"));
        assert_eq!(unread("x.bin", "it is no recording"), "not read               x.bin  it is no recording");
        assert_eq!(
            unread("x.bin", "cannot read x.bin: it is gone"),
            "not read               x.bin  cannot read it: it is gone"
        );
    }
}
