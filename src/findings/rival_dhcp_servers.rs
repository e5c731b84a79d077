//! Two servers offer addresses.

use super::words::labels;
use super::{Detector, Doc, Evidence, Finding};
use crate::report::model::Severity;

pub(super) const DETECTOR: Detector = Detector {
    doc: Doc {
        kind: "rival-dhcp-servers",
        severity: "fault",
        meaning: "Two devices give addresses to the others. Which one answers first is chance: devices end up in different networks \
                  or with one address twice, differently at every start.",
        detection: "DHCP offers or acknowledgements with two server identifiers from two hosts.",
        lookalikes: "A relay passes on the answers of one server. One server with two addresses is one host.",
        checks: "Leave address service on in one device only (often a display or the router) and switch it off in the other; then \
                 start all devices anew.",
        cautions: "None beyond the usual.",
    },
    complaints: &["display-disconnects", "data-drops-out"],
    detect,
};

fn detect(evidence: &Evidence<'_>) -> Vec<Finding> {
    let books = evidence.books;
    let mut findings = Vec::new();
    for (_, network) in books.networks.iter() {
        let mut devices = Vec::new();
        for server in &network.servers {
            if !devices.contains(&server.device) {
                devices.push(server.device);
            }
        }
        let mut ips: Vec<_> = network.servers.iter().map(|s| s.ip).collect();
        ips.sort_unstable();
        ips.dedup();
        if devices.len() < 2 || ips.len() < 2 {
            continue;
        }
        let mut finding = Finding::new(
            Severity::Fault,
            format!("{} devices give addresses: {}", devices.len(), labels(books, &devices)),
        )
        .devices(devices.iter().copied())
        .count("servers", devices.len() as u64);
        for server in &network.servers {
            let router = server.router.map(|r| format!(", router {r}")).unwrap_or_default();
            finding = finding.evidence(format!(
                "{} answered {} times as server {}{router}.",
                books.inventory.label(server.device),
                server.answers,
                server.ip
            ));
        }
        findings.push(finding.check(
            "Switch the address service (DHCP server) off in all devices but one, then start all anew.",
        ));
    }
    findings
}
