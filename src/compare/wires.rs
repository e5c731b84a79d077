//! Wires: which are on both sides, and their load.

use super::model::{Recorded, WireChange};
use super::noise;
use super::side::{Side, Wire};
use super::view::{View, wire_kind};

/// Every wire of either side.
pub(super) fn compare(forth: &View<'_>, back: &View<'_>) -> Vec<WireChange> {
    let mean = |wire: &Wire| wire.load.and_then(|load| load.mean_percent);
    let mut rows = Vec::new();
    for (i, wire) in forth.from.wires.iter().enumerate() {
        let there = forth.wire_partner(i).and_then(|j| forth.to.wires.get(j));
        let loads = mean(wire).zip(there.and_then(mean));
        rows.push(WireChange {
            recorded: there.map_or_else(|| alone(forth.to, wire, Recorded::Before), |_| Recorded::Both),
            kind: wire.kind.clone(),
            wire: name(wire),
            load_before_percent: mean(wire),
            load_after_percent: there.and_then(mean),
            load_changed: loads.is_some_and(|(before, after)| noise::load(before, after)),
        });
    }
    for (i, wire) in back.from.wires.iter().enumerate() {
        if back.wire_partner(i).is_none() {
            rows.push(WireChange {
                recorded: alone(back.to, wire, Recorded::After),
                kind: wire.kind.clone(),
                wire: name(wire),
                load_before_percent: None,
                load_after_percent: mean(wire),
                load_changed: false,
            });
        }
    }
    rows
}

fn alone(other: &Side, wire: &Wire, only: Recorded) -> Recorded {
    if other.wires.iter().any(|w| w.kind == wire.kind) { Recorded::NotTheSame } else { only }
}

/// What a wire is called.
fn name(wire: &Wire) -> String {
    match wire.label.as_deref().map(str::trim) {
        Some(label) if !label.is_empty() => format!("{} {label}", wire_kind(&wire.kind)),
        _ => wire_kind(&wire.kind).to_owned(),
    }
}
