//! The recorder lost frames.

use super::presence::WireSilence;
use super::words::{longest, seconds};
use super::{Detector, Doc, Evidence, Finding, wire_outage};
use crate::report::model::Severity;
use crate::time::Span;

pub(super) const DETECTOR: Detector = Detector {
    doc: Doc {
        kind: "recording-gap",
        severity: "warning",
        meaning: "The recorder lost frames or slept. Pauses and losses at those times say nothing about the boat.",
        detection: "The recorder's own counters of lost frames (capture statistics, controller overflow); or every wire falls silent \
                    together for 2.5 s or more and goes on where it was, with no more than one device in four coming up anew or, on a 0183 line, being back later than the line; on a bus or a 0183 line \
                    that the recorder heard itself, three silences of 1.5 s are enough.",
        lookalikes: "Devices that come up anew after the silence make it a wire-outage. A clock that was set makes a gap without \
                     loss.",
        checks: "Use a faster recorder; keep the recording computer awake; log to an internal disk.",
        cautions: "None beyond the usual.",
    },
    complaints: &[],
    detect,
};

fn detect(evidence: &Evidence<'_>) -> Vec<Finding> {
    let books = evidence.books;
    let mut findings = Vec::new();
    for (index, recording) in books.recordings.iter().enumerate() {
        let mut bursts: Vec<Span> = books
            .buses
            .iter()
            .filter(|(wire, _)| books.wires.get(*wire).is_some_and(|w| w.recording == index))
            .flat_map(|(_, bus)| bus.errors.lost_at.iter().map(|t| Span::new(*t, *t)))
            .collect();
        if recording.lost_frames > 0 {
            findings.push(
                Finding::new(
                    Severity::Warning,
                    format!("The recorder says that it lost {} frames", recording.lost_frames),
                )
                .count("lost", recording.lost_frames)
                .evidence(format!(
                    "{}: {} frames read, {} lost by its own counters.",
                    recording.path, recording.frames, recording.lost_frames
                ))
                .spans(bursts)
                .check("Record again with a faster recorder, or with a filter for what matters."),
            );
        } else if !bursts.is_empty() {
            bursts.sort_unstable();
            let overflows = bursts.len() as u64;
            // The loss lies before the message that reports it: in the longest silence of the wire that ends there.
            let spans: Vec<Span> = bursts.iter().map(|b| widened(evidence, index, *b)).collect();
            findings.push(
                Finding::new(Severity::Warning, "The recorder's CAN controller overflowed and lost frames")
                    .count("lost", overflows)
                    .evidence(format!("{overflows} overflow messages of the controller; each stands for one frame or more."))
                    .spans(spans)
                    .check("Record again with a faster computer or adapter; pauses at these times are the recorder's."),
            );
        }
    }
    let silent: Vec<Span> = evidence
        .presence
        .wires
        .iter()
        .filter(|(_, _, why)| why.is_recorders())
        .map(|(_, span, _)| *span)
        .collect();
    let slept = evidence.presence.wires.iter().any(|(_, _, why)| *why == WireSilence::RecorderSlept);
    let mut spans: Vec<Span> = Vec::new();
    for span in silent {
        if !spans.iter().any(|s| s.touches(span, 1.0)) {
            spans.push(span);
        }
    }
    if !spans.is_empty() {
        let longest = longest(&spans);
        let in_gap = |restart: &Span| spans.iter().any(|gap| gap.shared_s(*restart) > 0.0);
        let restarted = evidence.presence.restarts.values().flatten().any(in_gap);
        let only = wire_outage::only_due(evidence, &spans);
        let gap =
            Finding::new(Severity::Warning, format!("The recording has a gap of {}", seconds(longest)))
                .real("longest_s", longest)
                .evidence(if slept {
                    "Another recorder went on hearing the same devices meanwhile: this one slept or was stopped."
                } else {
                    "Every wire is silent and then goes on where it was."
                })
                .evidence(if slept {
                    "No device came up anew."
                } else if restarted {
                    "Of many devices one or few came up anew, so the recorder slept or was stopped; a break of the wire cannot be ruled out."
                } else {
                    "No device came up anew, so the recorder slept or was stopped; a break of the wire cannot be ruled out."
                })
                .spans(spans)
                .check("Keep the recording computer awake and record again.");
        findings.push(only.into_iter().fold(gap, Finding::evidence));
    }
    findings
}

/// The silence that ends at an overflow message.
fn widened(evidence: &Evidence<'_>, recording: usize, at: Span) -> Span {
    evidence
        .books
        .wires
        .iter()
        .filter(|(_, wire)| wire.recording == recording)
        .flat_map(|(_, wire)| wire.gaps.over(0.2))
        .find(|gap| gap.touches(at, 0.5))
        .unwrap_or(at)
}
