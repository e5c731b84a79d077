//! Timestamps too coarse for the timing asked.

use super::words::seconds;
use super::{Detector, Doc, Evidence, Finding};
use crate::recording::TimeBase;
use crate::report::model::Severity;

pub(super) const DETECTOR: Detector = Detector {
    doc: Doc {
        kind: "coarse-timestamps",
        severity: "note",
        meaning: "The recorder stamps frames too coarsely, or in batches, to tell the rhythm of the fast messages. Intervals \
                  shorter than the stamp are not judged.",
        detection: "All stamps are multiples of a step of 20 ms or more; or frames follow each other faster than the bus can carry \
                    them, so that they bear the stamp of a batch; or the times come from the boat's own clock sentences.",
        lookalikes: "A quiet line with a message a second may look coarse; fine stamps show in their decimals.",
        checks: "Record with a tool that stamps every frame to a millisecond or better.",
        cautions: "None beyond the usual.",
    },
    complaints: &[],
    detect,
};

/// Stamps finer than this serve for the fastest messages there are (100 ms), seconds.
const COARSE_S: f64 = 0.02;

fn detect(evidence: &Evidence<'_>) -> Vec<Finding> {
    let books = evidence.books;
    let coarse = books.wires.iter().filter(|(_, w)| w.carried_by.is_none()).filter_map(|(_, wire)| {
        let stamp = wire.stamp_s();
        (stamp >= COARSE_S).then_some((wire, stamp))
    });
    coarse
        .map(|(wire, stamp)| {
            let recording = books.recordings.get(wire.recording);
            let path = recording.map_or("the recording", |r| r.path.as_str());
            let why = match (wire.batch_s().is_some_and(|b| b >= COARSE_S), recording.map(|r| r.time_base)) {
                (true, _) => {
                    "Frames follow each other faster than the bus carries them: they were stamped in batches."
                }
                (_, Some(TimeBase::BoatClock | TimeBase::BoatTimeOfDay)) => {
                    "Times come from the boat's own clock sentences."
                }
                _ => "All stamps are multiples of this step.",
            };
            Finding::new(Severity::Note, format!("{path} is stamped to {} only", seconds(stamp)))
                .real("resolution_s", stamp)
                .evidence(why)
                .check("For timing, record with stamps of a millisecond or better.")
        })
        .collect()
}
