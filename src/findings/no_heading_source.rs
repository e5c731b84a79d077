//! Nothing in the recording supplies heading.

use super::{Detector, Doc, Evidence, Finding, absent};

pub(super) const DETECTOR: Detector = Detector {
    doc: Doc {
        kind: "no-heading-source",
        severity: "note",
        meaning: "No message in this recording gives a heading: none comes, or all that come are empty.",
        detection: "No PGN and no 0183 sentence that is for heading was seen on any wire of the recording, or none of at least 20 \
                    held a value.",
        lookalikes: "A compass that sends no heading for a while has a fault, and is there. A bow motor's heading sensor that is paired by radio never shows on a wire.",
        checks: "See that the heading sensor has power and is on the wire that was recorded; one that is paired by radio is seen on its own display only.",
        cautions: "Switch the supply off before you open connectors.",
    },
    complaints: &["no-heading"],
    detect,
};

fn detect(evidence: &Evidence<'_>) -> Vec<Finding> {
    let empty = absent::never_valued(
        evidence,
        "heading",
        "Look at the sensor's own page: it may be starting, not calibrated, or without its compass part; switch it off and on.",
    );
    if !empty.is_empty() {
        return empty;
    }
    absent::finding(
        evidence,
        "heading",
        "See that the heading sensor has power and is on the wire that was recorded; one paired by radio cannot be seen here.",
    )
}
