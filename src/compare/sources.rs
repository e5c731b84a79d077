//! Sources of devices that are on both sides: what they supply no more, anew or otherwise.

use super::model::{Change, SourceChange};
use super::noise;
use super::side::{Device, Source};
use super::view::{Absent, View, about_s};
use crate::report::figures::{counted, duration, share};
use std::collections::{HashMap, HashSet};

/// Messages give a depth's offset in millimetres or in tenths of a metre: what differs by less is one offset, metres.
const OFFSET_STEP_M: f64 = 0.005;

/// What tells a source from others, beside its reference.
type Key<'a> = (&'a str, usize, &'a str, Option<u8>);

/// Compares the sources.
pub(super) fn compare(forth: &View<'_>, back: &View<'_>) -> Vec<SourceChange> {
    let (before, after) = (&forth.from.sources, &forth.to.sources);
    let b_keys: Vec<Option<Key<'_>>> = before
        .iter()
        .map(|s| {
            Some((
                s.quantity.as_str(),
                forth.partner(forth.ids.device(&s.device)?)?,
                s.message.as_str(),
                s.instance,
            ))
        })
        .collect();
    let a_keys: Vec<Option<Key<'_>>> = after
        .iter()
        .map(|s| Some((s.quantity.as_str(), back.ids.device(&s.device)?, s.message.as_str(), s.instance)))
        .collect();
    let mut b_to: Vec<Option<usize>> = vec![None; before.len()];
    let mut a_to: Vec<Option<usize>> = vec![None; after.len()];
    // With the reference first; what is left of the same key has changed its reference.
    for with_reference in [true, false] {
        let reference = |s: &Source| if with_reference { s.reference.clone() } else { None };
        let mut there: HashMap<(Key<'_>, Option<String>), usize> = HashMap::new();
        for (j, (source, key)) in after.iter().zip(&a_keys).enumerate() {
            if let (Some(key), Some(None)) = (key, a_to.get(j)) {
                there.entry((*key, reference(source))).or_insert(j);
            }
        }
        for (i, (source, key)) in before.iter().zip(&b_keys).enumerate() {
            let (Some(key), Some(slot @ None)) = (key, b_to.get_mut(i)) else { continue };
            if let Some(j) = there.remove(&(*key, reference(source))) {
                *slot = Some(j);
                if let Some(slot) = a_to.get_mut(j) {
                    *slot = Some(i);
                }
            }
        }
    }
    let mut changes = absent(forth, Change::Went, &b_to);
    changes.extend(absent(back, Change::Came, &a_to));
    let mut told = HashSet::new();
    for (b, to) in before.iter().zip(&b_to) {
        if let Some(a) = to.and_then(|j| after.get(j)) {
            changes.extend(changed(forth, b, a, told.insert((a.device.as_str(), a.message.as_str()))));
        }
    }
    changes.sort_by_key(|change| change.change);
    changes
}

fn row(view: &View<'_>, source: &Source, change: Change, because: String) -> SourceChange {
    let device = view.ids.device(&source.device).and_then(|i| view.from.devices.get(i));
    SourceChange {
        change,
        quantity: source.quantity.clone(),
        device: device.map_or_else(|| source.device.clone(), |d| d.label.clone()),
        message: source.message.clone(),
        instance: source.instance,
        what: None,
        before: None,
        after: None,
        because,
    }
}

/// Sources of one side alone whose device is on both, as far as the other would have heard them.
fn absent(view: &View<'_>, change: Change, to: &[Option<usize>]) -> Vec<SourceChange> {
    let alone = view.from.sources.iter().zip(to).filter(|(_, to)| to.is_none());
    alone
        .filter_map(|(source, _)| {
            let device = view.ids.device(&source.device).filter(|i| view.partner(*i).is_some())?;
            let (wire, there) = view.wires_of(view.from.devices.get(device)?);
            let (wire, there) = (wire?, there?);
            let about = about_s(source.count, source.interval_s.p50, wire);
            match view.silent(source.count, about, wire, there) {
                Absent::Gone(_) => {
                    let times = counted(source.count, "message", "messages");
                    let because =
                        format!("{times} on one side and none on the other, whose device speaks on");
                    Some(row(view, source, change, because))
                }
                _ => None,
            }
        })
        .collect()
}

fn changed(forth: &View<'_>, before: &Source, after: &Source, pauses: bool) -> Vec<SourceChange> {
    let mut changes = Vec::new();
    let mut add = |what: &'static str, b: String, a: String, because: String| {
        let base = row(forth, before, Change::Changed, because);
        changes.push(SourceChange { what: Some(what), before: Some(b), after: Some(a), ..base });
    };
    let reference = |s: &Source| {
        s.reference.as_deref().map_or_else(|| String::from("none given"), |r| r.replace('-', " "))
    };
    if before.reference != after.reference {
        add("reference", reference(before), reference(after), String::from("as the messages say"));
    }
    if let Some((b, a)) = before.offset_m.zip(after.offset_m)
        && (b - a).abs() >= OFFSET_STEP_M
    {
        let of = |m: f64| format!("{m:+.2} m");
        add("offset", of(b), of(a), String::from("as the messages say"));
    }
    if noise::share((before.valid, before.count), (after.valid, after.count)) {
        let of = |s: &Source| {
            format!("{} of {}", share(s.valid, s.count), counted(s.count, "message", "messages"))
        };
        add("valid-share", of(before), of(after), String::from("more than three times what chance explains"));
    }
    let device = forth.ids.device(&before.device).and_then(|i| forth.from.devices.get(i));
    let seconds = device.and_then(|device: &Device| {
        let (wire, there) = forth.wires_of(device);
        wire?.seconds().zip(there?.seconds())
    });
    if let Some((b_s, a_s)) = seconds.filter(|_| pauses)
        && noise::rate((before.dropouts, b_s), (after.dropouts, a_s))
    {
        let of = |n: u64, s: f64| format!("{} in {}", counted(n, "pause", "pauses"), duration(s));
        add(
            "pauses",
            of(before.dropouts, b_s),
            of(after.dropouts, a_s),
            String::from("more than three times what chance explains"),
        );
    }
    changes
}
