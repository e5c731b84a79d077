//! Too short to tell slow messages.

use super::words::seconds;
use super::{Detector, Doc, Evidence, Finding};
use crate::report::model::Severity;

pub(super) const DETECTOR: Detector = Detector {
    doc: Doc {
        kind: "recording-too-short",
        severity: "note",
        meaning: "The recording is too short to tell what comes once a minute, what comes and goes, or how headings compare on \
                  several courses.",
        detection: "Less than 60 s from the first to the last record.",
        lookalikes: "None.",
        checks: "Record five minutes or more: at rest, a slow circle, straight runs, the speed where the trouble comes.",
        cautions: "Afloat, let a second person steer and look out while you record.",
    },
    complaints: &[],
    detect,
};

/// Heartbeats and other slow messages come once a minute (NMEA 2000 corrigendum 126993), seconds.
const SHORT_S: f64 = 60.0;

fn detect(evidence: &Evidence<'_>) -> Vec<Finding> {
    let duration = evidence.books.lasted_s();
    if evidence.books.range().is_none() || duration >= SHORT_S {
        return Vec::new();
    }
    vec![
        Finding::new(Severity::Note, format!("The recording is only {} long", seconds(duration)))
            .real("duration_s", duration)
            .evidence("Messages that come once a minute, and troubles that come now and then, cannot be told from it.")
            .check("Record five minutes or more."),
    ]
}
