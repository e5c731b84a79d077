//! The recorder's CAN controller reports errors on the bus.

use super::words::{moments, times};
use super::{Detector, Doc, Evidence, Finding};
use crate::books::bus::ErrorFrames;
use crate::report::model::Severity;

pub(super) const DETECTOR: Detector = Detector {
    doc: Doc {
        kind: "bus-error",
        severity: "fault; note for one or two passing errors",
        meaning: "The CAN controller of the recorder saw broken frames, got no acknowledgement, or left the bus: the cabling, the \
                  terminators, or a device that disturbs.",
        detection: "Error frames of the controller. Lost arbitration is everyday traffic and does not count; an overflow is the \
                    recorder's own and is told as recording-gap.",
        lookalikes: "One or two errors when a plug is put in are no fault. A recorder that sends alone on a bus gets no \
                     acknowledgement. A recorder set to another bit rate sees nothing but errors.",
        checks: "Power off: measure between the data lines, about 60 ohm is right, 120 a missing terminator or a cut, 40 one too \
                 many, near 0 a short. Then unplug drops one by one while the errors are counted; look for water in tees and \
                 drops over 6 m.",
        cautions: "Measure resistance only with the bus unpowered: disconnect its feed. Bring back every terminator before you \
                   leave.",
    },
    complaints: &["data-drops-out", "no-heading", "no-position", "no-depth"],
    detect,
};

/// So many passing errors may come from a plug that was put in (common practice, no source).
const PASSING: u64 = 2;

/// Error frames that speak of the bus, and not of the recorder or of everyday traffic.
fn of_bus(errors: &ErrorFrames) -> u64 {
    errors.total.saturating_sub(errors.overflow).saturating_sub(errors.arbitration)
}

fn detect(evidence: &Evidence<'_>) -> Vec<Finding> {
    let mut findings = Vec::new();
    for (wire, bus) in evidence.books.buses.iter() {
        let errors = &bus.errors;
        let count = of_bus(errors);
        if count == 0 {
            continue;
        }
        let grave = errors.bus_off + errors.passive + errors.restarted;
        let severity = if count <= PASSING && grave == 0 { Severity::Note } else { Severity::Fault };
        let classes = [
            ("no_ack", errors.no_ack, "no acknowledgement"),
            ("bus_off", errors.bus_off, "bus off"),
            ("error_passive", errors.passive, "error passive"),
            ("error_warning", errors.warning, "warning level"),
            ("restarted", errors.restarted, "restarted after bus off"),
            ("protocol_violation", errors.protocol, "protocol violation"),
            ("transceiver", errors.transceiver, "transceiver"),
            ("bus_error", errors.bus_error, "bus error"),
            ("tx_timeout", errors.tx_timeout, "transmission timed out"),
        ];
        let seen: Vec<_> = classes.iter().filter(|(_, n, _)| *n > 0).collect();
        let said: Vec<String> = seen.iter().map(|(_, n, what)| format!("{what} {n}")).collect();
        let mut finding = Finding::new(
            severity,
            format!("The bus shows {count} error {}", if count == 1 { "frame" } else { "frames" }),
        )
        .on(wire)
        .count("error_frames", count)
        .spans(errors.bursts.iter().copied());
        for (key, n, _) in seen {
            finding = finding.count(key, *n);
        }
        finding = finding.evidence(format!("Frames by class: {}.", said.join(", ")));
        if !errors.bursts.is_empty() {
            let n = times(errors.bursts.len());
            finding =
                finding.evidence(format!("They come {n}: at {}.", moments(evidence.books, &errors.bursts)));
        }
        if let Some((tx, rx)) = errors.counters {
            finding = finding.evidence(format!(
                "Largest error counters: transmit {tx}, receive {rx} (passive from 128, bus off above 255)."
            ));
        }
        findings.push(
            finding
                .evidence("The recording cannot tell which device or cable disturbs: error frames bear no sender.")
                .check("With the bus unpowered measure between the data lines: about 60 ohm is right, 120 a missing terminator or a cut.")
                .check("Then unplug drops one by one while someone watches the error count."),
        );
    }
    findings
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::books::Books;
    use crate::books::wires::WireId;
    use crate::time::Time;

    fn found(errors: &[(u32, [u8; 8])]) -> Vec<Finding> {
        let mut books = Books::default();
        for (i, (classes, data)) in errors.iter().enumerate() {
            books.buses.of(WireId(0)).error(Some(Time(i as i64 * 100_000)), *classes, data);
        }
        detect(&Evidence::of(&books))
    }

    #[test]
    fn errors_are_counted_by_class() {
        // No acknowledgement with a bus error (0x0A0), error passive (0x004, data 1 = 0x10), bus off (0x040).
        let found = found(&[(0x0A0, [0; 8]), (0x004, [0, 0x10, 0, 0, 0, 0, 0, 0]), (0x040, [0; 8])]);
        assert_eq!(found[0].severity, Severity::Fault);
        for (key, n) in [("error_frames", 3), ("no_ack", 1), ("error_passive", 1), ("bus_off", 1)] {
            assert_eq!(found[0].numbers[key], crate::report::model::Number::Count(n), "{key}");
        }
    }

    #[test]
    fn traffic_and_the_recorder_are_no_bus_errors() {
        assert!(found(&[(0x002, [0; 8]), (0x004, [0, 0x01, 0, 0, 0, 0, 0, 0])]).is_empty());
        assert_eq!(found(&[(0x080, [0; 8])])[0].severity, Severity::Note, "a plug was put in");
    }
}
