//! One periodic message of a device pauses while its others go on.

use super::handed_on::is_own;
use super::presence::Silence;
use super::words::{how_often, labels, longest, seconds};
use super::{Detector, Doc, Evidence, Finding};
use crate::books::Books;
use crate::books::timing::Stream;
use crate::books::wires::Wire;
use crate::report::model::Severity;
use crate::time::Span;

pub(super) const DETECTOR: Detector = Detector {
    doc: Doc {
        kind: "message-dropout",
        severity: "warning; fault when repeated or longer than 10 s",
        meaning: "A message that comes by a clock pauses, while the same device sends its others: the device lives, one of its \
                  measurements does not.",
        detection: "A pause longer than five of the message's own median intervals (and 1.5 s, and five stamps of the \
                    recorder), without the silences of the whole device or wire in it, and in which not even pieces of it \
                    came. Where the intervals about it are equal end to end, and longer, their length counts in place of the median: a \
                    sensor that changes its pace pauses not. One of an engine's messages of 10 s or more counts where the engine shows that it ran on, and was \
                    not switched off.",
        lookalikes: "A device that is silent altogether: device-dropout. A message of which frames come, and some of them are \
                     missing each time: fast-packet-loss. A recorder that lost frames: recording-gap. A gateway \
                     that hands frames over in batches stretches intervals without losing any. Sentences that came damaged: \
                     bad-checksum or garbled-sentence.",
        checks: "Look at the sensor behind that message and its cable; look whether the device's menu or another device \
                 switched the message off.",
        cautions: "Switch the supply off before you open connectors.",
    },
    complaints: &["no-depth", "no-heading", "no-position", "data-drops-out", "heading-jumps"],
    detect,
};

/// Two of a device's messages that pause within this of each other pause together, seconds.
const TOGETHER_S: f64 = 2.0;

/// Pauses longer than this are felt aboard, seconds.
const LONG_S: f64 = 10.0;

fn detect(evidence: &Evidence<'_>) -> Vec<Finding> {
    let books = evidence.books;
    let streams: Vec<_> = books.timing.iter().collect();
    let own = |(index, silences): &(usize, Vec<Silence>)| {
        let stream = streams.get(*index)?;
        let mut own = silences.clone();
        let message = Some(stream.message);
        own.retain(|s| is_own(evidence, stream.device, message, s.span));
        (!own.is_empty()).then_some((*index, own))
    };
    let messages: Vec<(usize, Vec<Silence>)> = evidence.presence.messages.iter().filter_map(own).collect();
    let mut done = vec![false; messages.len()];
    let mut findings = Vec::new();
    for (i, (index, silences)) in messages.iter().enumerate() {
        let Some(stream) = streams.get(*index) else { continue };
        if done.get(i).copied().unwrap_or(true) {
            continue;
        }
        // Messages of the device that pause at the same moments tell of one event.
        let mut members = vec![(*stream, silences)];
        for (j, (other, theirs)) in messages.iter().enumerate().skip(i + 1) {
            let Some(s) = streams.get(*other) else { continue };
            if s.device == stream.device && together(silences, theirs) {
                members.push((*s, theirs));
                if let Some(flag) = done.get_mut(j) {
                    *flag = true;
                }
            }
        }
        // The fastest of them tells the pauses most sharply.
        members.sort_by(|a, b| a.0.pulse_s().unwrap_or(0.0).total_cmp(&b.0.pulse_s().unwrap_or(0.0)));
        let Some((stream, silences)) = members.first().copied() else { continue };
        let spans: Vec<Span> = silences.iter().map(|s| s.span).collect();
        let longest = longest(&spans);
        let severity = if spans.len() > 1 || longest > LONG_S { Severity::Fault } else { Severity::Warning };
        let who = labels(books, &[stream.device]);
        let nominal = nominal_s(books, stream);
        findings.push(
            Finding::new(
                severity,
                format!("{} of {who} pauses {}", stream.message, how_often(&spans)),
            )
            .devices([stream.device])
            .messages(members.iter().map(|(s, _)| s.message.to_string()))
            .count("gaps", spans.len() as u64)
            .real("longest_s", longest)
            .real("nominal_s", nominal)
            .evidence(format!(
                "It comes every {} otherwise ({} messages); other messages of the device went on meanwhile.",
                seconds(nominal),
                stream.count
            ))
            .spans(spans)
            .check(format!("Look at the sensor behind {} of {who} and its cable; look whether something switches that message off.", stream.message)),
        );
    }
    findings
}

/// Stamps from this share of an interval on make its median one of their steps, which it need not be.
const COARSE: f64 = 0.1;

/// How often a message comes when it does not pause, seconds.
fn nominal_s(books: &Books, stream: &Stream) -> f64 {
    let wire = books.inventory.get(stream.device).and_then(|device| books.wires.get(device.wire));
    let step = wire.and_then(Wire::resolution_s).unwrap_or(0.0);
    let usual = stream.median_s().filter(|_| stream.is_periodic());
    let usual = usual.map(|usual| if step < COARSE * usual { usual } else { mean_near(stream, usual, step) });
    usual.or_else(|| stream.mean_s()).unwrap_or(0.0)
}

/// The mean of the intervals that are the usual one, or a step of the stamps more or less: a steady interval is stamped as one of
/// two neighbouring steps, now and then as a third.
fn mean_near(stream: &Stream, usual: f64, step: f64) -> f64 {
    let us = |steps: f64| (steps * step * 1e6).max(0.0) as u64;
    let middle = (usual / step).round();
    let (mut count, mut sum) = (0.0, 0.0);
    for steps in [middle - 1.0, middle, middle + 1.0] {
        let n = stream.intervals.count_between(us(steps - 0.5), us(steps + 0.5)) as f64;
        count += n;
        sum += n * steps * step;
    }
    if count > 0.0 { sum / count } else { usual }
}

/// Whether half of the pauses of one lie at pauses of the other.
fn together(a: &[Silence], b: &[Silence]) -> bool {
    let shared = a.iter().filter(|x| b.iter().any(|y| x.span.touches(y.span, TOGETHER_S))).count();
    shared * 2 >= a.len() && shared * 2 >= b.len()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::books::Books;
    use crate::books::timing::Message;
    use crate::books::wires::WireId;
    use crate::recording::WireKind;
    use crate::time::Time;

    /// A gateway of two engines, ten messages a second of each for five minutes; the second one's are away in between.
    fn found(pgn: u32, away_from: i64, away_to: i64) -> Vec<Finding> {
        let mut books = Books::default();
        let wire = books.wires.add(0, WireKind::Can, None, None);
        let id = books.inventory.node(WireId(0), 7).unwrap();
        for tick in 0..3000_i64 {
            let time = Some(Time(tick * 100_000));
            for part in 0..2 {
                if part == 1 && (away_from..away_to).contains(&(tick / 10)) {
                    continue;
                }
                books.wires.get_mut(wire).unwrap().frame(time, 8, 131);
                books.inventory.frame(id, time, 8);
                books.timing.message(id, Message::Pgn(pgn), part, Some(0.1), time);
            }
        }
        detect(&Evidence::of(&books))
    }

    #[test]
    fn an_engine_that_is_switched_off_and_on_is_none() {
        assert!(found(127_488, 100, 160).is_empty());
        assert_eq!(found(127_488, 100, 106).len(), 1, "nobody stops an engine for six seconds");
        assert_eq!(found(127_505, 100, 160).len(), 1, "a tank has no key");
    }
}
