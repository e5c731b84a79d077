//! A device keeps asking for an address that no one has.

use super::broadcast_storm::looped;
use super::network_address::once;
use super::self_assigned_address::alone;
use super::split_subnet::split;
use super::words::{labels, seconds};
use super::{Detector, Doc, Evidence, Finding};
use crate::books::Books;
use crate::books::inventory::DeviceId;
use crate::books::network::Asked;
use crate::report::model::Severity;
use crate::time::Span;
use std::collections::{BTreeMap, BTreeSet};
use std::net::Ipv4Addr;

pub(super) const DETECTOR: Detector = Detector {
    doc: Doc {
        kind: "arp-unanswered",
        severity: "warning",
        meaning: "A device keeps looking for an address that nobody on the network has: a display that was removed, a fixed address \
                  that is wrong, a router that is off.",
        detection: "Ten or more ARP requests of one host for one address, and no packet at all from that address: at most six seconds \
                    apart on average (a minute, where packets to the asker alone are seen), or four times and hardly ever else in \
                    bursts of three or more, a second or two apart, as nobody asks who gets an answer.",
        lookalikes: "Replies go to the asker alone and may not be seen at another port; but who got a reply does not ask again every \
                     few seconds. A probe for an address of its own is no search. What a switching loop brings back was asked once.",
        checks: "Find out what had that address: look for it in the asking device's settings, then switch that device on, or correct \
                 the setting.",
        cautions: "None beyond the usual.",
    },
    complaints: &["display-disconnects", "data-drops-out"],
    detect,
};

/// A host that got an answer keeps it for a minute or more (common practice); ten questions are a search.
const ASKS: u64 = 10;

/// Average time between two questions of a host that searches, seconds (RFC 1122 2.3.2.1: once a second at most; common practice:
/// up to five, give or take). Who asks as often as this got no answer, whether or not the recorder would have seen one.
const EVERY_S: f64 = 6.0;

/// Who tries again and again within seconds got no answer, whether or not the recorder would have seen one; so often it is no chance
/// (common practice, no source).
const BURSTS: u64 = 4;

/// The same where answers to the asker would have been seen, seconds.
const EVERY_SEEN_S: f64 = 60.0;

/// Who asks for more addresses than this that nobody has searches the network.
const SWEEP: usize = 6;

/// Packets to the asker alone from which answers to it would have been seen; a switch that does not know a host yet lets
/// a few of them go everywhere.
const SEEN: u64 = 20;

/// A flood is counted by the second, seconds.
const AROUND_S: f64 = 1.0;

fn detect(evidence: &Evidence<'_>) -> Vec<Finding> {
    let books = evidence.books;
    let mut findings = Vec::new();
    for (wire, network) in books.networks.iter() {
        // A host cut off by its own address asks in vain for its own network: that is told already.
        let end = books.wires.get(wire).and_then(|w| w.last);
        let mut cut_off: Vec<_> = alone(books, network, end).0.into_iter().map(|(id, _)| id).collect();
        cut_off.extend(split(network).into_iter().flat_map(|s| s.odd).map(|(id, _)| id));
        // What a loop brings back was asked once.
        let loops: Vec<Span> = looped(books).filter(|(of, _)| *of == wire).map(|(_, span)| span).collect();
        let by_loop = |span: Span| {
            loops.iter().any(|l| span.from >= l.from.plus(-AROUND_S) && span.to <= l.to.plus(AROUND_S))
        };
        let own = |asked: &Asked| {
            let met = loops.iter().any(|l| l.touches(asked.span, AROUND_S));
            let mut own = *asked;
            own.asks -= if met { asked.again } else { 0 };
            own
        };
        let mut sought: BTreeMap<Ipv4Addr, Vec<Asked>> = BTreeMap::new();
        for asked in network.asked.iter().filter(|a| !cut_off.contains(&a.device)).map(own) {
            let every = books.passed_s(asked.span) / (asked.asks.max(2) - 1) as f64;
            if asked.asks < ASKS || by_loop(asked.span) {
                continue;
            }
            let most = if network.talks.packets_to(asked.device) >= SEEN { EVERY_SEEN_S } else { EVERY_S };
            let in_bursts = asked.bursts >= BURSTS && asked.short * BURSTS <= asked.bursts;
            if every <= most || in_bursts {
                sought.entry(asked.ip).or_default().push(asked);
            }
        }
        let claimed: BTreeSet<_> =
            books.networks.iter().flat_map(|(_, n)| n.claimed.iter().map(|(ip, _)| *ip)).collect();
        sought.retain(|ip, _| !claimed.contains(ip));
        for (askers, ips) in by_askers(&sought) {
            if ips.len() > SWEEP {
                findings.push(tell_sweep(books, &askers, &ips, &sought));
            } else {
                findings.extend(ips.iter().filter_map(|ip| Some(tell(books, *ip, sought.get(ip)?))));
            }
        }
    }
    once(books, findings)
}

/// The addresses by who asks for them.
fn by_askers(sought: &BTreeMap<Ipv4Addr, Vec<Asked>>) -> BTreeMap<Vec<DeviceId>, Vec<Ipv4Addr>> {
    let mut groups: BTreeMap<Vec<DeviceId>, Vec<Ipv4Addr>> = BTreeMap::new();
    for (ip, askers) in sought {
        groups.entry(askers.iter().map(|a| a.device).collect()).or_default().push(*ip);
    }
    groups
}

/// Who asks for many addresses searches the network; that is one event.
fn tell_sweep(
    books: &Books,
    devices: &[DeviceId],
    ips: &[Ipv4Addr],
    sought: &BTreeMap<Ipv4Addr, Vec<Asked>>,
) -> Finding {
    let who = labels(books, devices);
    let asked = || ips.iter().filter_map(|ip| sought.get(ip)).flatten();
    let (first, last) = (ips.first().copied(), ips.last().copied());
    let words = |ip: Option<Ipv4Addr>| ip.map(|ip| ip.to_string()).unwrap_or_default();
    let mut spans: Vec<Span> = asked().map(|a| a.span).collect();
    spans.sort_unstable();
    let whole = spans.iter().copied().reduce(|a, b| Span::new(a.from, a.to.max(b.to)));
    let keeps = if devices.len() == 1 { "keeps" } else { "keep" };
    Finding::new(
        Severity::Warning,
        format!("{who} {keeps} asking for {} addresses that nobody has", ips.len()),
    )
    .devices(devices.iter().copied())
    .text("ip", words(first))
    .count("asks", asked().map(|a| a.asks).sum())
    .spans(whole)
    .evidence(format!(
        "ARP requests for {} to {}; no packet from any of {} addresses there.",
        words(first),
        words(last),
        ips.len()
    ))
    .evidence("Who asks for address after address searches the network for devices.")
    .check(format!("Find out what on {who} searches the network, and whether it should."))
}

fn tell(books: &Books, ip: Ipv4Addr, askers: &[Asked]) -> Finding {
    let devices: Vec<_> = askers.iter().map(|a| a.device).collect();
    let asks: u64 = askers.iter().map(|a| a.asks).sum();
    let who = labels(books, &devices);
    let keeps = if askers.len() == 1 { "keeps" } else { "keep" };
    let mut finding =
        Finding::new(Severity::Warning, format!("{who} {keeps} asking for {ip}, which nobody has"))
            .devices(devices)
            .text("ip", ip.to_string())
            .count("asks", asks)
            .spans(askers.iter().map(|a| a.span));
    for asked in askers {
        finding = finding.evidence(format!(
            "{}: {} ARP requests, one every {} on average; no packet from {ip}.",
            books.inventory.label(asked.device),
            asked.asks,
            seconds(books.passed_s(asked.span) / (asked.asks.max(2) - 1) as f64)
        ));
    }
    finding.check(format!("Find out what {ip} was: switch that device on, or correct the setting of {who}."))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::books::talks::Packet;
    use crate::findings::network_address::tests::{Bench, at};
    use crate::frames::{Arp, Mac};
    use std::net::IpAddr;

    const SOUGHT: Ipv4Addr = Ipv4Addr::new(192, 168, 1, 99);

    /// Host 0 asks `asks` times for the address, `every` seconds.
    fn searches(asks: u32, every: f64) -> Bench {
        let mut bench = Bench::new(3);
        for i in 0..asks {
            let arp = Arp {
                operation: 1,
                sender_mac: Mac([0, 0, 0x5E, 0, 0x53, 0]),
                sender_ip: Ipv4Addr::new(192, 168, 1, 1),
                target_mac: Mac::NONE,
                target_ip: SOUGHT,
            };
            bench.network().arp(DeviceId(0), &arp, true, at(f64::from(i) * every), false);
        }
        bench
    }

    #[test]
    fn a_search_in_vain_is_found() {
        let found = searches(30, 2.0).find(detect);
        assert_eq!(found[0].devices, [DeviceId(0)]);
        assert_eq!(found[0].numbers["asks"], crate::report::model::Number::Count(30));
        assert!(searches(30, 0.0).find(detect).len() == 1);
    }

    #[test]
    fn questions_that_are_answered_or_may_be_are_none() {
        let mut answered = searches(30, 2.0);
        answered.claims(1, SOUGHT.octets(), true, (300.0, 300.0), 1);
        assert!(answered.find(detect).is_empty());
        assert!(searches(5, 2.0).find(detect).is_empty());
        assert!(searches(15, 20.0).find(detect).is_empty(), "the answers may go past the recorder");
    }

    #[test]
    fn a_slow_search_is_found_where_answers_would_be_seen() {
        let mut bench = searches(15, 20.0);
        let ips = (IpAddr::from([192, 168, 1, 2]), IpAddr::from([192, 168, 1, 1]));
        for i in 0..30 {
            bench.network().talk(DeviceId(1), DeviceId(0), ips, Packet::Other, at(f64::from(i)));
        }
        assert_eq!(bench.find(detect).len(), 1);
    }

    #[test]
    fn a_search_through_the_network_is_one_finding() {
        let mut bench = searches(20, 2.0);
        for last in 100..130 {
            let mut other = bench.network().asked[0];
            other.ip = Ipv4Addr::new(192, 168, 1, last);
            bench.network().asked.push(other);
        }
        let found = bench.find(detect);
        assert_eq!((found.len(), &found[0].numbers["asks"]), (1, &crate::report::model::Number::Count(620)));
    }

    #[test]
    fn one_address_is_one_finding() {
        let mut bench = searches(20, 2.0);
        let mut other = bench.network().asked[0];
        other.device = DeviceId(2);
        bench.network().asked.push(other);
        let found = bench.find(detect);
        assert_eq!((found.len(), found[0].devices.len()), (1, 2));
    }
}
