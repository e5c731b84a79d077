//! A 0183 line is asked to carry more than its baud rate allows.

use super::presence::on_boat_clock;
use super::words::number;
use super::{Detector, Doc, Evidence, Finding};
use crate::books::Books;
use crate::books::line_rate::SENTENCE;
use crate::books::timing::Stream;
use crate::books::wires::{BAUD_RATES, LONG_S, WireId};
use crate::recording::WireKind;
use crate::report::model::Severity;
use crate::time::Span;

pub(super) const DETECTOR: Detector = Detector {
    doc: Doc {
        kind: "line-overloaded",
        severity: "fault",
        meaning: "A talker or multiplexer gets more sentences than the line can take. Its buffer overflows: sentences are cut, run \
                  into each other, come late or not at all.",
        detection: "Over the whole recording the line carries 93 % or more of what 4800, 9600, 19200 or 38400 baud allow (480 \
                    characters a second and so on), no second clearly more than that (with stamps of a second, or no clock but the \
                    boat's own: no half minute) and no bursts that come faster, and one sentence in a hundred or more is cut or \
                    merged, or two kinds of sentence are left out for one time in seven or more; where the line never rests, it is enough \
                    that one in two hundred is cut or that two kinds come raggedly.",
        lookalikes: "A faster line that happens to carry as much has no damaged sentences. Noise and wrong polarity damage \
                     sentences at any load: bad-checksum, garbled-sentence.",
        checks: "Switch off sentences that nobody uses, or send them less often; set talker and listeners to 38400 where both \
                 can; give a fast heading a line of its own.",
        cautions: "Make sure that no autopilot or alarm lives by a sentence before you switch it off.",
    },
    complaints: &["data-drops-out", "no-heading", "no-position", "no-depth", "heading-jumps"],
    detect,
};

/// Characters a second of a baud rate of 0183 lines, ten bits a character.
const fn capacity_of(baud: u32) -> f64 {
    baud as f64 / 10.0
}

/// A line is full from this share of its capacity on. Trouble begins at about 0.8 (common practice), but a mean can only
/// stay so near to the limit because the limit holds it.
const FULL: f64 = 0.93;

/// Stamps are rounded and the recorder's clock errs a little.
const OVER: f64 = 1.02;

/// Share of cut and merged sentences that says that the line suffers.
const SUFFERS: f64 = 0.01;

/// As much says it of a line that never rests, which no chance keeps at just what it can carry (common practice, no source).
const FEW_SUFFER: f64 = 0.005;

/// A line is faster than the rate when in this share of the seconds more had come than the rate can carry: a receiver sends all
/// that it has once a second or two. A recorder that is held up now and then is not held up so often.
const BURSTS: f64 = 0.2;

/// Stamps up to here tell how fast sentences follow each other: they are no longer than a short one takes, seconds.
const FINE_S: f64 = 0.02;

/// Fewer seconds than this tell nothing of a mean.
const LEAST_S: f64 = 20.0;

/// A full line: characters a second, and what it can carry.
pub(super) fn full(books: &Books, id: WireId) -> Option<(f64, f64)> {
    let wire = books.wires.get(id).filter(|w| w.kind == WireKind::Line)?;
    let line = books.lines.get(id)?;
    let seconds = wire.last?.since(wire.first?);
    let per_s = wire.load.total as f64 / seconds;
    let (_, peak) = wire.load.peak?;
    let fits = |capacity: f64| per_s >= FULL * capacity && per_s <= OVER * capacity;
    let baud = BAUD_RATES.into_iter().find(|baud| fits(capacity_of(*baud)))?;
    let capacity = capacity_of(baud);
    // Most receivers give whole seconds; what is counted on between them is no finer.
    let by_boat = on_boat_clock(books, wire);
    let stamp_s = if by_boat { wire.stamp_s().max(1.0) } else { wire.stamp_s() };
    let coarse = stamp_s >= COARSE_S;
    let most = |seconds: f64| capacity * 1.05 * seconds + SENTENCE;
    // A second may hold one sentence more than it took. A stamp that stands, as those of the boat's clock do while its sentences are
    // lost, holds what came in all that time.
    let stood_s = wire.gaps.over(stamp_s).iter().map(|gap| gap.seconds()).fold(stamp_s, f64::max);
    let held = match coarse {
        true => wire.load.long as f64 <= most(LONG_S as f64 + stood_s),
        false => peak as f64 <= most(1.0),
    };
    let bursts = stamp_s <= FINE_S && line.rate.seconds_over(baud) as f64 >= BURSTS * seconds;
    // The first and the last stamp may each be late by what they are rounded to.
    let exact = (per_s / capacity - 1.0).abs() <= EXACTLY + stamp_s / seconds;
    let least = if exact { FEW_SUFFER } else { SUFFERS };
    let suffers = line.garbled >= 3 && line.garbled as f64 >= least * line.total as f64;
    let thins = || left_out(books, id) >= LEFT_OUT || exact && !coarse && ragged(books, id) >= LEFT_OUT;
    (seconds >= LEAST_S && held && !bursts && (suffers || thins())).then_some((per_s, capacity))
}

/// A full line leaves sentences out in a row for up to so long, seconds (common practice, no source).
const HIDES_S: f64 = 30.0;

/// Whether a pause of something on a wire is the work of its full line.
pub(super) fn explains(books: &Books, wire: WireId, pause: Span) -> bool {
    pause.seconds() <= HIDES_S && full(books, wire).is_some()
}

/// A talker whose line is full may leave whole sentences out: so many kinds of sentence, each for so many of its times. A few
/// in a hundred are missing for other reasons: bad checksums, a recorder that is slow.
const LEFT_OUT: usize = 2;
const MISSED: f64 = 0.15;

/// On average it then comes as much later than its rhythm, at least: coarse stamps make long intervals beside short ones.
const LATER: f64 = 1.1;

/// A line that never rests carries just what it can, to within this share: its own clock and the recorder's err by no more. Then
/// it is enough that kinds of sentence come raggedly, of which no rhythm may be left.
const EXACTLY: f64 = 0.004;

/// One interval in ten is so many times the usual one where sentences are left out as it happens.
const RAGGED: f64 = 1.8;

/// Stamps from here on make any sentence ragged, seconds.
const COARSE_S: f64 = 0.3;

/// Fewer sentences of a kind tell nothing.
const FEW: u64 = 8;

/// The kinds of sentence of a line.
fn streams(books: &Books, id: WireId) -> impl Iterator<Item = &Stream> {
    let talkers = books.inventory.iter().filter(move |(_, device)| device.wire == id);
    talkers.flat_map(|(talker, _)| books.timing.of(talker))
}

/// How many kinds of sentence of a line are left out now and then.
fn left_out(books: &Books, id: WireId) -> usize {
    let misses = |stream: &&Stream| {
        stream.pulse_s().is_some_and(|pulse| {
            let (from, to) = ((1.8 * pulse * 1e6) as u64, (4.5 * pulse * 1e6) as u64);
            let late = stream.mean_s().is_some_and(|mean| mean >= LATER * pulse);
            late && stream.intervals.count_between(from, to) as f64 >= MISSED * stream.count as f64
        })
    };
    streams(books, id).filter(misses).count()
}

/// How many kinds come raggedly.
fn ragged(books: &Books, id: WireId) -> usize {
    let is_ragged = |stream: &&Stream| {
        let quantiles = stream.median_s().zip(stream.quantile_s(0.9));
        stream.count >= FEW && quantiles.is_some_and(|(usual, late)| late >= RAGGED * usual)
    };
    streams(books, id).filter(is_ragged).count()
}

fn detect(evidence: &Evidence<'_>) -> Vec<Finding> {
    let books = evidence.books;
    let mut findings = Vec::new();
    for (id, line) in books.lines.iter() {
        let Some((per_s, capacity)) = full(books, id) else { continue };
        let talkers = books.inventory.iter().filter(|(_, d)| d.wire == id && d.frames > 0).map(|(id, _)| id);
        findings.push(
            Finding::new(
                Severity::Fault,
                format!("The line carries {} characters a second, as many as it can", number(per_s, 0)),
            )
            .devices(talkers)
            .real("chars_per_s", per_s)
            .real("capacity", capacity)
            .evidence(format!(
                "{} baud carry {} characters a second (ten bits each).",
                number(capacity * 10.0, 0),
                number(capacity, 0)
            ))
            .evidence(format!(
                "{} of {} sentences are cut or run into each other, {} have a bad checksum; {} kinds are left out now and then.",
                line.garbled,
                line.total,
                line.bad,
                left_out(books, id).max(ragged(books, id))
            ))
            .check("Switch off sentences that nobody uses, or send them less often.")
            .check("Set talker and listeners to 38400 baud where both can; give a fast heading a line of its own."),
        );
    }
    findings
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::messages::nmea0183::{Checksum, Fault};
    use crate::time::Time;

    /// Sentences of 40 characters, `per_s` a second for a minute, of which every `nth` is cut.
    fn found(per_s: i64, nth: i64) -> usize {
        let mut books = Books::default();
        let id = books.wires.add(0, WireKind::Line, None, None);
        for i in 0..per_s * 60 {
            let time = Some(Time(i * 1_000_000 / per_s));
            books.wires.get_mut(id).unwrap().frame(time, 40, 40);
            if i % nth == 0 {
                books.lines.of(id).fault(time, Fault::Merged, 40);
            } else {
                books.lines.of(id).sentence(time, None, Checksum::Good, false, 40);
            }
        }
        books.wires.settle();
        detect(&Evidence::of(&books)).len()
    }

    #[test]
    fn a_full_line_that_cuts_sentences_is_found() {
        assert_eq!(found(12, 10), 1);
        assert_eq!(found(24, 10), 1, "9600 baud");
        assert_eq!(found(96, 10), 1, "38400 baud");
    }

    #[test]
    fn a_fast_line_and_a_noisy_line_are_none() {
        assert_eq!(found(12, 1_000_000), 0, "a faster line that carries as much");
        assert_eq!(found(6, 10), 0, "noise at half load");
        assert_eq!(found(14, 10), 0, "more than 4800 baud can carry");
    }
}
