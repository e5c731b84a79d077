//! A device keeps asking for an address that no one has.

use super::words::seconds;
use super::{Detector, Doc, Evidence, Finding};
use crate::report::model::Severity;

pub(super) const DETECTOR: Detector = Detector {
    doc: Doc {
        kind: "arp-unanswered",
        severity: "warning",
        meaning: "A device keeps looking for an address that nobody on the network has: a display that was removed, a fixed address \
                  that is wrong, a router that is off.",
        detection: "Ten or more ARP requests of one host for one address, at most five seconds apart on average, and no packet at all \
                    from that address.",
        lookalikes: "Replies go to the asker alone and may not be seen at another port; but who got a reply does not ask again every \
                     few seconds. A probe for an address of its own is no search.",
        checks: "Find out what had that address: look for it in the asking device's settings, then switch that device on, or correct \
                 the setting.",
        cautions: "None beyond the usual.",
    },
    complaints: &["display-disconnects", "data-drops-out"],
    detect,
};

/// A host that got an answer keeps it for a minute or more (common practice); ten questions are a search.
const ASKS: u64 = 10;

/// Average time between two questions of a host that searches, seconds (RFC 1122 2.3.2.1: once a second at most).
const EVERY_S: f64 = 5.0;

fn detect(evidence: &Evidence<'_>) -> Vec<Finding> {
    let books = evidence.books;
    let mut findings = Vec::new();
    for (_, network) in books.networks.iter() {
        for asked in &network.asked {
            let somebody = network.claimed.iter().any(|(ip, _)| *ip == asked.ip);
            let every = asked.span.seconds() / (asked.asks.max(2) - 1) as f64;
            if somebody || asked.asks < ASKS || every > EVERY_S {
                continue;
            }
            let who = books.inventory.label(asked.device);
            findings.push(
                Finding::new(
                    Severity::Warning,
                    format!("{who} keeps asking for {}, which nobody has", asked.ip),
                )
                .devices([asked.device])
                .text("ip", asked.ip.to_string())
                .count("asks", asked.asks)
                .evidence(format!(
                    "{} ARP requests, one every {} on average; no packet from {}.",
                    asked.asks,
                    seconds(every),
                    asked.ip
                ))
                .spans([asked.span])
                .check(format!(
                    "Find out what {} was: switch that device on, or correct the setting of {who}.",
                    asked.ip
                )),
            );
        }
    }
    findings
}
