//! A device asks for an address and gets none.

use super::network_address::{hosts_by_address, is_local, once};
use super::{Detector, Doc, Evidence, Finding};
use crate::report::model::Severity;

pub(super) const DETECTOR: Detector = Detector {
    doc: Doc {
        kind: "dhcp-unanswered",
        severity: "warning",
        meaning: "A device asks for an address again and again and nobody gives it one. It stays off the network, or takes an address \
                  of its own that the others cannot reach.",
        detection: "Three or more DHCP discovers of one host in a row, no offer to it, and no request for an offered address, which it \
                    would send to everyone. Where the recorder cut off what a message is for: messages of a host without an address to \
                    everyone, seconds apart, and no answer to it that names an address.",
        lookalikes: "A server that answers late is slow, not absent. An offer to the device alone may not be seen at another port; but \
                     then the device goes on to a request, and that goes to all. A device that then gives itself an address beside \
                     the others' is self-assigned-address. What a switching loop brings back was asked once.",
        checks: "See that the device which is to give addresses is on and on the same network; look whether it has addresses left. \
                 Else give the device a fixed address.",
        cautions: "None beyond the usual.",
    },
    complaints: &["display-disconnects", "data-drops-out"],
    detect,
};

/// A client repeats its discover after 4, 8 and 16 s when nobody answers (RFC 2131 4.1): three in a row are no slow server.
const ASKED: u64 = 3;

/// From the first of them the recording must go on this long for a slow server to answer, seconds (common practice).
const SLOW_S: f64 = 12.0;

fn detect(evidence: &Evidence<'_>) -> Vec<Finding> {
    let books = evidence.books;
    let mut findings = Vec::new();
    for (wire, network) in books.networks.iter() {
        let end = books.wires.get(wire).and_then(|w| w.last);
        let mut asking: Vec<_> =
            network.hosts.iter().filter_map(|(id, h)| h.waiting.map(|(span, n)| (id, span, n))).collect();
        asking.retain(|(_, span, n)| *n >= ASKED && end.is_some_and(|end| end.since(span.from) >= SLOW_S));
        asking.sort_unstable_by_key(|(id, ..)| *id);
        let addresses = hosts_by_address(network);
        for (id, span, discovers) in asking {
            let own = addresses.iter().find(|(device, ..)| *device == id).map(|(_, ip, _)| *ip);
            let others = addresses.iter().filter(|(device, ip, _)| *device != id && !is_local(*ip)).count();
            // That it gave itself an address beside the others' is told by self-assigned-address. An address of a network
            // that it holds afterwards came from somewhere, though the recorder may not have seen the answer.
            match own {
                Some(ip) if is_local(ip) && others >= 2 => continue,
                Some(ip) if !is_local(ip) && network.talks.packets_to(id) == 0 => continue,
                _ => {}
            }
            // A network in which all give themselves addresses works (RFC 3927).
            let by_design = own.is_some_and(is_local) && others == 0;
            let severity = if by_design { Severity::Note } else { Severity::Warning };
            let who = books.inventory.label(id);
            let why = if network.servers.is_empty() {
                "No server answered anybody."
            } else {
                "A server answered others, but not this one."
            };
            findings.push(
                Finding::new(severity, format!("{who} asks for an address {discovers} times and gets none"))
                    .devices([id])
                    .count("discovers", discovers)
                    .evidence(format!(
                        "{discovers} DHCP discovers, no offer, and it never went on to request an offered address. {why}"
                    ))
                    .spans([span])
                    .check("See that the device which gives addresses is on, on the same network, and has addresses left."),
            );
        }
    }
    once(books, findings)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::books::inventory::DeviceId;
    use crate::findings::network_address::tests::{Bench, at};
    use crate::frames::{Dhcp, Mac};
    use std::net::Ipv4Addr;

    const CLIENT: Mac = Mac([0, 0, 0x5E, 0, 0x53, 1]);

    /// A message of the client of type `kind`, with a server identifier (option 54) or without.
    fn message(op: u8, kind: u8, yiaddr: [u8; 4], server: bool) -> Dhcp {
        let mut bytes = vec![op, 1, 6, 0, 0, 0, 0, 1];
        bytes.resize(16, 0);
        bytes.extend(yiaddr);
        bytes.resize(28, 0);
        bytes.extend(CLIENT.0);
        bytes.resize(236, 0);
        bytes.extend([0x63, 0x82, 0x53, 0x63, 53, 1, kind]);
        if server {
            bytes.extend([54, 4, 192, 0, 2, 1]);
        }
        bytes.push(255);
        Dhcp::parse(&bytes, false).unwrap()
    }

    fn asks(times: &[f64]) -> Bench {
        let mut bench = Bench::new(4);
        for t in times {
            bench.network().dhcp(DeviceId(1), &message(1, 1, [0; 4], false), true, at(*t), false);
        }
        bench
    }

    #[test]
    fn who_asks_in_vain_is_found() {
        let found = asks(&[10.0, 14.0, 22.0, 38.0]).find(detect);
        assert_eq!(found[0].devices, [DeviceId(1)]);
        assert_eq!(found[0].numbers["discovers"], crate::report::model::Number::Count(4));
    }

    #[test]
    fn a_slow_server_and_an_offer_that_was_not_seen_are_answers() {
        let mut slow = asks(&[10.0, 14.0, 22.0]);
        slow.network().dhcp(DeviceId(0), &message(2, 2, [192, 0, 2, 9], true), false, at(24.0), false);
        assert!(slow.find(detect).is_empty());
        let mut unseen = asks(&[10.0, 14.0, 22.0]);
        unseen.network().dhcp(DeviceId(1), &message(1, 3, [0; 4], true), true, at(24.0), false);
        assert!(unseen.find(detect).is_empty());
        assert!(asks(&[591.0, 594.0, 598.0]).find(detect).is_empty(), "the recording ends too soon");
    }

    #[test]
    fn a_second_search_counts_anew() {
        let mut bench = asks(&[10.0]);
        bench.network().dhcp(DeviceId(0), &message(2, 2, [192, 0, 2, 9], true), false, at(10.1), false);
        for t in [100.0, 104.0, 112.0] {
            bench.network().dhcp(DeviceId(1), &message(1, 1, [0; 4], false), true, at(t), false);
        }
        let found = bench.find(detect);
        assert_eq!(found[0].numbers["discovers"], crate::report::model::Number::Count(3));
    }

    #[test]
    fn a_network_without_a_server_by_design_is_worth_a_note() {
        let mut bench = asks(&[10.0, 14.0, 22.0]);
        bench.claims(1, [169, 254, 7, 7], true, (30.0, 90.0), 5);
        bench.claims(2, [169, 254, 8, 8], true, (0.0, 90.0), 5);
        assert_eq!(bench.find(detect)[0].severity, Severity::Note);
        bench.claims(0, [192, 168, 1, 7], true, (0.0, 90.0), 5);
        bench.claims(3, [192, 168, 1, 8], true, (0.0, 90.0), 5);
        assert!(bench.find(detect).is_empty(), "self-assigned-address tells");
        assert!(is_local(Ipv4Addr::new(169, 254, 8, 8)));
    }
}
