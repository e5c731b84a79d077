//! What the devices of a bus say that they draw from it.

use super::words::{labels, number};
use super::{Detector, Doc, Evidence, Finding};
use crate::report::model::Severity;

pub(super) const DETECTOR: Detector = Detector {
    doc: Doc {
        kind: "power-budget",
        severity: "note",
        meaning: "The sum of the load equivalency numbers that devices declare: how much current the backbone feeds.",
        detection: "The load equivalency number of each device's product information, 50 mA a unit (NMEA 2000), added up over the \
                    devices of a bus that sent it.",
        lookalikes: "Devices that sent no product information are missing from the sum; some draw from a supply of their own.",
        checks: "Compare with the fuse of the feed and the cable: light trunk cable carries 3 A, mid cable with light connectors \
                 4 A, heavy cable 8 A (common practice as printed in installation guides). Estimate the voltage drop to the \
                 last device; it must keep more than 9 V.",
        cautions: "Fuse the feed for the weakest cable. Work on the battery side is for someone licensed where local codes ask \
                   for that.",
    },
    complaints: &[],
    detect,
};

/// Amperes of one load equivalency unit (NMEA 2000).
const AMPS_PER_UNIT: f64 = 0.05;

/// Load equivalency numbers above this are "not available" or nonsense (one device may draw 20 at most, NMEA 2000).
const MOST_UNITS: u8 = 250;

fn detect(evidence: &Evidence<'_>) -> Vec<Finding> {
    let books = evidence.books;
    let mut findings = Vec::new();
    for (wire, _) in books.buses.iter() {
        let nodes = || books.inventory.iter().filter(|(_, d)| d.wire == wire && d.frames > 0);
        let declared: Vec<_> = nodes()
            .filter_map(|(id, d)| Some((id, d.load_equivalency?)))
            .filter(|(_, units)| *units <= MOST_UNITS)
            .collect();
        if declared.is_empty() {
            continue;
        }
        let units: u64 = declared.iter().map(|(_, units)| u64::from(*units)).sum();
        let amps = units as f64 * AMPS_PER_UNIT;
        let silent: Vec<_> =
            nodes().map(|(id, _)| id).filter(|id| !declared.iter().any(|(known, _)| known == id)).collect();
        let mut finding = Finding::new(
            Severity::Note,
            format!(
                "Devices declare {units} load {}, {} A from the bus",
                if units == 1 { "unit" } else { "units" },
                number(amps, 2)
            ),
        )
        .devices(declared.iter().map(|(id, _)| *id))
        .messages(["126996".to_owned()])
        .count("load_equivalency", units)
        .real("amps", amps)
        .evidence(format!("Declared by {} of {} devices.", declared.len(), nodes().count()));
        if !silent.is_empty() {
            finding =
                finding.evidence(format!("Not declared in this recording: {}.", labels(books, &silent)));
        }
        findings.push(
            finding
                .check("Compare with the feed's fuse and the trunk cable (light 3 A, mid 4 A, heavy 8 A)."),
        );
    }
    findings
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::books::Books;
    use crate::books::wires::WireId;
    use crate::report::model::Number;
    use crate::time::Time;

    fn found(units: &[Option<u8>]) -> Vec<Finding> {
        let mut books = Books::default();
        books.buses.of(WireId(0));
        for (address, units) in units.iter().enumerate() {
            let id = books.inventory.node(WireId(0), address as u8).unwrap();
            books.inventory.frame(id, Some(Time(0)), 8);
            books.inventory.get_mut(id).unwrap().load_equivalency = *units;
        }
        detect(&Evidence::of(&books))
    }

    #[test]
    fn units_are_added_up() {
        let found = found(&[Some(3), None, Some(6)]);
        assert_eq!(found[0].numbers["load_equivalency"], Number::Count(9));
        assert_eq!(found[0].numbers["amps"], Number::Real(0.45));
    }

    #[test]
    fn nothing_declared_says_nothing() {
        assert!(found(&[None, Some(255)]).is_empty());
    }
}
