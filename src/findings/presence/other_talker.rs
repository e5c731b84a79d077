//! A receiver of satellites that goes on under another talker: it is named after the systems that it uses at the time, so what one
//! talker stops another one of its line starts.

use super::{flowed_into, periodic};
use crate::books::Books;
use crate::books::inventory::{Device, DeviceId, Identity};
use crate::books::timing::{Message, Stream};
use crate::time::{Span, Time};

/// Talkers of satellite receivers: one system each, and `GN` for several together (IEC 61162-1, table of talkers).
const RECEIVERS: [&str; 6] = ["GP", "GN", "GL", "GA", "GB", "GQ"];

/// Sentences on single satellites: those of a system that is no longer used have no successor.
const OF_SATELLITES: [&str; 2] = ["GSV", "GSA"];

/// The other talker's first sentence comes within so many intervals of the last one: a receiver names itself from one fix to the
/// next.
const NEXT_INTERVALS: f64 = 1.5;

/// A line's sentences wait for each other for so long, seconds (half a second's worth of 4800 baud).
const WAITING_S: f64 = 0.5;

/// Two talkers that together sent no more than one of them would have, within this share, never spoke at the same time.
const TAKE_TURNS: f64 = 1.05;

/// Whether a stream's silence is none: another talker of the line sent its sentences meanwhile, and only then.
pub(super) fn sends(books: &Books, stream: &Stream, silence: Span, returned: bool) -> bool {
    let Some(change) = Change::of(books, stream) else { return false };
    change.fills(silence, returned)
        || OF_SATELLITES.contains(&change.formatter)
            && change.is_at(silence.from)
            && (!returned || change.is_at(silence.to))
}

/// As [`sends`], of everything that a talker sent by a rhythm up to its silence.
pub(super) fn goes_on(books: &Books, talker: DeviceId, silence: Span, returned: bool) -> bool {
    let mut any = false;
    books.inventory.get(talker).is_some_and(is_receiver)
        && periodic(books, talker).filter(|stream| flowed_into(stream, silence)).all(|stream| {
            any = true;
            sends(books, stream, silence, returned)
        })
        && any
}

fn is_receiver(device: &Device) -> bool {
    matches!(&device.identity, Identity::Talker { talker, .. } if RECEIVERS.contains(&talker.as_str()))
}

/// A stream whose talker may have changed, and what to look for.
struct Change<'a> {
    books: &'a Books,
    stream: &'a Stream,
    formatter: &'a str,
    /// The other receivers of its line.
    others: Vec<DeviceId>,
    /// How far the end of one and the begin of the other may lie apart, and overlap, seconds.
    apart_s: f64,
    overlap_s: f64,
}

impl<'a> Change<'a> {
    fn of(books: &'a Books, stream: &'a Stream) -> Option<Self> {
        let device = books.inventory.get(stream.device).filter(|device| is_receiver(device))?;
        let (pulse, formatter) = (stream.pulse_s()?, formatter(stream)?);
        let is_other =
            |id: DeviceId, d: &Device| id != stream.device && d.wire == device.wire && is_receiver(d);
        let others: Vec<_> =
            books.inventory.iter().filter(|(id, d)| is_other(*id, d)).map(|(id, _)| id).collect();
        let overlap_s = WAITING_S.min(pulse) + books.wires.get(device.wire)?.stamp_s();
        let apart_s = NEXT_INTERVALS.mul_add(pulse, overlap_s);
        (!others.is_empty()).then_some(Self { books, stream, formatter, others, apart_s, overlap_s })
    }

    /// The streams of one sentence of the other receivers.
    fn of_others<'b>(&'b self, wanted: impl Fn(&str) -> bool + 'b) -> impl Iterator<Item = &'b Stream> {
        let streams = self.others.iter().flat_map(|id| self.books.timing.of(*id));
        streams.filter(move |stream| formatter(stream).is_some_and(&wanted))
    }

    /// Whether the others sent this sentence throughout a silence; when it lasts to the end, whether one began to.
    fn fills(&self, silence: Span, returned: bool) -> bool {
        let mut turns: Vec<Span> = self
            .of_others(|formatter| formatter == self.formatter)
            .flat_map(|other| {
                let alternate = self.alternate(other);
                stretches(other, self.apart_s).into_iter().map(move |turn| (turn, alternate))
            })
            // Who spoke before, or went on afterwards, is a receiver of its own.
            .filter(|(turn, alternate)| {
                let begins = turn.from.since(silence.from) >= -self.overlap_s;
                let ends = turn.to.since(silence.to) <= self.overlap_s;
                *alternate || begins && ends
            })
            .map(|(turn, _)| turn)
            .collect();
        turns.sort_unstable();
        let mut heard = silence.from;
        for turn in &turns {
            if turn.from.since(heard) <= self.apart_s {
                heard = heard.max(turn.to);
            }
        }
        // One that falls silent later is told itself.
        silence.to.since(heard) <= self.apart_s || !returned && heard.since(silence.from) > self.apart_s
    }

    /// Whether two talkers took turns more often than there are pauses remembered.
    fn alternate(&self, other: &Stream) -> bool {
        let spans = [self.stream, other].map(|s| s.first.zip(s.last));
        let [Some((a, b)), Some((c, d))] = spans else { return false };
        let both_s = b.max(d).since(a.min(c));
        let sent = (self.stream.count + other.count) as f64 * self.stream.pulse_s().unwrap_or(f64::INFINITY);
        other.gaps.usual_s().is_some_and(|usual| usual > self.apart_s) && sent <= TAKE_TURNS * both_s
    }

    /// Whether, about a moment, one receiver of the line stopped another sentence and the next one started it.
    fn is_at(&self, moment: Time) -> bool {
        let near = |at: Time| at.since(moment).abs() <= self.apart_s;
        let all: Vec<&Stream> = self
            .of_others(|formatter| !OF_SATELLITES.contains(&formatter))
            .chain(self.books.timing.of(self.stream.device))
            .collect();
        all.iter().filter(|s| !formatter(s).is_none_or(|f| OF_SATELLITES.contains(&f))).any(|old| {
            let Some(change) = Change::of(self.books, old) else { return false };
            let ends = stretches(old, change.apart_s).into_iter().map(|turn| turn.to).filter(|to| near(*to));
            ends.into_iter().any(|end| {
                change.of_others(|formatter| formatter == change.formatter).any(|new| {
                    let begins =
                        |turn: &Span| (-change.overlap_s..=change.apart_s).contains(&turn.from.since(end));
                    stretches(new, change.apart_s).iter().any(begins)
                })
            })
        })
    }
}

/// The three letters of a sentence behind its talker.
fn formatter(stream: &Stream) -> Option<&str> {
    match &stream.message {
        Message::Sentence(name) => name.as_str().get(2..),
        _ => None,
    }
}

/// The stretches in which a stream came without a longer pause.
fn stretches(stream: &Stream, pause_s: f64) -> Vec<Span> {
    let Some((first, last)) = stream.first.zip(stream.last) else { return Vec::new() };
    let mut from = first;
    let mut stretches = Vec::new();
    for gap in stream.gaps.over(pause_s) {
        stretches.push(Span::new(from, gap.from));
        from = gap.to;
    }
    stretches.push(Span::new(from, last));
    stretches
}
