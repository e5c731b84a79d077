//! 0183 lines into the books.

use super::Intake;
use super::ledger::Told;
use crate::books::inventory::{DeviceId, note_text};
use crate::books::timing::SentenceName;
use crate::books::wires::WireId;
use crate::messages::nmea0183::{Checksum, Fault, Framed};
use crate::recording::is_sentence_tail;
use crate::time::Time;

/// Start, CR and LF do not stand in the line that the recorder kept, or not surely; a sentence has them on the wire.
const LINE_END: u64 = 2;

impl Intake {
    /// Books a line of a wire and what it was parsed into; `host` is the host whose packets carry it.
    pub(super) fn line(
        &mut self,
        wire: WireId,
        time: Option<Time>,
        line: &[u8],
        parsed: Result<Framed<'_>, Fault>,
        host: Option<DeviceId>,
    ) {
        // The TAG block is the recorder's or the network's; the serial line never carried it.
        let start = match line {
            [b'$' | b'!', ..] => 0,
            _ => line.iter().position(|b| matches!(b, b'$' | b'!')).unwrap_or(0),
        };
        let characters = (line.len() - start) as u64 + LINE_END;
        if matches!(parsed, Err(Fault::NoStart)) && is_sentence_tail(line) {
            // It is no frame: those begin as a sentence does.
            return self.books.lines.of(wire).headless(time, characters);
        }
        match parsed {
            Ok(sentence) => self.framed(wire, time, characters, &sentence, host),
            Err(fault) => {
                self.carried(wire, time, characters);
                self.books.lines.of(wire).fault(time, fault, characters);
            }
        }
    }

    /// As [`line`](Self::line), of a line of nothing but a sentence.
    #[inline(always)]
    pub(super) fn lone_sentence(
        &mut self,
        wire: WireId,
        time: Option<Time>,
        line: &[u8],
        sentence: &Framed<'_>,
        host: DeviceId,
    ) {
        self.framed(wire, time, line.len() as u64 + LINE_END, sentence, Some(host));
    }

    /// Books that a wire carried so many characters.
    #[inline(always)]
    fn carried(&mut self, wire: WireId, time: Option<Time>, characters: u64) {
        if let Some(wire) = self.books.wires.get_mut(wire) {
            wire.frame(time, characters, characters);
        }
    }

    /// Books a sentence that took so many characters.
    #[inline(never)]
    fn framed(
        &mut self,
        wire: WireId,
        time: Option<Time>,
        characters: u64,
        sentence: &Framed<'_>,
        host: Option<DeviceId>,
    ) {
        self.carried(wire, time, characters);
        let (checksum, over_82) = (sentence.checksum(), sentence.over_82());
        let name = SentenceName::new(sentence.name_bytes());
        let known = self.noted.whose(wire, name).filter(|_| checksum == Checksum::Good);
        let device = match known {
            Some(device) => device,
            None => {
                let (device, is_whole) = self.whose((wire, host), sentence);
                if !is_whole {
                    self.books.lines.of(wire).fault(time, Fault::Checksum, characters);
                    return;
                }
                let sound = device.filter(|_| !matches!(checksum, Checksum::Bad { .. }));
                let Some(sound) = sound else {
                    self.books.lines.of(wire).sentence(time, device, checksum, over_82, characters);
                    return;
                };
                self.note(wire, sound, name, checksum);
                sound
            }
        };
        self.books.lines.of(wire).sentence(time, Some(device), checksum, over_82, characters);
        self.books.inventory.frame(device, time, characters);
        self.tell(device, time, Told::Sentence(sentence));
    }

    /// Whose sentence it is, as far as there is room for him, and whether it is whole.
    #[inline(never)]
    fn whose(
        &mut self,
        (wire, host): (WireId, Option<DeviceId>),
        sentence: &Framed<'_>,
    ) -> (Option<DeviceId>, bool) {
        let checksum = sentence.checksum();
        // A damaged address would make a talker that is not there.
        let device = if matches!(checksum, Checksum::Bad { .. }) {
            self.books.inventory.known_talker(wire, talker(sentence))
        } else {
            self.books.inventory.talker(wire, talker(sentence), host)
        };
        let lost_its_end =
            checksum == Checksum::Absent && device.is_some_and(|device| self.had_checksum(device, sentence));
        (device, !lost_its_end)
    }

    /// Whether a device's sentence came with a checksum before. One without has lost its end then: who sends checksums with a
    /// sentence sends them with each.
    #[cold]
    fn had_checksum(&self, device: DeviceId, sentence: &Framed<'_>) -> bool {
        let name = SentenceName::new(sentence.name_bytes());
        self.books.inventory.get(device).is_some_and(|device| device.with_checksum.contains(&name))
    }

    /// Notes that a device sends a sentence.
    fn note(&mut self, wire: WireId, id: DeviceId, name: SentenceName, checksum: Checksum) {
        let Some(device) = self.books.inventory.get_mut(id) else { return };
        note_text(&mut device.sentences, name);
        if checksum == Checksum::Good {
            note_text(&mut device.with_checksum, name);
            self.noted.note(wire, name, id);
        }
    }
}

/// Whose a wire's sentences are that stand with checksum in their devices' lists: a look at one place instead of through the talkers
/// and the list.
pub(super) struct Noted([Option<(WireId, SentenceName, DeviceId)>; NOTED]);

/// Places for them: more than a busy line has kinds of sentence.
const NOTED: usize = 64;

impl Default for Noted {
    fn default() -> Self {
        Self([None; NOTED])
    }
}

impl Noted {
    fn place(wire: WireId, name: SentenceName) -> usize {
        let letters = name.as_bytes().iter().skip(2).take(3);
        let mark = letters.fold(wire.0, |mark, letter| mark.wrapping_mul(7) ^ u32::from(*letter));
        mark as usize % NOTED
    }

    /// Whose sentence it is, when that is noted.
    #[inline(always)]
    fn whose(&self, wire: WireId, name: SentenceName) -> Option<DeviceId> {
        let (known_wire, known, device) = (*self.0.get(Self::place(wire, name))?)?;
        ((known_wire, known) == (wire, name)).then_some(device)
    }

    fn note(&mut self, wire: WireId, name: SentenceName, device: DeviceId) {
        if let Some(place) = self.0.get_mut(Self::place(wire, name)) {
            *place = Some((wire, name, device));
        }
    }
}

/// Whose sentence it is: the talker identifier, or `P` and the maker's three letters.
fn talker<'a>(sentence: &Framed<'a>) -> &'a [u8] {
    match sentence.talker_bytes() {
        // Of a proprietary sentence.
        b"P" => sentence.name_bytes().get(..4).unwrap_or(sentence.name_bytes()),
        talker => talker,
    }
}

#[cfg(test)]
mod tests {
    use super::super::{Options, report_on};
    use crate::recording::open_reader;
    use crate::report::model::Number;
    use std::fmt::Write;

    /// The kinds of finding on a line of headings, half a second apart, and how many sentences it counts as garbled.
    fn found(sentence: impl Fn(u32) -> String) -> (Vec<&'static str>, Option<u64>) {
        let mut text = String::new();
        for number in 0..400 {
            let (minutes, seconds, tenths) = (number / 120, number / 2 % 60, number % 2 * 5);
            writeln!(text, "2026-06-01T08:{minutes:02}:{seconds:02}.{tenths}00Z {}", sentence(number))
                .unwrap();
        }
        let input = Box::new(std::io::Cursor::new(text.into_bytes()));
        let recordings = vec![open_reader("line.txt", None, input).unwrap()];
        let report = report_on(recordings, &Options::default(), &mut |_| {}).unwrap();
        let garbled = report.findings.iter().find(|f| f.kind == "garbled-sentence");
        let count = garbled.and_then(|f| f.numbers.get("garbled")).and_then(|number| match number {
            Number::Count(count) => Some(*count),
            _ => None,
        });
        (report.findings.iter().map(|f| f.kind).collect(), count)
    }

    fn heading(number: u32) -> String {
        format!("$HCHDG,{}.{},,,4.4,E", 210 + number % 5, number % 10)
    }

    fn with_checksum(sentence: &str) -> String {
        let sum = sentence.bytes().skip(1).fold(0, |sum, byte| sum ^ byte);
        format!("{sentence}*{sum:02X}")
    }

    #[test]
    fn a_sentence_that_lost_its_end_is_garbled_and_no_heading() {
        let (kinds, garbled) = found(|number| {
            let mut whole = with_checksum(&heading(number));
            if number % 40 == 20 {
                // "$HCHDG,2", "$HCHDG,21" and so on: a heading of 2 or 21 degrees, were it a sentence.
                whole.truncate(8 + number as usize / 40);
            }
            whole
        });
        assert_eq!(garbled, Some(10), "{kinds:?}");
        assert!(!kinds.contains(&"heading-jump"), "{kinds:?}");
    }

    #[test]
    fn talkers_without_checksums_are_heard() {
        let (kinds, garbled) = found(heading);
        assert_eq!(garbled, None, "{kinds:?}");
        assert!(!kinds.contains(&"no-heading-source"), "{kinds:?}");
        // One kind of sentence with a checksum says nothing of another.
        let (kinds, garbled) = found(|number| match number % 2 {
            0 => with_checksum("$HCMTW,14.3,C"),
            _ => heading(number),
        });
        assert_eq!(garbled, None, "{kinds:?}");
        assert!(!kinds.contains(&"no-heading-source"), "{kinds:?}");
    }
}
