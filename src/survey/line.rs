//! 0183 lines into the books.

use super::Intake;
use crate::books::inventory::{DeviceId, note_text};
use crate::books::timing::{Message, SentenceName};
use crate::books::wires::WireId;
use crate::messages::nmea0183::{self, Address, Checksum, Sentence};
use crate::time::Time;

/// Start, CR and LF do not stand in the line that the recorder kept, or not surely; a sentence has them on the wire.
const LINE_END: u64 = 2;

impl Intake {
    /// Books a line of a wire; `host` is the host whose packets carry it.
    pub(super) fn line(&mut self, wire: WireId, time: Option<Time>, line: &[u8], host: Option<DeviceId>) {
        let parsed = Sentence::parse(line);
        // The TAG block is the recorder's or the network's; the serial line never carried it.
        let start = line.iter().position(|b| matches!(b, b'$' | b'!')).unwrap_or(0);
        let characters = (line.len() - start) as u64 + LINE_END;
        if let Some(wire) = self.books.wires.get_mut(wire) {
            wire.frame(time, characters, characters);
        }
        let sentence = match parsed {
            Ok(sentence) => sentence,
            Err(fault) => {
                self.books.lines.of(wire).fault(time, fault, characters);
                return;
            }
        };
        let bad = matches!(sentence.checksum(), Checksum::Bad { .. });
        // A damaged address would make a talker that is not there.
        let device = if bad {
            self.books.inventory.known_talker(wire, talker(&sentence).as_bytes())
        } else {
            self.books.inventory.talker(wire, talker(&sentence).as_bytes(), host)
        };
        self.books.lines.of(wire).sentence(time, device, sentence.checksum(), sentence.over_82(), characters);
        let Some(device) = device.filter(|_| !bad) else { return };
        self.books.inventory.frame(device, time, characters);
        self.sentence(device, time, &sentence);
    }

    fn sentence(&mut self, device: DeviceId, time: Option<Time>, sentence: &Sentence<'_>) {
        let name = SentenceName::new(sentence.name());
        if let Some(device) = self.books.inventory.get_mut(device) {
            note_text(&mut device.sentences, name);
        }
        let known = sentence.formatter().and_then(nmea0183::formatter);
        if let Some(part) = part_of(sentence) {
            let message = Message::Sentence(name);
            self.books.timing.message(device, message, part, known.and_then(|f| f.interval_s), time);
        }
        self.readings.clear();
        nmea0183::decode(sentence, &mut self.readings);
        self.book_readings(device, Message::Sentence(name), time);
    }
}

/// Whose sentence it is: the talker identifier, or `P` and the maker's three letters.
fn talker<'a>(sentence: &Sentence<'a>) -> &'a str {
    match sentence.address() {
        Address::Proprietary(_) => sentence.name().get(..4).unwrap_or(sentence.name()),
        _ => sentence.talker(),
    }
}

/// Which of several alike a sentence is, so that each keeps its own rhythm; `None` for those that come in groups after
/// a first one, or without rhythm.
fn part_of(sentence: &Sentence<'_>) -> Option<u32> {
    let number = |n: usize| sentence.field(n).and_then(|f| f.parse::<u32>().ok());
    match sentence.formatter()? {
        "GSV" => (number(2) == Some(1)).then(|| {
            if sentence.field_count().is_multiple_of(4) {
                number(sentence.field_count()).unwrap_or(0)
            } else {
                0
            }
        }),
        "GSA" => Some(number(18).unwrap_or_else(|| number(3).map_or(0, |id| id / 32))),
        "RPM" => Some(number(2).unwrap_or(0)),
        "XDR" => Some(sentence.field(4).map_or(0, |name| {
            name.bytes().fold(0, |hash: u32, b| hash.wrapping_mul(31).wrapping_add(u32::from(b)))
        })),
        "MWV" => Some(u32::from(sentence.field(2) == Some("T"))),
        "VDM" | "VDO" | "TXT" | "RTE" | "WPL" | "ALR" | "ALF" | "ALC" | "TTM" => None,
        _ => Some(0),
    }
}
