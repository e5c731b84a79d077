//! The answer: one sentence, and what to touch first.

use super::limits::absent_wires;
use super::names::in_words;
use crate::report::figures::{counted, duration};
use crate::report::model::{ComplaintRow, FindingRow, Report, Severity, Standing};

/// Kinds of findings that the one sentence names.
const MAX_NAMED: usize = 3;

/// What a report says first.
#[derive(Debug, Clone)]
pub struct Answer<'a> {
    /// The complaint in words, or the boat's state: `Heading jumps`, `2 faults`, `Nothing wrong seen`.
    pub title: String,
    /// One sentence, or two when a complaint is answered.
    pub sentence: String,
    /// The one thing to do before any other; nothing when there is nothing to do.
    pub touch_first: Option<&'a str>,
    /// What the recording cannot show; only where nothing wrong was seen, and nothing was asked.
    pub not_seen: Option<String>,
    /// The gravest finding's severity.
    pub worst: Option<Severity>,
}

impl<'a> Answer<'a> {
    /// The answer to the complaint that was asked, or the boat's state when none was.
    #[must_use]
    pub fn of(report: &'a Report, asked: Option<&str>) -> Self {
        let row = asked.and_then(|name| report.complaints.iter().find(|row| row.complaint == name));
        let (title, sentence) = match (row, asked) {
            (Some(row), _) => (capitalised(&in_words(row.complaint)), row.answer.clone()),
            (None, Some(name)) => (
                capitalised(&in_words(name)),
                String::from("The recording holds nothing that speaks for or against a cause."),
            ),
            (None, None) => state(report),
        };
        let worst = report.findings.iter().map(|finding| finding.severity).max();
        let quiet = asked.is_none() && worst <= Some(Severity::Note);
        Self {
            title,
            sentence,
            touch_first: touch_first(report, row),
            not_seen: quiet.then(|| unseen(report)),
            worst,
        }
    }
}

/// The boat's state: a title, and a sentence made from the gravest findings: the only one in full, several by their kinds.
fn state(report: &Report) -> (String, String) {
    let number = |severity| report.findings.iter().filter(|f| f.severity == severity).count() as u64;
    let (faults, warnings) = (number(Severity::Fault), number(Severity::Warning));
    let frames = report.frames_heard();
    if frames == 0 {
        let read = report.recordings.iter().map(|r| r.frames).fold(0, u64::saturating_add);
        let why = match read {
            0 => String::from("The recordings hold no frame that can be read."),
            n => format!(
                "None of {} is of a kind that is read, or of the time that was asked for.",
                counted(n, "frame", "frames")
            ),
        };
        return (String::from("Nothing read"), why);
    }
    let (title, gravest) = match (faults, warnings) {
        (0, 0) if report.devices.is_empty() => {
            let heard = counted(frames, "frame", "frames");
            return (String::from("Nothing understood"), format!("{heard} from no device that is known."));
        }
        (0, 0) => return (String::from("Nothing wrong seen"), healthy(report, frames)),
        (0, w) => (counted(w, "warning", "warnings"), Severity::Warning),
        (f, _) => (counted(f, "fault", "faults"), Severity::Fault),
    };
    let besides = |mut sentence: String| {
        if gravest == Severity::Fault && warnings > 0 {
            sentence.push_str(&format!("; besides, {}", counted(warnings, "warning", "warnings")));
        }
        sentence.push('.');
        sentence
    };
    let of_gravest = || report.findings.iter().filter(|finding| finding.severity == gravest);
    let mut kinds: Vec<&str> = Vec::new();
    for finding in of_gravest() {
        if !kinds.contains(&finding.kind) {
            kinds.push(finding.kind);
        }
    }
    // What follows from the only root is its story; the root is told in full.
    let mut roots = of_gravest().filter(|finding| finding.follows_from.is_none());
    if let (Some(only), None) = (roots.next(), roots.next()) {
        let mut sentence = only.summary.trim_end_matches('.').to_owned();
        kinds.retain(|kind| *kind != only.kind);
        if let Some((first, more)) = kinds.split_first() {
            let more = if more.is_empty() { "" } else { " and more" };
            sentence.push_str(&format!("; with it, {}{more}", in_words(first)));
        }
        return (title, besides(sentence));
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
    let devices = counted(report.devices_heard(), "device", "devices");
    format!("No fault and no warning in {} from {devices}{over}.", counted(frames, "frame", "frames"))
}

/// What a healthy recording cannot tell.
fn unseen(report: &Report) -> String {
    let mut text = absent_wires(report).map_or_else(String::new, |absent| format!("{absent} "));
    text.push_str(
        "What did not act up while it ran, and what each display makes of the data, it cannot show.",
    );
    text
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

/// The text with a capital at its beginning.
#[must_use]
pub fn capitalised(text: &str) -> String {
    let mut chars = text.chars();
    chars.next().map_or_else(String::new, |first| first.to_uppercase().chain(chars).collect())
}

/// The text as a sentence: a capital at its beginning, and a full stop where it ends without one.
#[must_use]
pub fn sentence(text: &str) -> String {
    let mut text = capitalised(text.trim());
    if text.ends_with(|c: char| c.is_alphanumeric() || c == ')' || c == '%') {
        text.push('.');
    }
    text
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
                String::from("1 fault"),
                String::from("Two devices supply heading, 11 deg apart; besides, 1 warning.")
            )
        );
        let fault = report.findings[0].clone();
        for kind in ["heading-jump", "fix-lost", "link-flap", "link-flap", "ip-conflict"] {
            report.findings.push(FindingRow { kind, ..fault.clone() });
        }
        let mut one_story = report.clone();
        one_story.findings.retain(|finding| finding.severity < Severity::Fault);
        one_story.findings.insert(0, fault.clone());
        one_story.findings.insert(1, FindingRow { kind: "link-flap", follows_from: Some(0), ..fault });
        assert_eq!(
            state(&one_story).1,
            "Two devices supply heading, 11 deg apart; with it, link flap; besides, 1 warning."
        );
        let (title, sentence) = state(&report);
        assert_eq!(title, "6 faults");
        assert!(sentence.contains("heading jump, fix lost and 2 other kinds"), "{sentence}");
    }

    #[test]
    fn what_nobody_understood_is_not_called_healthy() {
        let mut report = fixture::healthy();
        assert_eq!(state(&report).0, "Nothing wrong seen");
        report.devices.clear();
        let told =
            (String::from("Nothing understood"), String::from("60,000 frames from no device that is known."));
        assert_eq!(state(&report), told);
        report.wires.iter_mut().for_each(|wire| wire.frames = 0);
        assert_eq!(state(&report).0, "Nothing read");
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
