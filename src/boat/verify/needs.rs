//! Whether what a device needs was seen on a wire that it hears.

use super::Held;
use super::listened::long_enough_s;
use super::ways::{Ears, Way};
use crate::boat::model::{Device, Need};
use crate::boat::sheet::{Row, Topic};
use crate::report::model::SourceRow;
use crate::report::words::names::Names;
use std::collections::BTreeSet;

pub(super) fn rows(held: &Held<'_>) -> Vec<Row> {
    held.file().needs.iter().filter_map(|need| row(held, need)).collect()
}

fn row(held: &Held<'_>, need: &Need) -> Option<Row> {
    let device = held.file().device(need.device.get_ref())?;
    let quantity = need.quantity.get_ref().as_str();
    let row =
        Row::new(Topic::Need, need.device.get_ref(), format!("{quantity} comes on a wire that it hears"))
            .at(held.boat.line(&need.quantity));
    let ears = held.ears(device);
    let there: Vec<&SourceRow> =
        held.report.sources.iter().filter(|source| source.quantity == quantity && source.valid > 0).collect();
    let on = |source: &SourceRow, wires: &BTreeSet<Way<'_>>| {
        held.by_id(&source.device).is_some_and(|from| !held.ways(&from.wire).is_disjoint(wires))
    };
    let best = |wires: &BTreeSet<Way<'_>>| {
        there.iter().filter(|source| on(source, wires)).max_by_key(|source| source.valid)
    };
    let found = |source: &SourceRow| {
        let every = Names::of(held.report).interval(&source.device, source.interval_s.p50);
        format!("from {}, every {every}", held.label(&source.device))
    };
    let awake: BTreeSet<Way<'_>> = ears.on.difference(&ears.silent).copied().collect();
    Some(match (best(&awake), best(&ears.silent)) {
        (Some(source), _) => row.words("values", found(source)).judged(true),
        (None, Some(source)) => {
            row.words("values", found(source)).note("The device was not heard on the wire where this comes.")
        }
        (None, None) if there.is_empty() => nowhere(held, &ears, row),
        (None, None) => elsewhere(held, device, &ears, &there, row),
    })
}

/// Of a quantity that nobody sent.
fn nowhere(held: &Held<'_>, ears: &Ears<'_>, row: Row) -> Row {
    if ears.on == ears.unrecorded {
        return row
            .words("values", "")
            .note("Neither the device nor the quantity was heard: record a wire that it is on.");
    }
    if !ears.unrecorded.is_empty() {
        return row.words("values", "").note("It may come on a wire that was not recorded: record that too.");
    }
    let length = held.report.recordings.iter().filter_map(|recording| recording.duration_s).reduce(f64::max);
    if length < Some(long_enough_s(None)) {
        return row
            .words("values", "")
            .note("The recording is too short to tell, or has no clock: record for longer.");
    }
    row.words("values", "none")
        .judged(false)
        .note("Nothing supplies it: look at the sensor and at its outputs.")
}

/// Of a quantity that was seen where the device does not listen.
fn elsewhere(held: &Held<'_>, device: &Device, ears: &Ears<'_>, there: &[&SourceRow], row: Row) -> Row {
    let name = device.name.get_ref();
    let from: BTreeSet<&str> = there.iter().map(|source| held.label(&source.device)).collect();
    let from = from.into_iter().collect::<Vec<_>>().join(", ");
    let row = row.words("values", format!("from {from}, on another wire"));
    let senders = there.iter().filter_map(|source| held.by_id(&source.device)?.called.as_deref());
    let handing: BTreeSet<&str> = senders.flat_map(|from| held.reach.hand_on(from, name)).collect();
    if !handing.is_empty() {
        let handing = handing.into_iter().collect::<Vec<_>>().join(", ");
        return row.note(format!(
            "By the file it is handed on by {handing}, and that was not seen: the recording may lack that wire, or it is \
             handed on in a form that is not read."
        ));
    }
    if !ears.unrecorded.is_empty() || ears.on.is_empty() {
        return row.note("A wire that the device is on was not recorded: record that too.");
    }
    if ears.on == ears.silent {
        return row.note("The device was not heard on a wire that was recorded.");
    }
    row.judged(false)
        .note("Lead it to the device's wire, or mark the device that hands it on with passes_on = true.")
}
