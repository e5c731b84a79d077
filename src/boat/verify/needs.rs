//! Whether what a device needs was seen on a wire that it hears.

use super::Held;
use crate::boat::model::Need;
use crate::boat::sheet::{Row, Topic};
use crate::report::figures::interval;
use crate::report::model::SourceRow;
use std::collections::BTreeSet;

pub(super) fn rows(held: &Held<'_>) -> Vec<Row> {
    held.file().needs.iter().map(|need| row(held, need)).collect()
}

fn row(held: &Held<'_>, need: &Need) -> Row {
    let (device, quantity) = (need.device.get_ref().as_str(), need.quantity.get_ref().as_str());
    let row = Row::new(Topic::Need, device, format!("{quantity} comes on a wire that it hears"))
        .at(held.boat.line(&need.quantity));
    let nets: BTreeSet<&str> = held.rows(device).iter().map(|seen| held.net(&seen.wire)).collect();
    let there: Vec<&SourceRow> =
        held.report.sources.iter().filter(|source| source.quantity == quantity && source.valid > 0).collect();
    let arrives = |source: &&&SourceRow| {
        let Some(from) = held.by_id(&source.device) else { return false };
        let known = from.called.as_deref().is_some_and(|name| held.reach.reaches(name, device));
        known || nets.contains(held.net(&from.wire))
    };
    let mut arriving: Vec<&&SourceRow> = there.iter().filter(arrives).collect();
    arriving.sort_by_key(|source| std::cmp::Reverse(source.valid));
    if let Some(best) = arriving.first() {
        let every = interval(best.interval_s.p50);
        let found = format!("from {}, every {every}", held.label(&best.device));
        return row.words("values", found).judged(true);
    }
    if nets.is_empty() && there.is_empty() {
        return row
            .words("values", "")
            .note("Neither the device nor the quantity was heard: record a wire that it is on.");
    }
    if nets.is_empty() {
        let from: BTreeSet<&str> = there.iter().map(|source| held.label(&source.device)).collect();
        let from = from.into_iter().collect::<Vec<_>>().join(", ");
        return row
            .words("values", format!("from {from}, on another wire"))
            .note("The device was not heard on a recorded wire: record one that it is on.");
    }
    let (found, note) = if there.is_empty() {
        ("none", "Nothing supplies it: look at the sensor and at its outputs.")
    } else {
        (
            "on another wire only",
            "Lead it to the device's wire, or mark the device that hands it on with passes_on = true.",
        )
    };
    row.words("values", found).judged(false).note(note)
}
