//! Lines of text, recorded as such or carried by packets: times, TAG blocks, sentences, CAN frames.

use super::bus::{BusKey, Place};
use super::content::TextKind;
use super::spots::Spots;
use super::{Desk, MAX_BUSES, blank};
use crate::recording::{
    CanFrame, LineKind, Mark, Record, Tape, data_begins, shift_number, shift_stamp, split_line,
};
use crate::time::Time;

/// TAG blocks in front of one sentence (as the reader looks through).
const MAX_TAG_BLOCKS: usize = 8;

/// Interface names that every system gives, apart from their number.
const USUAL_NAMES: &[&str] =
    &["can", "vcan", "slcan", "eth", "lan", "wlan", "br", "lo", "en", "usb", "any", ""];

/// A frame in a line of the packet at hand.
pub(super) struct Carried {
    time: Option<Time>,
    frame: CanFrame,
    place: Place,
}

impl Desk {
    /// Rewrites a line of a text log.
    pub(super) fn recorded_line(
        &mut self,
        tape: &mut Tape,
        mark: &Mark,
        record: Option<&Record<'_>>,
        ended: bool,
    ) {
        let spots = Spots::one(mark.at, mark.len);
        let mut line = spots.read(tape);
        let time = record.and_then(|record| record.time);
        self.line(&mut line, &spots, time, ended);
        spots.write(tape, &line);
        self.carried_frames(tape, BusKey::Wire(record.map_or(0, |record| record.wire)));
    }

    /// Rewrites the frames that the lines at hand held.
    pub(super) fn carried_frames(&mut self, tape: &mut Tape, key: BusKey) {
        if self.carried.is_empty() {
            return;
        }
        if self.buses.len() >= MAX_BUSES && !self.buses.contains_key(&key) {
            for Carried { time, frame, place } in self.carried.drain(..) {
                let unknown = CanFrame { kind: crate::recording::CanKind::Standard, ..frame };
                super::Bus::default().frame(tape, &mut self.content, time, &unknown, &place);
            }
            return;
        }
        let bus = self.buses.entry(key).or_default();
        for Carried { time, frame, place } in self.carried.drain(..) {
            bus.frame(tape, &mut self.content, time, &frame, &place);
        }
    }

    /// Rewrites a line that lies at `spots`. The frame that it holds is left for [`carried_frames`](Self::carried_frames).
    pub(super) fn line(&mut self, line: &mut [u8], spots: &Spots, time: Option<Time>, ended: bool) {
        let parts = split_line(line);
        if parts.stamp > 0 && self.content.time_shift_us() != 0 {
            let stamp = line.get_mut(..parts.stamp).unwrap_or_default();
            shift_stamp(stamp, self.content.time_shift_us());
        }
        match parts.kind {
            LineKind::Sentence(at) => self.tagged(line.get_mut(at..).unwrap_or_default(), time),
            LineKind::TagBlock(at) => self.tagged(line.get_mut(at..).unwrap_or_default(), time),
            LineKind::Can(frame, name) => {
                if let Some(name) = name.and_then(|name| line.get_mut(name)) {
                    self.interface_name(name);
                }
                self.can_line(line, spots, parts.stamp, time, frame);
            }
            LineKind::Incomplete if !ended => {
                self.blanked.damaged += line.len() as u64;
                cut_frame(line.get_mut(parts.stamp..).unwrap_or_default());
            }
            LineKind::Comment => {
                self.blanked.remarks += line.len() as u64;
                let start = line.iter().position(|byte| !matches!(byte, b' ' | b'\t')).unwrap_or(0);
                let sign = if line.get(start) == Some(&b'/') { 2 } else { 1 };
                blank::text(line.get_mut(start + sign..).unwrap_or_default());
            }
            LineKind::Incomplete | LineKind::Other => {
                self.blanked.damaged += line.len() as u64;
                blank::strange(line.get_mut(parts.stamp..).unwrap_or_default(), self.before_first);
            }
        }
    }

    /// A name that any system gives stays; another one gets letters and digits.
    pub(super) fn interface_name(&mut self, name: &mut [u8]) {
        let letters = name.iter().take_while(|byte| byte.is_ascii_lowercase()).count();
        let (word, number) = name.split_at_checked(letters).unwrap_or((name, &[]));
        let usual = USUAL_NAMES.iter().any(|usual| usual.as_bytes() == word)
            && number.len() <= 2
            && number.iter().all(u8::is_ascii_digit);
        if !usual {
            self.content.text(TextKind::Network, name);
            if let Some(first) = name.first_mut() {
                *first = b'i';
            }
        }
    }

    /// TAG blocks and the sentence behind them.
    fn tagged(&mut self, line: &mut [u8], time: Option<Time>) {
        let nuls: Vec<usize> = memchr::memchr_iter(0, line).collect();
        let mut rest = &mut *line;
        for _ in 0..MAX_TAG_BLOCKS {
            let blanks = rest.iter().take_while(|byte| byte.is_ascii_whitespace()).count();
            rest = rest.get_mut(blanks..).unwrap_or_default();
            let [b'\\', inner @ ..] = rest else { break };
            let end = memchr::memchr(b'\\', inner).unwrap_or(inner.len());
            let Some((block, behind)) = inner.split_at_mut_checked(end) else { return };
            self.tag_block(block);
            rest = behind.get_mut(1..).unwrap_or_default();
        }
        match rest.first() {
            Some(b'$' | b'!') => self.content.sentence(time, rest),
            Some(_) => blank::text(rest),
            None => {}
        }
        for at in nuls {
            if let Some(byte) = line.get_mut(at) {
                *byte = 0;
            }
        }
    }

    /// A TAG block without its backslashes (NMEA 0183 v4 clause 7): times, counts and groups stay.
    fn tag_block(&mut self, block: &mut [u8]) {
        let xor = |bytes: &[u8]| bytes.iter().fold(0, |sum, byte| sum ^ byte);
        let star = memchr::memchr(b'*', block).unwrap_or(block.len());
        let Some((fields, behind)) = block.split_at_mut_checked(star) else { return };
        let stated = behind.get(1..).and_then(|digits| std::str::from_utf8(digits).ok());
        let stated = stated.and_then(|digits| u8::from_str_radix(digits, 16).ok());
        let right = stated == Some(xor(fields));
        for field in fields.split_mut(|byte| *byte == b',') {
            let Some((name, value)) = field.split_at_mut_checked(2) else {
                blank::text(field);
                continue;
            };
            match &*name {
                b"c:" => {
                    let digits = value.iter().take_while(|byte| byte.is_ascii_digit()).count();
                    if digits < value.len() {
                        blank::text(value.get_mut(digits..).unwrap_or_default());
                    }
                    let shift_us = self.content.time_shift_us();
                    if shift_us != 0 {
                        shift_number(value.get_mut(..digits).unwrap_or_default(), shift_us);
                    }
                }
                b"n:" | b"g:" | b"r:"
                    if value.len() <= 12
                        && value.iter().all(|byte| byte.is_ascii_digit() || *byte == b'-') => {}
                b"s:" | b"d:" => self.content.text(TextKind::Other, value),
                [b'a'..=b'z', b':'] => blank::text(value),
                _ => blank::text(field),
            }
        }
        let mut sum = xor(fields);
        // A wrong one stays wrong.
        if !right {
            sum ^= 0x15;
        }
        if let Some(digits) = behind.get_mut(1..) {
            if digits.len() == 2 {
                digits.copy_from_slice(format!("{sum:02X}").as_bytes());
            } else {
                blank::text(digits);
            }
        }
    }

    /// A line with a CAN frame: the data's digits are left to the bus, what follows them is blanked.
    fn can_line(
        &mut self,
        line: &mut [u8],
        spots: &Spots,
        stamp: usize,
        time: Option<Time>,
        frame: CanFrame,
    ) {
        let Some(mut at) = data_begins(line, stamp, frame.id) else {
            blank::text(line);
            return;
        };
        let nibble = |byte: &u8| char::from(*byte).to_digit(16);
        let mut places = Vec::with_capacity(frame.data().len());
        for byte in frame.data() {
            let found = line.get(at..).unwrap_or_default().windows(2).position(|pair| match pair {
                [high, low] => {
                    nibble(high).zip(nibble(low)) == Some(((byte >> 4).into(), (byte & 15).into()))
                }
                _ => false,
            });
            let Some(found) = found else {
                blank::text(line.get_mut(stamp..).unwrap_or_default());
                return;
            };
            places.push(at + found);
            at += found + 2;
        }
        // Behind the data: a direction or a length code may stand there; anything else is the recorder's remark.
        let tail = line.get_mut(at..).unwrap_or_default();
        let word = tail.trim_ascii();
        let known =
            matches!(word, b"" | b"R" | b"T" | b"r" | b"t" | b"Rx" | b"Tx" | b"RX" | b"TX" | b"rx" | b"tx")
                || matches!(word, [b'_', code] if code.is_ascii_hexdigit())
                || (frame.data().is_empty() && word.len() <= 6);
        if !known {
            for byte in tail {
                if !byte.is_ascii_whitespace() {
                    *byte = b'.';
                }
            }
        }
        let small = line.iter().skip(stamp).any(|byte| matches!(byte, b'a'..=b'f'))
            && places
                .iter()
                .any(|&at| line.get(at..at + 2).is_some_and(|pair| pair.iter().any(u8::is_ascii_lowercase)));
        if places.len() > 8 {
            for at in places {
                line.get_mut(at..at + 2).unwrap_or_default().fill(b'0');
            }
            return;
        }
        let mut place = Place { at: [0; 8], low: [0; 8], hex: Some(small) };
        for ((from, at), low) in places.iter().zip(&mut place.at).zip(&mut place.low) {
            (*at, *low) = (spots.at(*from).unwrap_or(u64::MAX), spots.at(from + 1).unwrap_or(u64::MAX));
        }
        self.carried.push(Carried { time, frame, place });
    }
}

/// The beginning of a frame's line: interface and identifier stay, the data's digits do not.
fn cut_frame(line: &mut [u8]) {
    let is_data = |byte: &u8| matches!(byte, b' ' | b'\t' | b',' | b';' | b'#');
    let mut words = 0;
    let mut inside = false;
    let mut longest = 0;
    for byte in line.iter_mut() {
        if is_data(byte) {
            inside = false;
            continue;
        }
        if !inside {
            inside = true;
            words += usize::from(longest >= 8);
            longest = 0;
        }
        longest += 1;
        if words > 0 && byte.is_ascii_hexdigit() {
            *byte = b'0';
        }
    }
}
