//! The words that every format for people shares.

use super::model::{
    Change, Comparison, DeviceChange, FindingChange, Pace, SourceChange, Standing, TimingChange, WireChange,
};
use crate::report::figures::{counted, interval, short};
use crate::report::model::Severity;

/// Lines of evidence that are shown of a finding that is there now.
pub(super) const EVIDENCE: usize = 2;

/// What no comparison tells.
pub(super) const LIMIT: &str = "What the two sides show is what happened while they ran. Whether the boat was used alike, \
    they do not tell.";

/// The last lines of every comparison.
pub(super) const CAUTION: &str = "What the two sides show is what happened while they ran. Whether the boat was used alike, they \
    do not tell. An aid to fault-finding, not to navigation. Switch the supply off before you touch wiring. Propellers \
    and bow motors can start by themselves: secure them before hands go near. Local electrical codes come first.";

/// Where a finding stands, in a word or two.
pub(super) const fn standing(standing: Standing) -> &'static str {
    match standing {
        Standing::New => "NEW",
        Standing::FirstSeen => "FIRST SEEN",
        Standing::Still => "STILL",
        Standing::NotShown => "NOT SHOWN",
        Standing::Cleared => "CLEARED",
    }
}

/// A finding's severity and summary.
pub(super) fn headline(finding: &FindingChange) -> String {
    let word = match finding.severity_after.unwrap_or(finding.severity) {
        Severity::Fault => "Fault",
        Severity::Warning => "Warning",
        Severity::Note => "Note",
    };
    format!("{word}: {}", finding.summary)
}

/// A reason as a sentence.
pub(super) fn sentence(text: &str) -> String {
    let mut chars = text.chars();
    let first = chars.next().map_or_else(String::new, |first| first.to_uppercase().to_string());
    format!("{first}{}.", chars.as_str().trim_end_matches('.'))
}

/// What to touch first: the first check of the gravest finding that is there now.
pub(super) fn touch_first(comparison: &Comparison) -> Option<&str> {
    let now =
        comparison.findings.iter().filter(|f| f.standing <= Standing::Still && f.severity > Severity::Note);
    let mut now: Vec<&FindingChange> = now.collect();
    now.sort_by_key(|f| (std::cmp::Reverse(f.severity), f.standing));
    now.first()?.checks.first().map(String::as_str)
}

/// What became of something, in a word or two.
const fn change(change: Change) -> &'static str {
    match change {
        Change::Went => "gone",
        Change::Came => "new",
        Change::Changed => "changed",
        Change::NotHeard => "not heard",
        Change::FirstHeard => "first heard",
    }
}

/// A device's change: a word, and the rest.
pub(super) fn device(row: &DeviceChange) -> (&'static str, String) {
    let text = match (row.what, &row.before, &row.after) {
        (Some(what), Some(before), Some(after)) => {
            format!("{}: {what} was {before}, is {after} ({})", row.device, row.identity)
        }
        _ => format!("{} ({}): {}", row.device, row.identity, row.because),
    };
    (change(row.change), text)
}

/// A source's change.
pub(super) fn source(row: &SourceChange) -> (&'static str, String) {
    let instance = row.instance.map_or_else(String::new, |i| format!(" #{i}"));
    let who = format!("{}{instance} from {} ({})", row.quantity.replace('-', " "), row.device, row.message);
    let text = match (row.what, &row.before, &row.after) {
        (Some(what), Some(before), Some(after)) => {
            let what = match what {
                "valid-share" => "holds a value in",
                "reference" => "counts from",
                other => other,
            };
            format!("{who}: {what}: before {before}, after {after}")
        }
        _ => format!("{who}: {}", row.because),
    };
    (change(row.change), text)
}

/// A message's change of timing.
pub(super) fn timing(row: &TimingChange) -> (&'static str, String) {
    let carries = if row.quantities.is_empty() {
        String::new()
    } else {
        format!(" ({})", row.quantities.iter().map(|q| q.replace('-', " ")).collect::<Vec<_>>().join(", "))
    };
    let who = format!("{} of {}{carries}", row.message, row.device);
    let times = |pace: &Pace| {
        let n = counted(pace.count, "message", "messages");
        let every = match pace.p50 {
            Some(0.0) => String::from("sooner than the stamps tell"),
            p50 => format!("every {}", interval(p50)),
        };
        format!("{every}, 99 in 100 within {}, {n}", interval(pace.p99))
    };
    let text = match (&row.before, &row.after) {
        (Some(before), Some(after)) => format!("{who}: before {}; after {}", times(before), times(after)),
        (Some(before), None) => format!("{who}: before {}; after none", times(before)),
        (None, Some(after)) => format!("{who}: before none; after {}", times(after)),
        (None, None) => who,
    };
    (change(row.change), text)
}

/// A wire's load on both sides.
pub(super) fn load(row: &WireChange) -> Option<(&'static str, String)> {
    let (before, after) = row.load_before_percent.zip(row.load_after_percent)?;
    let word = if row.load_changed { "changed" } else { "as before" };
    Some((word, format!("{}: {} % before, {} % after", row.wire, short(before), short(after))))
}
