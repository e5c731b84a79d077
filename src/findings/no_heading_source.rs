//! Nothing in the recording supplies heading.

use super::{Detector, Doc, Evidence, Finding, absent};

pub(super) const DETECTOR: Detector = Detector {
    doc: Doc {
        kind: "no-heading-source",
        severity: "note",
        meaning: "No message in this recording carries heading, with or without a value.",
        detection: "No PGN and no 0183 sentence that is for heading was seen on any wire of the recording.",
        lookalikes: "A compass that sends empty headings is there. A bow motor's heading sensor that is paired by radio never shows on a wire.",
        checks: "See that the heading sensor has power and is on the wire that was recorded; one that is paired by radio is seen on its own display only.",
        cautions: "Switch the supply off before you open connectors.",
    },
    complaints: &["no-heading"],
    detect,
};

fn detect(evidence: &Evidence<'_>) -> Vec<Finding> {
    absent::finding(
        evidence,
        "heading",
        "See that the heading sensor has power and is on the wire that was recorded; one paired by radio cannot be seen here.",
    )
}
