//! Nothing in the recording supplies position.

use super::{Detector, Doc, Evidence, Finding, absent};

pub(super) const DETECTOR: Detector = Detector {
    doc: Doc {
        kind: "no-position-source",
        severity: "note",
        meaning: "No message in this recording carries position, with or without a value.",
        detection: "No PGN and no 0183 sentence that is for position was seen on any wire of the recording.",
        lookalikes: "A receiver without fix is there: fix-lost. A display with a built-in antenna may keep the position to itself.",
        checks: "See that the receiver has power and is on the wire that was recorded; look in the display's menu whether it sends its own position to the network.",
        cautions: "Switch the supply off before you open connectors.",
    },
    complaints: &["no-position"],
    detect,
};

fn detect(evidence: &Evidence<'_>) -> Vec<Finding> {
    absent::finding(
        evidence,
        "position",
        "See that the receiver has power and is on the wire that was recorded; switch the position output of a display with its own antenna on.",
    )
}
