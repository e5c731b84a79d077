//! Link-local addresses beside leased or fixed ones.

use super::network_address::{FEW, hears_all, hosts_by_address, is_local, may_mix, once, recorder};
use super::words::labels;
use super::{Detector, Doc, Evidence, Finding};
use crate::books::Books;
use crate::books::inventory::DeviceId;
use crate::books::network::{Claimant, Network};
use crate::books::timing::{Message, Stream};
use crate::report::model::Severity;
use crate::time::Time;
use std::net::Ipv4Addr;

pub(super) const DETECTOR: Detector = Detector {
    doc: Doc {
        kind: "self-assigned-address",
        severity: "warning",
        meaning: "A device gave itself an address (169.254...) because nobody gave it one, while the others have addresses of a proper \
                  network. They cannot reach each other.",
        detection: "A host speaks with an IPv4 link-local address (RFC 3927) and with no other beside or after it, at least two hosts of \
                    the same wire have other addresses, and the recording goes on for 12 s or more. At a port that does not \
                    hear all, the address must show in ARP, or carry steady data for a minute. Nothing is told of a recording on all links \
                    of a machine at once, unless it shows that they were one.",
        lookalikes: "A device that takes a link-local address for the seconds until its lease comes. A small network where all have \
                     link-local addresses works. A device may hold such an address beside a proper one. The machine that records.",
        checks: "See that the device which gives addresses is on before the others, and has addresses left; start the device with the \
                 169.254 address anew.",
        cautions: "None beyond the usual.",
    },
    complaints: &["display-disconnects", "data-drops-out"],
    detect,
};

/// A lease comes within this time after a device gave itself an address, or not soon (RFC 2131 4.1: the discovers come
/// 4, 8, 16 s apart), seconds.
const SETTLED_S: f64 = 12.0;

/// So many packets of data from a self-assigned address, over so many seconds, and none from another: the host has no other.
const STEADY: u64 = 20;
const STEADY_S: f64 = 60.0;

/// Hosts with addresses of a proper network that make the self-assigned one the odd one out.
const OTHERS: usize = 2;

fn detect(evidence: &Evidence<'_>) -> Vec<Finding> {
    let books = evidence.books;
    let mut findings = Vec::new();
    for (wire, network) in books.networks.iter() {
        let end = books.wires.get(wire).and_then(|w| w.last);
        let (own, others) = alone(books, network, end);
        // The machine that records has no business on this network and may have come without an address.
        let recorder = recorder(network);
        for (recorded, own) in
            [false, true].map(|r| (r, own.iter().filter(move |(id, _)| (Some(*id) == recorder) == r)))
        {
            let own: Vec<_> = own.copied().collect();
            let devices: Vec<_> = own.iter().map(|(id, _)| *id).collect();
            if devices.is_empty() {
                continue;
            }
            let who = labels(books, &devices);
            let mut finding = if recorded {
                Finding::new(Severity::Note, format!("{who}, which looks like the recorder itself, gave itself an address"))
                    .evidence("It alone shows frames that are shorter than Ethernet allows, as before they leave a machine.")
            } else {
                let what = if devices.len() == 1 {
                    "gave itself an address; nobody gave it one"
                } else {
                    "gave themselves addresses; nobody gave them any"
                };
                Finding::new(Severity::Warning, format!("{who} {what}"))
            }
            .devices(devices.iter().copied());
            let asks = |id: DeviceId| network.hosts.get(id).and_then(|h| h.waiting).map_or(0, |(_, n)| n);
            let all: u64 = devices.iter().map(|id| asks(*id)).sum();
            if all > 0 {
                finding = finding.count("discovers", all);
            }
            for (id, ip) in own {
                let asked = asks(id);
                let asked = if asked > 0 {
                    format!(" It asked {asked} times for another, in vain.")
                } else {
                    String::new()
                };
                finding = finding.evidence(format!("{} uses {ip}.{asked}", books.inventory.label(id)));
            }
            findings.push(
                finding
                    .evidence(format!("{others} other hosts have addresses of a proper network."))
                    .check("See that the device which gives addresses is on first and has addresses left; then start this one anew."),
            );
        }
    }
    once(books, findings)
}

/// Hosts that stand by an address that they gave themselves, and how many others there are that do not.
pub(super) fn alone(
    books: &Books,
    network: &Network,
    end: Option<Time>,
) -> (Vec<(DeviceId, Ipv4Addr)>, usize) {
    let (own, others): (Vec<_>, Vec<_>) =
        hosts_by_address(network).into_iter().partition(|(_, ip, _)| is_local(*ip));
    if others.len() < OTHERS || may_mix(network) {
        return (Vec::new(), others.len());
    }
    // Some devices announce their services from such an address beside a proper one. At a host's own port the packets from
    // the proper one may not show: then the address must show in ARP, or its search for another.
    let all = hears_all(network);
    let searches = |id: &DeviceId| network.hosts.get(*id).is_some_and(|h| h.waiting.is_some());
    // One that sends data (not announcements alone) from such an address for a good while, and never shows another, has none.
    let is_data = |s: &Stream| {
        matches!(s.message, Message::Protocol("udp" | "tcp" | "lines"))
            && s.count >= STEADY
            && s.is_periodic()
    };
    let only = |c: &Claimant| c.span.seconds() >= STEADY_S && books.timing.of(c.device).any(is_data);
    let shown = |id: &DeviceId, c: &Claimant| all || c.arp >= FEW || searches(id) || only(c);
    // What it states in ARP is its own; what it sends from shows an address beside it.
    let beside = |id: &DeviceId, c: &Claimant| {
        let proper = network.claimed.iter().filter(|(ip, _)| !is_local(*ip)).flat_map(|(_, claims)| claims);
        proper.filter(|p| p.device == *id && p.count >= FEW).any(|p| p.span.to > c.span.from)
    };
    let settled = |c: &Claimant| end.is_some_and(|end| end.since(c.span.from) >= SETTLED_S);
    (
        own.into_iter()
            .filter(|(id, _, c)| settled(c) && shown(id, c) && !beside(id, c))
            .map(|(id, ip, _)| (id, ip))
            .collect(),
        others.len(),
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::findings::network_address::tests::Bench;

    const OWN: [u8; 4] = [169, 254, 7, 7];

    fn boat() -> Bench {
        let mut bench = Bench::new(4);
        for host in 1..4 {
            bench.claims(host, [192, 168, 1, host as u8], true, (0.0, 600.0), 20);
        }
        bench
    }

    #[test]
    fn one_that_nobody_gave_an_address_is_found() {
        let mut bench = boat();
        bench.claims(0, OWN, true, (20.0, 590.0), 9);
        assert_eq!(bench.find(detect)[0].devices, [DeviceId(0)]);
        let mut lost = boat();
        lost.claims(0, [192, 168, 1, 9], true, (0.0, 100.0), 9);
        lost.claims(0, OWN, true, (120.0, 590.0), 9);
        assert_eq!(lost.find(detect).len(), 1, "its lease ran out");
    }

    #[test]
    fn one_that_got_its_lease_or_has_both_is_fine() {
        let mut late = boat();
        late.claims(0, OWN, true, (20.0, 28.0), 5);
        late.claims(0, [192, 168, 1, 9], true, (30.0, 590.0), 9);
        assert!(late.find(detect).is_empty());
        let mut both = boat();
        both.claims(0, [192, 168, 1, 9], true, (0.0, 580.0), 9);
        both.claims(0, OWN, true, (20.0, 590.0), 9);
        assert!(both.find(detect).is_empty());
        let mut starting = boat();
        starting.claims(0, OWN, true, (592.0, 599.0), 5);
        assert!(starting.find(detect).is_empty());
        let mut half_heard = boat();
        half_heard.claims(0, OWN, false, (20.0, 590.0), 9);
        assert!(half_heard.find(detect).is_empty());
    }

    #[test]
    fn all_alike_works_and_the_recorder_is_none_of_the_boat() {
        let mut all = Bench::new(4);
        for host in 0..4 {
            all.claims(host, [169, 254, 7, host as u8], true, (0.0, 600.0), 20);
        }
        assert!(all.find(detect).is_empty());
        let mut recorded = boat();
        recorded.claims(0, OWN, true, (20.0, 590.0), 9);
        for host in 0..4 {
            recorded.network().host(DeviceId(host)).unpadded = u64::from(host == 0);
        }
        assert_eq!(recorded.find(detect)[0].severity, Severity::Note);
    }
}
