//! Two MACs use one IP address.

use super::network_address::{FEW, once, own_claims};
use super::words::labels;
use super::{Detector, Doc, Evidence, Finding};
use crate::books::Books;
use crate::books::network::{Claimant, Network};
use crate::frames::Mac;
use crate::report::model::Severity;
use crate::time::Span;
use std::net::Ipv4Addr;

pub(super) const DETECTOR: Detector = Detector {
    doc: Doc {
        kind: "ip-conflict",
        severity: "fault",
        meaning: "Two devices use one IP address. Switches and displays send to one now and to the other later, and both lose \
                  their connections again and again.",
        detection: "Two MAC addresses speak with one IPv4 address for themselves, one after the other and again, at least four \
                    changes in all. ARP tells for certain; packets tell of hosts that show one address only, for a router sends the \
                    packets of others with its own MAC address.",
        lookalikes: "A device that was exchanged (the old MAC is silent from then on), or a computer that moves from radio to cable. A pair of routers that share a virtual \
                     address by design. A router that passes on packets of others.",
        checks: "Look at the network page of both devices. Set both to get their address from one server, or give each a fixed \
                 address of its own.",
        cautions: "None beyond the usual.",
    },
    complaints: &["display-disconnects", "data-drops-out"],
    detect,
};

/// A conflict makes the address go to and fro; a machine that changes from one of its own links to the other and back
/// makes it go so twice.
const TURNS: u64 = 4;

fn detect(evidence: &Evidence<'_>) -> Vec<Finding> {
    let books = evidence.books;
    let mut findings = Vec::new();
    for (_, network) in books.networks.iter() {
        for (ip, rivals) in conflicts(books, network) {
            let mut finding =
                Finding::new(Severity::Fault, format!("{} devices use the address {ip}", rivals.len()))
                    .devices(rivals.iter().map(|c| c.device))
                    .text("ip", ip.to_string());
            for rival in &rivals {
                let mac = books.inventory.get(rival.device).and_then(|d| d.mac()).map(|m| m.to_string());
                finding = finding.evidence(format!(
                    "{} spoke with it {} times, {} of them in ARP, from {} to {}; {} times after the other had.",
                    mac.unwrap_or_else(|| labels(books, &[rival.device])),
                    rival.count,
                    rival.arp,
                    books.stamp(rival.span.from).clock(),
                    books.stamp(rival.span.to).clock(),
                    rival.turns
                ));
            }
            // From when the second one came to when the last but one went.
            let mut from: Vec<_> = rivals.iter().map(|c| c.span.from).collect();
            let mut to: Vec<_> = rivals.iter().map(|c| c.span.to).collect();
            from.sort_unstable();
            to.sort_unstable_by(|a, b| b.cmp(a));
            if let (Some(from), Some(to)) = (from.get(1), to.get(1)) {
                finding = finding.spans([Span::new(*from, *to)]);
            }
            findings.push(
                finding
                    .check("Look at the network pages of both devices; give each an address of its own, or let one server give them."),
            );
        }
    }
    once(books, findings)
}

/// Every address that several hosts use for themselves, in turn and again.
pub(super) fn conflicts(books: &Books, network: &Network) -> Vec<(Ipv4Addr, Vec<Claimant>)> {
    // Several may speak for a virtual router; and a group's address stands in for one that the link did not give.
    let of_many = |mac: Mac| mac.is_virtual_router() || mac.is_multicast();
    let excused = |c: &Claimant| books.inventory.get(c.device).and_then(|d| d.mac()).is_some_and(of_many);
    let mut found = own_claims(network);
    for (_, rivals) in &mut found {
        rivals.retain(|c| c.count >= FEW && c.turns > 0 && !excused(c));
    }
    found.retain(|(_, rivals)| rivals.len() > 1 && rivals.iter().map(|c| c.turns).sum::<u64>() >= TURNS);
    found
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::findings::network_address::tests::Bench;

    const IP: [u8; 4] = [192, 168, 1, 20];

    #[test]
    fn two_that_speak_in_turn_are_a_conflict() {
        let mut bench = Bench::new(2);
        for round in 0..5 {
            let t = f64::from(round) * 20.0;
            bench.claims(0, IP, true, (t, t + 5.0), 3);
            bench.claims(1, IP, true, (t + 10.0, t + 15.0), 3);
        }
        let found = bench.find(detect);
        assert_eq!(found.len(), 1);
        assert_eq!(found[0].devices.len(), 2);
        assert!((found[0].spans[0].seconds() - 75.0).abs() < 1.0, "{:?}", found[0].spans);
    }

    /// Stamps to a second: two answer every question at the same time. Without the order of the packets nobody spoke after another.
    #[test]
    fn two_that_answer_within_one_stamp_are_a_conflict() {
        let asked = |changes: u32| {
            let mut bench = Bench::new(2);
            for round in 0..7 {
                let t = f64::from(round) * 30.0;
                for host in if round < changes { [0, 1] } else { [1, 1] } {
                    bench.claims(host, IP, true, (t, t), 1);
                }
            }
            bench.find(detect).len()
        };
        assert_eq!(asked(7), 1);
        assert_eq!(asked(1), 0, "one was exchanged for the other");
    }

    #[test]
    fn an_exchanged_device_a_change_of_link_and_a_router_are_none() {
        let mut exchanged = Bench::new(2);
        exchanged.claims(0, IP, true, (0.0, 50.0), 30);
        exchanged.claims(1, IP, true, (60.0, 90.0), 30);
        assert!(exchanged.find(detect).is_empty());

        let mut cable_and_radio = Bench::new(2);
        cable_and_radio.claims(0, IP, true, (0.0, 50.0), 30);
        cable_and_radio.claims(1, IP, true, (60.0, 90.0), 30);
        cable_and_radio.claims(0, IP, true, (100.0, 150.0), 30);
        assert!(cable_and_radio.find(detect).is_empty());

        // The host speaks, and the router passes it on with its own MAC address.
        let mut routed = Bench::new(2);
        routed.claims(1, [192, 168, 1, 1], true, (0.0, 5.0), 5);
        for round in 0..40 {
            let t = 10.0 + f64::from(round);
            routed.claims(0, IP, false, (t, t), 1);
            routed.claims(1, IP, false, (t + 0.1, t + 0.1), 1);
        }
        assert!(routed.find(detect).is_empty());
    }
}
