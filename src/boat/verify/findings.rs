//! Faults that the recording shows: a boat that is to be accepted has none.

use super::Held;
use crate::boat::sheet::{Row, Topic};
use crate::report::model::{FindingRow, Severity};

pub(super) fn rows(held: &Held<'_>) -> Vec<Row> {
    let faults = held.report.findings.iter().filter(|finding| finding.severity == Severity::Fault);
    let rows: Vec<Row> = faults
        .map(|finding| {
            let mut names: Vec<&str> = finding.devices.iter().map(|id| held.label(id)).collect();
            names.dedup();
            let subject = match names.as_slice() {
                [] => String::from("the boat"),
                [one] => (*one).to_owned(),
                [one, other] => format!("{one} and {other}"),
                [one, rest @ ..] => format!("{one} and {} others", rest.len()),
            };
            Row::new(Topic::Finding, subject, format!("no {}", finding.kind))
                .words("none", &finding.summary)
                .judged(false)
                .note(note(held, finding))
        })
        .collect();
    if rows.is_empty() {
        return vec![
            Row::new(Topic::Finding, "the boat", "no fault in the recording")
                .words("none", "none")
                .judged(true),
        ];
    }
    rows
}

/// The finding that it follows from, else what to check first.
fn note(held: &Held<'_>, finding: &FindingRow) -> String {
    match finding.follows_from.and_then(|root| held.report.findings.get(root)) {
        Some(root) => format!("It follows from another: {}", root.summary),
        None => finding.checks.first().cloned().unwrap_or_default(),
    }
}
