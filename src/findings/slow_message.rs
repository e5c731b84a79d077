//! A message comes steadily, but well under its standard rate.

use super::words::{labels, number, seconds};
use super::{
    Detector, Doc, Evidence, Finding, address_conflict, line_overloaded, pairs, repeats as repeated,
};
use crate::books::Books;
use crate::books::series::Source;
use crate::books::timing::{Message, Stream};
use crate::books::wires::Wire;
use crate::report::model::Severity;

pub(super) const DETECTOR: Detector = Detector {
    doc: Doc {
        kind: "slow-message",
        severity: "warning",
        meaning: "Data come by the clock and too seldom: a heading twice a second makes a chart turn in jerks and an autopilot \
                  hunt.",
        detection: "NMEA 2000: the median interval is three times the standard's or more and nine in ten intervals are near it. \
                    0183, where no standard fixes a rate: a sentence of position, course, heading, turn, depth, speed or \
                    wind comes more than twice as seldom as usual, and no other of the talker tells the same in time. N2K \
                    messages that the standard sends less often than every 2.5 s are left alone.",
        lookalikes: "A display that repeats another device's data now and then is no slow sensor and is left out. An overloaded \
                     line slows everything: line-overloaded. Coarse stamps.",
        checks: "Look for an interval, rate or damping setting of the sensor or of the gateway in front of it; update both. A \
                 gateway from a 4800 baud line cannot be faster than that line.",
        cautions: "Do not trust an autopilot with a slow heading in a seaway.",
    },
    complaints: &["heading-jumps", "data-drops-out"],
    detect,
};

/// So many standard intervals are slow. Makers choose half the standard rate now and then, and nobody minds (common
/// practice, no source).
const SLOW_N2K: f64 = 3.0;

/// 0183's intervals here are already the longest usual ones; beyond twice that data are late for their use (usual
/// intervals and slow limits, fact sheet NMEA 0183, section 1).
const SLOW_SENTENCE: f64 = 2.1;

/// What N2K sends more seldom than this by standard is no live data, seconds.
const LIVE_S: f64 = 2.5;

/// Sentences that a display or autopilot lives by; clocks, logs, satellites and routes are sent as seldom as a maker
/// likes.
const LIVE_SENTENCES: [&str; 16] = [
    "DBK", "DBS", "DBT", "DPT", "GGA", "GLL", "GNS", "HDG", "HDM", "HDT", "MWV", "RMC", "ROT", "THS", "VHW",
    "VTG",
];

/// A steady message has nine in ten intervals within this many medians.
const STEADY: f64 = 1.5;

/// Fewer messages than this tell no rate.
const ENOUGH: u64 = 12;

fn detect(evidence: &Evidence<'_>) -> Vec<Finding> {
    let books = evidence.books;
    let mut slow: Vec<(&Stream, f64, f64)> = books
        .timing
        .iter()
        .filter_map(|stream| slow(evidence, stream).map(|(standard, median)| (stream, standard, median)))
        .collect();
    slow.sort_by(|a, b| (b.2 / b.1).total_cmp(&(a.2 / a.1)));
    let mut findings: Vec<Finding> = Vec::new();
    for &(stream, standard, median) in &slow {
        if findings.iter().any(|f| f.devices.contains(&stream.device)) {
            continue;
        }
        let all = || slow.iter().filter(|(s, _, _)| s.device == stream.device);
        let who = labels(books, &[stream.device]);
        let mut finding = Finding::new(
            Severity::Warning,
            format!(
                "{} of {who} comes every {} only, {} is usual",
                stream.message,
                seconds(median),
                seconds(standard)
            ),
        )
        .devices([stream.device])
        .messages(all().map(|(s, _, _)| s.message.to_string()))
        .real("nominal_s", standard)
        .real("p50_s", median);
        for (s, standard, median) in all().take(4) {
            finding = finding.evidence(format!(
                "{}: {} messages, median {} s against {} s, {} times as long.",
                s.message,
                s.count,
                number(*median, 2),
                number(*standard, 2),
                number(median / standard, 1)
            ));
        }
        findings.push(
            finding
                .check(format!(
                    "Look for an interval or rate setting of {who}, or of the gateway in front of it."
                ))
                .check("Update both; a gateway from a 4800 baud line cannot be faster than that line."),
        );
    }
    findings
}

/// The standard interval of a message that has one and carries live data, and how many of them are slow.
fn measure(stream: &Stream) -> Option<(f64, f64)> {
    let standard = stream.standard_s?;
    let (limit, live) = match stream.message {
        Message::Pgn(_) => (SLOW_N2K, standard <= LIVE_S),
        Message::Sentence(name) => {
            let formatter = name.as_str().get(2..);
            (SLOW_SENTENCE, formatter.is_some_and(|f| LIVE_SENTENCES.contains(&f)))
        }
        Message::Protocol(_) => return None,
    };
    live.then_some((standard, limit))
}

/// Whether a message is surely not slow; `None` when it has no rate to keep.
pub(crate) fn keeps_rate(books: &Books, stream: &Stream) -> Option<bool> {
    let (standard, limit) = measure(stream)?;
    let wire = books.inventory.get(stream.device).and_then(|device| books.wires.get(device.wire));
    let stamp_s = wire.map_or(f64::INFINITY, Wire::stamp_s);
    let in_time = stream.median_s().is_some_and(|median| median + stamp_s < limit * standard);
    Some(in_time && stream.count >= ENOUGH && !books.is_cut(stream.device))
}

/// The standard and the median interval of a message that is slow.
fn slow(evidence: &Evidence<'_>, stream: &Stream) -> Option<(f64, f64)> {
    let books = evidence.books;
    let (standard, limit) = measure(stream)?;
    let median = stream.median_s()?;
    let steady = stream.is_periodic() && stream.quantile_s(0.9)? <= STEADY * median;
    let wire = books.inventory.get(stream.device)?.wire;
    let stamps = books.wires.get(wire)?.stamp_s();
    // By coarse stamps an interval may be a stamp longer than it was.
    let surely = if stamps < standard { median } else { median - stamps };
    let is_slow = surely >= limit * standard && stream.count >= ENOUGH;
    if !is_slow || !steady {
        return None;
    }
    let explained = books.is_cut(stream.device)
        || line_overloaded::full(books, wire).is_some()
        || address_conflict::involves(books, stream.device)
        || told_faster(evidence, stream)
        || repeats(evidence, stream);
    (!explained).then_some((standard, median))
}

/// Whether another sentence of the same talker tells all of the same in time: few need GLL where RMC comes each second.
fn told_faster(evidence: &Evidence<'_>, stream: &Stream) -> bool {
    let books = evidence.books;
    let sources = || books.series.iter().filter(|s| s.key.device == stream.device);
    let in_time = |source: &Source| {
        let other = books.stream(source);
        let rate = other.and_then(|other| other.median_s().zip(other.standard_s));
        source.key.message != stream.message
            && rate.is_some_and(|(median, standard)| median < SLOW_SENTENCE * standard)
    };
    let mut own = sources().filter(|s| s.key.message == stream.message).peekable();
    matches!(stream.message, Message::Sentence(_))
        && own.peek().is_some()
        && own.all(|own| sources().any(|other| other.key.quantity == own.key.quantity && in_time(other)))
}

/// Whether the message repeats what another device said shortly before.
fn repeats(evidence: &Evidence<'_>, stream: &Stream) -> bool {
    let books = evidence.books;
    let own =
        books.series.iter().filter(|s| s.key.device == stream.device && s.key.message == stream.message);
    own.filter(|s| !s.track.samples().is_empty()).any(|copy| {
        books.series.of(copy.key.quantity).any(|original: &Source| {
            if books.inventory.same(original.key.device, copy.key.device) || original.valid <= copy.valid {
                return false;
            }
            let round = copy.key.quantity == "heading";
            let curve = |s: &Source| pairs::Curve::new(s.track.samples(), round);
            // Finer than any of the formats: a repeater sends the very value (1e-4 rad of heading is 0.006 degrees).
            let tolerance = match copy.key.quantity {
                "position" => (2e-7, 2e-7),
                "heading" => (0.006, f64::INFINITY),
                _ => (0.006, 0.1),
            };
            pairs::echo_delay(&curve(original), &curve(copy), tolerance).is_some()
                || repeated::batched_delay(books, original, copy, tolerance).is_some()
        })
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::books::timing::SentenceName;
    use crate::messages::nmea0183;
    use crate::recording::WireKind;
    use crate::time::Time;

    fn found(message: Message, standard_s: f64, interval_s: f64) -> usize {
        let mut books = Books::default();
        let wire = books.wires.add(0, WireKind::Can, None, None);
        let id = books.inventory.node(wire, 40).unwrap();
        for i in 0..100 {
            let time = Some(Time(0).plus(f64::from(i) * interval_s + f64::from(i % 7) * 0.0013));
            books.wires.get_mut(wire).unwrap().frame(time, 8, 131);
            books.inventory.frame(id, time, 8);
            books.timing.message(id, message, 0, Some(standard_s), time);
        }
        detect(&Evidence::of(&books)).len()
    }

    #[test]
    fn slow_is_three_times_the_standard() {
        let heading = Message::Pgn(127_250);
        assert_eq!(found(heading, 0.1, 0.7), 1);
        assert_eq!(found(heading, 0.1, 0.2), 0, "half the rate");
        assert_eq!(found(heading, 0.1, 0.1), 0);
        assert_eq!(found(Message::Pgn(127_501), 15.0, 60.0), 0, "no live data");
    }

    #[test]
    fn a_compass_of_one_hertz_is_usual_on_a_line() {
        let usual = nmea0183::formatter(b"HDG").unwrap().interval_s.unwrap();
        let heading = Message::Sentence(SentenceName::new(b"HCHDG"));
        assert_eq!(found(heading, usual, 1.0), 0);
        assert_eq!(found(heading, usual, 2.0), 0);
        assert_eq!(found(heading, usual, 3.0), 1);
        let clock = Message::Sentence(SentenceName::new(b"GPZDA"));
        assert_eq!(found(clock, usual, 10.0), 0, "a clock may come as seldom as it likes");
    }
}
