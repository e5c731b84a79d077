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
        let checksum = sentence.checksum();
        let bad = matches!(checksum, Checksum::Bad { .. });
        // A damaged address would make a talker that is not there.
        let device = if bad {
            self.books.inventory.known_talker(wire, talker(sentence))
        } else {
            self.books.inventory.talker(wire, talker(sentence), host)
        };
        if checksum == Checksum::Absent && device.is_some_and(|device| self.had_checksum(device, sentence)) {
            self.books.lines.of(wire).fault(time, Fault::Checksum, characters);
            return;
        }
        self.books.lines.of(wire).sentence(time, device, checksum, sentence.over_82(), characters);
        let Some(device) = device.filter(|_| !bad) else { return };
        self.books.inventory.frame(device, time, characters);
        self.sentence(device, time, sentence);
    }

    /// Whether a device's sentence came with a checksum before. One without has lost its end then: who sends checksums with a
    /// sentence sends them with each.
    #[cold]
    fn had_checksum(&self, device: DeviceId, sentence: &Framed<'_>) -> bool {
        let name = SentenceName::new(sentence.name_bytes());
        self.books.inventory.get(device).is_some_and(|device| device.with_checksum.contains(&name))
    }

    fn sentence(&mut self, device: DeviceId, time: Option<Time>, sentence: &Framed<'_>) {
        let name = SentenceName::new(sentence.name_bytes());
        let with_checksum = sentence.checksum() == Checksum::Good;
        if self.noted.is_new(device, name, with_checksum)
            && let Some(device) = self.books.inventory.get_mut(device)
        {
            note_text(&mut device.sentences, name);
            if with_checksum {
                note_text(&mut device.with_checksum, name);
            }
        }
        self.tell(device, time, Told::Sentence(sentence));
    }
}

/// Sentences that are known to stand in their devices' lists, with checksum or without: a look at one place instead of through
/// a list.
pub(super) struct Noted([Option<(DeviceId, SentenceName, bool)>; NOTED]);

/// Places for them: more than a busy line has kinds of sentence.
const NOTED: usize = 64;

impl Default for Noted {
    fn default() -> Self {
        Self([None; NOTED])
    }
}

impl Noted {
    /// Whether a device's sentence may not stand in the device's list yet; from now on it does.
    fn is_new(&mut self, device: DeviceId, name: SentenceName, with_checksum: bool) -> bool {
        let letters = name.as_bytes().iter().skip(2).take(3);
        let mark = letters.fold(device.0, |mark, letter| mark.wrapping_mul(7) ^ u32::from(*letter));
        let Some(place) = self.0.get_mut(mark as usize % NOTED) else { return true };
        let known = Some((device, name, with_checksum));
        std::mem::replace(place, known) != known
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
