//! Link-local addresses beside leased or fixed ones.

use super::network_address::{hosts_by_address, is_local};
use super::words::labels;
use super::{Detector, Doc, Evidence, Finding};
use crate::report::model::Severity;

pub(super) const DETECTOR: Detector = Detector {
    doc: Doc {
        kind: "self-assigned-address",
        severity: "warning",
        meaning: "A device gave itself an address (169.254...) because nobody gave it one, while the others have addresses of a proper \
                  network. They cannot reach each other.",
        detection: "A host speaks last with an IPv4 link-local address (RFC 3927), and at least two hosts of the same wire with others.",
        lookalikes: "A device that takes a link-local address for the seconds until its lease comes. A small network where all have \
                     link-local addresses works.",
        checks: "See that the device which gives addresses is on before the others, and has addresses left; start the device with the \
                 169.254 address anew.",
        cautions: "None beyond the usual.",
    },
    complaints: &["display-disconnects", "data-drops-out"],
    detect,
};

fn detect(evidence: &Evidence<'_>) -> Vec<Finding> {
    let books = evidence.books;
    let mut findings = Vec::new();
    for (_, network) in books.networks.iter() {
        let hosts = hosts_by_address(network);
        let (own, others): (Vec<_>, Vec<_>) = hosts.into_iter().partition(|(_, ip)| is_local(*ip));
        if others.len() < 2 || own.is_empty() {
            continue;
        }
        let devices: Vec<_> = own.iter().map(|(id, _)| *id).collect();
        let mut finding = Finding::new(
            Severity::Warning,
            format!("{} gave itself an address; nobody gave it one", labels(books, &devices)),
        )
        .devices(devices.iter().copied());
        for (id, ip) in own {
            finding = finding.evidence(format!("{} uses {ip}.", books.inventory.label(id)));
        }
        findings.push(
            finding
                .evidence(format!("{} other hosts have addresses of a proper network.", others.len()))
                .check("See that the device which gives addresses is on first and has addresses left; then start this one anew."),
        );
    }
    findings
}
