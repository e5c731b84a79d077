//! Silences in which nobody could be told anything: the receiver of a TCP connection is away, or the connection is closed.

use super::of_wires::BRIEF_S;
use super::{BEFORE_S, Presence, patience, within};
use crate::books::Books;
use crate::books::inventory::DeviceId;
use crate::books::timing::{Message, Stream};
use crate::books::wires::{Wire, WireId};
use crate::time::{Span, Time};

/// A line or bus that is carried falls silent within this time of the end of its connection, seconds.
const ENDS_WITH_S: f64 = 3.0;

/// Notes the silences of lines and buses inside TCP connections that are their receivers': what is behind the sender may have
/// gone on all the while.
pub(super) fn find(books: &Books, presence: &mut Presence) {
    for (id, wire) in books.wires.iter().filter(|(_, wire)| wire.carried_by.is_some()) {
        if wire.stalls().is_empty() && wire.ends.is_empty() {
            continue;
        }
        let end = books.wires.get(books.root(id)).and_then(Wire::ended);
        let last = wire.last.zip(end).map(|(last, end)| Span::new(last, end));
        let devices = books.inventory.iter().filter(|(_, device)| device.wire == id);
        let fastest = devices.filter_map(|(device, _)| presence.cadence(device)).min_by(f64::total_cmp);
        let back_s = patience(books, fastest.unwrap_or(0.0), wire);
        let silences = wire.gaps.over(BRIEF_S).into_iter().chain(last);
        presence.brief.extend(silences.filter(|s| is_unheard(wire, *s, back_s)).map(|s| (id, s)));
    }
}

/// Whether a silence of a wire is its receiver's: for all of it but `back_s` seconds the sender waited for an acknowledgment, or
/// the connection was closed or broken off with it.
fn is_unheard(wire: &Wire, silence: Span, back_s: f64) -> bool {
    let waited: Vec<Span> =
        wire.stalls().iter().map(|stall| stall.waited()).filter(|s| s.shared_s(silence) > 0.0).collect();
    let begins = [silence.from].into_iter().chain(waited.iter().map(|waited| waited.to));
    let closed = |at| wire.ends.iter().any(|end| end.since(at).abs() <= ENDS_WITH_S);
    let waited_s: f64 = waited.iter().map(|waited| waited.shared_s(silence)).sum();
    waited_s > 0.0 && silence.seconds() - waited_s <= back_s || begins.into_iter().any(closed)
}

/// Whether a silence of a wire is known to be its receiver's.
pub(super) fn is_receivers(presence: &Presence, wire: WireId, silence: Span) -> bool {
    presence.brief.iter().any(|(id, unheard)| *id == wire && within(*unheard, silence))
}

/// Who gives up a sender that fell silent waits for longer than this beyond one and a half of its intervals, seconds (common
/// practice, no source).
const AT_ITS_END_S: f64 = 0.2;

/// Whether a stream was sent in a TCP connection that was closed or broken off as a silence began.
pub(super) fn ends_with(books: &Books, stream: &Stream, silence: Span) -> bool {
    let wire = books.inventory.get(stream.device).and_then(|device| books.wires.get(device.wire));
    let latest_s = stream.pulse_s().unwrap_or(0.0).mul_add(1.5, AT_ITS_END_S);
    let with = |end: &Time| (-ENDS_WITH_S..=latest_s).contains(&end.since(silence.from));
    wire.is_some_and(|wire| wire.ends.iter().any(with))
}

/// Whether a host's TCP stream may have ended because there was nothing left to acknowledge: somebody to whom the host sent no data fell
/// silent with it.
pub(super) fn acknowledged_all(books: &Books, stream: &Stream, silence: Span) -> bool {
    let Some(network) = books.inventory.get(stream.device).and_then(|d| books.networks.get(d.wire)) else {
        return false;
    };
    let (host, tcp) = (stream.device, Message::Protocol("tcp"));
    let said_nothing =
        |to: DeviceId| !network.talks.iter().any(|t| t.from == host && t.to == to && t.data > 0);
    let stopped = |sender: DeviceId| {
        books.timing.of(sender).filter(|s| s.message == tcp).any(|s| {
            let with = s.pulse_s().unwrap_or(0.0).mul_add(2.0, BEFORE_S);
            let pauses = s.gaps.over(0.8 * silence.seconds());
            let until = s.last.map(|last| Span::new(last, silence.to.max(last)));
            pauses
                .into_iter()
                .chain(until)
                .any(|pause| pause.from.since(silence.from).abs() <= with && within(pause, silence))
        })
    };
    let senders = network.talks.iter().filter(|talk| talk.to == host && talk.data > 0);
    stream.message == tcp
        && senders.map(|talk| talk.from).any(|sender| said_nothing(sender) && stopped(sender))
}

/// Whether a host sent its datagrams to one to whom its connection was closed or broken off as a silence began: a camera's pictures
/// come as long as somebody has asked for them.
pub(super) fn is_released(books: &Books, stream: &Stream, silence: Span) -> bool {
    let network = books.inventory.get(stream.device).and_then(|device| books.networks.get(device.wire));
    let with = |end: &Time| end.since(silence.from).abs() <= ENDS_WITH_S;
    stream.message == Message::Protocol("udp")
        && network.is_some_and(|network| network.released.ends(stream.device, stream.part).iter().any(with))
}

/// Whether a stream of a host, or of what its packets carry, waited for a receiver throughout a silence of the host.
pub(super) fn waits(books: &Books, host: DeviceId, stream: &Stream, silence: Span) -> bool {
    let Some(device) = books.inventory.get(stream.device) else { return false };
    let of_it = |waited: Span| waited.from.since(silence.from) <= BEFORE_S && within(waited, silence);
    if stream.device != host {
        let wire = books.wires.get(device.wire);
        return wire.is_some_and(|wire| wire.stalls().iter().any(|stall| of_it(stall.waited())));
    }
    let Some(network) = books.networks.get(device.wire) else { return false };
    let is_it = |held: &crate::books::network::Held| held.device == host && held.part == stream.part;
    stream.message == Message::Protocol("tcp")
        && network.held().iter().any(|held| is_it(held) && of_it(held.stall.waited()))
}
