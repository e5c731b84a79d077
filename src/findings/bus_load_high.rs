//! A CAN bus carries so much that low-priority messages wait.

use super::words::{longest, number, seconds as duration};
use super::{Detector, Doc, Evidence, Finding};
use crate::books::bounded;
use crate::books::wires::{LASTING_S, Wire};
use crate::recording::WireKind;
use crate::report::model::Severity;
use crate::time::{Span, Time};

pub(super) const DETECTOR: Detector = Detector {
    doc: Doc {
        kind: "bus-load-high",
        severity: "warning over 60 %, fault over 80 % in any second",
        meaning: "The bus is so full that messages of low priority wait and come late or not at all.",
        detection: "The bits of all frames, stuff bits counted from their content, in the busiest second against the 250 kbit/s of \
                    NMEA 2000. Where frames bear the stamp of a batch, as much is taken off as a batch may shift into that second or \
                    into the busiest five, and of batches of more than 0.1 s five seconds alone count. Where they come in \
                    packets and the load does not last for three seconds, the mean alone is judged.",
        lookalikes: "A recorder that hands over late what it gathered shows a full second that never was: more than a bus can \
                     carry tells it. A bus of another bit rate is none of NMEA 2000.",
        checks: "Look which sender sends most, in the report's table of timing; slow down or switch off messages that nobody uses. \
                 Split a large network.",
        cautions: "Before you switch a message off make sure that no autopilot or alarm lives by it.",
    },
    complaints: &["data-drops-out"],
    detect,
};

/// What an NMEA 2000 bus carries, bits a second.
const CAPACITY: f64 = 250_000.0;

/// From this load on it is worth a look, percent.
const HIGH: f64 = 60.0;

/// From this load on messages come late, percent.
const FULL: f64 = 80.0;

/// Frames that share a batch's stamp over a longer time than this may fall into the wrong second, seconds.
const BATCH_S: f64 = 0.1;

/// More than this no bus carries, percent: its frames came late. The bits are counted, and stamps are rounded.
const POSSIBLE: f64 = 102.0;

/// A load that lasts so long is none of a network that delivers late, seconds.
const HELD_BACK_S: f64 = 3.0;

/// Stretches of high load that are told, and how far apart they are two, seconds.
const MAX_SPANS: usize = 64;
const APART_S: f64 = 2.0;

fn detect(evidence: &Evidence<'_>) -> Vec<Finding> {
    let books = evidence.books;
    let mut findings = Vec::new();
    for (id, wire) in books.wires.iter().filter(|(_, w)| w.kind == WireKind::Can) {
        let foreign = books.buses.get(id).map_or(0, |bus| bus.foreign);
        let Some((at, most)) = wire.load.peak else { continue };
        let seconds = books.recorded_s(wire);
        if foreign * 2 > wire.frames || seconds < 1.0 {
            continue;
        }
        let mean = wire.load.total as f64 / seconds / CAPACITY * 100.0;
        let peak = most as f64 / CAPACITY * 100.0;
        // What comes out of a batch has lost its own time, and a network may hold some of it back for a second.
        let shift_s = if cuts_seconds(wire) { 0.0 } else { wire.stamp_s() };
        let lasts = || loaded(wire).iter().any(|span| span.seconds() >= HELD_BACK_S);
        let own_time = shift_s <= BATCH_S && peak <= POSSIBLE && (wire.carried_by.is_none() || lasts());
        let second = if own_time { peak / (1.0 + shift_s) } else { mean };
        let lasting = lasting(wire, shift_s).filter(|_| shift_s > 0.0 && wire.carried_by.is_none());
        let in_five = lasting.filter(|(.., percent)| *percent > second);
        let judged = in_five.map_or(second, |(.., percent)| percent);
        if judged <= HIGH || judged > POSSIBLE {
            continue;
        }
        let severity = if judged > FULL { Severity::Fault } else { Severity::Warning };
        let mut busiest: Vec<_> = books
            .inventory
            .iter()
            .filter(|(_, d)| d.wire == id && d.frames > 0)
            .map(|(device, d)| (d.frames, device))
            .collect();
        busiest.sort_unstable_by(|a, b| b.cmp(a));
        let mut finding = Finding::new(
            severity,
            format!("The bus is loaded to {} % (mean {} %)", number(judged, 0), number(mean, 0)),
        )
        .on(id)
        .real("peak_percent", judged)
        .real("mean_percent", mean)
        .evidence(match in_five {
            Some((from, bits, _)) => format!(
                "{bits} bits in the {LASTING_S} seconds from {}, of 250000 a second that the bus carries.",
                books.stamp(from).clock()
            ),
            None => format!(
                "{most} bits in the second from {}, of 250000 that the bus carries.",
                books.stamp(at).clock()
            ),
        });
        if shift_s > 0.0 && (own_time || in_five.is_some()) {
            finding = finding.evidence(format!(
                "Frames bear the stamp of a batch of up to {}: what one may shift into that time is taken off.",
                duration(shift_s)
            ));
        }
        if let Some((frames, device)) = busiest.first() {
            let share = *frames as f64 / wire.frames.max(1) as f64;
            finding = finding.evidence(format!(
                "{} sends {} of all frames.",
                books.inventory.label(*device),
                super::words::percent(share)
            ));
        }
        if own_time || in_five.is_some() {
            let mut spans = loaded(wire);
            if !own_time {
                spans.retain(|span| span.seconds() >= HELD_BACK_S);
            }
            let all: f64 = spans.iter().map(|span| span.seconds()).sum();
            finding = finding
                .evidence(format!(
                    "Over {HIGH:.0} % for {} in all, {} at the longest.",
                    duration(all),
                    duration(longest(&spans))
                ))
                .spans(spans);
        } else {
            finding = finding
                .evidence("Frames come late or bear the stamp of a batch: single seconds cannot be judged.");
        }
        findings.push(
            finding
                .check("Look which device sends most, and slow down or switch off messages that nobody uses.")
                .check("If it stays high, split the network."),
        );
    }
    findings
}

/// Whether stamps, coarse as they are, still tell the second of each frame: cut to a whole second or to a whole part of it, and
/// no batch but of what such a step holds.
fn cuts_seconds(wire: &Wire) -> bool {
    wire.resolution_s().is_some_and(|step| {
        let parts = 1.0 / step;
        parts >= 1.0 && parts.fract() == 0.0 && wire.batch_s().is_none_or(|batch| batch < 1.5 * step)
    })
}

/// The busiest [`LASTING_S`] seconds: from when, their bits, and the load without what a batch of `shift_s` seconds may add, percent;
/// `None` where it is more than a bus carries.
fn lasting(wire: &Wire, shift_s: f64) -> Option<(Time, u64, f64)> {
    let (from, bits) = wire.load.lasting?;
    let percent = bits as f64 / (LASTING_S as f64 + shift_s) / CAPACITY * 100.0;
    Some((from, bits, percent)).filter(|(.., percent)| *percent <= POSSIBLE)
}

/// The stretches in which the load is high, to the second; in a long recording to a few.
fn loaded(wire: &Wire) -> Vec<Span> {
    let mut spans = Vec::new();
    for bucket in wire.load.trace.buckets() {
        if bucket.high / CAPACITY * 100.0 > HIGH {
            bounded::stretch(&mut spans, MAX_SPANS, Span::new(bucket.from, bucket.to.plus(1.0)), APART_S);
        }
    }
    spans
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::books::Books;

    /// Frames of 131 bits, `per_s` a second for ten seconds, evenly or all at each second's begin.
    fn found(per_s: i64, batched: bool) -> Vec<Finding> {
        let mut books = Books::default();
        let id = books.wires.add(0, WireKind::Can, None, None);
        for i in 0..per_s * 10 {
            let step = if batched { i / per_s * 1_000_000 } else { i * 1_000_000 / per_s };
            books.wires.get_mut(id).unwrap().frame(Some(Time(step)), 8, 131);
        }
        books.wires.settle();
        detect(&Evidence::of(&books))
    }

    #[test]
    fn load_is_judged_by_the_busiest_second() {
        assert_eq!(found(1300, false)[0].severity, Severity::Warning, "68 %");
        assert_eq!(found(1700, false)[0].severity, Severity::Fault, "89 %");
        assert!(found(900, false).is_empty(), "47 %");
    }

    #[test]
    fn what_no_bus_can_carry_is_the_recorders_doing() {
        assert!(found(3000, true).is_empty(), "157 %");
    }

    /// Ten seconds of 500 frames but one of 1,300, each stamped with the begin of its second, plus `off_us` for each second.
    fn busy_second(off_us: i64) -> Vec<Finding> {
        let mut books = Books::default();
        let id = books.wires.add(0, WireKind::Can, None, None);
        for second in 0..10 {
            for _ in 0..if second == 4 { 1300 } else { 500 } {
                let stamp = Time(second * (1_000_000 + off_us));
                books.wires.get_mut(id).unwrap().frame(Some(stamp), 8, 131);
            }
        }
        books.wires.settle();
        detect(&Evidence::of(&books))
    }

    #[test]
    fn stamps_cut_to_the_second_still_tell_each_second() {
        assert_eq!(busy_second(0)[0].severity, Severity::Warning, "68 % in one second");
        assert!(busy_second(37_011).is_empty(), "batches that hold more than a second each");
    }
}
