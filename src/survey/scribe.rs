//! The ledger at the desk next door: messages are handed over in batches and booked by a [`Crew`], while the records behind
//! them are taken apart.

use super::ledger::{Ledger, Origin, Place, Told};
use crate::books::inventory::DeviceId;
use crate::books::timing::Message;
use crate::crew::{Crew, Sink};
use crate::messages::n2k::Standing;
use crate::messages::nmea0183::{Framed, Outline};
use crate::time::Time;

/// Messages of one batch at most: enough that handing over costs nothing.
const MAX_ENTRIES: usize = 8192;

/// Bytes of data or text after which a batch is full; the last message may reach over it.
const FULL_BYTES: usize = 256 << 10;

/// Names of protocols that are found without a search.
const NAMES: usize = 32;

/// Streams whose accounts lie in a processor's own cache.
const CROWD: usize = 512;

/// How many messages before its own turn what a booking needs is fetched.
const FETCHED_BEFORE: usize = 12;

/// One message of a batch; its data, outline or text follow those of the one before. It goes from one core's cache to
/// another's: the smaller, the sooner.
struct Entry {
    /// When it came, if that is known.
    stamp: Time,
    device: DeviceId,
    is_stamped: bool,
    held: Held,
}

#[derive(Clone, Copy)]
enum Held {
    /// The name stands in the batch, at this place.
    Protocol {
        name: u16,
        part: u32,
    },
    /// A message of eight bytes, which nearly all have: they lie here. `place` is that of its identifier (see
    /// [`Ledger::pgn_again`]).
    Eight {
        pgn: u32,
        standing: Standing,
        place: u16,
        data: [u8; 8],
    },
    Pgn {
        pgn: u32,
        standing: Standing,
        len: u16,
    },
    Sentence {
        len: u16,
    },
}

/// Some messages in a row.
#[derive(Default)]
struct Batch {
    entries: Vec<Entry>,
    /// That of the last message.
    recording: Option<u32>,
    /// The first record of each stretch of messages that are of one recording, and how many messages stand before it.
    places: Vec<(usize, Place)>,
    /// Each of the few that there are once.
    names: Vec<&'static str>,
    /// By a few bits of a name's address, where one stands that came of late.
    recent: Box<[u16; NAMES]>,
    data: Vec<u8>,
    outlines: Vec<Outline>,
    texts: Vec<u8>,
}

/// What lies beside the entries of a batch and is not yet read.
struct Rest<'a> {
    names: &'a [&'static str],
    data: &'a [u8],
    outlines: std::slice::Iter<'a, Outline>,
    texts: &'a [u8],
}

impl Batch {
    fn clear(&mut self) {
        self.entries.clear();
        self.recording = None;
        self.places.clear();
        self.names.clear();
        self.data.clear();
        self.outlines.clear();
        self.texts.clear();
    }

    /// Adds a message of the recording whose record is at hand.
    #[inline(always)]
    fn add(&mut self, device: DeviceId, time: Option<Time>, record: &Place, held: Held) {
        if self.recording != Some(record.1) {
            self.begin_stretch(record);
        }
        let stamp = time.unwrap_or(Time(0));
        self.entries.push(Entry { stamp, device, is_stamped: time.is_some(), held });
    }

    #[cold]
    fn begin_stretch(&mut self, record: &Place) {
        self.recording = Some(record.1);
        self.places.push((self.entries.len(), *record));
    }

    /// Keeps what a message tells beside the entries.
    #[inline(always)]
    fn keep(&mut self, told: Told<'_>) -> Held {
        match told {
            Told::Protocol(name, part) => Held::Protocol { name: self.place_of(name), part },
            // The longest message has 1785 bytes, the longest line 1024.
            Told::Pgn(pgn, standing, data) => {
                self.data.extend_from_slice(data);
                Held::Pgn { pgn, standing, len: data.len() as u16 }
            }
            Told::Sentence(sentence) => {
                let (outline, text) = sentence.outline();
                self.outlines.push(outline);
                self.texts.extend_from_slice(text);
                Held::Sentence { len: text.len() as u16 }
            }
        }
    }

    /// Where the name of a protocol stands.
    #[inline(always)]
    fn place_of(&mut self, name: &'static str) -> u16 {
        // One name is mostly one text, at an address of its own.
        let slot = name.as_ptr().addr() % NAMES;
        let place = self.recent.get(slot).copied().unwrap_or(0);
        let is_known = self.names.get(usize::from(place)).is_some_and(|known| std::ptr::eq(*known, name));
        if is_known { place } else { self.new_place_of(slot, name) }
    }

    #[inline(never)]
    fn new_place_of(&mut self, slot: usize, name: &'static str) -> u16 {
        let known = self.names.iter().position(|known| std::ptr::eq(*known, name));
        let place = known.unwrap_or_else(|| {
            self.names.push(name);
            self.names.len() - 1
        }) as u16;
        if let Some(recent) = self.recent.get_mut(slot) {
            *recent = place;
        }
        place
    }

    fn is_full(&self) -> bool {
        self.entries.len() >= MAX_ENTRIES || self.data.len().max(self.texts.len()) >= FULL_BYTES
    }

    /// Books every message.
    fn book(&self, ledger: &mut Ledger) {
        let mut rest =
            Rest { names: &self.names, data: &self.data, outlines: self.outlines.iter(), texts: &self.texts };
        let ends = self.places.iter().skip(1).map(|(begin, _)| *begin).chain([self.entries.len()]);
        for ((begin, record), end) in self.places.iter().zip(ends) {
            let stretch = self.entries.get(*begin..end).unwrap_or_default();
            // Whether accounts lie in the cache matters to hosts, of which there may be thousands.
            if ledger.timing.count() > CROWD {
                rest.book_many(*record, stretch, ledger);
            } else {
                stretch.iter().for_each(|entry| rest.book(*record, entry, ledger));
            }
            ledger.settle(*record);
        }
    }
}

impl Rest<'_> {
    /// Books messages, and fetches what those behind each will need.
    #[inline(never)]
    fn book_many(&mut self, record: Place, entries: &[Entry], ledger: &mut Ledger) {
        for (at, entry) in entries.iter().enumerate() {
            self.fetch(entries.get(at..).unwrap_or_default(), ledger);
            self.book(record, entry, ledger);
        }
    }

    /// Fetches what the booking of protocols behind the first of these will need.
    fn fetch(&self, entries: &[Entry], ledger: &Ledger) {
        let protocol = |after: usize| match entries.get(after) {
            Some(Entry { device, held: Held::Protocol { name, part }, .. }) => {
                let name = self.names.get(usize::from(*name))?;
                Some((*device, Message::Protocol(name), *part))
            }
            _ => None,
        };
        if let Some((device, message, part)) = protocol(FETCHED_BEFORE) {
            ledger.timing.fetch(device, message, part);
        }
        if let Some((device, message, part)) = protocol(FETCHED_BEFORE / 2) {
            ledger.timing.fetch_behind(device, message, part);
        }
    }

    /// Books a message; those before it were booked.
    #[inline(always)]
    fn book(&mut self, record: Place, entry: &Entry, ledger: &mut Ledger) {
        let Entry { stamp, device, is_stamped, held } = entry;
        let origin = Origin { device: *device, time: is_stamped.then_some(*stamp), record };
        match held {
            Held::Eight { pgn, standing, place, data } => {
                ledger.pgn_again(origin, (*pgn, *standing, *place), data);
            }
            Held::Protocol { name, part } => {
                if let Some(name) = self.names.get(usize::from(*name)) {
                    ledger.protocol(origin, name, *part);
                }
            }
            Held::Pgn { pgn, standing, len } => {
                let (own, rest) = self.data.split_at_checked(usize::from(*len)).unwrap_or_default();
                self.data = rest;
                ledger.pgn(origin, *pgn, *standing, own);
            }
            Held::Sentence { len } => {
                let (own, rest) = self.texts.split_at_checked(usize::from(*len)).unwrap_or_default();
                self.texts = rest;
                if let Some(outline) = self.outlines.next() {
                    ledger.sentence(origin, &Framed::of(outline, own).sentence());
                }
            }
        }
    }
}

/// Who keeps the ledger.
pub(super) enum Scribe {
    /// Whoever reads the records.
    Here(Box<Ledger>),
    /// A crew.
    Beside(Beside),
}

impl Default for Scribe {
    fn default() -> Self {
        Self::Here(Box::default())
    }
}

impl Scribe {
    /// A ledger that a crew keeps.
    pub(super) fn beside(crew: &Crew) -> Self {
        let keep = |ledger: &mut Ledger, batch: &mut Batch| batch.book(ledger);
        Self::Beside(Beside { batch: Batch::default(), sink: Sink::new(crew, Ledger::default(), keep) })
    }

    /// Books a message, now or soon.
    #[inline(always)]
    pub(super) fn book(&mut self, origin: Origin, told: Told<'_>) {
        match self {
            Self::Here(ledger) => ledger.book(origin, told),
            Self::Beside(beside) => beside.book(&origin, told),
        }
    }

    /// As [`book`](Self::book), a [protocol](Told::Protocol).
    #[inline(always)]
    pub(super) fn book_protocol(
        &mut self,
        (device, time): (DeviceId, Option<Time>),
        record: &Place,
        name: &'static str,
        part: u32,
    ) {
        match self {
            Self::Here(ledger) => {
                ledger.book(Origin { device, time, record: *record }, Told::Protocol(name, part));
            }
            Self::Beside(beside) => {
                let name = beside.batch.place_of(name);
                beside.batch.add(device, time, record, Held::Protocol { name, part });
                beside.settle();
            }
        }
    }

    /// As [`book`](Self::book), a message of a bus with eight bytes, as nearly all have: its PGN, where that stands, the place of its
    /// identifier, and its data.
    #[inline(always)]
    pub(super) fn book_eight(
        &mut self,
        (device, time): (DeviceId, Option<Time>),
        record: &Place,
        (pgn, standing, place): (u32, Standing, u16),
        data: &[u8; 8],
    ) {
        match self {
            Self::Here(ledger) => {
                let origin = Origin { device, time, record: *record };
                ledger.book(origin, Told::Pgn(pgn, standing, data));
            }
            Self::Beside(beside) => {
                beside.batch.add(device, time, record, Held::Eight { pgn, standing, place, data: *data });
                beside.settle();
            }
        }
    }

    /// The ledger with every message in it.
    pub(super) fn close(self) -> Ledger {
        match self {
            Self::Here(ledger) => *ledger,
            Self::Beside(mut beside) => {
                beside.hand_over();
                beside.sink.close()
            }
        }
    }
}

/// The batch that the crew gets next, and where it goes.
pub(super) struct Beside {
    batch: Batch,
    sink: Sink<Batch, Ledger>,
}

impl Beside {
    #[inline(always)]
    fn book(&mut self, origin: &Origin, told: Told<'_>) {
        let held = self.batch.keep(told);
        self.batch.add(origin.device, origin.time, &origin.record, held);
        self.settle();
    }

    /// Hands the batch over when it is full.
    #[inline(always)]
    fn settle(&mut self) {
        if self.batch.is_full() {
            self.hand_over();
        }
    }

    #[cold]
    fn hand_over(&mut self) {
        self.batch = self.sink.put(std::mem::take(&mut self.batch));
        self.batch.clear();
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Some thousand messages of every kind, more than batches hold.
    fn tell(scribe: &mut Scribe) {
        let depth = Framed::parse(b"$SDDPT,15.2,0.5*64").unwrap();
        let turned = Framed::parse(b"\\s:a*12\\$HCHDG,98.3,0.0,E,12.6,W*57").unwrap();
        for number in 0..3 * MAX_ENTRIES as i64 {
            let origin = Origin {
                device: DeviceId(number as u32 % 3),
                time: (number % 7 != 0).then_some(Time(number * 100_000)),
                record: (number as u64, 0),
            };
            scribe.book(origin, Told::Protocol("arp", number as u32 % 2));
            scribe.book(
                origin,
                Told::Pgn(
                    127_250,
                    Standing::of(127_250),
                    &[0, number as u8, 0x3C, 0xFF, 0x7F, 0xFF, 0x7F, 0xFD],
                ),
            );
            scribe.book(origin, Told::Sentence(if number % 2 == 0 { &depth } else { &turned }));
            scribe.book(origin, Told::Pgn(126_996, Standing::of(126_996), &[0x41; 134]));
        }
    }

    #[test]
    fn a_crew_keeps_the_same_ledger() {
        let crew = Crew::of(1);
        let (mut here, mut beside) = (Scribe::default(), Scribe::beside(&crew));
        tell(&mut here);
        tell(&mut beside);
        let told = |ledger: &Ledger| {
            let streams: Vec<_> = ledger.timing.iter().map(|s| format!("{s:?}")).collect();
            let sources: Vec<_> = ledger.series.iter().map(|s| format!("{s:?}")).collect();
            (streams, sources, ledger.full)
        };
        let (here, beside) = (told(&here.close()), told(&beside.close()));
        assert!(here.0.len() > 10 && here.1.len() > 5 && here == beside);
    }
}
