//! A message has its rate on average and comes raggedly.

use super::words::{labels, number, percent, seconds};
use super::{Detector, Doc, Evidence, Finding, address_conflict, line_overloaded};
use crate::books::Books;
use crate::books::inventory::Device;
use crate::books::timing::{Message, Stream};
use crate::books::wires::WireId;
use crate::report::model::Severity;
use crate::time::Span;

pub(super) const DETECTOR: Detector = Detector {
    doc: Doc {
        kind: "irregular-message",
        severity: "warning",
        meaning: "A message comes in bunches with holes between: a chart or a pointer stutters, an autopilot gets its data late.",
        detection: "On average the message keeps its standard rate (to a third; 0183: its own mean rate), and yet three intervals \
                    in a hundred or more are over two and a half times as long, and the 99th percentile is over three times. \
                     Pauses of ten intervals and more do not count here, nor silences that are told, nor intervals that \
                     are equal end to end, which are another pace. When half of the other senders' messages are late \
                     by as much, or by half of it, or lost as many as its holes lack, it is the recorder or the bus, \
                     and nothing is said of single messages; nor of buses inside network packets, which come in the \
                     network's time, and of lines there only where most other messages of the same line keep their \
                     time, and not half as long passes between two of theirs; nor of sentences that keep a least distance, as \
                     what is sent on change does; nor where the holes are those of \
                    messages that came damaged (fast-packet-loss, bad-checksum, garbled-sentence).",
        lookalikes: "A gateway or recorder that hands frames over in batches makes everything ragged. Single pauses are \
                     message-dropout. A message that is sent when something changes has no rate.",
        checks: "Update the sender and the gateway in front of it; look for a setting that sends on change, or that shares one slow \
                 line among many messages.",
        cautions: "",
    },
    complaints: &["heading-jumps", "data-drops-out"],
    detect,
};

/// On average the interval keeps to the standard within this share.
const RIGHT_ON_AVERAGE: f64 = 1.0 / 3.0;

/// An interval longer than so many nominal ones is late.
const LATE: f64 = 2.5;

/// So large a share of late intervals is a habit: one frame in a hundred waits on any sound bus (common practice).
const LATE_SHARE: f64 = 0.03;

/// The 99th percentile is so many nominal intervals, at least.
const RAGGED: f64 = 3.0;

/// A late interval lacks two messages, at least: where so many came damaged, those are the holes, and told as such.
const LACKING: f64 = 2.0;

/// Longer than so many nominal intervals is a pause.
const PAUSE: f64 = 10.0;

/// Messages sent more seldom than this by standard are sent on change as well, seconds.
const LIVE_S: f64 = 2.5;

/// A 0183 line has no strict rate; shorter waits than this nobody minds, seconds.
const MINDED_S: f64 = 1.0;

/// Fewer messages than this tell nothing of a habit.
const ENOUGH: u64 = 60;

/// Two messages are late alike when the one is by this share of the other's, at least.
const ALIKE: f64 = 0.5;

/// Intervals from here on are longer than the median, in medians; those about two medians lack one message.
const LONGER: f64 = 1.5;
const LACKING_ONE: (f64, f64) = (1.75, 2.25);

/// Where so many of the longer intervals lack one message, messages got lost and did not wait (common practice, no source): at
/// random, of those that lack any nearly all lack one.
const LOST_SHARE: f64 = 0.75;

/// A sentence is in a bunch when it follows within this share of its mean interval, and so many of them, beside those that are late, are
/// bunches (common practice, no source).
const BUNCHED: f64 = 0.15;
const BUNCHED_SHARE: f64 = 0.5;

/// What a network or a gateway holds back, it holds back of all: so many other messages of a line in packets must keep their time.
const NEIGHBOURS: usize = 2;

/// Who keeps its time while another waits comes this many times in what the other takes.
const MEANWHILE: f64 = 2.0;

/// How a message comes.
struct Rhythm {
    nominal_s: f64,
    p99_s: f64,
    late: f64,
    /// By how much one in a hundred is late, seconds, without what got lost.
    late_s: f64,
    /// The share that got lost.
    lost: f64,
}

impl Rhythm {
    /// Whether what holds up, or loses, a message of another sender explains that this one is late.
    fn explains(&self, ragged: &Self) -> bool {
        self.late_s >= ALIKE * (ragged.p99_s - ragged.nominal_s) || self.lost >= LACKING * ragged.late
    }
}

fn detect(evidence: &Evidence<'_>) -> Vec<Finding> {
    let books = evidence.books;
    let mut findings: Vec<Finding> = Vec::new();
    let mut judged: Vec<(&Stream, WireId, Rhythm)> = Vec::new();
    for stream in books.timing.iter() {
        let Some(wire) = books.inventory.get(stream.device).map(|d| d.wire) else { continue };
        judged.extend(rhythm(evidence, stream, wire).map(|rhythm| (stream, wire, rhythm)));
    }
    let is_ragged = |rhythm: &Rhythm| rhythm.late >= LATE_SHARE && rhythm.p99_s >= RAGGED * rhythm.nominal_s;
    let mut ragged: Vec<_> = judged
        .iter()
        .filter(|(stream, wire, rhythm)| {
            is_ragged(rhythm)
                && has_bunches(stream, rhythm)
                && is_its_own(books, &judged, stream, *wire, rhythm)
        })
        .collect();
    ragged.sort_by(|a, b| (b.2.p99_s / b.2.nominal_s).total_cmp(&(a.2.p99_s / a.2.nominal_s)));
    for (stream, wire, rhythm) in &ragged {
        if findings.iter().any(|f| f.devices.contains(&stream.device)) {
            continue;
        }
        // What is late by as much with most of the others' messages waits for the wire or the recorder, be their intervals longer.
        let others = judged.iter().filter(|(s, w, _)| w == wire && s.device != stream.device);
        let others: Vec<&Rhythm> = others.map(|(_, _, rhythm)| rhythm).collect();
        let alike = others.iter().filter(|other| other.explains(rhythm)).count();
        if alike > 0 && 2 * alike >= others.len() {
            continue;
        }
        let all = || ragged.iter().filter(|(s, _, _)| s.device == stream.device);
        let who = labels(books, &[stream.device]);
        findings.push(
            Finding::new(
                Severity::Warning,
                format!("{} of {who} comes raggedly: up to {} apart", stream.message, seconds(rhythm.p99_s)),
            )
            .devices([stream.device])
            .messages(all().map(|(s, _, _)| s.message.to_string()))
            .real("nominal_s", rhythm.nominal_s)
            .real("p99_s", rhythm.p99_s)
            .evidence(format!(
                "{} messages, on average one in {} s; {} of the intervals are over {} s, 1 % over {} s.",
                stream.count,
                number(rhythm.nominal_s, 2),
                percent(rhythm.late),
                number(LATE * rhythm.nominal_s, 2),
                number(rhythm.p99_s, 2)
            ))
            .evidence(format!(
                "{alike} of {} messages of other senders on this wire are late by half as much or more, or lack as many.",
                others.len()
            ))
            .check(format!("Update {who}, and the gateway in front of it if there is one."))
            .check("Look for a setting that sends on change, or for one slow line that many messages share."),
        );
    }
    findings
}

/// Whether some of a sentence's intervals are as short as the others are long: what waited comes in a bunch. What is sent when something
/// changes keeps a least distance. Of a message with a rate by standard none is asked.
fn has_bunches(stream: &Stream, rhythm: &Rhythm) -> bool {
    let least = (BUNCHED * rhythm.nominal_s * 1e6) as u64;
    let bunched = stream.intervals.count_between(0, least) as f64;
    let late = rhythm.late * stream.intervals.len() as f64;
    matches!(stream.message, Message::Pgn(_)) || bunched >= BUNCHED_SHARE * late
}

/// Whether a message that comes out of a network's packets is ragged by itself: most others of its line keep their time, so that
/// neither the gateway nor the network held them back.
fn is_its_own(
    books: &Books,
    judged: &[(&Stream, WireId, Rhythm)],
    stream: &Stream,
    wire: WireId,
    rhythm: &Rhythm,
) -> bool {
    if books.wires.get(wire).is_none_or(|wire| wire.carried_by.is_none()) {
        return true;
    }
    let others = || judged.iter().filter(|(s, w, _)| *w == wire && !std::ptr::eq(*s, stream));
    let keeps_time =
        |other: &Rhythm| other.p99_s <= LATE * other.nominal_s && MEANWHILE * other.p99_s <= rhythm.p99_s;
    let steady = others().filter(|(_, _, other)| keeps_time(other)).count();
    steady >= NEIGHBOURS && 2 * steady > others().count()
}

/// Whether a message of live data surely comes evenly; `None` when it has no rate to keep.
pub(crate) fn is_even(books: &Books, stream: &Stream) -> Option<bool> {
    let standard = stream.standard_s.filter(|s| *s <= LIVE_S)?;
    let least = match stream.message {
        Message::Pgn(_) => 0.0,
        Message::Sentence(_) => MINDED_S,
        Message::Protocol(_) => return None,
    };
    let wire = books.inventory.get(stream.device).and_then(|device| books.wires.get(device.wire));
    let (Some(wire), Some(median), Some(p99_s)) = (wire, stream.median_s(), stream.quantile_s(0.99)) else {
        return Some(false);
    };
    let of_its_own = wire.carried_by.is_none() && stream.steps_back == 0 && !books.is_cut(stream.device);
    let finely = wire.stamp_s() <= 0.5 * standard.min(median);
    Some(
        of_its_own
            && finely
            && stream.count >= ENOUGH
            && p99_s <= (LATE * median + wire.stamp_s()).max(least),
    )
}

/// How a message comes, when it has a rate at all and keeps it on average.
fn rhythm(evidence: &Evidence<'_>, stream: &Stream, id: WireId) -> Option<Rhythm> {
    let books = evidence.books;
    // What comes out of a network's packets has lost its own time: of a line's sentences others show whether it has.
    let is_line = matches!(stream.message, Message::Sentence(_));
    let wire = books.wires.get(id).filter(|w| w.carried_by.is_none() || is_line)?;
    let standard = stream.standard_s.filter(|s| *s <= LIVE_S && stream.count >= ENOUGH)?;
    // Pauses, and leaps of the recorder's clock, are no rhythm.
    let rough = stream.last?.since(stream.first?) / (stream.count - 1) as f64;
    let pauses = stream.gaps.over(PAUSE * standard.max(rough));
    let paused: f64 = pauses.iter().map(|p| p.seconds()).sum();
    let intervals = stream.intervals.len().checked_sub(pauses.len() as u64).filter(|n| *n > 0)?;
    let mean = (stream.last?.since(stream.first?) - paused) / intervals as f64;
    let nominal_s = match stream.message {
        Message::Pgn(_) if (mean - standard).abs() <= RIGHT_ON_AVERAGE * standard => standard,
        Message::Sentence(_) if mean > 0.0 && mean <= LIVE_S => mean,
        _ => return None,
    };
    if wire.stamp_s() > 0.5 * nominal_s
        || books.is_cut(stream.device)
        || line_overloaded::full(books, id).is_some()
        || address_conflict::involves(books, stream.device)
        || stream.steps_back > 0
    {
        return None;
    }
    let least = LATE * nominal_s + wire.stamp_s();
    let least = if is_line { least.max(MINDED_S) } else { least };
    let us = |s: f64| (s * 1e6) as u64;
    // What is told as a silence, of the device or of the message, is no raggedness.
    let silences = evidence.presence.silences(books, stream);
    // Nor is another pace, which is even in itself.
    let counts = |gap: &&Span| (least..=PAUSE * nominal_s).contains(&gap.seconds());
    let slower = stream.at_slower_pace(wire.stamp_s()).iter().filter(counts).count() as u64;
    let late = stream.intervals.count_between(us(least), us(PAUSE * nominal_s));
    let late = late.saturating_sub(silences + slower);
    if late > 0 && damaged(books, id, stream) >= LACKING * late as f64 {
        return None;
    }
    let p99_s = stream.quantile_s(0.99)?.min(PAUSE * nominal_s);
    let lost = lost(stream, wire.stamp_s());
    let late_s = stream.quantile_s(0.99 * (1.0 - lost))?.min(PAUSE * nominal_s) - nominal_s;
    Some(Rhythm { nominal_s, p99_s, late: late as f64 / intervals as f64, late_s, lost })
}

/// The share of intervals that are longer because messages between them got lost: then nearly all of those are two in one.
fn lost(stream: &Stream, stamp_s: f64) -> f64 {
    let mid = stream.median_s().unwrap_or(0.0);
    let count = |from: f64, to: f64| stream.intervals.count_between((from * 1e6) as u64, (to * 1e6) as u64);
    let least = LONGER * mid + stamp_s;
    let longer = count(least, PAUSE * mid) as f64;
    let (from, to) = LACKING_ONE;
    let two_in_one = count((from * mid - stamp_s).max(least), to * mid + stamp_s) as f64;
    let lost = two_in_one >= LOST_SHARE * longer;
    if lost { longer / stream.intervals.len().max(1) as f64 } else { 0.0 }
}

/// How many of a stream's messages came damaged: frames of them missing, or as many as of the line's sentences altogether.
fn damaged(books: &Books, wire: WireId, stream: &Stream) -> f64 {
    match stream.message {
        Message::Pgn(pgn) => {
            let address = books.inventory.get(stream.device).and_then(Device::address);
            let losses = books.buses.get(wire).map_or(&[][..], |bus| &bus.losses);
            let own = losses.iter().filter(|l| l.pgn == pgn && Some(l.source) == address);
            own.map(|l| l.incomplete).sum::<u64>() as f64
        }
        Message::Sentence(_) => books.lines.get(wire).map_or(0.0, |line| {
            let damaged = line.bad + line.garbled;
            let whole = line.total.saturating_sub(damaged).max(1);
            stream.count as f64 * damaged as f64 / whole as f64
        }),
        Message::Protocol(_) => 0.0,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::messages::n2k::StreamLosses;
    use crate::recording::WireKind;
    use crate::time::Time;

    /// Two devices with a message of 10 a second each; `bent` bends the time of the n-th.
    fn found(bent: [fn(i64) -> i64; 2]) -> Vec<Finding> {
        detect(&Evidence::of(&books(bent)))
    }

    fn books(bent: [fn(i64) -> i64; 2]) -> Books {
        let mut books = Books::default();
        let wire = books.wires.add(0, WireKind::Can, None, None);
        for (address, bend) in bent.into_iter().enumerate() {
            let id = books.inventory.node(wire, address as u8).unwrap();
            for i in 0..600 {
                let time = Some(Time(bend(i) + i % 3 * 700));
                books.wires.get_mut(wire).unwrap().frame(time, 8, 131);
                books.inventory.frame(id, time, 8);
                books.timing.message(id, Message::Pgn(127_488), 0, Some(0.1), time);
            }
        }
        books
    }

    const EVEN: fn(i64) -> i64 = |i| i * 100_000;

    /// Four at once, then 0.4 s nothing.
    const BUNCHED: fn(i64) -> i64 = |i| i / 4 * 400_000 + i % 4 * 6_000;

    #[test]
    fn one_ragged_sender_is_found() {
        let found = found([EVEN, BUNCHED]);
        assert_eq!(found.len(), 1);
        assert!(
            matches!(found[0].numbers["p99_s"], crate::report::model::Number::Real(s) if (s - 0.38).abs() < 0.02)
        );
    }

    #[test]
    fn holes_of_messages_that_came_damaged_are_told_as_damage() {
        let mut books = books([EVEN, BUNCHED]);
        let wire = books.inventory.iter().next().unwrap().1.wire;
        for (pgn, incomplete, wanted) in [(127_488, 290, 1), (127_489, 400, 1), (127_488, 310, 0)] {
            books.buses.of(wire).losses = vec![StreamLosses { source: 1, pgn, complete: 600, incomplete }];
            let found = detect(&Evidence::of(&books));
            assert_eq!(found.len(), wanted, "{incomplete} of {pgn}");
            let others =
                |f: &Finding| f.evidence.iter().any(|line| line.starts_with("0 of 1 messages of other"));
            assert!(found.iter().all(others), "{found:?}");
        }
    }

    #[test]
    fn a_batching_recorder_and_a_single_pause_are_none() {
        assert!(found([BUNCHED, BUNCHED]).is_empty(), "everything comes in bunches");
        assert!(found([EVEN, |i| i * 100_000 + if i > 300 { 4_000_000 } else { 0 }]).is_empty(), "a dropout");
        assert!(found([EVEN, |i| i * 600_000]).is_empty(), "steady and slow");
    }
}
