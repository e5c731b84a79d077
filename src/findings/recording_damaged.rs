//! The file holds bytes that are no records.

use super::{Detector, Doc, Evidence, Finding};
use crate::report::model::Severity;

pub(super) const DETECTOR: Detector = Detector {
    doc: Doc {
        kind: "recording-damaged",
        severity: "note",
        meaning: "Part of the file is no record: a bad card, a broken transfer, a recorder that lost power. Gaps and losses near \
                  it are the file's, not the boat's.",
        detection: "Bytes between records that fit no record of the container, or bytes that do not belong into a text log.",
        lookalikes: "Comment lines and headers are no damage.",
        checks: "Fetch the file again; check the recorder's card.",
        cautions: "None beyond the usual.",
    },
    complaints: &[],
    detect,
};

fn detect(evidence: &Evidence<'_>) -> Vec<Finding> {
    let damaged = evidence.books.recordings.iter().filter(|r| r.damaged_bytes > 0);
    damaged
        .map(|r| {
            Finding::new(
                Severity::Note,
                format!("{} is damaged: {} bytes are no records", r.path, r.damaged_bytes),
            )
            .count("bytes", r.damaged_bytes)
            .evidence("They were skipped; what lies before and after has been used.")
            .check("Fetch the file again if you can; check the recorder's card.")
        })
        .collect()
}
