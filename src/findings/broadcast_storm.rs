//! Broadcast or group frames flood the network.

use super::words::{longest, seconds};
use super::{Detector, Doc, Evidence, Finding};
use crate::books::inventory::DeviceId;
use crate::books::network::{FLOOD_PER_S, Network};
use crate::report::model::Severity;

pub(super) const DETECTOR: Detector = Detector {
    doc: Doc {
        kind: "broadcast-storm",
        severity: "fault",
        meaning: "Frames for everyone flood the network. Every device must take each of them: displays slow down, drop connections \
                  or restart.",
        detection: "A thousand or more broadcast and group frames in a second (common practice). When most of them are further copies \
                    of the same frames, a cable closes a loop; when one device sends most of them, it is the cause.",
        lookalikes: "A mirror port shows each frame twice: that is no loop. A camera or radar may send group frames fast by design: \
                     then one device sends them, steadily.",
        checks: "Loop: look for a cable with both ends in the same switch, or two cables between two switches, and pull one. One \
                 sender: pull its cable and see whether the flood ends.",
        cautions: "None beyond the usual.",
    },
    complaints: &["display-disconnects", "data-drops-out"],
    detect,
};

/// Of the flood, at least this share comes from one host for it to be the cause.
const MOST: f64 = 0.7;

fn detect(evidence: &Evidence<'_>) -> Vec<Finding> {
    let books = evidence.books;
    let mut findings = Vec::new();
    for (_, network) in books.networks.iter() {
        let floods = &network.floods;
        if floods.peak < FLOOD_PER_S || floods.spans.is_empty() {
            continue;
        }
        let (all, copies) = floods.flooded;
        let looped = copies * 2 > all;
        let culprit = if looped { None } else { main_sender(network) };
        let summary = match culprit {
            Some(id) => format!(
                "{} floods the network: {} frames for everyone in a second",
                books.inventory.label(id),
                floods.peak
            ),
            None if looped => format!(
                "A switching loop floods the network: {} frames for everyone in a second",
                floods.peak
            ),
            None => format!("The network is flooded: {} frames for everyone in a second", floods.peak),
        };
        let finding = Finding::new(Severity::Fault, summary)
            .devices(culprit)
            .count("peak_per_s", floods.peak)
            .text("loop", if looped { "yes" } else { "no" })
            .evidence(format!(
                "{all} broadcast and group frames in flooded seconds, {copies} of them further copies of the same frames."
            ))
            .evidence(format!("The flood lasts up to {}.", seconds(longest(&floods.spans))))
            .spans(floods.spans.iter().copied());
        findings.push(if looped {
            finding
                .check("Look for a cable with both ends in the same switch, or two cables between two switches; pull one.")
        } else {
            finding.check("Pull the cable of the flooding device and see whether the network recovers.")
        });
    }
    findings
}

/// The host that sends most of the frames for everyone.
fn main_sender(network: &Network) -> Option<DeviceId> {
    let all: u64 = network.hosts.values().map(|h| h.group_frames).sum();
    let (id, host) = network.hosts.iter().max_by_key(|(id, h)| (h.group_frames, std::cmp::Reverse(**id)))?;
    (host.group_frames as f64 >= MOST * all as f64).then_some(*id)
}
