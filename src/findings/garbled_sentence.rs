//! Sentences arrive cut, merged, or with bytes that no sentence has.

use super::words::percent;
use super::{Detector, Doc, Evidence, Finding, bad_checksum, line_overloaded};
use crate::books::Books;
use crate::books::wires::WireId;

pub(super) const DETECTOR: Detector = Detector {
    doc: Doc {
        kind: "garbled-sentence",
        severity: "warning; fault over 1 %; note for one or two, in a damaged recording, or when nothing comes whole",
        meaning: "Parts of sentences are missing on the line, two run into one, or bytes come that no sentence has: a buffer \
                  overflows, two talkers speak at once, or the baud rate is wrong.",
        detection: "Lines that begin as a sentence does and have a second start, a byte outside the printable set, a cut \
                    checksum, or no proper address; lines without a checksum, when the same talker sent the same sentence with one \
                    before; and lines that end in a checksum and have no start. A talker that never sends any checksum does no damage: \
                    old ones do not.",
        lookalikes: "The first and the last line of a recording are often cut. A line that carries all it can: line-overloaded. \
                     Whole sentences with a wrong checksum: bad-checksum.",
        checks: "Make sure that one talker only drives the two wires; compare the baud rate; look whether a multiplexer gets more \
                 than it can send.",
        cautions: "Switch the supply off before you open terminals.",
    },
    complaints: &["data-drops-out"],
    detect,
};

fn detect(evidence: &Evidence<'_>) -> Vec<Finding> {
    let books = evidence.books;
    let mut findings = Vec::new();
    for (id, line) in books.lines.iter().filter(|(_, line)| line.garbled > 0) {
        if line_overloaded::full(books, id).is_some() || is_other_data(books, id) {
            continue;
        }
        // Where nothing comes whole, the line may speak another language altogether.
        let alien = line.good + line.absent == 0;
        let severity = bad_checksum::severity(line.garbled, line.total, alien || books.recording_suffers(id));
        let share = line.garbled as f64 / line.total.max(1) as f64;
        let mut finding = Finding::new(
            severity,
            format!(
                "{} of {} sentences are cut or run together ({})",
                line.garbled,
                line.total,
                percent(share)
            ),
        )
        .on(id)
        .count("garbled", line.garbled)
        .count("total", line.total);
        if alien {
            finding = finding.evidence(
                "Not one whole sentence came: the baud rate is wrong, or the line carries no 0183.",
            );
        }
        if line.headless > 0 {
            finding = finding.evidence(format!(
                "{} of them lost the beginning, and with it who speaks and what.",
                line.headless
            ));
        }
        if let Some(first) = line.damaged_at.first() {
            finding =
                finding.evidence(format!("The first damaged one came at {}.", books.stamp(*first).clock()));
        }
        if line.bad > 0 {
            finding = finding.evidence(format!("{} more have a bad checksum.", line.bad));
        }
        findings.push(
            finding
                .check("Make sure that one talker only drives the line, and that both sides have the same baud rate.")
                .check("Look whether a multiplexer or gateway gets more than it can send on."),
        );
    }
    findings
}

/// Whether packets that were taken for a line hold something else: hardly anything in them is a sentence.
fn is_other_data(books: &Books, id: WireId) -> bool {
    let carried = books.wires.get(id).is_some_and(|wire| wire.carried_by.is_some());
    carried && books.lines.get(id).is_some_and(|line| line.good + line.absent < 2 * line.garbled)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::messages::nmea0183::{Checksum, Fault};
    use crate::report::model::Severity;

    fn found(good: u64, faults: &[Fault]) -> Vec<Finding> {
        let mut books = Books::default();
        let line = books.lines.of(WireId(0));
        (0..good).for_each(|_| line.sentence(None, None, Checksum::Good, false, 40));
        faults.iter().for_each(|fault| line.fault(None, *fault, 20));
        detect(&Evidence::of(&books))
    }

    #[test]
    fn damage_is_counted_and_text_is_not() {
        let cut = [Fault::Merged, Fault::Checksum, Fault::IllegalByte, Fault::Address];
        assert_eq!(found(100, &cut)[0].severity, Severity::Fault);
        assert_eq!(found(1000, &cut)[0].severity, Severity::Warning);
        assert_eq!(found(1000, &cut[..1])[0].severity, Severity::Note, "the cut end of a recording");
        let alien = [Fault::Address; 50];
        assert_eq!(found(0, &alien)[0].severity, Severity::Note, "no 0183 at all");
        assert!(found(100, &[Fault::NoStart, Fault::TagOnly]).is_empty());
    }
}
