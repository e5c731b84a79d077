//! What is said of a finding beside its own sentences.

use super::names::Names;
use crate::report::figures::{Calendar, counted};
use crate::report::model::{FindingRow, Report};

/// Spans of one finding that are named.
const MAX_SPANS: usize = 5;

/// Devices or messages of one finding that are named.
const MAX_NAMED: usize = 8;

/// The findings with their indices in the report, gravest first, else in the report's order.
#[must_use]
pub fn gravest_first(report: &Report) -> Vec<(usize, &FindingRow)> {
    let mut rows: Vec<(usize, &FindingRow)> = report.findings.iter().enumerate().collect();
    rows.sort_by_key(|(_, row)| std::cmp::Reverse(row.severity));
    rows
}

/// The devices that summary and evidence do not name; empty when they name all.
#[must_use]
pub fn untold_devices(names: &Names<'_>, row: &FindingRow) -> String {
    untold(row, row.devices.iter().map(|id| names.device(id)))
}

/// The messages that summary and evidence do not name; empty when they name all.
#[must_use]
pub fn untold_messages(row: &FindingRow) -> String {
    untold(row, row.messages.iter().map(String::as_str))
}

fn untold<'a>(row: &FindingRow, names: impl Iterator<Item = &'a str>) -> String {
    let said = format!("{} {}", row.summary, row.evidence.join(" ")).to_lowercase();
    let names: Vec<&str> = names.filter(|name| !said.contains(&name.to_lowercase())).collect();
    let mut text = names.iter().take(MAX_NAMED).copied().collect::<Vec<_>>().join(", ");
    if let Some(more) = names.len().checked_sub(MAX_NAMED).filter(|more| *more > 0) {
        text.push_str(&format!(" and {}", counted(more as u64, "other", "others")));
    }
    text
}

/// When it was seen; empty when it is about no time in particular.
#[must_use]
pub fn seen(calendar: Calendar, row: &FindingRow) -> String {
    let mut spans: Vec<String> = row.spans.iter().take(MAX_SPANS).map(|span| calendar.span(*span)).collect();
    if let Some(more) = row.spans.len().checked_sub(MAX_SPANS).filter(|more| *more > 0) {
        spans.push(format!("and {more} more"));
    }
    spans.join(", ")
}
