//! Silences: which belong to a whole wire, which to a device, which to one message. One physical event, one owner: the
//! wider silence takes the narrower ones that lie in it.

use crate::books::Books;
use crate::books::inventory::{DeviceId, Identity};
use crate::books::network::Sign;
use crate::books::timing::Stream;
use crate::books::wires::{Wire, WireId};
use crate::time::{Span, Time};
use std::collections::BTreeMap;

/// A silence is looked at from here, seconds; shorter ones nobody aboard notices.
const NOTICEABLE_S: f64 = 1.5;

/// A message is missed when it stays away for this many of its intervals (common practice: five).
const MISSED_INTERVALS: f64 = 5.0;

/// What comes up anew shows it within this time after a silence, seconds: ARP probes and announcements take up to 8 s
/// (RFC 5227 1.1), DHCP a few more.
const SHOWS_WITHIN_S: f64 = 8.0;

/// A device that stops and is not seen again must have been silent this long before the recording ends, seconds.
const GONE_S: f64 = 8.0;

/// Why a silence of a whole wire is taken to be the wire's and not the recorder's.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum WireSilence {
    /// Other wires of the same boat went on.
    OthersWentOn,
    /// Devices came up anew after it: this many.
    CameUpAnew(usize),
    /// Nothing tells it from a recorder that slept.
    Unexplained,
}

/// A silence of a device or of one of its messages.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Silence {
    /// From the last frame before it to the first after it, or to the end of the wire's recording.
    pub span: Span,
    /// Whether the device came back.
    pub returned: bool,
}

/// Every silence, by owner.
#[derive(Debug, Default)]
pub struct Presence {
    /// Silences of whole wires.
    pub wires: Vec<(WireId, Span, WireSilence)>,
    /// Silences of devices whose wire went on, without those that are restarts or flaps.
    pub devices: BTreeMap<DeviceId, Vec<Silence>>,
    /// N2K devices that claimed their address anew in mid-recording.
    pub restarts: BTreeMap<DeviceId, Vec<Span>>,
    /// Hosts that came back announcing themselves, with the signs that they showed.
    pub flaps: BTreeMap<DeviceId, Vec<(Span, Vec<Sign>)>>,
    /// Silences of single messages whose device went on: index into the timing book.
    pub messages: Vec<(usize, Vec<Silence>)>,
    /// Devices that said goodbye before they fell silent.
    pub goodbyes: Vec<DeviceId>,
    /// Wires that were being switched off at the end: most devices stopped one after another.
    pub switched_off: Vec<WireId>,
}

/// Finds every silence and its owner.
#[must_use]
pub fn survey(books: &Books) -> Presence {
    let mut presence = Presence::default();
    wire_silences(books, &mut presence);
    switched_off(books, &mut presence);
    for (id, device) in books.inventory.iter() {
        let Some(wire) = books.wires.get(device.wire) else { continue };
        device_silences(books, wire, id, &mut presence);
    }
    hosts_own_their_talkers(books, &mut presence);
    message_silences(books, &mut presence);
    presence
}

/// Streams that come by a clock of their own, and whose silence therefore says something: periodic ones that fill a
/// good part of the time in which the device was seen. Requests and answers come in bursts and are none.
pub(super) fn periodic(books: &Books, device: DeviceId) -> impl Iterator<Item = &Stream> {
    let seen = books.inventory.seen(device).map_or(0.0, |span| span.seconds());
    books.timing.of(device).filter(move |s| {
        s.is_periodic() && s.median_s().is_some_and(|median| median * s.count as f64 >= 0.25 * seen)
    })
}

/// The shortest median interval of a device's periodic messages, seconds.
fn cadence(books: &Books, device: DeviceId) -> Option<f64> {
    periodic(books, device).filter_map(Stream::median_s).min_by(f64::total_cmp)
}

/// How long something with this interval may stay away, on a wire with these stamps.
fn patience(interval_s: f64, wire: &Wire) -> f64 {
    (MISSED_INTERVALS * interval_s + MISSED_INTERVALS * wire.stamp_s()).max(NOTICEABLE_S)
}

fn covered(span: Span, by: Span) -> bool {
    let shared = span.to.min(by.to).since(span.from.max(by.from));
    shared > 0.5 * span.seconds().min(by.seconds()).max(0.001) && by.seconds() > 0.4 * span.seconds()
}

fn wire_silences(books: &Books, presence: &mut Presence) {
    for (id, wire) in books.wires.iter().filter(|(_, w)| w.carried_by.is_none()) {
        let mut cadences: Vec<f64> = books
            .inventory
            .iter()
            .filter(|(device, d)| rooted(books, d.wire) == id && books.timing.of(*device).next().is_some())
            .filter_map(|(device, _)| cadence(books, device))
            .collect();
        cadences.sort_unstable_by(f64::total_cmp);
        let Some(&fastest) = cadences.first() else { continue };
        // With one periodic device only, its silence and the wire's cannot be told apart unless it is a lone line.
        if cadences.len() < 2 && books.inventory.iter().filter(|(_, d)| d.wire == id).count() > 1 {
            continue;
        }
        for span in wire.gaps.over(patience(fastest, wire)) {
            if books.clock_leapt(span) {
                continue;
            }
            let missed = cadences.iter().filter(|c| **c * 3.0 < span.seconds()).count();
            if missed < cadences.len().min(2) {
                continue;
            }
            presence.wires.push((id, span, explain(books, id, span)));
        }
    }
}

/// The wire that a recorder was on: itself, or the one whose packets carry it.
fn rooted(books: &Books, wire: WireId) -> WireId {
    books.wires.get(wire).and_then(|w| w.carried_by).unwrap_or(wire)
}

fn explain(books: &Books, id: WireId, span: Span) -> WireSilence {
    let anew = come_up_after(books, id, span);
    let went_on = books.wires.iter().any(|(other, wire)| {
        other != id
            && wire.carried_by.is_none()
            && wire.first.is_some_and(|t| t < span.from)
            && wire.last.is_some_and(|t| t > span.to)
            && !wire.gaps.over(span.seconds() * 0.5).iter().any(|gap| covered(span, *gap))
    });
    if went_on {
        WireSilence::OthersWentOn
    } else if anew > 0 {
        WireSilence::CameUpAnew(anew)
    } else {
        WireSilence::Unexplained
    }
}

/// How many devices of a wire show that they came up anew after a silence.
fn come_up_after(books: &Books, wire: WireId, span: Span) -> usize {
    let soon = Span::new(span.to.plus(-0.5), span.to.plus(SHOWS_WITHIN_S));
    let within = |at: Time| at >= soon.from && at <= soon.to;
    let starts = books
        .buses
        .get(wire)
        .map_or(0, |bus| bus.starts.iter().filter(|s| within(s.at) && s.silent_since.is_some()).count());
    let hosts = books.networks.get(wire).map_or(0, |network| {
        let mut hosts: Vec<_> = network
            .hosts
            .iter()
            .filter(|(_, host)| host.signs.iter().any(|(at, sign)| sign.is_strong() && within(*at)))
            .map(|(id, _)| *id)
            .collect();
        hosts.sort_unstable();
        hosts.len()
    });
    starts + if hosts >= 2 { hosts } else { 0 }
}

/// Devices that stop one after another towards the end are being switched off.
fn switched_off(books: &Books, presence: &mut Presence) {
    for (id, wire) in books.wires.iter() {
        let Some(end) = wire.last else { continue };
        let mut all = 0;
        let mut stopped = 0;
        for (device, d) in books.inventory.iter().filter(|(_, d)| d.wire == id) {
            let Some(cadence) = cadence(books, device) else { continue };
            all += 1;
            stopped += usize::from(d.last.is_some_and(|last| end.since(last) > patience(cadence, wire)));
        }
        if all >= 3 && stopped * 2 >= all {
            presence.switched_off.push(id);
        }
    }
}

fn device_silences(books: &Books, wire: &Wire, id: DeviceId, presence: &mut Presence) {
    let Some(device) = books.inventory.get(id) else { return };
    let root = rooted(books, device.wire);
    let quarrels = quarrels(books, id);
    let restarts = if quarrels { Vec::new() } else { restarts(books, id) };
    let cadence = cadence(books, id);
    let mut silences: Vec<Silence> = match cadence {
        Some(cadence) => device
            .gaps
            .over(patience(cadence, wire))
            .into_iter()
            .map(|span| Silence { span, returned: true })
            .collect(),
        None => Vec::new(),
    };
    if let (Some(cadence), Some(last), Some(end)) =
        (cadence, device.last, books.wires.get(root).and_then(|w| w.last))
        && end.since(last) > (patience(cadence, wire) * 1.5).max(GONE_S)
        && device.frames >= 20
    {
        silences.push(Silence { span: Span::new(last, end), returned: false });
    }
    let of_wire = |span: Span| presence.wires.iter().any(|(w, s, _)| *w == root && covered(span, *s));
    silences.retain(|s| !of_wire(s.span) && !books.clock_leapt(s.span));
    if quarrels {
        silences.clear();
    }
    let restarts: Vec<_> = restarts.into_iter().filter(|s| !of_wire(*s)).collect();
    silences.retain(|s| !restarts.iter().any(|r| r.touches(s.span, 2.0)));
    if matches!(device.identity, Identity::Ethernet { .. })
        && let Some(host) = books.networks.get(device.wire).and_then(|n| n.hosts.get(&id))
    {
        let mut flaps = Vec::new();
        silences.retain(|silence| {
            let soon = silence.span.to.plus(SHOWS_WITHIN_S);
            let mut signs: Vec<Sign> = Vec::new();
            for (at, sign) in &host.signs {
                if silence.returned && *at >= silence.span.to && *at <= soon && !signs.contains(sign) {
                    signs.push(*sign);
                }
            }
            let strong = signs.iter().filter(|s| s.is_strong()).count();
            let weak = signs
                .iter()
                .filter(|s| !s.is_strong() && !matches!(s, Sign::Goodbye | Sign::Connect))
                .count();
            let flap = strong > 0 || weak >= 1;
            let just_before = |wanted: Sign| {
                host.signs
                    .iter()
                    .any(|(at, sign)| *sign == wanted && silence.span.from.since(*at).abs() <= 2.0)
            };
            if just_before(Sign::Goodbye) {
                return true;
            }
            // A host that waits for a DHCP server is silent between two discovers (RFC 2131 4.1: 4, 8, 16 s ...).
            if just_before(Sign::DhcpDiscover) && signs.contains(&Sign::DhcpDiscover) {
                return false;
            }
            if flap {
                flaps.push((silence.span, signs));
            }
            !flap
        });
        if !flaps.is_empty() {
            presence.flaps.insert(id, flaps);
        }
        let left = |s: &Silence| {
            host.signs.iter().any(|(at, sign)| *sign == Sign::Goodbye && s.span.from.since(*at).abs() <= 2.0)
        };
        if !silences.is_empty() && silences.iter().all(left) {
            presence.goodbyes.push(id);
        }
    }
    if !restarts.is_empty() {
        presence.restarts.insert(id, restarts);
    }
    if !silences.is_empty() {
        presence.devices.insert(id, silences);
    }
}

/// Whether a node contends for its address or has none: its silences belong to that quarrel.
fn quarrels(books: &Books, id: DeviceId) -> bool {
    super::address_conflict::involves(books, id)
        || books.buses.iter().any(|(_, bus)| bus.homeless.iter().any(|(d, _)| *d == id))
}

/// When an N2K device claimed its address anew after it had been seen: from its last frame before to the claim.
fn restarts(books: &Books, id: DeviceId) -> Vec<Span> {
    let Some(device) = books.inventory.get(id) else { return Vec::new() };
    let Some(bus) = books.buses.get(device.wire) else { return Vec::new() };
    let cadence = cadence(books, id);
    bus.starts
        .iter()
        .filter(|s| s.device == id)
        .filter_map(|s| Some(Span::new(s.silent_since?, s.at)))
        .filter(|span| cadence.is_none_or(|c| span.seconds() > (3.0 * c).max(0.8)))
        .filter(|span| device.first.is_some_and(|first| span.from.since(first) > 2.0))
        .collect()
}

/// A host that falls silent takes the talkers and buses inside its packets with it.
fn hosts_own_their_talkers(books: &Books, presence: &mut Presence) {
    let mut of_hosts: Vec<(DeviceId, Span)> = Vec::new();
    for (id, silences) in &presence.devices {
        of_hosts.extend(silences.iter().map(|s| (*id, s.span)));
    }
    for (id, flaps) in &presence.flaps {
        of_hosts.extend(flaps.iter().map(|(span, _)| (*id, *span)));
    }
    let host_of = |id: DeviceId| match books.inventory.get(id).map(|d| &d.identity) {
        Some(Identity::Talker { host, .. }) => *host,
        _ => None,
    };
    presence.devices.retain(|id, silences| {
        if let Some(host) = host_of(*id) {
            silences.retain(|s| !of_hosts.iter().any(|(h, span)| *h == host && covered(s.span, *span)));
        }
        !silences.is_empty()
    });
}

fn message_silences(books: &Books, presence: &mut Presence) {
    let mut found = Vec::new();
    for (index, stream) in books.timing.iter().enumerate().filter(|(_, s)| s.is_periodic()) {
        let seen = books.inventory.seen(stream.device).map_or(0.0, |span| span.seconds());
        if stream.median_s().unwrap_or(0.0) * (stream.count as f64) < 0.25 * seen {
            continue;
        }
        if quarrels(books, stream.device) {
            continue;
        }
        let Some(device) = books.inventory.get(stream.device) else { continue };
        let (Some(wire), Some(median)) = (books.wires.get(device.wire), stream.median_s()) else { continue };
        if matches!(device.identity, Identity::Ethernet { .. }) {
            continue;
        }
        let usual = stream.quantile_s(0.99).unwrap_or(median).min(3.0 * median);
        let patience = patience(median.max(usual * 0.6), wire);
        let mut silences: Vec<Silence> =
            stream.gaps.over(patience).into_iter().map(|span| Silence { span, returned: true }).collect();
        if let (Some(last), Some(end)) = (stream.last, device.last)
            && end.since(last) > (patience * 2.0).max(GONE_S)
            && stream.count >= 20
        {
            silences.push(Silence { span: Span::new(last, end), returned: false });
        }
        silences.retain(|s| !owned(books, presence, stream.device, s.span) && !books.clock_leapt(s.span));
        if !silences.is_empty() {
            found.push((index, silences));
        }
    }
    presence.messages = found;
}

/// Whether a wider silence of the device, its host or its wire takes this one.
fn owned(books: &Books, presence: &Presence, device: DeviceId, span: Span) -> bool {
    let Some(d) = books.inventory.get(device) else { return false };
    let root = rooted(books, d.wire);
    let host = match d.identity {
        Identity::Talker { host, .. } => host,
        _ => None,
    };
    let by_device = |id: DeviceId| {
        presence.devices.get(&id).into_iter().flatten().any(|s| covered(span, s.span))
            || presence.restarts.get(&id).into_iter().flatten().any(|s| s.touches(span, 2.0))
            || presence.flaps.get(&id).into_iter().flatten().any(|(s, _)| s.touches(span, 2.0))
    };
    presence.wires.iter().any(|(w, s, _)| (*w == root || *w == d.wire) && covered(span, *s))
        || by_device(device)
        || host.is_some_and(by_device)
}
