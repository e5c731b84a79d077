//! Nothing in the recording supplies depth.

use super::{Detector, Doc, Evidence, Finding, absent};

pub(super) const DETECTOR: Detector = Detector {
    doc: Doc {
        kind: "no-depth-source",
        severity: "note",
        meaning: "No message in this recording carries depth, with or without a value.",
        detection: "No PGN and no 0183 sentence that is for depth was seen on any wire of the recording.",
        lookalikes: "A sounder that sends its messages without a depth is there: depth-not-available. A display keeps a sonar picture of its own transducer without sending depth to others. A recording of another wire does not show the sounder's.",
        checks: "See that the sounder has power and is on the wire that was recorded; look in its menu whether it sends depth to the network.",
        cautions: "Switch the supply off before you open connectors.",
    },
    complaints: &["no-depth"],
    detect,
};

fn detect(evidence: &Evidence<'_>) -> Vec<Finding> {
    absent::finding(
        evidence,
        "depth",
        "See that the sounder has power and is on the wire that was recorded; switch its depth output on.",
    )
}
