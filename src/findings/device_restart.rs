//! A device announces itself anew in mid-recording.

use super::words::{longest, seconds, times};
use super::{Detector, Doc, Evidence, Finding};
use crate::report::model::Severity;

pub(super) const DETECTOR: Detector = Detector {
    doc: Doc {
        kind: "device-restart",
        severity: "fault",
        meaning: "A device starts anew while the boat is running: its supply dipped or was interrupted, or it crashed.",
        detection: "An NMEA 2000 device that was sending falls silent and claims its address again, with no request for claims \
                    and no rival for the address just before, or with a request of its own. A silence of less than two of its \
                    intervals counts when its data come back later than its rhythm ever has them.",
        lookalikes: "A claim that answers a request, or that defends an address: neither is a start. A computer that is joined \
                     to the bus for a while and supplies nothing comes and goes. Every device at once: wire-outage.",
        checks: "Measure the supply at the device's plug while pumps and the bow motor start; look at its connector, its fuse \
                 and its ground. Compare software with the maker's latest.",
        cautions: "Switch the supply off before you open connectors; starting currents are large: keep tools and fingers clear \
                   of battery terminals and propellers.",
    },
    complaints: &[
        "no-heading",
        "no-position",
        "no-depth",
        "data-drops-out",
        "heading-jumps",
        "position-jumps",
    ],
    detect,
};

fn detect(evidence: &Evidence<'_>) -> Vec<Finding> {
    let books = evidence.books;
    evidence
        .presence
        .restarts
        .iter()
        .map(|(id, spans)| {
            let who = books.inventory.label(*id);
            Finding::new(Severity::Fault, format!("{who} restarts {}", times(spans.len())))
                .devices([*id])
                .messages(["60928".to_owned()])
                .count("restarts", spans.len() as u64)
                .evidence(format!(
                    "It falls silent (up to {}) and then claims its address again without being asked.",
                    seconds(longest(spans))
                ))
                .spans(spans.iter().copied())
                .check(format!("Measure the supply at the plug of {who} while pumps and motors start."))
                .check("Look at its connector, fuse and ground; wiggle them while someone watches its data.")
        })
        .collect()
}
