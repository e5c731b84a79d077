//! 0183 lines into the books.

use super::Intake;
use super::ledger::Told;
use crate::books::inventory::{DeviceId, note_text};
use crate::books::timing::SentenceName;
use crate::books::wires::WireId;
use crate::messages::nmea0183::{Checksum, Sentence};
use crate::time::Time;

/// Start, CR and LF do not stand in the line that the recorder kept, or not surely; a sentence has them on the wire.
const LINE_END: u64 = 2;

impl Intake {
    /// Books a line of a wire; `host` is the host whose packets carry it.
    pub(super) fn line(&mut self, wire: WireId, time: Option<Time>, line: &[u8], host: Option<DeviceId>) {
        let parsed = Sentence::parse(line);
        // The TAG block is the recorder's or the network's; the serial line never carried it.
        let start = match line {
            [b'$' | b'!', ..] => 0,
            _ => line.iter().position(|b| matches!(b, b'$' | b'!')).unwrap_or(0),
        };
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
            self.books.inventory.known_talker(wire, talker(&sentence))
        } else {
            self.books.inventory.talker(wire, talker(&sentence), host)
        };
        self.books.lines.of(wire).sentence(time, device, sentence.checksum(), sentence.over_82(), characters);
        let Some(device) = device.filter(|_| !bad) else { return };
        self.books.inventory.frame(device, time, characters);
        self.sentence(device, time, &sentence);
    }

    fn sentence(&mut self, device: DeviceId, time: Option<Time>, sentence: &Sentence<'_>) {
        let name = SentenceName::new(sentence.name_bytes());
        if self.noted.is_new(device, name)
            && let Some(device) = self.books.inventory.get_mut(device)
        {
            note_text(&mut device.sentences, name);
        }
        self.tell(device, time, Told::Sentence(sentence));
    }
}

/// Sentences that are known to stand in their devices' lists: a look at one place instead of through a list.
pub(super) struct Noted([Option<(DeviceId, SentenceName)>; NOTED]);

/// Places for them: more than a busy line has kinds of sentence.
const NOTED: usize = 64;

impl Default for Noted {
    fn default() -> Self {
        Self([None; NOTED])
    }
}

impl Noted {
    /// Whether a device's sentence may not stand in the device's list yet; from now on it does.
    fn is_new(&mut self, device: DeviceId, name: SentenceName) -> bool {
        let letters = name.as_bytes().iter().skip(2).take(3);
        let mark = letters.fold(device.0, |mark, letter| mark.wrapping_mul(7) ^ u32::from(*letter));
        let Some(place) = self.0.get_mut(mark as usize % NOTED) else { return true };
        place.replace((device, name)) != Some((device, name))
    }
}

/// Whose sentence it is: the talker identifier, or `P` and the maker's three letters.
fn talker<'a>(sentence: &Sentence<'a>) -> &'a [u8] {
    match sentence.talker_bytes() {
        // Of a proprietary sentence.
        b"P" => sentence.name_bytes().get(..4).unwrap_or(sentence.name_bytes()),
        talker => talker,
    }
}
