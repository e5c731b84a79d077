//! The ledger at the desk next door: messages are handed over in batches and booked by a [`Crew`], while the records behind
//! them are taken apart.

use super::ledger::{Ledger, Origin, Place, Told};
use crate::books::inventory::DeviceId;
use crate::books::timing::Message;
use crate::crew::{Crew, Sink};
use crate::messages::nmea0183::{Framed, Outline};
use crate::time::Time;

/// Messages of one batch at most: enough that handing over costs nothing.
const MAX_ENTRIES: usize = 8192;

/// Bytes of data or text after which a batch is full; the last message may reach over it.
const FULL_BYTES: usize = 256 << 10;

/// Streams whose accounts lie in a processor's own cache.
const CROWD: usize = 512;

/// How many messages before its own turn what a booking needs is fetched.
const FETCHED_BEFORE: usize = 12;

/// One message of a batch; its data, outline or text follow those of the one before. It goes from one core's cache to
/// another's: the smaller, the sooner.
struct Entry {
    time: Option<Time>,
    device: DeviceId,
    held: Held,
}

enum Held {
    Protocol {
        name: &'static str,
        part: u32,
    },
    /// A message of eight bytes, which nearly all have: they lie here.
    Eight {
        pgn: u32,
        data: [u8; 8],
    },
    Pgn {
        pgn: u32,
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
    /// The first record of each stretch of messages that are of one recording, and how many messages stand before it.
    places: Vec<(usize, Place)>,
    data: Vec<u8>,
    outlines: Vec<Outline>,
    texts: Vec<u8>,
}

impl Batch {
    fn clear(&mut self) {
        self.entries.clear();
        self.places.clear();
        self.data.clear();
        self.outlines.clear();
        self.texts.clear();
    }

    #[inline(always)]
    fn add(&mut self, origin: Origin, told: Told<'_>) {
        let held = match told {
            Told::Protocol(name, part) => Held::Protocol { name, part },
            // The longest message has 1785 bytes, the longest line 1024.
            Told::Pgn(pgn, data) if let Some(data) = data.as_array() => Held::Eight { pgn, data: *data },
            Told::Pgn(pgn, data) => {
                self.data.extend_from_slice(data);
                Held::Pgn { pgn, len: data.len() as u16 }
            }
            Told::Sentence(sentence) => {
                let (outline, text) = sentence.outline();
                self.outlines.push(outline);
                self.texts.extend_from_slice(text);
                Held::Sentence { len: text.len() as u16 }
            }
        };
        let Origin { device, time, record } = origin;
        if self.places.last().is_none_or(|(_, (_, recording))| *recording != record.1) {
            self.places.push((self.entries.len(), record));
        }
        self.entries.push(Entry { time, device, held });
    }

    fn is_full(&self) -> bool {
        self.entries.len() >= MAX_ENTRIES || self.data.len().max(self.texts.len()) >= FULL_BYTES
    }

    /// Fetches what the booking of protocols behind the one at `at` will need.
    fn fetch(&self, at: usize, ledger: &Ledger) {
        let protocol = |after: usize| match self.entries.get(at + after) {
            Some(Entry { device, held: Held::Protocol { name, part }, .. }) => {
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

    /// Books every message.
    fn book(&self, ledger: &mut Ledger) {
        let (mut data, mut texts) = (self.data.as_slice(), self.texts.as_slice());
        let mut outlines = self.outlines.iter();
        let crowded = ledger.timing.count() > CROWD;
        let mut places = self.places.iter().peekable();
        let mut record = Place::default();
        for (at, Entry { time, device, held }) in self.entries.iter().enumerate() {
            if crowded {
                self.fetch(at, ledger);
            }
            if let Some((_, next)) = places.next_if(|(before, _)| *before == at) {
                ledger.settle(record);
                record = *next;
            }
            let origin = Origin { device: *device, time: *time, record };
            match held {
                Held::Protocol { name, part } => ledger.protocol(origin, name, *part),
                Held::Eight { .. } | Held::Pgn { .. } => {
                    let (pgn, own) = match held {
                        Held::Eight { pgn, data } => (pgn, data.as_slice()),
                        Held::Pgn { pgn, len } => {
                            let (own, rest) = data.split_at_checked(*len as usize).unwrap_or_default();
                            data = rest;
                            (pgn, own)
                        }
                        _ => continue,
                    };
                    ledger.pgn(origin, *pgn, own);
                }
                Held::Sentence { len } => {
                    let (own, rest) = texts.split_at_checked(*len as usize).unwrap_or_default();
                    texts = rest;
                    if let Some(outline) = outlines.next() {
                        ledger.sentence(origin, &Framed::of(outline, own).sentence());
                    }
                }
            }
        }
        ledger.settle(record);
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
            Self::Beside(beside) => beside.book(origin, told),
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
    fn book(&mut self, origin: Origin, told: Told<'_>) {
        self.batch.add(origin, told);
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
            scribe.book(origin, Told::Pgn(127_250, &[0, number as u8, 0x3C, 0xFF, 0x7F, 0xFF, 0x7F, 0xFD]));
            scribe.book(origin, Told::Sentence(if number % 2 == 0 { &depth } else { &turned }));
            scribe.book(origin, Told::Pgn(126_996, &[0x41; 134]));
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
