//! Two MACs use one IP address.

use super::words::labels;
use super::{Detector, Doc, Evidence, Finding};
use crate::books::network::Claimant;
use crate::report::model::Severity;
use crate::time::Span;

pub(super) const DETECTOR: Detector = Detector {
    doc: Doc {
        kind: "ip-conflict",
        severity: "fault",
        meaning: "Two devices use one IP address. Switches and displays send to one now and to the other later, and both lose \
                  their connections again and again.",
        detection: "Two MAC addresses speak with one IPv4 address (in ARP, or as sender of packets of their own network) at the \
                    same time or in turn.",
        lookalikes: "A device that was exchanged (the old MAC is silent from then on). A pair of routers that share a virtual \
                     address by design. A router that passes on packets of others.",
        checks: "Look at the network page of both devices. Set both to get their address from one server, or give each a fixed \
                 address of its own.",
        cautions: "None beyond the usual.",
    },
    complaints: &["display-disconnects", "data-drops-out"],
    detect,
};

/// A claim made once may be a proxy's answer or a test; a user of an address speaks with it more often.
const FEW: u64 = 3;

fn detect(evidence: &Evidence<'_>) -> Vec<Finding> {
    let books = evidence.books;
    let mut findings = Vec::new();
    for (_, network) in books.networks.iter() {
        for (ip, claimants) in &network.claimed {
            let own = |c: &&Claimant| {
                books.inventory.get(c.device).and_then(|d| d.mac()).is_some_and(|m| !m.is_virtual_router())
            };
            let rivals: Vec<Claimant> =
                claimants.iter().filter(own).filter(|c| c.count >= FEW).copied().collect();
            if rivals.len() < 2 || !at_once(&rivals) {
                continue;
            }
            let devices: Vec<_> = rivals.iter().map(|c| c.device).collect();
            let from = rivals.iter().map(|c| c.span.from).max();
            let to = rivals.iter().map(|c| c.span.to).min();
            let mut finding = Finding::new(Severity::Fault, format!("Two devices use the address {ip}"))
                .devices(devices.iter().copied())
                .text("ip", ip.to_string());
            for rival in &rivals {
                let mac = books.inventory.get(rival.device).and_then(|d| d.mac()).map(|m| m.to_string());
                finding = finding.evidence(format!(
                    "{} spoke with it {} times.",
                    mac.unwrap_or_else(|| labels(books, &[rival.device])),
                    rival.count
                ));
            }
            if let (Some(from), Some(to)) = (from, to) {
                finding = finding.spans([Span::new(from, to)]);
            }
            findings.push(
                finding
                    .check("Look at the network pages of both devices; give each an address of its own, or let one server give them."),
            );
        }
    }
    findings
}

/// Whether two of them used the address during a common stretch of time; one that followed another took its place.
fn at_once(rivals: &[Claimant]) -> bool {
    rivals
        .iter()
        .enumerate()
        .any(|(i, a)| rivals.iter().skip(i + 1).any(|b| a.span.from < b.span.to && b.span.from < a.span.to))
}
