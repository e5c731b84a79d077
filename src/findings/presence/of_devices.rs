//! Silences of devices whose wire went on.

use super::of_wires::{BOOTED_S, EDGE_S};
use super::{
    GONE_S, MISSED_INTERVALS, NOTICEABLE_S, Presence, STARTING_S, Silence, WireSilence, beats,
    comes_and_goes, covered, flowed_into, follows, has_started, is_missed, is_of_a_route, is_silent,
    lone_messages, moved, of_hosts, other_talker, patience, patience_with, periodic, unheard, visitors,
    within,
};
use crate::books::Books;
use crate::books::bus::{ANSWER_S, Start};
use crate::books::inventory::{DeviceId, Identity};
use crate::books::network::Sign;
use crate::books::timing::{Message, Stream};
use crate::books::wires::{Wire, WireId};
use crate::recording::WireKind;
use crate::time::{Span, Time};
use std::net::IpAddr;

/// Where a host shows after a silence that its link came up, so many of its intervals are enough for one.
const LINK_INTERVALS: f64 = 2.5;

/// A claim so soon after a gap may answer a request that the recorder missed, seconds (ISO 11783-5: within 250 ms).
const ANSWERS_S: f64 = 0.3;

/// Finds the silences of devices whose wire went on, the restarts and the flaps.
pub(super) fn find(books: &Books, presence: &mut Presence) {
    for (id, device) in books.inventory.iter() {
        if let Some(wire) = books.wires.get(device.wire) {
            device_silences(books, wire, id, presence);
        }
    }
    hosts_own_their_talkers(books, presence);
}

fn device_silences(books: &Books, wire: &Wire, id: DeviceId, presence: &mut Presence) {
    let Some(device) = books.inventory.get(id) else { return };
    if books.is_cut(id) {
        return;
    }
    let root = books.root(device.wire);
    let quarrels = quarrels(books, id);
    let cadence = presence.cadence(id);
    if visitors::is_visitor(books, id) {
        return;
    }
    let restarts = if quarrels { Vec::new() } else { restarts(books, id, cadence) };
    let mut silences: Vec<Silence> = match cadence {
        Some(cadence) => {
            let patience = patience_with(books, cadence, wire, &device.gaps);
            let sooner = (LINK_INTERVALS * cadence).max(NOTICEABLE_S).min(patience);
            let spans = device.gaps.over(sooner).into_iter();
            spans
                .filter(|span| span.seconds() > patience || of_hosts::comes_up(books, id, *span))
                .map(|span| Silence { span, returned: true })
                .collect()
        }
        None => Vec::new(),
    };
    if let (Some(cadence), Some(last), Some(end)) =
        (cadence, device.last, books.wires.get(root).and_then(Wire::ended))
        && end.since(last) > (patience(books, cadence, wire) * 1.5).max(GONE_S)
        && device.frames >= 20
    {
        silences.push(Silence { span: Span::new(last, end), returned: false });
    }
    silences.retain(|s| !spoke_meanwhile(books, id, wire, s.span));
    let breaks = books.wires.get(root).map(|wire| wire.breaks.as_slice()).unwrap_or_default();
    if let Some(cadence) = cadence.filter(|_| !breaks.is_empty()) {
        let gone_s = (patience(books, cadence, wire) * 1.5).max(GONE_S);
        silences = silences.into_iter().flat_map(|silence| recorded(silence, breaks, gone_s)).collect();
    }
    // A silence of the whole wire is not the device's, whether or not the wire's was found worth telling.
    let wire_silent = |span: Span| {
        books
            .wires
            .get(root)
            .is_some_and(|w| w.gaps.over(0.8 * span.seconds()).iter().any(|gap| within(*gap, span)))
    };
    // A gateway that falls silent with the bus behind it has nothing to hand on, or is fed by it.
    let carries = |wire: WireId| books.wires.get(wire).is_some_and(|w| w.host == Some(id));
    let is_its = |wire: WireId| wire == root || wire == device.wire || carries(wire);
    // What is left of it without its wires' silences must be missed by itself. Who claims no address shows no power that failed.
    let shows_start = device.name().is_some();
    let late_s = |why: WireSilence| match why.is_recorders() {
        true if shows_start => 0.0,
        true => STARTING_S,
        false => BOOTED_S,
    };
    let heard_s = cadence.unwrap_or(0.0).mul_add(2.0, EDGE_S);
    let of_wire = |silence: &Silence| {
        let is_on = |wire: WireId| wire == root || wire == device.wire;
        let own_s = presence.own_s(is_its, is_on, silence.span, heard_s, late_s);
        let missed_s = cadence.map_or(f64::INFINITY, |c| patience_with(books, c, wire, &device.gaps));
        let missed_s = if silence.returned { missed_s } else { (1.5 * missed_s).max(GONE_S) };
        wire_silent(silence.span) || own_s < silence.span.seconds() && own_s <= missed_s
    };
    silences.retain(|s| {
        !of_wire(s)
            && !books.clock_leapt(s.span)
            && stands_out(books, id, wire, s)
            && !other_talker::goes_on(books, id, s.span, s.returned)
            && !moved::goes_on(books, presence, id, s)
    });
    // Who was lost with its wire and boots longer than others is late, and not lost once more.
    let boots = |silence: Span| {
        presence.outages(is_its).any(|outage| {
            (-heard_s..=EDGE_S).contains(&silence.from.since(outage.from))
                && silence.to.since(outage.to) <= BOOTED_S
        })
    };
    silences.retain(|s| !(s.returned && boots(s.span)));
    silences.retain(|s| {
        let after_outage = presence.outages(is_its).any(|outage| {
            let has_started = |stream| has_started(stream, outage.to, s.span);
            follows(s.span, outage.to) && !beats(books, id).any(has_started)
        });
        let starting = device.first.is_some_and(|first| follows(s.span, first)) && starts_anew(books, id);
        !after_outage && !starting
    });
    if quarrels {
        silences.clear();
    }
    // Who claims anew within seconds after an outage was taken by it, however seldom it had spoken before; not who had started and
    // fell silent again, nor who claims while the recorder had only slept.
    let of_outage = |silence: Span| {
        let claim = silence.to;
        presence.outages(is_its).any(|outage| {
            let has_started = |stream| has_started(stream, outage.to, silence);
            let after = claim >= outage.from && claim <= outage.to.plus(STARTING_S);
            covered(silence, outage) || boots(silence) || after && !beats(books, id).any(has_started)
        })
    };
    let slept = |silence: Span| presence.slept(is_its).any(|gap| covered(silence, gap));
    let answers =
        |claim: Time| presence.slept(is_its).any(|gap| (0.0..=ANSWERS_S).contains(&claim.since(gap.to)));
    // Who came up between two recordings may have been switched on.
    let holds_break = |silence: Span| breaks.iter().any(|between| between.shared_s(silence) > 0.0);
    let restarts: Vec<_> = restarts
        .into_iter()
        .filter(|s| !of_outage(*s) && !holds_break(*s) && !answers(s.to) && (!wire_silent(*s) || slept(*s)))
        .collect();
    silences.retain(|s| !restarts.iter().any(|r| r.touches(s.span, 2.0)));
    of_hosts::flaps(books, id, &mut silences, presence);
    if !restarts.is_empty() {
        presence.restarts.insert(id, restarts);
    }
    if !silences.is_empty() {
        presence.devices.insert(id, silences);
    }
}

/// The parts of a silence that were recorded, where the recorder was stopped and started again meanwhile: who spoke until then may
/// have been switched off with the boat, but who had been missing for longer than `gone_s` seconds was missing.
fn recorded(silence: Silence, breaks: &[Span], gone_s: f64) -> Vec<Silence> {
    let (mut parts, mut rest) = (Vec::new(), silence.span);
    let is_in = |between: &&Span| between.from >= silence.span.from && between.to <= silence.span.to;
    for between in breaks.iter().filter(is_in) {
        let before = Span::new(rest.from, between.from.max(rest.from));
        if before.seconds() <= gone_s && parts.is_empty() {
            return parts;
        }
        parts.push(Silence { span: before, returned: false });
        rest.from = between.to.min(rest.to);
    }
    if parts.is_empty() || rest.seconds() > gone_s {
        parts.push(Silence { span: rest, ..silence });
    }
    parts
}

/// Whether a silence is too long for what the device sent just before it: an engine's gateway sends a tank's level once in
/// seconds until the engine runs. A connection that was closed has nothing more to send, nor has who steered along a route that
/// ended, as long as nothing else of it is missing.
fn stands_out(books: &Books, id: DeviceId, wire: &Wire, silence: &Silence) -> bool {
    let came_up = of_hosts::comes_up(books, id, silence.span);
    // Who comes up anew had lost more than a connection.
    let closed = !came_up && of_hosts::hung_up(books, id, silence);
    let unsought = || !came_up && of_hosts::is_unsought(books, id, silence, |_| true);
    let of_ended_route = |stream: &Stream| {
        let missing = |other: &Stream| !is_of_a_route(other) && lone_messages::was_due(other, silence.span);
        is_of_a_route(stream) && !books.timing.of(stream.device).any(missing)
    };
    let owes_nothing = |stream: &Stream| {
        of_ended_route(stream)
            || closed && stream.message == Message::Protocol("tcp")
            || closed && unheard::is_released(books, stream, silence.span)
            || silence.returned && !came_up && unheard::acknowledged_all(books, stream, silence.span)
            || stream.device != id && unheard::ends_with(books, stream, silence.span) && unsought()
            || unheard::waits(books, id, stream, silence.span)
            || may_stop(stream, silence.returned) && began_at_will(books, id, wire, stream)
            || paused_at_will(books, id, wire, stream, silence.span)
    };
    let silence = silence.span;
    let enough = |pulse| if came_up { LINK_INTERVALS * pulse } else { patience(books, pulse, wire) };
    beats(books, id).any(|stream| {
        !owes_nothing(stream)
            && stream.pulse_s().is_some_and(|pulse| silence.seconds() > enough(pulse))
            && (came_up || is_missed(books, stream, wire, silence))
            && flowed_into(stream, silence)
    })
}

/// Whether a maker's own message of a node, or a host's datagrams, began in mid-recording though the sender had not just come up:
/// what somebody switched on, or a node sends when it has something to say, may stop as it began. A TCP connection shows its end.
fn began_at_will(books: &Books, id: DeviceId, wire: &Wire, stream: &Stream) -> bool {
    let late_after = |start: Option<Time>| {
        stream.first.zip(start).is_some_and(|(first, start)| first.since(start) > STARTING_S)
    };
    // A node that claimed its address long before has started; a host shows itself well before its data flow.
    let had_started = || {
        let first = books.inventory.get(id).and_then(|device| device.first);
        matches!(stream.message, Message::Pgn(_)) && late_after(first)
    };
    matches!(stream.message, Message::Pgn(_) | Message::Protocol("udp"))
        && comes_and_goes(stream)
        && late_after(wire.first)
        && (!starts_anew(books, id) || had_started())
}

/// Whether what began at will may stop so before this silence. A node that speaks again is the same; a host's datagrams that come back
/// may have been cut off with it.
const fn may_stop(stream: &Stream, returned: bool) -> bool {
    !returned || matches!(stream.message, Message::Pgn(_))
}

/// Whether a maker's own message of a node paused before, or after, while the node spoke: such a message is sent when there is
/// something to say.
fn paused_at_will(books: &Books, id: DeviceId, wire: &Wire, stream: &Stream, silence: Span) -> bool {
    let Some(device) = books.inventory.get(id) else { return false };
    let Some(pulse) = stream.pulse_s().filter(|_| matches!(stream.message, Message::Pgn(_))) else {
        return false;
    };
    let lived = |pause: &Span| {
        pause.shared_s(silence) <= 0.0
            && !books.clock_leapt(*pause)
            && !device.gaps.over(0.5 * pause.seconds()).iter().any(|gap| within(*gap, *pause))
            && !wire.gaps.over(0.5 * pause.seconds()).iter().any(|gap| gap.shared_s(*pause) > 0.0)
    };
    comes_and_goes(stream) && stream.gaps.over(patience(books, pulse, wire)).iter().any(lived)
}

/// Whether a device spoke (a heartbeat, say) while its faster messages went on being silent: then it lives, and the
/// silence is these messages' own. A host's connection that had ended before, or that waits for its receiver, says nothing.
fn spoke_meanwhile(books: &Books, id: DeviceId, wire: &Wire, silence: Span) -> bool {
    let goes_on = books.inventory.get(id).and_then(|d| d.last).is_some_and(|last| last >= silence.to);
    periodic(books, id).any(|stream| {
        let Some(pulse) = stream.pulse_s().filter(|p| 3.0 * p <= silence.seconds()) else { return false };
        if matches!(stream.message, Message::Protocol(_))
            && (!flowed_into(stream, silence) || unheard::waits(books, id, stream, silence))
        {
            return false;
        }
        // A host that comes up announces itself for seconds before its data flow again.
        let starting = if wire.kind == WireKind::Ethernet { STARTING_S } else { 0.0 };
        let patience = patience(books, pulse, wire) + starting;
        let longer = stream.gaps.over(silence.seconds() + patience).iter().any(|gap| within(*gap, silence));
        // It went on after the clock was set back.
        let went_on = stream.is_parted() && stream.first.is_some_and(|first| silence.from >= first);
        let for_good = !went_on
            && stream
                .last
                .is_some_and(|last| last <= silence.from && (goes_on || silence.from.since(last) > patience));
        longer || for_good
    })
}

/// Whether a device (or the host that carries it) shows that it came up when it was first seen.
pub(in crate::findings) fn starts_anew(books: &Books, id: DeviceId) -> bool {
    let Some(device) = books.inventory.get(id) else { return false };
    let Some(first) = device.first else { return false };
    let near = |at: Time| at.since(first).abs() <= STARTING_S;
    let host = books.carrier(id).unwrap_or(id);
    let wire = books.inventory.get(host).map_or(device.wire, |d| d.wire);
    let claimed = books
        .buses
        .get(device.wire)
        .is_some_and(|bus| bus.starts.iter().any(|s| s.device == id && near(s.at)));
    let announced = books
        .networks
        .get(wire)
        .and_then(|n| n.hosts.get(host))
        .is_some_and(|h| h.at_first.iter().any(Sign::is_strong));
    claimed || announced
}

/// Whether a node contends for its address or has none: its silences belong to that quarrel.
pub(super) fn quarrels(books: &Books, id: DeviceId) -> bool {
    crate::findings::address_conflict::involves(books, id)
        || books.buses.iter().any(|(_, bus)| bus.homeless.iter().any(|(d, _)| *d == id))
}

/// When an N2K device claimed its address anew after it had been seen: from its last frame before to the claim.
fn restarts(books: &Books, id: DeviceId, cadence: Option<f64>) -> Vec<Span> {
    let Some(device) = books.inventory.get(id) else { return Vec::new() };
    let Some(bus) = books.buses.get(device.wire) else { return Vec::new() };
    let stamp = books.wires.get(device.wire).map_or(0.0, Wire::stamp_s);
    // Of a silence the stamps may make one of their steps more.
    let noticed = (3.0 * stamp).min(0.8 + stamp).max(0.8);
    let least = (2.0 * cadence.unwrap_or(0.0)).max(noticed);
    // Of a rhythm that it broke, on a bus that went on: then whoever is back has asked, and not only answered.
    let is_back = |span: &Span| {
        let spoke = beats(books, id).any(|stream| flowed_into(stream, *span));
        let quiet = books.wires.get(device.wire).map(|w| w.gaps.over(least)).unwrap_or_default();
        let quiet_s: f64 = quiet.iter().map(|gap| gap.shared_s(*span).max(0.0)).sum();
        spoke && cadence.is_some_and(|cadence| span.seconds() - quiet_s > MISSED_INTERVALS * cadence)
    };
    let silence = |s: &Start| Some(Span::new(s.silent_since?, s.at)).filter(|_| s.device == id);
    let stays = matches!(&device.identity, Identity::N2k { addresses, .. } if addresses.len() == 1);
    let breaks = |span: &Span| stays && breaks_rhythm(books, id, *span, stamp, noticed);
    // Where others claim too whom nobody was heard to ask, the recorder missed a request.
    let alone = |start: &Start| {
        let mut others = bus.starts.iter().filter(|other| other.device != id);
        !others.any(|other| other.at.since(start.at).abs() <= ANSWER_S)
    };
    let is_start = |start: &Start| {
        silence(start).filter(|span| {
            let is_long = span.seconds() > least && (!start.has_asked || is_back(span));
            is_long || alone(start) && !start.is_renamed && breaks(span)
        })
    };
    let is_perhaps = |start: &Start| {
        silence(start).filter(|span| {
            let is_long = span.seconds() > least && is_back(span);
            is_long || start.has_asked && breaks(span)
        })
    };
    let starts = bus.starts.iter().filter_map(is_start);
    starts
        .chain(bus.perhaps_starts.iter().filter_map(is_perhaps))
        .filter(|span| device.first.is_some_and(|first| span.from.since(first) > 2.0))
        .collect()
}

/// Who goes on by its rhythm is late by less than this share of an interval, and by so many times what the later ones of its messages
/// are late by (common practice, no source).
const LATE: f64 = 0.1;
const LATE_TIMES: f64 = 3.0;

/// After how long a message comes at the latest that goes on by its rhythm, seconds.
pub(super) fn latest_s(stream: &Stream, stamp_s: f64) -> Option<f64> {
    let (pulse, long) = stream.pulse_s().zip(stream.quantile_s(0.95))?;
    Some(long.max(pulse) + (LATE * pulse).max(LATE_TIMES * (long - pulse)).max(stamp_s))
}

/// Whether the pause of a node's fastest message about its claim is longer than those that it makes, and than `noticed_s`, on a bus that
/// went on: who starts anew begins its rhythm anew, however soon it is back. A slower one may be missing alone.
fn breaks_rhythm(books: &Books, id: DeviceId, silence: Span, stamp_s: f64, noticed_s: f64) -> bool {
    let quiet = |pause: &Span| {
        let wire = books.inventory.get(id).and_then(|device| books.wires.get(device.wire));
        wire.is_none_or(|wire| {
            wire.gaps.over(0.5 * pause.seconds()).iter().any(|gap| gap.shared_s(*pause) > 0.0)
        })
    };
    let late = |stream: &Stream| {
        let Some(latest_s) = latest_s(stream, stamp_s) else { return false };
        let pauses = stream.gaps.over(latest_s.max(noticed_s));
        flowed_into(stream, silence)
            && pauses.iter().any(|pause| pause.from <= silence.from && pause.to > silence.to && !quiet(pause))
    };
    let pulse = |stream: &&Stream| stream.pulse_s().unwrap_or(f64::INFINITY);
    beats(books, id).min_by(|a, b| pulse(a).total_cmp(&pulse(b))).is_some_and(late)
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
    presence.devices.retain(|id, silences| {
        if let Some(host) = books.carrier(*id) {
            silences.retain(|s| !of_hosts.iter().any(|(h, span)| *h == host && covered(s.span, *span)));
            silences.retain(|s| !nobody_listens(books, *id, s.span, &of_hosts));
            // Who stops with its host a moment before the end is no nearer to being gone than that. A host that has nothing more to hand
            // on may say nothing for long, until somebody asks for it.
            let heard_s = |s: &Silence| {
                let last = books.inventory.get(host).and_then(|device| device.last);
                last.map_or(0.0, |last| last.since(s.span.from))
            };
            silences.retain(|s| s.returned || heard_s(s) > 0.5 * s.span.seconds());
        }
        !silences.is_empty()
    });
}

/// Whether a device went on through most of a silence of another.
pub(in crate::findings) fn went_on(books: &Books, id: DeviceId, silence: Span) -> bool {
    books.inventory.get(id).is_some_and(|device| {
        let spoke_on = |last: Time| last.since(silence.from) > 0.5 * silence.seconds();
        device.last.is_some_and(spoke_on) && !is_silent(&device.gaps, silence)
    })
}

/// A receiver that goes away takes what it was sent with it within this time, seconds.
const TAKES_S: f64 = 3.0;

/// Whether a line that is sent over TCP stops because every receiver of it fell silent.
fn nobody_listens(books: &Books, talker: DeviceId, silence: Span, silent: &[(DeviceId, Span)]) -> bool {
    let Some(line) = books.inventory.get(talker).and_then(|d| books.wires.get(d.wire)) else { return false };
    let away = |span: &Span| {
        span.from.since(silence.from) <= TAKES_S && span.to.since(silence.from) >= silence.seconds() * 0.5
    };
    let gone = |ip: &IpAddr| {
        silent
            .iter()
            .filter(|(_, span)| away(span))
            .any(|(host, _)| books.inventory.get(*host).is_some_and(|device| device.ips.contains(ip)))
    };
    !line.receivers.is_empty() && line.receivers.iter().all(gone)
}
