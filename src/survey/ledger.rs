//! What messages tell: their rhythm and their values into the books that keep those.
//!
//! Nothing of it is asked for before the end, so that it can be booked on a thread of its own (see [`super::scribe`]).

use crate::books::found::Found;
use crate::books::inventory::DeviceId;
use crate::books::timing::{Message, SentenceName};
use crate::books::{clock, series, timing};
use crate::messages::nmea0183::{Framed, Sentence};
use crate::messages::{Reading, n2k, nmea0183};
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
    /// A whole NMEA 2000 message: its PGN and its data.
    Pgn(u32, &'a [u8]),
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
    /// By the number of a message's stream, where the sources of its first readings are.
    found: Vec<[Found; FOUND]>,
}

/// Readings of a message whose sources are remembered; further ones share the last place.
const FOUND: usize = 4;

impl Ledger {
    /// Books a message.
    #[inline(never)]
    pub(super) fn book(&mut self, origin: Origin, told: Told<'_>) {
        match told {
            Told::Protocol(name, part) => self.protocol(origin, name, part),
            Told::Pgn(pgn, data) => self.pgn(origin, pgn, data),
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
    #[inline(always)]
    pub(super) fn pgn(&mut self, origin: Origin, pgn: u32, data: &[u8]) {
        let message = Message::Pgn(pgn);
        let known = n2k::lookup(pgn);
        let (part, interval_s) = (part_of_pgn(pgn, data), known.and_then(|known| known.interval_s));
        let stream = self.timing.message(origin.device, message, part, interval_s, origin.time);
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
        let mut nowhere = [Found::default(); FOUND];
        let found = match stream {
            Some(number) => {
                if number >= self.found.len() {
                    self.make_room(number);
                }
                self.found.get_mut(number).unwrap_or(&mut nowhere)
            }
            None => &mut nowhere,
        };
        for (number, reading) in self.readings.iter().enumerate() {
            if let Some(found) = found.get_mut(number.min(FOUND - 1)) {
                self.series.reading(origin.device, message, origin.time, reading, found);
            }
            if let (Reading::Clock { days, of_day_us: Some(of_day_us) }, Some(time)) = (reading, origin.time)
            {
                self.clock.reading(origin.device, message, time, *days, *of_day_us);
            }
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

/// Which of several alike a message is, so that each keeps its own rhythm: engine, battery, tank, temperature source,
/// reference. 0 where there is but one.
fn part_of_pgn(pgn: u32, data: &[u8]) -> u32 {
    let byte = |i: usize| u32::from(data.get(i).copied().unwrap_or(0xFF));
    match pgn {
        127_245 | 127_488 | 127_489 | 127_501 | 127_505 | 127_508 => byte(0),
        127_506 => byte(1),
        127_250 => byte(7) & 0x03,
        129_026 => byte(1) & 0x03,
        130_306 => byte(5) & 0x07,
        130_311 => byte(1) & 0x3F,
        130_312 | 130_313 | 130_314 | 130_316 => byte(1) << 8 | byte(2),
        126_464 => byte(0),
        _ => 0,
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
