//! Silences of a whole Ethernet in which one machine was heard all the while: the recorder's own, which hears itself though its
//! switch is out.

use super::of_wires::{come_up_after, missed};
use super::{Presence, WireSilence, patience, within};
use crate::books::Books;
use crate::books::inventory::DeviceId;
use crate::books::wires::{Wire, WireId};
use crate::findings::network_address::recorder;
use crate::recording::WireKind;
use crate::time::{Span, Time};

/// So many hosts must have come up anew, and been missed where the recorder's own machine is known.
const ENOUGH: usize = 2;

/// The same where it is not, and who spoke may be one of the boat's: two of several may share a supply.
const MANY: usize = 3;

/// Adds the silences of a network in which all who speak by a rhythm fell silent and came up anew, while nobody spoke but the recorder's
/// own machine, or one that speaks now and then.
pub(super) fn find(books: &Books, presence: &mut Presence) {
    let networks = books.wires.iter().filter(|(_, w)| w.kind == WireKind::Ethernet && w.carried_by.is_none());
    for (id, wire) in networks {
        let own = books.networks.get(id).and_then(recorder);
        let beating = |host: &DeviceId| Some(*host) != own && presence.cadence(*host).is_some();
        let on_it = books.inventory.iter().filter(|(_, d)| d.wire == id && d.mac().is_some());
        let hosts: Vec<DeviceId> = on_it.map(|(host, _)| host).collect();
        let devices: Vec<DeviceId> = hosts.iter().copied().filter(beating).collect();
        let cadences = devices.iter().filter_map(|host| presence.cadence(*host));
        let Some(fastest) = cadences.min_by(f64::total_cmp).filter(|_| devices.len() >= ENOUGH) else {
            continue;
        };
        for span in shared(books, wire, &devices, patience(books, fastest, wire)) {
            let is_known = |(of, told, why): &(WireId, Span, WireSilence)| {
                *of == id && !why.is_recorders() && told.shared_s(span) > 0.0
            };
            let spoke =
                hosts.iter().filter(|host| Some(**host) != own && spoke_in(books, **host, span)).count();
            let missed = devices.iter().filter(|device| missed(books, **device, span).is_some()).count();
            let (others, enough) = if own.is_some() { (0, ENOUGH) } else { (1, MANY) };
            if spoke > others
                || missed < enough
                || books.clock_leapt(span)
                || presence.wires.iter().any(is_known)
            {
                continue;
            }
            let anew = come_up_after(books, id, &devices, span);
            if anew >= ENOUGH {
                // Of what was quiet in it as well, this is the cause.
                presence.wires.retain(|(of, part, _)| *of != id || !within(span, *part));
                presence.wires.push((id, span, WireSilence::CameUpAnew(anew)));
            }
        }
    }
}

/// When all of these hosts were silent at once for longer than `least_s` seconds, those that were there.
fn shared(books: &Books, wire: &Wire, hosts: &[DeviceId], least_s: f64) -> Vec<Span> {
    let Some((begin, end)) = wire.first.zip(wire.last) else { return Vec::new() };
    let mut all = vec![Span::new(begin, end)];
    for device in hosts.iter().filter_map(|host| books.inventory.get(*host)) {
        let Some((first, last)) = device.first.zip(device.last) else { continue };
        let mut silent = device.gaps.over(least_s);
        silent.extend([Span::new(begin, first), Span::new(last, end)]);
        all = all
            .iter()
            .flat_map(|a| silent.iter().map(|b| (a.from.max(b.from), a.to.min(b.to))))
            .filter(|(from, to): &(Time, Time)| to.since(*from) > least_s)
            .map(|(from, to)| Span::new(from, to))
            .collect();
    }
    all.retain(|span| span.from > begin && span.to < end);
    all
}

/// Whether a host was heard in a silence of others.
fn spoke_in(books: &Books, host: DeviceId, span: Span) -> bool {
    let Some(device) = books.inventory.get(host) else { return false };
    let Some((first, last)) = device.first.zip(device.last) else { return false };
    let there = first < span.to && last > span.from;
    there && !device.gaps.over(0.8 * span.seconds()).iter().any(|gap| within(*gap, span))
}
