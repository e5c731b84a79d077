//! Lines of text, recorded as such or carried by packets: times, TAG blocks, sentences, CAN frames.

use super::bus::{Bus, BusKey, Frame};
use super::content::TextKind;
use super::place::{Place, Scattered};
use super::spots::Spots;
use super::stamps::near;
use super::{Desk, blank, tag_block};
use crate::recording::{
    CanFrame, CanKind, LineKind, Recorded, Seen, Tape, blank_stamp, data_begins, hex_digit, is_direction,
    remark_begins, shift_stamp, split_line, stamp_length, stamp_to_utc,
};
use crate::time::Time;

/// TAG blocks in front of one sentence (as the reader looks through).
const MAX_TAG_BLOCKS: usize = 8;

/// Interface names that every system gives, apart from their number.
const USUAL_NAMES: &[&str] =
    &["can", "vcan", "slcan", "eth", "lan", "wlan", "br", "lo", "en", "usb", "any", ""];

/// A time in front of a line that states an offset from UTC has more bytes than this.
const SHORTEST_WITH_ZONE: usize = 17;

/// Who wrote the time in front of a line.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Clock {
    /// The recorder of a text log.
    Recorder {
        /// Whether what stands there is none of its times.
        doubtful: bool,
    },
    /// Whoever sent the line in a packet; the packet has a time of its own.
    Sender,
}

impl Clock {
    /// Whether this `time` of the line, or of its record, may be what stands there: microseconds since 1970.
    pub(super) fn vouches(self, us: i64, time: Option<Time>) -> bool {
        self != (Self::Recorder { doubtful: true }) && time.is_none_or(|time| near(us, time.0))
    }
}

/// A frame in a line of the packet at hand.
pub(super) struct Carried {
    time: Option<Time>,
    frame: Frame,
    place: Place,
}

impl Desk {
    /// Rewrites a line of a text log, which lies at `place` of the tape: offset and length.
    pub(super) fn recorded_line(
        &mut self,
        tape: &mut Tape,
        place: (u64, usize),
        record: Option<&Recorded>,
        ended: bool,
        seen: Seen,
    ) {
        let (at, len) = place;
        let Some(line) = tape.get_mut(at, len) else { return };
        let time = record.and_then(|record| record.time);
        let key = BusKey::Wire(record.map_or(0, |record| record.wire));
        let clock = Clock::Recorder { doubtful: self.stamps.is_doubtful(at) };
        match seen {
            Seen::Sentence { at, timed } => {
                let Some((stamp, sentence)) = line.split_at_mut_checked(at.into()) else { return };
                if timed {
                    self.stamp(stamp, clock, time);
                }
                return self.tagged(sentence, time, clock);
            }
            Seen::Can { id, kind, len, data, name, timed } => {
                let frame = Frame { id, kind, len, data };
                let clock = timed.then_some(clock);
                if let Some(place) = self.usual_frame(line, at, &frame, name, clock) {
                    if let Some(bus) = self.buses.get(key) {
                        return bus.frame(tape, &mut self.content, time, &frame, &place);
                    }
                    self.carried.push(Carried { time, frame, place });
                    return self.carried_frames(tape, key);
                }
            }
            Seen::Other => {}
        }
        self.line(line, &Spots::one(at, len), time, ended, clock);
        self.carried_frames(tape, key);
    }

    /// Shifts the time in front of a line with a record, and gives it in UTC; blanks it when it is none.
    fn stamp(&mut self, stamp: &mut [u8], clock: Clock, time: Option<Time>) {
        if stamp.is_empty() {
            return;
        }
        let known = match clock {
            // With a record's line goes a time that its reader took from it.
            Clock::Recorder { doubtful } => !doubtful && self.stamps.of(stamp).is_some(),
            Clock::Sender => {
                self.stamps.of(stamp).is_some_and(|seen| seen.is_of_day() || clock.vouches(seen.us, time))
            }
        };
        if !known {
            return blank_stamp(stamp, clock == Clock::Sender);
        }
        if stamp.len() > SHORTEST_WITH_ZONE {
            stamp_to_utc(stamp);
        }
        if self.content.time_shift_us() != 0 {
            shift_stamp(stamp, self.content.time_shift_us());
        }
    }

    /// As [`line`](Self::line) does with a frame, when its digits stand in a row behind an interface's name; where they
    /// do. `None`: nothing was done.
    fn usual_frame(
        &mut self,
        line: &mut [u8],
        begin: u64,
        frame: &Frame,
        name: (u16, u16),
        clock: Option<Clock>,
    ) -> Option<Place> {
        let (name_at, behind) = (usize::from(name.0), usize::from(name.1));
        // Between the time and the name there are but directions: what is searched for stands behind both.
        let at = data_begins(line, behind, frame.id)?;
        let data = frame.data.get(..usize::from(frame.len)).filter(|data| !data.is_empty())?;
        let digits = line.get(at..at + 2 * data.len())?;
        let mut small = false;
        for ([high, low], byte) in digits.as_chunks().0.iter().zip(data) {
            if (hex_digit(*high), hex_digit(*low)) != (Some(byte >> 4), Some(byte & 15)) {
                return None;
            }
            small |= high.is_ascii_lowercase() || low.is_ascii_lowercase();
        }
        if let Some(clock) = clock {
            let stamp = stamp_length(line);
            self.stamp(line.get_mut(..stamp)?, clock, None);
        }
        self.interface_name(line.get_mut(name_at..behind)?);
        remark(line.get_mut(at + 2 * data.len()..).unwrap_or_default(), false);
        Some(Place::Digits { at: begin + at as u64, small })
    }

    /// Rewrites the frames that the lines at hand held.
    pub(super) fn carried_frames(&mut self, tape: &mut Tape, key: BusKey) {
        if self.carried.is_empty() {
            return;
        }
        let Some(bus) = self.buses.get(key) else {
            for Carried { time, frame, place } in self.carried.drain(..) {
                let unknown = Frame { kind: CanKind::Standard, ..frame };
                Bus::default().frame(tape, &mut self.content, time, &unknown, &place);
            }
            return;
        };
        for Carried { time, frame, place } in self.carried.drain(..) {
            bus.frame(tape, &mut self.content, time, &frame, &place);
        }
    }

    /// Rewrites a line that lies at `spots`. The frame that it holds is left for [`carried_frames`](Self::carried_frames).
    pub(super) fn line(
        &mut self,
        line: &mut [u8],
        spots: &Spots,
        time: Option<Time>,
        ended: bool,
        clock: Clock,
    ) {
        let parts = split_line(line);
        let stamp = line.get_mut(..parts.stamp).unwrap_or_default();
        match parts.kind {
            // Nobody asks when such a line came; and what is no record may begin with any number.
            LineKind::Incomplete | LineKind::Comment | LineKind::Other => {
                blank_stamp(stamp, clock == Clock::Sender);
            }
            LineKind::Sentence(_) | LineKind::TagBlock(_) | LineKind::Can(..) | LineKind::Tail(_) => {
                self.stamp(stamp, clock, time);
            }
        }
        match parts.kind {
            LineKind::Sentence(at) | LineKind::TagBlock(at) => {
                self.tagged(line.get_mut(at..).unwrap_or_default(), time, clock);
            }
            LineKind::Can(frame, name) => {
                if let Some(name) = name.and_then(|name| line.get_mut(name)) {
                    self.interface_name(name);
                }
                self.can_line(line, spots, parts.stamp, time, &frame);
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
            LineKind::Tail(at) => {
                self.blanked.damaged += line.len() as u64;
                blank::tail(line.get_mut(at..).unwrap_or_default());
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
    fn tagged(&mut self, line: &mut [u8], time: Option<Time>, clock: Clock) {
        let nuls: Vec<usize> = memchr::memchr_iter(0, line).collect();
        let mut rest = &mut *line;
        for _ in 0..MAX_TAG_BLOCKS {
            let blanks = rest.iter().take_while(|byte| byte.is_ascii_whitespace()).count();
            rest = rest.get_mut(blanks..).unwrap_or_default();
            let [b'\\', inner @ ..] = rest else { break };
            let end = memchr::memchr(b'\\', inner).unwrap_or(inner.len());
            let Some((block, behind)) = inner.split_at_mut_checked(end) else { return };
            tag_block::rewrite(&mut self.content, block, time, clock);
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

    /// A line with a CAN frame: the data's digits are left to the bus, what follows them is blanked.
    fn can_line(
        &mut self,
        line: &mut [u8],
        spots: &Spots,
        stamp: usize,
        time: Option<Time>,
        frame: &CanFrame,
    ) {
        let Some(mut at) = data_begins(line, stamp, frame.id) else {
            blank::text(line);
            return;
        };
        let mut places = Vec::with_capacity(frame.data().len());
        for byte in frame.data() {
            let found = line.get(at..).unwrap_or_default().windows(2).position(|pair| match pair {
                [high, low] => hex_digit(*high).zip(hex_digit(*low)) == Some((byte >> 4, byte & 15)),
                _ => false,
            });
            let Some(found) = found else {
                blank::text(line.get_mut(stamp..).unwrap_or_default());
                return;
            };
            places.push(at + found);
            at += found + 2;
        }
        if frame.data().is_empty() {
            at += remark_begins(line.get(at..).unwrap_or_default(), frame.kind);
        }
        remark(line.get_mut(at..).unwrap_or_default(), frame.data().is_empty());
        let small = places
            .iter()
            .any(|&at| line.get(at..at + 2).is_some_and(|pair| pair.iter().any(u8::is_ascii_lowercase)));
        if places.len() > 8 {
            for at in places {
                line.get_mut(at..at + 2).unwrap_or_default().fill(b'0');
            }
            return;
        }
        let mut digits = Scattered { at: [0; 8], low: [0; 8], small };
        for ((from, at), low) in places.iter().zip(&mut digits.at).zip(&mut digits.low) {
            (*at, *low) = (spots.at(*from).unwrap_or(u64::MAX), spots.at(from + 1).unwrap_or(u64::MAX));
        }
        let data = frame.bytes.first_chunk().copied().unwrap_or_default();
        let frame = Frame { id: frame.id, kind: frame.kind, len: frame.len, data };
        self.carried.push(Carried { time, frame, place: Place::Scattered(Box::new(digits)) });
    }
}

/// Behind the data of a frame: a direction or a length code may stand there; anything else is the recorder's remark.
fn remark(tail: &mut [u8], without_data: bool) {
    let word = tail.trim_ascii();
    let known = word.is_empty()
        || is_direction(word)
        || matches!(word, [b'_', code] if code.is_ascii_hexdigit())
        || (without_data && word.len() <= 6);
    if !known {
        for byte in tail {
            if !byte.is_ascii_whitespace() {
                *byte = b'.';
            }
        }
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
