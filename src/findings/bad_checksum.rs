//! Sentences arrive whole in form, with a checksum that does not fit.

use super::words::{labels, percent};
use super::{Detector, Doc, Evidence, Finding, line_overloaded};
use crate::report::model::Severity;

pub(super) const DETECTOR: Detector = Detector {
    doc: Doc {
        kind: "bad-checksum",
        severity: "warning; fault over 1 %; note for one or two, and in a damaged recording",
        meaning: "Characters of sentences were changed on their way. Listeners throw such sentences away: data come with holes.",
        detection: "Well-formed sentences whose two checksum digits differ from the exclusive or of their characters.",
        lookalikes: "Sentences cut or run together are garbled-sentence; a line that carries all it can is line-overloaded. One \
                     sentence kind alone with bad checksums is a talker that reckons wrongly.",
        checks: "Look at the two wires of the line: A and B the right way round, one talker only, a common ground where the \
                 listener is not isolated, away from motor and radio cables. Compare the baud rate on both sides.",
        cautions: "Switch the supply off before you open terminals.",
    },
    complaints: &["data-drops-out"],
    detect,
};

/// Fewer than this are chance, or the edges of the recording.
const ENOUGH: u64 = 3;

/// Share from which on data are missed aboard (the catalogue's limit).
const GRAVE_SHARE: f64 = 0.01;

/// A share of fewer sentences than this says nothing.
const FEW: u64 = 20;

/// How grave damaged sentences are.
pub(super) fn severity(damaged: u64, total: u64, recording_suffers: bool) -> Severity {
    if damaged < ENOUGH || total < FEW || recording_suffers {
        Severity::Note
    } else if damaged as f64 > GRAVE_SHARE * total as f64 {
        Severity::Fault
    } else {
        Severity::Warning
    }
}

fn detect(evidence: &Evidence<'_>) -> Vec<Finding> {
    let books = evidence.books;
    let mut findings = Vec::new();
    for (id, line) in books.lines.iter().filter(|(_, line)| line.bad > 0) {
        if line_overloaded::full(books, id).is_some() {
            continue;
        }
        let mut by = line.bad_by.clone();
        by.sort_by_key(|(_, n)| std::cmp::Reverse(*n));
        let talkers: Vec<_> = by.iter().map(|(device, _)| *device).collect();
        let share = line.bad as f64 / line.total.max(1) as f64;
        let mut finding = Finding::new(
            severity(line.bad, line.total, books.recording_suffers(id)),
            format!("{} of {} sentences have a bad checksum ({})", line.bad, line.total, percent(share)),
        )
        .devices(talkers.iter().copied())
        .count("bad", line.bad)
        .count("total", line.total);
        if !talkers.is_empty() {
            finding = finding.evidence(format!("From {}.", labels(books, &talkers)));
        }
        if let Some(first) = line.damaged_at.first() {
            finding =
                finding.evidence(format!("The first damaged one came at {}.", books.stamp(*first).clock()));
        }
        if line.garbled > 0 {
            finding = finding.evidence(format!("{} more are cut or run together.", line.garbled));
        }
        if books.wires.get(id).is_some_and(|w| w.carried_by.is_some()) {
            finding = finding.evidence(
                "The packets that carry them came whole: the damage is older, on the line into the gateway or in the talker.",
            );
        }
        findings.push(
            finding
                .check("Look at the two wires of the line: the right way round, one talker only, common ground, baud rate on both sides.")
                .check("Lay the line away from motor and radio cables and record again."),
        );
    }
    findings
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::books::Books;
    use crate::books::wires::WireId;
    use crate::messages::nmea0183::Checksum;
    use crate::report::model::Number;

    fn found(good: u64, bad: u64) -> Vec<Finding> {
        let mut books = Books::default();
        let line = books.lines.of(WireId(0));
        for i in 0..good + bad {
            let checksum = if i < bad { Checksum::Bad { said: 1, computed: 2 } } else { Checksum::Good };
            line.sentence(None, None, checksum, false, 40);
        }
        detect(&Evidence::of(&books))
    }

    #[test]
    fn the_share_makes_it_grave() {
        assert_eq!(found(900, 100)[0].severity, Severity::Fault);
        assert_eq!(found(995, 5)[0].severity, Severity::Warning);
        assert_eq!(found(995, 5)[0].numbers["total"], Number::Count(1000));
        assert_eq!(found(1000, 2)[0].severity, Severity::Note);
        assert_eq!(found(4, 5)[0].severity, Severity::Note, "too few to tell");
        assert!(found(1000, 0).is_empty());
    }
}
