//! Data segments sent again between two devices.

use super::words::percent;
use super::{Detector, Doc, Evidence, Finding};
use crate::books::inventory::DeviceId;
use crate::books::network::Network;
use crate::report::model::Severity;
use std::collections::BTreeMap;
use std::net::IpAddr;

pub(super) const DETECTOR: Detector = Detector {
    doc: Doc {
        kind: "tcp-retransmission",
        severity: "warning over 1 %, fault over 5 % of the data segments",
        meaning: "Data between two devices is lost on the way and sent again: pictures stutter, connections stall.",
        detection: "Segments with data whose bytes were all sent before, by the sequence numbers of each direction (RFC 9293). \
                    Keep-alives, copies made by a mirror port and segments out of order within milliseconds are none. At least \
                    200 data segments and five repeats.",
        lookalikes: "A recorder that lost frames shows holes, not repeats. Copies of a mirror port carry the same IP identifier.",
        checks: "Swap the cables and ports between the two devices one at a time. Look at both ends for one that is fixed to half duplex.",
        cautions: "None beyond the usual.",
    },
    complaints: &["display-disconnects", "data-drops-out"],
    detect,
};

/// Data segments that a share needs to mean something.
const ENOUGH: u64 = 200;

/// Repeats that are no chance.
const REPEATS: u64 = 5;

fn detect(evidence: &Evidence<'_>) -> Vec<Finding> {
    let books = evidence.books;
    let mut findings = Vec::new();
    for (_, network) in books.networks.iter() {
        let mut pairs: BTreeMap<(IpAddr, IpAddr), (u64, u64)> = BTreeMap::new();
        for (key, counts) in &network.streams {
            let (all, again) = pairs.entry((key.source.0, key.destination.0)).or_default();
            *all += counts.data_segments;
            *again += counts.retransmitted;
        }
        for ((from, to), (all, again)) in pairs {
            let share = again as f64 / all.max(1) as f64;
            if all < ENOUGH || again < REPEATS || share <= 0.01 {
                continue;
            }
            let severity = if share > 0.05 { Severity::Fault } else { Severity::Warning };
            let name = |ip: IpAddr| {
                host_of(network, ip).map_or_else(|| ip.to_string(), |id| books.inventory.label(id))
            };
            findings.push(
                Finding::new(
                    severity,
                    format!("{} sends {} of its data to {} again", name(from), percent(share), name(to)),
                )
                .devices([from, to].into_iter().filter_map(|ip| host_of(network, ip)))
                .real("share", share)
                .evidence(format!("{again} of {all} data segments from {from} to {to} were sent before."))
                .check("Swap the cables and ports between the two devices one at a time."),
            );
        }
    }
    findings
}

/// The host that uses an address most.
fn host_of(network: &Network, ip: IpAddr) -> Option<DeviceId> {
    let IpAddr::V4(ip) = ip else { return None };
    let (_, claimants) = network.claimed.iter().find(|(known, _)| *known == ip)?;
    claimants.iter().max_by_key(|c| c.count).map(|c| c.device)
}
