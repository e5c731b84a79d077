//! Dips of a bus's power: silences so short that nothing but the nodes themselves shows that they are none of the recorder's.

use super::of_devices::{latest_s, quarrels};
use super::of_wires::AT_ONCE_S;
use super::{Presence, WireSilence, flowed_into, patience, periodic, within};
use crate::books::Books;
use crate::books::bus::{Bus, Start};
use crate::books::inventory::DeviceId;
use crate::books::wires::{Wire, WireId};
use crate::recording::WireKind;
use crate::time::Span;

/// So many intervals of its fastest message a bus must be silent at least.
const INTERVALS: f64 = 2.0;

/// Nodes that must be late with their data when they are back: a recorder that slept makes none late.
const LATE: usize = 2;

/// Finds the silences of buses after which most nodes claimed their addresses unasked and were late with their data.
pub(super) fn find(books: &Books, presence: &mut Presence) {
    let recorded = |wire: &Wire| wire.kind == WireKind::Can && wire.carried_by.is_none();
    for (id, wire) in books.wires.iter().filter(|(_, wire)| recorded(wire)) {
        let Some(bus) = books.buses.get(id) else { continue };
        for (span, nodes) in dips(books, presence, (id, wire), bus) {
            let is_told = |(of, told, _): &(WireId, Span, WireSilence)| *of == id && told.touches(span, 0.0);
            if !presence.wires.iter().any(is_told) {
                presence.brief.retain(|(of, brief)| *of != id || !within(*brief, span));
                presence.wires.push((id, span, WireSilence::CameUpAnew(nodes)));
            }
        }
    }
}

/// Each dip of a bus, and how many nodes claimed after it.
fn dips(books: &Books, presence: &Presence, (id, wire): (WireId, &Wire), bus: &Bus) -> Vec<(Span, usize)> {
    let there = |of: DeviceId, span: Span| {
        books.inventory.seen(of).is_some_and(|seen| seen.from < span.from && seen.to > span.to)
    };
    let named = || books.inventory.iter().filter(|(_, device)| device.wire == id && device.name().is_some());
    let Some(fastest) = named().filter_map(|(node, _)| presence.cadence(node)).min_by(f64::total_cmp) else {
        return Vec::new();
    };
    let mut starts: Vec<&Start> = bus.starts.iter().chain(&bus.perhaps_starts).collect();
    let starts_anew = |start: &Start| start.silent_since.is_some() && !start.is_renamed;
    starts.retain(|start| starts_anew(start) && !quarrels(books, start.device));
    starts.sort_by_key(|start| start.at);
    let mut found: Vec<(Span, usize)> = Vec::new();
    for (place, first) in starts.iter().enumerate() {
        if found.last().is_some_and(|(span, _)| first.at.since(span.to) <= AT_ONCE_S) {
            continue;
        }
        let mut nodes: Vec<&Start> = Vec::new();
        for start in starts.iter().skip(place).take_while(|start| start.at.since(first.at) <= AT_ONCE_S) {
            // Who claims twice was silent up to the first time.
            if !nodes.iter().any(|known| known.device == start.device) {
                nodes.push(start);
            }
        }
        let Some(from) = nodes.iter().filter_map(|start| start.silent_since).max() else { continue };
        let span = Span::new(from, first.at);
        // Longer ones need no claims to be seen.
        let is_short =
            span.seconds() > INTERVALS * fastest && span.seconds() <= patience(books, fastest, wire);
        let silent = wire.gaps.over(0.8 * span.seconds()).iter().any(|gap| within(*gap, span));
        let of_recorder = wire.breaks.iter().any(|between| between.shared_s(span) > 0.0);
        let all = named().filter(|(node, _)| there(*node, span)).count();
        if from >= first.at
            || !is_short
            || !silent
            || of_recorder
            || books.clock_leapt(span)
            || 2 * nodes.len() <= all
        {
            continue;
        }
        let late = nodes.iter().filter(|start| is_late(books, start, span, wire.stamp_s())).count();
        if late >= LATE {
            found.push((span, nodes.len()));
        }
    }
    found
}

/// Whether a node was silent with its bus and sent its data later than its rhythm would have had it after the bus was back.
fn is_late(books: &Books, start: &Start, span: Span, stamp_s: f64) -> bool {
    periodic(books, start.device).any(|stream| {
        let Some(latest_s) = latest_s(stream, stamp_s) else { return false };
        let pauses = stream.gaps.over(span.seconds() + latest_s);
        let about = |pause: &Span| {
            pause.from <= span.from && pause.to > start.at && pause.to.since(span.to) > latest_s
        };
        flowed_into(stream, span) && pauses.iter().any(about)
    })
}
