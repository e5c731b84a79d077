//! Time in the recording steps back, or leaps while the boat's own clock goes on.

use super::words::{number, seconds};
use super::{Detector, Doc, Evidence, Finding};
use crate::books::Books;
use crate::report::model::Severity;

pub(super) const DETECTOR: Detector = Detector {
    doc: Doc {
        kind: "clock-step",
        severity: "note",
        meaning: "The clock of the recording computer was set while it recorded. Pauses and intervals across that moment are none.",
        detection: "Stamps that go back by 1 s or more; or stamps that leap ahead, with nothing in between, while the boat's own \
                    time messages show that hardly any time passed.",
        lookalikes: "A clock that is wrong throughout does no harm to intervals. A boat's clock that leaps when its receiver finds \
                     a fix, with a recorder that goes on evenly. A recorder that slept: the boat's clock has moved on as well \
                     (recording-gap).",
        checks: "Let the recording computer set its clock before you record; record again when a pause lies at that moment.",
        cautions: "",
    },
    complaints: &[],
    detect,
};

/// Whether the recorder's clock was set while it ran.
pub(super) fn was_set(books: &Books) -> bool {
    !books.leaps().is_empty()
}

fn detect(evidence: &Evidence<'_>) -> Vec<Finding> {
    let steps = evidence.books.leaps();
    let Some(largest) = steps.iter().max_by(|a, b| a.size_s.abs().total_cmp(&b.size_s.abs())) else {
        return Vec::new();
    };
    let way = if largest.size_s < 0.0 { "back" } else { "ahead" };
    let size = seconds(largest.size_s.abs());
    let mut finding = Finding::new(Severity::Note, format!("The recorder's clock was set {way} by {size}"))
        .real("largest_s", largest.size_s.abs())
        .spans(steps.iter().map(|step| step.span));
    for step in steps.iter().take(4) {
        let witness =
            if step.by_boat { "against the boat's own time messages" } else { "in the stamps alone" };
        finding = finding.evidence(format!(
            "At {} by {} s, {witness}.",
            step.stamps.from.clock(),
            number(step.size_s, 1)
        ));
    }
    if !evidence.books.rewinds.list().is_empty() {
        finding = finding.evidence(
            "What came after it is judged as it went on, and told with its own stamps; pictures are drawn as if the clock had \
             not been set.",
        );
    }
    vec![
        finding
            .evidence("Nothing is said about pauses across that moment.")
            .check("Let the recording computer set its clock before you record."),
    ]
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::books::inventory::DeviceId;
    use crate::books::timing::Message;
    use crate::recording::WireKind;
    use crate::report::model::Number;
    use crate::time::Time;

    /// One message a second: its stamp and what the boat's clock shows.
    fn found(seconds: impl Iterator<Item = (f64, Option<f64>)>) -> Vec<Finding> {
        let mut books = Books::default();
        let id = books.wires.add(0, WireKind::Can, None, None);
        for (stamp, boat) in seconds {
            let time = Time(0).plus(stamp);
            books.wires.get_mut(id).unwrap().frame(Some(time), 8, 131);
            if let Some(boat) = boat {
                books.clock.reading(DeviceId(0), Message::Pgn(126_992), time, None, (boat * 1e6) as i64);
            }
        }
        detect(&Evidence::of(&books))
    }

    fn count(n: u32) -> impl Iterator<Item = f64> {
        (0..n).map(f64::from)
    }

    #[test]
    fn a_recorder_that_is_set_is_told() {
        let ahead = found(count(60).map(|t| (if t < 30.0 { t } else { t + 150.0 }, Some(t))));
        assert_eq!(ahead[0].numbers["largest_s"], Number::Real(150.0));
        let back = found(count(60).map(|t| (if t < 30.0 { t + 80.0 } else { t }, Some(t))));
        assert_eq!(back[0].numbers["largest_s"], Number::Real(80.0));
        assert!(back[0].summary.contains("back"), "{}", back[0].summary);
        assert_eq!(
            found(count(60).map(|t| (if t < 30.0 { t + 80.0 } else { t }, None))).len(),
            1,
            "no clock aboard"
        );
    }

    #[test]
    fn a_sleeping_recorder_and_a_receiver_that_finds_its_fix_are_none() {
        assert!(
            found(count(60).map(|t| if t < 30.0 { (t, Some(t)) } else { (t + 99.0, Some(t + 99.0)) }))
                .is_empty()
        );
        assert!(found(count(60).map(|t| (t, Some(if t < 30.0 { t } else { t + 5000.0 })))).is_empty());
        assert!(found(count(60).map(|t| (t + 7200.0, Some(t)))).is_empty(), "hours off, evenly");
    }
}
