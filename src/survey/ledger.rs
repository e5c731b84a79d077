//! What messages tell: their rhythm and their values into the books that keep those.
//!
//! Nothing of it is asked for before the end, so that it can be booked on a thread of its own (see [`super::scribe`]).

use super::can::IDENTIFIERS;
use crate::books::found::Found;
use crate::books::inventory::DeviceId;
use crate::books::timing::{Message, SentenceName};
use crate::books::{clock, series, timing};
use crate::messages::n2k::{Pgn, Standing};
use crate::messages::nmea0183::{Framed, Sentence};
use crate::messages::{Reading, nmea0183};
use crate::time::Time;

/// Whose message it is, and when and where it was read.
#[derive(Debug, Clone, Copy)]
pub(super) struct Origin {
    /// Who sent it.
    pub(super) device: DeviceId,
    /// When.
    pub(super) time: Option<Time>,
    /// In which record of the run, counted from 0, or one before it that was of the same recording as all between them.
    pub(super) record: Place,
}

/// A record of a run: its number in the order of reading, then that of its recording.
pub(super) type Place = (u64, u32);

/// A message, as far as its rhythm and values go.
#[derive(Debug, Clone, Copy)]
pub(super) enum Told<'a> {
    /// A network protocol, and which of several alike.
    Protocol(&'static str, u32),
    /// A whole NMEA 2000 message: its PGN, where that stands, and its data.
    Pgn(u32, Standing, &'a [u8]),
    /// A sentence whose checksum is not wrong.
    Sentence(&'a Framed<'a>),
}

/// The books of rhythm and value.
#[derive(Debug, Default)]
pub(super) struct Ledger {
    pub(super) timing: timing::Timing,
    pub(super) series: series::Series,
    pub(super) clock: clock::Clock,
    /// The record with which a bound was first met, or one before it that was of the same recording as all between them.
    pub(super) full: Option<Place>,
    readings: Vec<Reading>,
    /// By the place of an identifier, which stream the last message by it was of.
    guesses: Vec<u32>,
    /// By the number of a message's stream, where the sources of its first readings are.
    found: Vec<[Found; FOUND]>,
    /// The same of a message without a stream, until the next.
    nowhere: [Found; FOUND],
}

/// Readings of a message whose sources are remembered; further ones share the last place.
const FOUND: usize = 4;

impl Ledger {
    /// Books a message.
    #[inline(never)]
    pub(super) fn book(&mut self, origin: Origin, told: Told<'_>) {
        match told {
            Told::Protocol(name, part) => self.protocol(origin, name, part),
            Told::Pgn(pgn, standing, data) => self.pgn(origin, pgn, standing, data),
            Told::Sentence(framed) => self.sentence(origin, &framed.sentence()),
        }
        self.settle(origin.record);
    }

    /// Books a [protocol](Told::Protocol).
    #[inline(always)]
    pub(super) fn protocol(&mut self, origin: Origin, name: &'static str, part: u32) {
        self.timing.message(origin.device, Message::Protocol(name), part, None, origin.time);
    }

    /// Books a [message](Told::Pgn) of a bus.
    #[inline(never)]
    pub(super) fn pgn(&mut self, origin: Origin, pgn: u32, standing: Standing, data: &[u8]) {
        let (message, known) = (Message::Pgn(pgn), standing.known());
        let part = known.map_or(0, |known| known.part(data));
        let interval_s = known.and_then(|known| known.interval_s);
        let stream = self.timing.message(origin.device, message, part, interval_s, origin.time);
        self.values(origin, message, known, data, stream);
    }

    /// As [`pgn`](Self::pgn), of a message by an identifier that has a place among [`IDENTIFIERS`]: which stream the last one by it
    /// was of is remembered there.
    #[inline(always)]
    pub(super) fn pgn_again(
        &mut self,
        origin: Origin,
        (pgn, standing, place): (u32, Standing, u16),
        data: &[u8; 8],
    ) {
        if self.guesses.is_empty() {
            self.guesses.resize(IDENTIFIERS, 0);
        }
        let (Some(known), Some(guess)) = (standing.known(), self.guesses.get_mut(usize::from(place))) else {
            self.pgn(origin, pgn, standing, data);
            return;
        };
        let (message, part, interval_s) = (Message::Pgn(pgn), known.part(data), known.interval_s);
        let stream = self.timing.message_again(guess, origin.device, message, part, interval_s, origin.time);
        self.values(origin, message, Some(known), data, stream);
    }

    /// Books the values of a message of a bus.
    #[inline(always)]
    fn values(
        &mut self,
        origin: Origin,
        message: Message,
        known: Option<&Pgn>,
        data: &[u8],
        stream: Option<usize>,
    ) {
        if let Some(known) = known {
            self.readings.clear();
            known.decode(data, &mut self.readings);
            self.readings(origin, message, stream);
        }
    }

    /// Books a [sentence](Told::Sentence).
    #[inline(always)]
    pub(super) fn sentence(&mut self, origin: Origin, sentence: &Sentence<'_>) {
        let message = Message::Sentence(SentenceName::new(sentence.name_bytes()));
        let known = sentence.formatter_bytes().and_then(nmea0183::formatter);
        let interval_s = known.and_then(|known| known.interval_s);
        let stream = part_of_sentence(sentence)
            .and_then(|part| self.timing.message(origin.device, message, part, interval_s, origin.time));
        if let Some(known) = known {
            self.readings.clear();
            known.decode(sentence, &mut self.readings);
            self.readings(origin, message, stream);
        }
    }

    /// Notes that a bound was met with this record or one behind it that was of the same recording; after each message, or after
    /// some of one recording.
    pub(super) fn settle(&mut self, record: Place) {
        if self.full.is_none() && self.is_full() {
            self.full = Some(record);
        }
    }

    /// Books the readings that a message was decoded into.
    #[inline(always)]
    fn readings(&mut self, origin: Origin, message: Message, stream: Option<usize>) {
        if self.readings.is_empty() {
            return;
        }
        if let Some(number) = stream.filter(|number| *number >= self.found.len()) {
            self.make_room(number);
        }
        let found = stream.and_then(|number| self.found.get_mut(number)).unwrap_or(&mut self.nowhere);
        for (number, reading) in self.readings.iter().enumerate() {
            if let Some(found) = found.get_mut(number.min(FOUND - 1)) {
                self.series.reading(origin.device, message, origin.time, reading, found);
            }
            if let (Reading::Clock { days, of_day_us: Some(of_day_us) }, Some(time)) = (reading, origin.time)
            {
                self.clock.reading(origin.device, message, time, *days, *of_day_us);
            }
        }
        if stream.is_none() {
            self.nowhere = Default::default();
        }
    }

    /// Makes room for what is found of the streams up to this one.
    #[cold]
    fn make_room(&mut self, number: usize) {
        let known = self.found.len();
        self.found.extend((known..=number).map(|stream| [Found::of(stream); FOUND]));
    }

    /// Whether anything found no room yet.
    fn is_full(&self) -> bool {
        let (timing, series) = (&self.timing, &self.series);
        timing.unbooked | timing.unmeasured | series.unbooked | series.untracked != 0
    }
}

/// Which of several alike a sentence is, so that each keeps its own rhythm; `None` for those that come in groups after
/// a first one, or without rhythm.
fn part_of_sentence(sentence: &Sentence<'_>) -> Option<u32> {
    let number = |n: usize| sentence.field(n).and_then(|f| f.parse::<u32>().ok());
    match *sentence.formatter_bytes()? {
        [b'G', b'S', b'V'] => (number(2) == Some(1)).then(|| {
            if sentence.field_count().is_multiple_of(4) {
                number(sentence.field_count()).unwrap_or(0)
            } else {
                0
            }
        }),
        [b'G', b'S', b'A'] => Some(number(18).unwrap_or_else(|| number(3).map_or(0, |id| id / 32))),
        [b'R', b'P', b'M'] => Some(number(2).unwrap_or(0)),
        [b'X', b'D', b'R'] => Some(sentence.field(4).map_or(0, |name| {
            name.bytes().fold(0, |hash: u32, b| hash.wrapping_mul(31).wrapping_add(u32::from(b)))
        })),
        [b'M', b'W', b'V'] => Some(u32::from(sentence.field(2) == Some("T"))),
        [b'V', b'D', b'M' | b'O']
        | [b'T', b'X', b'T']
        | [b'R', b'T', b'E']
        | [b'W', b'P', b'L']
        | [b'A', b'L', b'R' | b'F' | b'C']
        | [b'T', b'T', b'M'] => None,
        _ => Some(0),
    }
}
