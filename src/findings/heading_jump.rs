//! One heading source steps faster than a boat can turn.

use super::steps_of::{Jumps, jumping, out_and_back};
use super::words::{moments, number, times};
use super::{Detector, Doc, Evidence, Finding, duplicate_heading_source, heading_frozen};
use crate::books::series::Source;
use crate::report::model::Severity;
use crate::time::Span;

pub(super) const DETECTOR: Detector = Detector {
    doc: Doc {
        kind: "heading-jump",
        severity: "fault",
        meaning: "One heading source by itself steps further than the boat can have turned. Displays, the chart and the \
                  bow motor's heading control follow the step.",
        detection: "From one value to the next the heading moves by more than 5 degrees plus what a boat can turn in that \
                    time (90 degrees a second, or three times the rate just before). Pauses over 2.5 s are not judged, nor \
                    the last value before the boat's own clock leaps in a log without stamps.",
        lookalikes: "A fast pivot turn with the bow motor is no jump: it builds up over several values. Two sources that \
                     disagree make a display jump while neither of them does: duplicate-heading-source.",
        checks: "Look for iron, speakers, motors and cables with heavy current near the sensor, and see whether the jumps \
                 come with the bow motor or a pump. Move the sensor's cable and connector. Then calibrate.",
        cautions: "Keep clear of the propeller: a bow motor under heading control turns when its heading jumps.",
    },
    complaints: &["heading-jumps"],
    detect,
};

fn detect(evidence: &Evidence<'_>) -> Vec<Finding> {
    let stands = |s: &Source| heading_frozen::stands(evidence, s).into_iter().map(|(span, _)| span).collect();
    let repeaters = duplicate_heading_source::repeaters(evidence);
    jumping(evidence, "heading", 2.0, repeaters, stands)
        .into_iter()
        .map(|Jumps { source, spans, count: jumps, largest }| {
            let who = evidence.books.inventory.label(source.key.device);
            Finding::new(Severity::Fault, format!("The heading of {who} jumps, up to {} deg", number(largest, 0)))
                .devices([source.key.device])
                .messages([source.key.message.to_string()])
                .count("jumps", jumps)
                .real("largest_deg", largest)
                .evidence(format!(
                    "{jumps} {} in {} values of {}, the largest {} deg from one value to the next.",
                    if jumps == 1 { "step" } else { "steps" },
                    source.valid,
                    source.key.message,
                    number(largest, 1)
                ))
                .evidence(when(evidence, source, jumps, &spans))
                .spans(spans)
                .check(format!("Look for iron, speakers, motors and heavy-current cables near {who}; note what was switched when it jumped."))
                .check("Wiggle its cable and connector while someone watches the heading.")
        })
        .collect()
}

/// When it was away: a step out and the one back are one event. Steps that nothing makes up for are told one by one.
fn when(evidence: &Evidence<'_>, source: &Source, jumps: u64, steps: &[Span]) -> String {
    let away = out_and_back(source);
    if away.len() as u64 * 2 == jumps {
        format!("Out and back {}: {}.", times(away.len()), moments(evidence.books, &away))
    } else {
        format!("At {}.", moments(evidence.books, steps))
    }
}
