//! What is there and was not expected: devices and sources that the file does not name, and warnings.

use super::Held;
use crate::boat::sheet::Unexpected;
use crate::report::model::Severity;
use std::collections::BTreeSet;

/// Things of each kind that are listed; a boat with more is not the boat of the file.
const MAX_LISTED: usize = 200;

pub(super) fn things(held: &Held<'_>) -> Vec<Unexpected> {
    let mut things = devices(held);
    things.extend(sources(held));
    let warnings = held.report.findings.iter().filter(|finding| finding.severity == Severity::Warning);
    things.extend(warnings.take(MAX_LISTED).map(|finding| Unexpected {
        what: "finding",
        severity: Some(finding.severity),
        kind: Some(finding.kind),
        text: format!("{} ({})", finding.summary, finding.kind),
    }));
    things
}

fn devices(held: &Held<'_>) -> Vec<Unexpected> {
    let unknown = held.report.devices.iter().filter(|row| row.called.is_none() && row.frames > 0);
    let told = unknown.take(MAX_LISTED).map(|row| {
        let quantities: BTreeSet<&str> = held
            .report
            .sources
            .iter()
            .filter(|source| source.device == row.id && source.valid > 0)
            .map(|source| source.quantity.as_str())
            .collect();
        let mut text = row.label.clone();
        if !quantities.is_empty() {
            text.push_str(&format!(", supplies {}", quantities.into_iter().collect::<Vec<_>>().join(", ")));
        }
        Unexpected { what: "device", severity: None, kind: None, text }
    });
    told.collect()
}

fn sources(held: &Held<'_>) -> Vec<Unexpected> {
    let mut told = BTreeSet::new();
    for source in held.report.sources.iter().filter(|source| source.valid > 0) {
        let named = held.by_id(&source.device).is_some_and(|row| row.called.is_some());
        if !named || held.file().supplies.iter().any(|supply| held.is_of(supply, source)) {
            continue;
        }
        let reference = source.reference.map(|r| format!(" ({r})")).unwrap_or_default();
        let instance = source.instance.map(|i| format!(" {i}")).unwrap_or_default();
        told.insert(format!(
            "{}{reference}{instance} from {} in message {}",
            source.quantity,
            held.label(&source.device),
            source.message
        ));
    }
    let thing = |text| Unexpected { what: "source", severity: None, kind: None, text };
    told.into_iter().take(MAX_LISTED).map(thing).collect()
}
