//! Everything on a wire pauses together.

use super::presence::WireSilence;
use super::words::{longest, seconds, times};
use super::{Detector, Doc, Evidence, Finding};
use crate::recording::WireKind;
use crate::report::model::Severity;
use crate::time::Span;

pub(super) const DETECTOR: Detector = Detector {
    doc: Doc {
        kind: "wire-outage",
        severity: "fault",
        meaning: "Every device of a wire falls silent at once: the switch or its supply, the backbone or its feed, the cable to \
                  the recorder.",
        detection: "No frame at all on the wire for five intervals of its fastest message while other wires of the boat go on, or \
                    more than one in four devices come up anew afterwards (address claims, ARP, DHCP, router \
                    solicitations; on a 0183 line, which shows none of these, five intervals of their own and up to a minute later \
                    than the line), not counting announcements of an address that two hosts contend for. A shorter silence of a bus is \
                    one where more than half of its nodes claim anew after it unasked, and two or more send their data later than \
                    their rhythm has it. An outage of an Ethernet lasts until one of the \
                    devices that speak by a rhythm is back, whoever else, as the recorder's own machine, was heard in it, and may be seen \
                    by their silence alone where that machine spoke all the while and two others come up anew, or, where it is not known, one that speaks now and then did and \
                    three others were missed. A bus inside a TCP \
                    connection is not judged while the receiver acknowledges nothing or the connection is closed.",
        lookalikes: "A recorder that slept or lost frames, with no device coming up anew: recording-gap. A leap of the recorder's \
                     clock.",
        checks: "Ethernet: the switch's supply plug and fuse, then the switch. NMEA 2000: the feed of the backbone, its fuse, the \
                 tees next to it, the terminators. 0183: the talker's or multiplexer's supply.",
        cautions: "Backbone and switch hang on battery current: fuse off before you open a plug. Leave work on the battery side \
                   to someone licensed for it where local codes ask for that.",
    },
    complaints: &["data-drops-out", "display-disconnects", "no-depth", "no-heading", "no-position"],
    detect,
};

/// That in silences of a whole wire no other device of it had anything to say, in a sentence for each such device.
pub(super) fn only_due(evidence: &Evidence<'_>, silences: &[Span]) -> Vec<String> {
    let told = evidence.presence.one_due.iter().filter(|(span, _)| silences.contains(span));
    let mut devices: Vec<_> = told.map(|(_, device)| *device).collect();
    devices.sort_unstable();
    devices.dedup();
    let words = |id| {
        let who = evidence.books.inventory.label(id);
        format!("Of this wire only {who} was due meanwhile: that it alone fell silent cannot be ruled out.")
    };
    devices.into_iter().map(words).collect()
}

fn detect(evidence: &Evidence<'_>) -> Vec<Finding> {
    let books = evidence.books;
    let mut findings = Vec::new();
    for (id, wire) in books.wires.iter() {
        let outages: Vec<(Span, WireSilence)> = evidence
            .presence
            .wires
            .iter()
            .filter(|(w, _, why)| *w == id && !why.is_recorders())
            .map(|(_, span, why)| (*span, *why))
            .collect();
        if outages.is_empty() {
            continue;
        }
        let spans: Vec<Span> = outages.iter().map(|(span, _)| *span).collect();
        let is_empty =
            |span: &Span| wire.gaps.over(0.9 * span.seconds()).iter().any(|gap| gap.touches(*span, 0.0));
        let longest = longest(&spans);
        let what = match wire.kind {
            WireKind::Ethernet => "The whole Ethernet",
            WireKind::Can => "The whole NMEA 2000 bus",
            WireKind::Line => "The whole 0183 line",
        };
        let mut finding = Finding::new(
            Severity::Fault,
            format!("{what} falls silent {}, longest {}", times(spans.len()), seconds(longest)),
        )
        .on(id)
        .count("gaps", spans.len() as u64)
        .real("longest_s", longest)
        .evidence(if spans.iter().all(is_empty) {
            "No frame of any device meanwhile."
        } else {
            "Meanwhile no frame but of the recorder's own machine, or of who speaks now and then."
        });
        let anew = outages.iter().filter_map(|(_, why)| match why {
            WireSilence::CameUpAnew(n) => Some(*n),
            _ => None,
        });
        if let Some(most) = anew.max() {
            finding = finding.evidence(match (wire.kind, most) {
                (WireKind::Line, 1) => {
                    "One talker was missing for seconds after the others were back, as after a loss of power: a recorder that slept \
                     makes none late."
                        .to_owned()
                }
                (WireKind::Line, _) => format!(
                    "{most} talkers were missing for seconds after the line was back, as after a loss of power: a recorder that slept \
                     makes none late."
                ),
                (_, 1) => "Afterwards one device came up anew: it had lost power or link.".to_owned(),
                _ => format!("Afterwards {most} devices came up anew: they had lost power or link."),
            });
        }
        if outages.iter().any(|(_, why)| *why == WireSilence::OthersWentOn) {
            finding = finding.evidence(if wire.carried_by.is_some() {
                "The Ethernet that carries it went on meanwhile."
            } else {
                "Other wires of the boat went on meanwhile: the recorder was running."
            });
        }
        finding = only_due(evidence, &spans).into_iter().fold(finding, Finding::evidence);
        finding = finding.spans(spans);
        findings.push(match wire.kind {
            WireKind::Ethernet => finding
                .check("Look at the switch's supply plug and fuse first, then at the switch itself.")
                .check("Feed the switch from another supply for a trial."),
            WireKind::Can => finding
                .check("Look at the feed of the backbone: fuse, plug, the tees next to it.")
                .check("With the power off, measure about 60 ohm between the data lines: 120 is a missing terminator or a cut."),
            WireKind::Line => finding.check("Look at the supply and the two wires of the talker or multiplexer of this line."),
        });
    }
    findings
}
