//! Messages whose timing changed beyond noise.

use super::model::{Change, Pace, TimingChange};
use super::noise;
use super::side::{Side, Timing};
use super::view::{Absent, View, about_s};
use std::collections::{BTreeSet, HashMap};

/// The only row of a device's message; `None` when there are several (engines, batteries), which cannot be told apart.
type Rows<'a> = HashMap<(usize, &'a str), Option<&'a Timing>>;

/// Compares the timing of periodic messages.
pub(super) fn compare(forth: &View<'_>, back: &View<'_>) -> Vec<TimingChange> {
    let key = |t: &Timing| forth.ids.device(&t.device).and_then(|i| forth.partner(i));
    let before = rows(forth.from, key);
    let after = rows(forth.to, |t| back.ids.device(&t.device));
    let mut changes = Vec::new();
    for b in &forth.from.timing {
        let Some(device) = key(b) else { continue };
        match after.get(&(device, b.message.as_str())) {
            Some(Some(a)) if matches!(before.get(&(device, b.message.as_str())), Some(Some(_))) => {
                changes.extend(changed(forth, b, a));
            }
            Some(_) => {}
            None => changes.extend(absent(forth, b, Change::Went)),
        }
    }
    for a in &forth.to.timing {
        let Some(device) = back.ids.device(&a.device).filter(|i| back.partner(*i).is_some()) else {
            continue;
        };
        if !before.contains_key(&(device, a.message.as_str())) {
            changes.extend(absent(back, a, Change::Came));
        }
    }
    changes.sort_by_key(|change| change.change);
    changes
}

fn rows<'a>(side: &'a Side, device: impl Fn(&Timing) -> Option<usize>) -> Rows<'a> {
    let mut rows: Rows<'a> = HashMap::new();
    for row in &side.timing {
        if let Some(device) = device(row) {
            rows.entry((device, row.message.as_str())).and_modify(|only| *only = None).or_insert(Some(row));
        }
    }
    rows
}

fn pace(row: &Timing) -> Pace {
    Pace { count: row.count, p50: row.p50, p90: row.p90, p99: row.p99 }
}

fn change(view: &View<'_>, row: &Timing, change: Change) -> TimingChange {
    let device = view.ids.device(&row.device).and_then(|i| view.from.devices.get(i));
    TimingChange {
        change,
        what: None,
        device: device.map_or_else(|| row.device.clone(), |d| d.label.clone()),
        message: row.message.clone(),
        quantities: quantities(view, row),
        before: None,
        after: None,
    }
}

fn quantities(view: &View<'_>, row: &Timing) -> Vec<String> {
    let of_row = |s: &&super::side::Source| s.device == row.device && s.message == row.message;
    let names: BTreeSet<&String> = view.from.sources.iter().filter(of_row).map(|s| &s.quantity).collect();
    names.into_iter().cloned().collect()
}

fn changed(forth: &View<'_>, before: &Timing, after: &Timing) -> Option<TimingChange> {
    // What comes without rhythm has no pace to compare.
    before.nominal_s.or(after.nominal_s)?;
    let device = forth.from.devices.get(forth.ids.device(&before.device)?)?;
    let (wire, there) = forth.wires_of(device);
    let resolution = |wire: Option<&super::side::Wire>| wire.and_then(|w| w.time_resolution_s).unwrap_or(0.0);
    let what = match noise::pace(before, after, resolution(wire).max(resolution(there)))? {
        noise::Pace::Median => "interval",
        noise::Pace::Ragged => "regularity",
    };
    Some(TimingChange {
        what: Some(what),
        before: Some(pace(before)),
        after: Some(pace(after)),
        ..change(forth, before, Change::Changed)
    })
}

/// A periodic message of one side alone; those that carry a quantity stand among the sources.
fn absent(view: &View<'_>, row: &Timing, kind: Change) -> Option<TimingChange> {
    row.nominal_s?;
    let device = view.from.devices.get(view.ids.device(&row.device)?)?;
    let (wire, there) = view.wires_of(device);
    let (wire, there) = (wire?, there?);
    if !matches!(view.silent(row.count, about_s(row.count, row.p50, wire), wire, there), Absent::Gone(_)) {
        return None;
    }
    let mut change = change(view, row, kind);
    let side = if kind == Change::Went { &mut change.before } else { &mut change.after };
    *side = Some(pace(row));
    change.quantities.is_empty().then_some(change)
}
