//! Silences of single messages whose device went on.

use super::of_devices::{quarrels, starts_anew};
use super::of_wires::EDGE_S;
use super::{
    GONE_S, MISSED_INTERVALS, Presence, STARTING_S, Silence, WireSilence, comes_and_goes, engines, follows,
    has_started, heard_s, is_asked_for, is_cut_off, is_missed, is_on_demand, other_talker, patience, taken_s,
    within,
};
use crate::books::Books;
use crate::books::inventory::{DeviceId, Identity};
use crate::books::timing::Stream;
use crate::books::wires::WireId;
use crate::time::{Span, Time};

/// As [`GONE_S`], of a message that paused before while its device went on, and came back (common practice, no source).
const GONE_AGAIN_S: f64 = 3.0;

/// Finds the silences of single messages whose device went on.
pub(super) fn find(books: &Books, presence: &mut Presence) {
    let mut found = Vec::new();
    for (index, stream) in
        books.timing.iter().enumerate().filter(|(_, s)| !comes_and_goes(s) && !is_on_demand(s))
    {
        let Some(device) = books.inventory.get(stream.device) else { continue };
        if matches!(device.identity, Identity::Ethernet { .. }) {
            continue;
        }
        let Some(pulse) = stream.pulse_s() else { continue };
        if stream.filled_s() < 0.25 * heard_s(books, stream.device) {
            continue;
        }
        if quarrels(books, stream.device) || is_asked_for(books, stream) || books.is_cut(stream.device) {
            continue;
        }
        let Some(wire) = books.wires.get(device.wire) else { continue };
        let usual = usual_s(stream, pulse).min(3.0 * pulse);
        let patience = patience(books, pulse.max(usual * 0.6), wire);
        let mut silences: Vec<Silence> =
            stream.gaps.over(patience).into_iter().map(|span| Silence { span, returned: true }).collect();
        // The device itself must have gone on meanwhile.
        let all_silent =
            |span: Span| device.gaps.over(0.8 * span.seconds()).iter().any(|gap| within(*gap, span));
        let is_own = |s: &Silence| {
            is_missed(books, stream, wire, s.span)
                && !engines::is_off(books, stream, s)
                && !all_silent(s.span)
                && !owned(books, presence, stream, s.span, patience)
                && !books.clock_leapt(s.span)
                && !taken_over(books, stream, s.span, patience)
                && !other_talker::sends(books, stream, s.span, s.returned)
        };
        silences.retain(is_own);
        let gone_s =
            if silences.is_empty() { (patience * 2.0).max(GONE_S) } else { patience.max(GONE_AGAIN_S) };
        // After a step back of the recorder's clock the device's latest stamp lies before the step.
        let end = device.last.zip(wire.ended()).map(|(last, ended)| last.min(ended));
        if let (Some(last), Some(end)) = (stream.last, end)
            && end.since(last) > gone_s
            && stream.count >= 20
        {
            silences.extend(Some(Silence { span: Span::new(last, end), returned: false }).filter(is_own));
        }
        if !silences.is_empty() {
            found.push((index, silences));
        }
    }
    presence.messages = found;
}

/// What 99 in 100 intervals of a stream do not exceed, seconds; those apart that miss messages: the more pauses there are,
/// the less they may count as usual.
fn usual_s(stream: &Stream, pulse: f64) -> f64 {
    let missing = stream.intervals.count_between((MISSED_INTERVALS * pulse * 1e6) as u64, u64::MAX);
    let others = 1.0 - missing as f64 / stream.intervals.len().max(1) as f64;
    stream.quantile_s(0.99 * others).unwrap_or(pulse)
}

/// Whether the same message of the device begins with another instance or reference as this one stops: somebody changed a
/// setting.
fn taken_over(books: &Books, stream: &Stream, silence: Span, within_s: f64) -> bool {
    let begins = |at: Time| (-within_s..=within_s).contains(&at.since(silence.from));
    books
        .timing
        .of(stream.device)
        .filter(|s| s.message == stream.message && s.part != stream.part)
        .any(|s| s.first.is_some_and(begins) || s.gaps.over(within_s).iter().any(|gap| begins(gap.to)))
}

/// Whether wider silences of the device, its host or its wire take this one: what is left of it without them is not missed.
fn owned(books: &Books, presence: &Presence, stream: &Stream, span: Span, patience: f64) -> bool {
    let device = stream.device;
    let Some(d) = books.inventory.get(device) else { return false };
    let root = books.root(d.wire);
    let host = books.carrier(device);
    let starting = d.first.is_some_and(|first| follows(span, first)) && starts_anew(books, device);
    let by_device = |id: DeviceId| {
        presence.restarts.get(&id).into_iter().flatten().any(|s| s.touches(span, 2.0))
            || presence.flaps.get(&id).into_iter().flatten().any(|(s, _)| s.touches(span, 2.0))
    };
    let is_its = |wire: WireId| wire == root || wire == d.wire;
    let starts = |back: Time| follows(span, back) && !has_started(stream, back, span);
    // What a device that was away sends when it is back, it may send late.
    let heard_s = stream.pulse_s().unwrap_or(0.0).mul_add(2.0, EDGE_S);
    let late_s = |why: WireSilence| if why.is_recorders() { 0.0 } else { STARTING_S };
    let is_unrecorded = books.wires.get(root).is_some_and(|wire| is_cut_off(wire, span, heard_s));
    let silences = |id: DeviceId| presence.devices.get(&id).into_iter().flatten();
    let of_device = silences(device).chain(host.into_iter().flat_map(silences));
    let of_device = of_device.map(|s| taken_s(s.span, span, heard_s, STARTING_S));
    let own_s = presence.own_s(is_its, is_its, span, heard_s, late_s) - of_device.sum::<f64>();
    starting
        || is_unrecorded
        || own_s <= patience
        || presence.outages(is_its).any(|outage| starts(outage.to))
        || by_device(device)
        || host.is_some_and(by_device)
}
