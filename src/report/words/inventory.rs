//! Cells of the tables of devices, sources and timing, and which rows a short table shows.

use super::names::in_words;
use crate::report::figures::{count, interval};
use crate::report::model::{DeviceRow, Report, Severity, SourceRow};
use std::collections::HashSet;

/// Ids of the devices that a fault or warning is about.
#[must_use]
pub fn suspects(report: &Report) -> HashSet<&str> {
    let grave = report.findings.iter().filter(|finding| finding.severity > Severity::Note);
    grave.flat_map(|finding| finding.devices.iter().map(String::as_str)).collect()
}

/// At most `most` rows, those of suspects first in the choice but all in their own order; and how many are left.
pub fn choose<T>(rows: &[T], most: usize, is_suspect: impl Fn(&T) -> bool) -> (Vec<&T>, usize) {
    let mut order: Vec<(bool, usize)> =
        rows.iter().enumerate().map(|(i, row)| (!is_suspect(row), i)).collect();
    order.sort_unstable();
    order.truncate(most);
    let mut chosen: Vec<usize> = order.into_iter().map(|(_, i)| i).collect();
    chosen.sort_unstable();
    (chosen.into_iter().filter_map(|i| rows.get(i)).collect(), rows.len().saturating_sub(most))
}

/// What tells a device from others, beyond its label.
#[must_use]
pub fn identity(row: &DeviceRow) -> String {
    let mut parts: Vec<String> = Vec::new();
    let mut add = |lead: &str, text: Option<&str>| {
        if let Some(text) = text.map(str::trim).filter(|text| !text.is_empty() && !row.label.contains(text)) {
            parts.push(format!("{lead}{text}"));
        }
    };
    add("", row.model.as_deref());
    add("software ", row.software.as_deref());
    if row.model.is_none() {
        add("NAME ", row.name.as_deref());
    }
    add("maker ", row.manufacturer_code.map(|code| code.to_string()).as_deref());
    add("", (row.kind != "talker").then_some(row.mac.as_deref()).flatten());
    add("", row.hostnames.first().map(String::as_str));
    add("", Some(&row.sentences.join(" ")));
    parts.join(", ")
}

/// What a source supplies, and what that counts from: `heading, magnetic`.
#[must_use]
pub fn quantity(row: &SourceRow) -> String {
    let quantity = in_words(&row.quantity);
    match row.reference {
        Some(reference) => format!("{quantity}, {}", in_words(reference)),
        None => quantity,
    }
}

/// Which of several alike a source is, to stand behind its device's name: ` #1`, or nothing.
#[must_use]
pub fn instance(row: &SourceRow) -> String {
    row.instance.map_or_else(String::new, |instance| format!(" #{instance}"))
}

/// How often a source paused, and how long in all.
#[must_use]
pub fn pauses(row: &SourceRow) -> String {
    match row.dropouts {
        0 => String::from("none"),
        n => format!("{} ({})", count(n), interval(Some(row.dropout_s))),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn suspects_are_chosen_first_and_keep_their_place() {
        let rows: Vec<usize> = (0..50).collect();
        let (chosen, more) = choose(&rows, 40, |row| *row >= 45);
        assert_eq!(more, 10);
        assert_eq!(chosen.len(), 40);
        assert_eq!(chosen.iter().rev().take(6).map(|r| **r).collect::<Vec<_>>(), [49, 48, 47, 46, 45, 34]);
    }
}
