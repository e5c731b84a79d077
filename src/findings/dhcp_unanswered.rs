//! A device asks for an address and gets none.

use super::{Detector, Doc, Evidence, Finding};
use crate::report::model::Severity;

pub(super) const DETECTOR: Detector = Detector {
    doc: Doc {
        kind: "dhcp-unanswered",
        severity: "warning",
        meaning: "A device asks for an address again and again and nobody gives it one. It stays off the network, or takes an address \
                  of its own that the others cannot reach.",
        detection: "Three or more DHCP discovers of one host and not one offer to it.",
        lookalikes: "A server that answers late is slow, not absent. Answers that are sent to the device alone may not be seen by a \
                     recorder at another port: then another host's own offer would be missing as well.",
        checks: "See that the device which is to give addresses is on and on the same network; look whether it has addresses left. \
                 Else give the device a fixed address.",
        cautions: "None beyond the usual.",
    },
    complaints: &["display-disconnects", "data-drops-out"],
    detect,
};

/// A client repeats its discover after 4 and 12 s when nobody answers (RFC 2131 4.1): three in a row are no slow server.
const ASKED: u64 = 3;

fn detect(evidence: &Evidence<'_>) -> Vec<Finding> {
    let books = evidence.books;
    let mut findings = Vec::new();
    for (wire, network) in books.networks.iter() {
        let mut asking: Vec<_> = network
            .hosts
            .iter()
            .filter(|(_, h)| h.discovers >= ASKED && h.offers == 0)
            .map(|(id, h)| (*id, h.discovers))
            .collect();
        asking.sort_unstable();
        // A recorder that saw no answer to anybody although servers spoke would prove nothing; one that saw none speak does.
        for (id, discovers) in asking {
            let who = books.inventory.label(id);
            let servers = books.networks.get(wire).map_or(0, |n| n.servers.len());
            let why = if servers == 0 {
                "No server answered anybody."
            } else {
                "A server answered others, but not this one."
            };
            findings.push(
                Finding::new(Severity::Warning, format!("{who} asks for an address {discovers} times and gets none"))
                    .devices([id])
                    .count("discovers", discovers)
                    .evidence(format!("{discovers} DHCP discovers, no offer. {why}"))
                    .spans(books.inventory.seen(id))
                    .check("See that the device which gives addresses is on, on the same network, and has addresses left."),
            );
        }
    }
    findings
}
