//! A device's link is full.

use super::words::{longest, number, seconds};
use super::{Detector, Doc, Evidence, Finding};
use crate::report::model::Severity;

pub(super) const DETECTOR: Detector = Detector {
    doc: Doc {
        kind: "link-saturated",
        severity: "warning over 70 %, fault over 90 % of 100 Mbit/s in any second",
        meaning: "One device sends about as much as its link can carry. What else must pass there waits or is lost.",
        detection: "The octets that one host sends in a second, with preamble, check sequence and gaps, against 100 Mbit/s. More than \
                    105 Mbit/s shows that the link is a faster one.",
        lookalikes: "The sum of many hosts at a mirror port may be larger than any one link carries.",
        checks: "Switch off or slow down the stream (camera, radar, chart copy). Use a switch with faster ports on the way.",
        cautions: "None beyond the usual.",
    },
    complaints: &["display-disconnects", "data-drops-out"],
    detect,
};

/// Octets a second of a 100 Mbit/s link.
const FULL: f64 = 12_500_000.0;

/// A link that carried more than this is no 100 Mbit/s link, Mbit/s.
const FASTER_MBIT_S: f64 = 105.0;

fn detect(evidence: &Evidence<'_>) -> Vec<Finding> {
    let books = evidence.books;
    let mut findings = Vec::new();
    for (_, network) in books.networks.iter() {
        let mut hosts: Vec<_> = network.hosts.iter().filter_map(|(id, h)| Some((*id, h, h.peak?))).collect();
        hosts.sort_unstable_by_key(|(id, ..)| *id);
        for (id, host, (_, octets)) in hosts {
            let share = octets as f64 / FULL;
            let mbit = octets as f64 * 8.0 / 1e6;
            if share <= 0.7 || mbit > FASTER_MBIT_S {
                continue;
            }
            let severity = if share > 0.9 { Severity::Fault } else { Severity::Warning };
            let who = books.inventory.label(id);
            findings.push(
                Finding::new(severity, format!("{who} fills its link: {} Mbit in a second", number(mbit, 0)))
                    .devices([id])
                    .real("peak_mbit_s", mbit)
                    .evidence(format!(
                        "{} % of 100 Mbit/s in the busiest second, with preambles and gaps; above 70 % for up to {}.",
                        number(share * 100.0, 0),
                        seconds(longest(&host.busy).max(1.0))
                    ))
                    .spans(host.busy.iter().copied())
                    .check(format!("Switch off or slow down what {who} streams, or use a faster switch on the way.")),
            );
        }
    }
    findings
}
