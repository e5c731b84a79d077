//! A draft of a boat file out of a recording: everything that it tells, with a comment wherever the installer must say
//! more. A fault is never learnt as the norm.

mod crew;
mod ink;
mod supplies;
mod templates;

use crate::report::escape::plain;
use crate::report::model::{FindingRow, Report, Severity, SourceRow};
use crew::Crew;
use ink::Ink;

/// Findings of each severity that are listed.
const MAX_LISTED: usize = 100;

/// Load of a wire's busiest second above which a finding warns, percent: the draft's limits.
const BUS_LOAD_PERCENT: f64 = 60.0;
const ETHERNET_LOAD_PERCENT: f64 = 70.0;

/// Voltage below which a finding tells of a low supply, volts.
const SUPPLY_MIN_V: f64 = 11.0;

/// A draft, and what was kept out of it.
#[derive(Debug, Clone)]
pub struct Draft {
    /// The boat file.
    pub text: String,
    /// The faults that were kept out of its expectations, one line each, safe for a terminal.
    pub kept_out: Vec<String>,
}

/// Drafts a boat file.
#[must_use]
pub fn learn(report: &Report) -> Draft {
    let crew = Crew::of(report);
    let mut ink = Ink::default();
    head(&mut ink, report);
    templates::limits(&mut ink, report);
    crew.write(&mut ink);
    templates::cabling(&mut ink, &crew);
    templates::backbone(&mut ink, &crew);
    supplies::write(&mut ink, report, &crew);
    templates::needs(&mut ink);
    let faults = of(report, Severity::Fault);
    let kept_out = faults.map(|fault| plain(&fault.summary).into_owned()).take(MAX_LISTED).collect();
    Draft { text: ink.text, kept_out }
}

fn of(report: &Report, severity: Severity) -> impl Iterator<Item = &FindingRow> {
    report.findings.iter().filter(move |finding| finding.severity == severity)
}

fn head(ink: &mut Ink, report: &Report) {
    ink.comment("Draft of a boat file, learnt from");
    for recording in &report.recordings {
        let from = recording.first.map(|first| format!(", from {first}")).unwrap_or_default();
        ink.comment(&format!("  {}{from}", recording.path));
    }
    ink.comment("It tells what the recording tells. FILL IN marks what only you know; docs/boat-file.md explains every key.");
    ink.comment("Look through it before you take it as the norm, and rename the devices in the words that you use on board.");
    let faults: Vec<&FindingRow> = of(report, Severity::Fault).collect();
    if !faults.is_empty() {
        ink.blank();
        ink.comment("THE RECORDING SHOWS FAULTS. What they touch is kept out of the expectations below; mend them, record");
        ink.comment("again and learn anew.");
        faults.iter().take(MAX_LISTED).for_each(|f| ink.comment(&format!("  {} ({})", f.summary, f.kind)));
    }
    let warnings: Vec<&FindingRow> = of(report, Severity::Warning).collect();
    if !warnings.is_empty() {
        ink.blank();
        ink.comment("The recording shows what should be looked at first:");
        warnings.iter().take(MAX_LISTED).for_each(|f| ink.comment(&format!("  {} ({})", f.summary, f.kind)));
    }
    ink.blank();
    ink.table("[boat]");
    ink.text("name", "FILL IN: the boat's name");
}

/// Whether a finding is about this source: about its message, or about its device as a whole (an address claim, or a link
/// that drops, is no message that carries a quantity).
fn touches(report: &Report, finding: &FindingRow, source: &SourceRow) -> bool {
    let carries = |message: &String| {
        report.sources.iter().any(|other| other.device == source.device && other.message == *message)
    };
    finding.devices.contains(&source.device)
        && (finding.messages.contains(&source.message) || !finding.messages.iter().any(carries))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::boat::parse;
    use crate::report::escape::is_unsafe;
    use crate::report::fixture;

    /// Names that try to end a string, a comment or a table do not: the draft is a boat file all the same.
    #[test]
    fn hostile_names_stay_text() {
        let mut report = fixture::hostile();
        for device in &mut report.devices {
            device.model = Some(String::from("x\"\n[[device]]\nname = \"forged\u{1b}[2J"));
            device.sentences = vec![String::from("a\n[boat]")];
        }
        let draft = learn(&report);
        assert!(!draft.text.chars().any(|c| c != '\n' && is_unsafe(c)));
        // The hostile MAC and talker are refused by the file's own checks; nothing else may be wrong.
        report.devices.retain(|device| device.kind == "n2k");
        let text = learn(&report).text;
        let boat = parse("draft", &text).unwrap_or_else(|error| panic!("{error}\n{text}"));
        assert_eq!(boat.file.devices.len(), 2, "the two nodes of the fixture, and no forged one");
        assert!(boat.file.devices[0].name.get_ref().contains("forged"));
    }

    #[test]
    fn a_crowd_gets_a_name_each() {
        let draft = learn(&fixture::crowded());
        assert!(parse("draft", &draft.text).is_ok(), "{}", draft.text);
    }
}
