//! Silences of whole wires: everyone at once.

use super::of_devices::quarrels;
use super::{
    COUNTED_S, Presence, STANDS_OUT, STARTED_PULSES, WireSilence, cadence, flowed_into, follows, is_silent,
    on_boat_clock, patience, patience_with, periodic, unheard, within,
};
use crate::books::Books;
use crate::books::bus::Start;
use crate::books::inventory::DeviceId;
use crate::books::network::{Host, Return, SHOWS_WITHIN_S, Sign};
use crate::books::timing::Stream;
use crate::books::wires::{Wire, WireId};
use crate::findings::ip_conflict::conflicts;
use crate::recording::WireKind;
use crate::time::{Span, Time};
use std::collections::BTreeSet;

/// A silence that nothing explains is told from here, seconds: a busy computer stalls for shorter ones, and a gateway that
/// sends over a radio link does.
const UNEXPLAINED_S: f64 = 2.5;

/// Shorter silences of a whole wire explain no pause of a message, seconds.
pub(super) const BRIEF_S: f64 = 0.5;

/// What begins or ends within this of a silence does so with it, seconds.
pub(super) const EDGE_S: f64 = 0.5;

/// So many silences that nothing explains are told though each is short.
const OFTEN: usize = 3;

/// From this many frames a stamp on, a stamp without any is a silence.
const CROWDED: f64 = 10.0;

/// Finds the silences of whole wires, and the wires that were being switched off.
pub(super) fn find(books: &Books, presence: &mut Presence) {
    wire_silences(books, presence);
    switched_off(books, presence);
}

fn wire_silences(books: &Books, presence: &mut Presence) {
    // A bus inside packets may fall silent while the gateway lives; a line there is its talker.
    let own = |w: &Wire| w.carried_by.is_none() || w.kind == WireKind::Can;
    for (id, wire) in books.wires.iter().filter(|(_, w)| own(w)) {
        let is_on = |of: WireId| of == id || wire.carried_by.is_none() && books.root(of) == id;
        let devices: Vec<DeviceId> = books
            .inventory
            .iter()
            .filter(|(device, d)| is_on(d.wire) && presence.cadence(*device).is_some())
            .map(|(device, _)| device)
            .collect();
        let cadences = devices.iter().filter_map(|device| presence.cadence(*device));
        let Some(fastest) = cadences.min_by(f64::total_cmp) else { continue };
        if on_boat_clock(books, wire) {
            // Whether the recorder slept or the wire was out shows by those alone that are back later. A clock that falls silent leaps
            // too, until the others' sentences are counted.
            for span in leaps(wire) {
                match come_up_after(books, id, &devices, span) {
                    anew if anew > 0 && span.seconds() >= COUNTED_S => {
                        presence.wires.push((id, span, WireSilence::CameUpAnew(anew)));
                    }
                    _ => presence.brief.push((id, span)),
                }
            }
            continue;
        }
        // With one periodic device only, its silence and the wire's cannot be told apart; hosts, and what they carry, come and go.
        let own_data = wire.kind != WireKind::Ethernet && wire.carried_by.is_none();
        let others = books.inventory.iter().filter(|(_, d)| d.wire == id).count() > 1;
        if devices.len() < 2 && others && !own_data {
            continue;
        }
        let enough = if others { 2 } else { devices.len().min(2) };
        // Where one stamp covers many frames, the stamps are what is slow and not the devices.
        let fastest = if frames_a_stamp(wire) >= CROWDED { 0.0 } else { fastest };
        let patience = patience_with(books, fastest, wire, &wire.gaps);
        let mut brief = Vec::new();
        for span in wire.gaps.over(patience.min(BRIEF_S.max(STANDS_OUT * wire.gaps.usual_s().unwrap_or(0.0))))
        {
            // The quiet in which everything starts after an outage belongs to it.
            let goes_on = |gap: Span| follows(span, gap.to) && !flowed_between(books, &devices, gap, span);
            if presence.slept(|wire| wire == id).any(goes_on) {
                // A frame or two in it make no end of it.
                brief.push(span);
                continue;
            }
            if presence.outages(|wire| wire == id).any(goes_on)
                || books.clock_leapt(span)
                || unheard::is_receivers(presence, id, span)
            {
                continue;
            }
            let is_told = |(of, told, why): &(WireId, Span, WireSilence)| {
                *of == id && !why.is_recorders() && within(*told, span)
            };
            if presence.wires.iter().any(is_told) {
                continue;
            }
            let missed: Vec<(DeviceId, Time)> =
                devices.iter().filter_map(|device| Some((*device, missed(books, *device, span)?))).collect();
            let none_returned = missed.iter().all(|(_, last)| *last < span.to);
            let alone = match missed.as_slice() {
                [(only, _)] => own_data && is_silent_with(books, *only, span),
                _ => false,
            };
            if missed.len() < enough && !alone || none_returned {
                continue;
            }
            if wire.carried_by.is_some() && !is_of_the_bus(books, (id, wire), &devices, span) {
                continue;
            }
            let why = explain(books, id, &devices, span);
            let told = why != WireSilence::Unexplained || span.seconds() >= UNEXPLAINED_S;
            if told && span.seconds() > patience {
                let anew = wire.kind == WireKind::Ethernet && matches!(why, WireSilence::CameUpAnew(_));
                let whole = if anew { silence_of_all(books, &devices, span) } else { span };
                presence.wires.push((id, whole, why));
                if let [(only, _)] = missed.as_slice()
                    && others
                {
                    presence.one_due.push((span, *only));
                }
            } else {
                brief.push(span);
            }
        }
        // Who records a bus or a line itself and misses something again and again is told.
        let missed = |span: &&Span| span.seconds() > patience;
        if wire.kind != WireKind::Ethernet
            && wire.carried_by.is_none()
            && brief.iter().filter(missed).count() >= OFTEN
        {
            let (told, left): (Vec<Span>, Vec<Span>) = brief.iter().partition(|span| missed(span));
            presence.wires.extend(told.into_iter().map(|span| (id, span, WireSilence::Unexplained)));
            brief = left;
        }
        presence.brief.extend(brief.into_iter().map(|span| (id, span)));
    }
}

/// For how long all devices of a network that speak by a rhythm were silent, about a silence of the whole: somebody without one, as the
/// recorder's own machine, may have spoken in it.
fn silence_of_all(books: &Books, devices: &[DeviceId], span: Span) -> Span {
    let there = devices.iter().filter_map(|id| books.inventory.get(*id)).filter(|device| {
        device.first.is_some_and(|first| first <= span.from)
            && device.last.is_some_and(|last| last >= span.to)
    });
    let gaps: Option<Vec<Span>> = there
        .map(|device| device.gaps.over(0.8 * span.seconds()).into_iter().find(|gap| within(*gap, span)))
        .collect();
    let shared = gaps
        .unwrap_or_default()
        .into_iter()
        .reduce(|a, b| Span { from: a.from.max(b.from), to: a.to.min(b.to) });
    shared.map_or(span, |all| Span::new(all.from.min(span.from), all.to.max(span.to)))
}

/// Where the boat's own clock leapt, or the recorder slept: which of the two, does not show, but it is nobody's own silence.
pub(super) fn leaps(wire: &Wire) -> impl Iterator<Item = Span> {
    let steps = wire.gaps.over(0.0);
    let mut lengths: Vec<f64> = steps.iter().map(|step| step.seconds()).collect();
    lengths.sort_unstable_by(f64::total_cmp);
    let usual = lengths.get(lengths.len() / 2).copied().unwrap_or(0.0);
    steps.into_iter().filter(move |step| step.seconds() > BRIEF_S.max(STANDS_OUT * usual))
}

/// Whether most devices spoke by their rhythm again between two silences of their wire.
fn flowed_between(books: &Books, devices: &[DeviceId], first: Span, second: Span) -> bool {
    let between = Span::new(first.to, second.from);
    let flowed = |id: &&DeviceId| {
        periodic(books, **id).any(|stream| {
            let pulse = stream.pulse_s().unwrap_or(f64::INFINITY);
            let long = STARTED_PULSES / 2.0 * pulse;
            STARTED_PULSES * pulse <= between.seconds()
                && flowed_into(stream, second)
                && !stream.gaps.over(long).iter().any(|gap| gap.shared_s(between) > long)
        })
    };
    devices.iter().filter(flowed).count() * 2 > devices.len()
}

/// When a device was last heard that spoke up to a silence by a rhythm which the silence breaks. Before a boat is switched on, and after, some
/// slow node may be awake alone: the pauses between its messages are none of those that came later or had left.
pub(super) fn missed(books: &Books, device: DeviceId, span: Span) -> Option<Time> {
    let broken = |stream: &&Stream| stream.pulse_s().is_some_and(|pulse| 3.0 * pulse < span.seconds());
    periodic(books, device).filter(broken).filter(|s| flowed_into(s, span)).filter_map(|s| s.last).max()
}

/// Whether a device was silent just as long as its wire: not before, when others spoke, and not after.
fn is_silent_with(books: &Books, id: DeviceId, span: Span) -> bool {
    let with =
        |gap: &Span| span.from.since(gap.from).abs() <= EDGE_S && gap.to.since(span.to).abs() <= EDGE_S;
    books.inventory.get(id).is_some_and(|device| device.gaps.over(0.8 * span.seconds()).iter().any(with))
}

/// Frames that share a stamp, on average.
fn frames_a_stamp(wire: &Wire) -> f64 {
    let seconds = wire.lasted_s();
    if seconds > 0.0 { wire.frames as f64 / seconds * wire.stamp_s() } else { 0.0 }
}

/// Whether a silence of a bus inside packets is the bus's: the gateway and the network went on, or the bus's devices came up
/// anew.
fn is_of_the_bus(books: &Books, (id, wire): (WireId, &Wire), devices: &[DeviceId], span: Span) -> bool {
    let network = books.wires.get(books.root(id));
    let gateway = wire.host.and_then(|host| books.inventory.get(host));
    let goes_on = gateway.is_some_and(|d| !is_silent(&d.gaps, span));
    network.is_some_and(|network| !is_silent(&network.gaps, span))
        && (goes_on || come_up_after(books, id, devices, span) >= 2)
}

/// Whether most devices of a wire were heard on another recorder's wire during its silence.
fn heard_elsewhere(books: &Books, id: WireId, devices: &[DeviceId], span: Span) -> bool {
    let recording = books.wires.get(id).map(|wire| wire.recording);
    let heard = |device: &&DeviceId| {
        books.inventory.iter().any(|(other, d)| {
            other != **device
                && books.wires.get(d.wire).map(|wire| wire.recording) != recording
                && books.inventory.same(other, **device)
                && d.first.is_some_and(|first| first < span.from)
                && d.last.is_some_and(|last| last > span.to)
                && !is_silent(&d.gaps, span)
        })
    };
    devices.iter().filter(heard).count() * 2 > devices.len()
}

fn explain(books: &Books, id: WireId, devices: &[DeviceId], span: Span) -> WireSilence {
    if heard_elsewhere(books, id, devices, span) {
        return WireSilence::RecorderSlept;
    }
    let anew = come_up_after(books, id, devices, span);
    let carried = books.wires.get(id).is_some_and(|wire| wire.carried_by.is_some());
    let went_on = carried
        || books.wires.iter().any(|(other, wire)| {
            other != id
                && wire.carried_by.is_none()
                && wire.first.is_some_and(|t| t < span.from)
                && wire.last.is_some_and(|t| t > span.to)
                && !is_silent(&wire.gaps, span)
        });
    if went_on {
        WireSilence::OthersWentOn
    } else if anew > 0 {
        WireSilence::CameUpAnew(anew)
    } else {
        WireSilence::Unexplained
    }
}

/// Who comes up with its wire announces itself within this time, or has not spoken before it does, seconds.
pub(super) const AT_ONCE_S: f64 = 2.0;

/// A device that boots is back within this time, seconds (common practice, no source).
pub(super) const BOOTED_S: f64 = 60.0;

/// Where no more than one in so many of those that were silent shows that it came up, the wire had its power.
const FEW_OF: usize = 4;

/// How many devices of a wire show that they came up anew after a silence that several of them, or all, missed.
pub(super) fn come_up_after(books: &Books, wire: WireId, devices: &[DeviceId], span: Span) -> usize {
    let missing = || devices.iter().filter(|device| missed(books, **device, span).is_some());
    let named = missing().filter(|id| books.inventory.get(**id).is_some_and(|d| d.name().is_some())).count();
    let nodes = nodes_up(books, wire, span);
    let silent = missing().filter(|id| books.host(**id).is_some()).count();
    let hosts = hosts_up(books, wire, span);
    let talkers = missing().filter(|id| is_heard_talker(books, wire, **id)).count();
    let holes = holes(books, wire, devices);
    let is_late = |id: DeviceId| is_heard_talker(books, wire, id) && is_back_late(books, id, span, &holes);
    let late = devices.iter().filter(|id| is_late(**id));
    // One host alone may have announced itself by chance; an N2K device claims its address unasked only when it starts, and a
    // recorder that slept makes no talker late.
    let most = |up: usize, least: usize, of: usize| if up >= least && FEW_OF * up > of { up } else { 0 };
    most(nodes, 1, named) + most(hosts, 2, silent) + most(late.count(), 1, talkers)
}

/// Whether a device is a talker of a 0183 line that the recorder heard itself.
fn is_heard_talker(books: &Books, line: WireId, id: DeviceId) -> bool {
    let is_heard = books.wires.get(line).is_some_and(|w| w.kind == WireKind::Line && w.carried_by.is_none());
    is_heard && books.inventory.get(id).is_some_and(|device| device.wire == line)
}

/// When a wire was silent for longer than the fastest of its devices may be.
fn holes(books: &Books, id: WireId, devices: &[DeviceId]) -> Vec<Span> {
    let fastest = devices.iter().filter_map(|device| cadence(books, *device)).min_by(f64::total_cmp);
    let holes = books.wires.get(id).zip(fastest).map(|(w, fastest)| w.gaps.over(patience(books, fastest, w)));
    holes.unwrap_or_default()
}

/// Whether a device that fell silent with its wire was missed again after the wire was back, until it may have booted. Only while the
/// wire is heard anything is missed: a recorder that stutters lets few speak between two holes.
fn is_back_late(books: &Books, id: DeviceId, span: Span, holes: &[Span]) -> bool {
    let Some(device) = books.inventory.get(id).filter(|_| missed(books, id, span).is_some()) else {
        return false;
    };
    let Some((wire, cadence)) = books.wires.get(device.wire).zip(cadence(books, id)) else { return false };
    let with = |gap: &Span| (-EDGE_S..=cadence.mul_add(2.0, EDGE_S)).contains(&span.from.since(gap.from));
    let late = |gap: &Span| {
        let late_s = gap.to.since(span.to);
        let after = Span::new(span.to, gap.to.max(span.to));
        let unheard_s: f64 = holes.iter().map(|hole| hole.shared_s(after).max(0.0)).sum();
        late_s - unheard_s > patience(books, cadence, wire) && late_s <= BOOTED_S
    };
    device.gaps.over(span.seconds()).iter().any(|gap| with(gap) && late(gap))
}

/// The nodes of a wire's buses that claimed their addresses anew after a silence. Who contends for an address claims it again and
/// again.
fn nodes_up(books: &Books, wire: WireId, span: Span) -> usize {
    // What a network carries of a bus falls silent with it.
    let of_it = |bus: WireId| bus == wire || books.root(bus) == wire;
    let comes_up = |start: &&Start| {
        if quarrels(books, start.device) {
            return false;
        }
        let after = start.at.since(span.to);
        let silent = |since: Time| after <= AT_ONCE_S || since.since(span.from) <= EDGE_S;
        (-EDGE_S..=SHOWS_WITHIN_S).contains(&after) && start.silent_since.is_some_and(silent)
    };
    let buses = books.buses.iter().filter(|(bus, _)| of_it(*bus));
    let nodes = buses.flat_map(|(_, bus)| &bus.starts).filter(comes_up).map(|start| start.device);
    nodes.collect::<BTreeSet<DeviceId>>().len()
}

/// The hosts of a network whose links came up after a silence. Who contends for an address announces it again and again, and
/// who gets none asks for it.
fn hosts_up(books: &Books, wire: WireId, span: Span) -> usize {
    let Some(network) = books.networks.get(wire) else { return 0 };
    let contested = conflicts(books, network);
    let contends = |id: DeviceId| contested.iter().flat_map(|(_, rivals)| rivals).any(|c| c.device == id);
    let by_arp = |sign: Sign| matches!(sign, Sign::ArpProbe | Sign::ArpAnnouncement);
    let back = |silence: Span| within(silence, span) && silence.to.since(span.to) <= BOOTED_S;
    let anew = |(id, host): &(DeviceId, &Host)| {
        let tells = |sign: Sign| sign.is_strong() && !(by_arp(sign) && contends(*id));
        let anew = |r: &Return| r.after.iter().any(|sign| tells(sign) && !r.usual.has(sign));
        host.returns().iter().any(|r| back(r.silence) && anew(r))
    };
    network.hosts.iter().filter(anew).count()
}

/// Who was heard so shortly before the end, seconds, and so often at all, is still there (common practice, no source).
const STILL_HEARD_S: f64 = 15.0;
const STILL_HEARD_FRAMES: u64 = 5;

/// Most devices that stop one after another towards the end are being switched off. Who comes by no clock and is still heard there is
/// none of them.
fn switched_off(books: &Books, presence: &mut Presence) {
    for (id, wire) in books.wires.iter() {
        let Some(end) = wire.ended() else { continue };
        let mut all = 0;
        let mut stopped = 0;
        for (device, d) in books.inventory.iter().filter(|(_, d)| d.wire == id) {
            let silent_s = d.last.map_or(f64::INFINITY, |last| end.since(last));
            let Some(cadence) = presence.cadence(device) else {
                all += usize::from(silent_s <= STILL_HEARD_S && d.frames >= STILL_HEARD_FRAMES);
                continue;
            };
            all += 1;
            stopped += usize::from(silent_s > patience(books, cadence, wire));
        }
        if all >= 3 && stopped * 2 > all {
            presence.switched_off.push(id);
        }
    }
}
