//! One position source steps faster than the boat moves.

use super::steps_of::{Jumps, jumping};
use super::words::{moments, number};
use super::{Detector, Doc, Evidence, Finding, pairs, position_frozen};
use crate::report::model::Severity;

pub(super) const DETECTOR: Detector = Detector {
    doc: Doc {
        kind: "position-jump",
        severity: "fault",
        meaning: "One position source by itself steps further than the boat can have moved. The chart, the track and an \
                  anchor function follow the step.",
        detection: "From one fix to the next the position moves by more than 25 m plus twice what the boat's speed allows \
                    (or three times the way just before). Pauses over 5 s are not judged.",
        lookalikes: "Two sources that disagree make a display jump while neither of them does: duplicate-position-source. A \
                     fix that comes back after a loss may rightly be elsewhere.",
        checks: "Look at the antenna: free view of the sky, no wet or crushed cable, no transmitter beside it. Look at the \
                 satellites and dilution of precision at the times of the jumps.",
        cautions: "Do not navigate by a position that jumps; an anchor function may drive the boat after it.",
    },
    complaints: &["position-jumps"],
    detect,
};

fn detect(evidence: &Evidence<'_>) -> Vec<Finding> {
    let repeaters = pairs::position_repeaters(evidence);
    jumping(evidence, "position", 6.0, repeaters, |s| position_frozen::stands(evidence, s))
        .into_iter()
        .map(|Jumps { source, spans, count: jumps, largest }| {
            let who = evidence.books.inventory.label(source.key.device);
            Finding::new(Severity::Fault, format!("The position of {who} jumps, up to {} m", number(largest, 0)))
                .devices([source.key.device])
                .messages([source.key.message.to_string()])
                .count("jumps", jumps)
                .real("largest_m", largest)
                .evidence(format!(
                    "{jumps} {} in {} fixes of {}, the largest {} m from one fix to the next.",
                    if jumps == 1 { "step" } else { "steps" },
                    source.valid,
                    source.key.message,
                    number(largest, 0)
                ))
                .evidence(format!("At {}.", moments(evidence.books, &spans)))
                .spans(spans)
                .check(format!("Look at the antenna of {who}: free view of the sky, dry and unhurt cable, no transmitter beside it."))
        })
        .collect()
}
