//! The file ends in mid-record.

use super::{Detector, Doc, Evidence, Finding};
use crate::report::model::Severity;

pub(super) const DETECTOR: Detector = Detector {
    doc: Doc {
        kind: "recording-truncated",
        severity: "note",
        meaning: "The recording ends in the middle of a record: the recorder lost power, the card was pulled, or the download \
                  broke off. Everything before is used.",
        detection: "The last record or line is shorter than it says or than its kind is.",
        lookalikes: "A recording that was stopped by hand ends with a whole record.",
        checks: "Fetch the file again; if it is as short on the recorder, let the recorder stop before you pull its card or power.",
        cautions: "None beyond the usual.",
    },
    complaints: &[],
    detect,
};

fn detect(evidence: &Evidence<'_>) -> Vec<Finding> {
    let cut = evidence.books.recordings.iter().filter(|r| r.truncated);
    cut.map(|r| {
        Finding::new(Severity::Note, format!("{} ends in mid-record", r.path))
            .count("bytes", r.truncated_bytes)
            .evidence(format!(
                "The last {} bytes are the beginning of a record whose rest is missing.",
                r.truncated_bytes
            ))
            .check("Fetch the file again if you can; what was before the cut has been used.")
    })
    .collect()
}
