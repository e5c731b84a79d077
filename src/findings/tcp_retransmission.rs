//! Data segments sent again between two devices.

use super::ip_conflict::conflicts;
use super::network_address::once;
use super::words::percent;
use super::{Detector, Doc, Evidence, Finding};
use crate::books::inventory::DeviceId;
use crate::books::network::Network;
use crate::books::talks::Talk;
use crate::report::model::Severity;
use crate::time::Span;
use std::collections::BTreeMap;
use std::net::IpAddr;

pub(super) const DETECTOR: Detector = Detector {
    doc: Doc {
        kind: "tcp-retransmission",
        severity: "warning over 1 %, fault over 5 % of the data segments",
        meaning: "Data between two devices is lost on the way and sent again: pictures stutter, connections stall.",
        detection: "Segments with data whose bytes were all sent before, by the sequence numbers of each direction (RFC 9293). \
                    Keep-alives, copies made by a mirror port and segments out of order within milliseconds are none. At least \
                    200 data segments and five repeats, between two hosts aboard, to a host that could be reached at the time, and enough of them away from the silences of both and from floods, \
                    which drop what they meet. Those that a flood adds to the share of other times are not counted.",
        lookalikes: "A tablet that sleeps or a link that goes down is sent the same again until it comes back. A recorder that lost frames shows holes, not repeats. Copies of a mirror port carry the same IP identifier.",
        checks: "Swap the cables and ports between the two devices one at a time. Look at both ends for one that is fixed to half duplex.",
        cautions: "None beyond the usual.",
    },
    complaints: &["display-disconnects", "data-drops-out"],
    detect,
};

/// Data segments that a share needs to mean something.
const ENOUGH: u64 = 200;

/// Shares from which it is told, and from which it is a fault.
const WARNING: f64 = 0.01;
const FAULT: f64 = 0.05;

/// Repeats that are no chance.
const REPEATS: u64 = 5;

fn detect(evidence: &Evidence<'_>) -> Vec<Finding> {
    let books = evidence.books;
    let mut findings = Vec::new();
    let silent = |id: DeviceId| silences(evidence, id);
    for (_, network) in books.networks.iter() {
        let conflicts = conflicts(books, network);
        let contested =
            |id: DeviceId| conflicts.iter().any(|(_, rivals)| rivals.iter().any(|c| c.device == id));
        // A phone that sleeps is not to be reached, and its radio link loses what it may.
        let dozes = |id: DeviceId| books.is_guest(id) && !silent(id).is_empty();
        let floods: Vec<Span> = network.floods.spans().map(around).collect();
        for (from, to, all, again) in lossy(network, &silent, &floods) {
            if contested(from) || contested(to) || dozes(from) || dozes(to) {
                continue;
            }
            let share = again as f64 / all.max(1) as f64;
            let severity = if share > FAULT { Severity::Fault } else { Severity::Warning };
            let (sender, receiver) = (books.inventory.label(from), books.inventory.label(to));
            let finding = Finding::new(
                severity,
                format!("{sender} sends {} of its data to {receiver} again", percent(share)),
            )
            .devices([from, to])
            .real("share", share)
            .evidence(format!("{again} of {all} data segments from {sender} to {receiver} were sent before."))
            .evidence("Repeats to a host that was silent at the time are not counted.")
            .check("Swap the cables and ports between the two devices one at a time.");
            findings.push(if floods.is_empty() {
                finding
            } else {
                finding.evidence("Nor are those that the flood of the network adds.")
            });
        }
    }
    once(books, findings)
}

/// What one host sent another: data segments, those that were sent again but for those that a flood adds, and those of them
/// that a silence or a flood explains.
#[derive(Debug, Clone, Copy, Default)]
struct Counts {
    all: u64,
    again: u64,
    explained: u64,
}

/// Pairs of hosts that repeat themselves: from, to, data segments, repeats; of the two directions the worse.
fn lossy(
    network: &Network,
    silent: &dyn Fn(DeviceId) -> Vec<Span>,
    floods: &[Span],
) -> Vec<(DeviceId, DeviceId, u64, u64)> {
    let mut pairs: BTreeMap<(DeviceId, DeviceId), Counts> = BTreeMap::new();
    // Beyond the router lies a radio link and half the world: only ways aboard are judged.
    for talk in network.talks.iter().filter(|t| aboard(t.ips.0) && aboard(t.ips.1)) {
        let counts = pairs.entry((talk.from, talk.to)).or_default();
        counts.all += talk.data;
        if talk.again >= REPEATS {
            let added = added(talk, floods);
            counts.again += talk.again - added;
            let times = [&silent(talk.from), &silent(talk.to), floods].concat();
            counts.explained += explained(talk, &times).saturating_sub(added);
        } else {
            counts.again += talk.again;
        }
    }
    // Where silences do not explain them, those in silences are of the same way.
    let tells = |c: &Counts| {
        let left = c.again.saturating_sub(c.explained);
        c.all >= ENOUGH && left >= REPEATS && left as f64 / c.all as f64 > WARNING
    };
    let share = |c: &Counts| c.again as f64 / c.all.max(1) as f64;
    let worse_back = |(from, to): (DeviceId, DeviceId), own: &Counts| {
        let back = pairs.get(&(to, from)).filter(|back| tells(back));
        back.is_some_and(|back| (share(back), to) > (share(own), from))
    };
    pairs
        .iter()
        .filter(|(key, own)| tells(own) && !worse_back(**key, own))
        .map(|((from, to), counts)| (*from, *to, counts.all, counts.again))
        .collect()
}

/// Before a silence repeats are its beginning, seconds.
const BEFORE_S: f64 = 5.0;

/// When a host was silent, as far as that is told, with the time around in which repeats are the silence's: who gets no
/// answer waits twice as long before each further repeat (RFC 6298 5.5), and so may have one to send for as long again.
fn silences(evidence: &Evidence<'_>, id: DeviceId) -> Vec<Span> {
    let presence = &evidence.presence;
    let of_devices = presence.devices.get(&id).into_iter().flatten().map(|silence| silence.span);
    let of_links = presence.flaps.get(&id).into_iter().flatten().map(|(span, _)| *span);
    of_devices.chain(of_links).map(around).collect()
}

/// A stretch of time in which nothing passes, with the time around.
fn around(span: Span) -> Span {
    Span::new(span.from.plus(-BEFORE_S), span.to.plus(BEFORE_S.max(span.seconds())))
}

/// How many repeats lie in some stretches of time; of repeats that lie in them in part, as large a part.
fn explained(talk: &Talk, times: &[Span]) -> u64 {
    let share = |span: Span| {
        let within = |s: &Span| span.shared_s(*s).max(0.0);
        if span.seconds() > 0.0 {
            (times.iter().map(within).sum::<f64>() / span.seconds()).min(1.0)
        } else {
            f64::from(u8::from(times.iter().any(|s| s.touches(span, 0.0))))
        }
    };
    talk.repeats.iter().map(|r| (share(r.span) * r.count as f64).round() as u64).sum()
}

/// How many repeats floods add to those that come at other times.
fn added(talk: &Talk, floods: &[Span]) -> u64 {
    let within = explained(talk, floods);
    let (Some(first), Some(last)) = (talk.repeats.first(), talk.repeats.last()) else { return 0 };
    let all = Span::new(first.span.from, last.span.to);
    let flooded_s: f64 = floods.iter().map(|flood| flood.shared_s(all).max(0.0)).sum();
    let (other, other_s) = (talk.again.saturating_sub(within) as f64, all.seconds() - flooded_s);
    let usual = if other_s > 0.0 { other / other_s * flooded_s } else { 0.0 };
    within.saturating_sub(usual.round() as u64).min(talk.again)
}

/// Whether an address is one of the boat's own networks.
fn aboard(ip: IpAddr) -> bool {
    match ip {
        IpAddr::V4(ip) => ip.is_private() || ip.is_link_local(),
        IpAddr::V6(ip) => ip.is_unicast_link_local() || ip.is_unique_local(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::books::talks::Packet;
    use crate::findings::network_address::tests::{Bench, at};

    const A: IpAddr = IpAddr::V4(std::net::Ipv4Addr::new(192, 168, 1, 1));
    const B: IpAddr = IpAddr::V4(std::net::Ipv4Addr::new(192, 168, 1, 2));
    const ASHORE: IpAddr = IpAddr::V4(std::net::Ipv4Addr::new(203, 0, 113, 2));

    /// A thousand segments from host 0 to 1 over 100 s, every `nth` sent again; the receiver is heard until `heard`.
    fn stream(nth: u32, to: IpAddr, heard: f64) -> Bench {
        stream_with(0, nth, to, heard)
    }

    /// The same, with so many more repeats of each segment of two seconds, from the 50th second on.
    fn stream_with(more: u32, nth: u32, to: IpAddr, heard: f64) -> Bench {
        let mut bench = Bench::new(3);
        for i in 1..=1000_u32 {
            let s = f64::from(i) * 0.1;
            if s <= heard {
                bench.network().frame(DeviceId(1), at(s), 84, false);
            }
            let packet = if i.is_multiple_of(nth) { Packet::DataAgain } else { Packet::Data };
            bench.network().talk(DeviceId(0), DeviceId(1), (A, to), packet, at(s));
            for _ in 0..if (500..520).contains(&i) { more } else { 0 } {
                bench.network().talk(DeviceId(0), DeviceId(1), (A, to), Packet::DataAgain, at(s));
            }
        }
        bench
    }

    #[test]
    fn repeats_are_counted_by_share() {
        let found = stream(40, B, 100.0).find(detect);
        assert_eq!((found.len(), found[0].severity), (1, Severity::Warning));
        assert_eq!(found[0].numbers["share"], crate::report::model::Number::Real(0.025));
        assert_eq!(stream(10, B, 100.0).find(detect)[0].severity, Severity::Fault);
        assert!(stream(150, B, 100.0).find(detect).is_empty());
    }

    #[test]
    fn a_receiver_that_sleeps_and_the_world_ashore_are_none() {
        assert!(stream(10, B, 0.5).find(detect).is_empty());
        assert!(stream(10, ASHORE, 100.0).find(detect).is_empty());
    }

    /// Two seconds of broadcasts, from the 50th second on.
    fn flood(bench: &mut Bench) {
        use crate::books::floods::Cast;
        let mut doubles = crate::frames::Doubles::default();
        for i in 0..6000_u32 {
            let time = at(50.0 + f64::from(i) / 3000.0).unwrap();
            let copies = doubles.seen_hash(time, i.into());
            bench.network().floods.frame(time, Some(DeviceId(2)), copies.as_ref(), Cast::Signal);
        }
    }

    #[test]
    fn a_flood_explains_the_repeats_around_it_and_no_others() {
        let mut bench = stream_with(4, 20, B, 100.0);
        flood(&mut bench);
        let found = bench.find(detect);
        let crate::report::model::Number::Real(share) = found[0].numbers["share"] else {
            panic!("{found:?}")
        };
        assert!((share - 0.05).abs() < 0.01, "{share}");
        let mut healthy = stream_with(4, 500, B, 100.0);
        flood(&mut healthy);
        assert!(healthy.find(detect).is_empty());
    }

    #[test]
    fn a_silence_explains_the_repeats_around_it_and_no_others() {
        let mut bench = stream(10, B, 100.0);
        let talk = bench.network().talks.iter().next().unwrap().clone();
        let span = |from: f64, to: f64| Span::new(at(from).unwrap(), at(to).unwrap());
        assert_eq!(explained(&talk, &[]), 0);
        assert!((18..=22).contains(&explained(&talk, &[span(40.0, 60.0)])), "one a second");
        assert_eq!(explained(&talk, &[span(0.0, 200.0)]), 100);
    }

    #[test]
    fn both_ways_are_one_finding_and_a_conflict_owns_its_repeats() {
        let mut bench = stream(40, B, 100.0);
        for i in 1..=1000_u32 {
            let packet = if i.is_multiple_of(20) { Packet::DataAgain } else { Packet::Data };
            bench.network().frame(DeviceId(0), at(100.0), 84, false);
            bench.network().talk(DeviceId(1), DeviceId(0), (B, A), packet, at(100.0));
        }
        let found = bench.find(detect);
        assert_eq!((found.len(), found[0].devices.as_slice()), (1, &[DeviceId(1), DeviceId(0)][..]));
        for round in 0..4 {
            for host in 0..2 {
                let t = f64::from(round * 20 + host * 10);
                bench.claims(host as u32, [192, 168, 1, 1], true, (t, t + 1.0), 3);
            }
        }
        assert!(bench.find(detect).is_empty());
    }
}
