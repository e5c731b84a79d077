//! The frames of one NMEA 2000 bus: single ones are rewritten at once, those of a longer message when it is whole.
//!
//! The rules follow the reader's (`messages::n2k`): what the reader delivers is rewritten, what it drops is blanked.

use super::content::Content;
use crate::messages::n2k::{CanId, Frames, GLOBAL, MAX_FAST_PACKET, MAX_TRANSPORT, frames_of, is_addressed};
use crate::recording::{CanFrame, CanKind, Tape};
use crate::time::Time;

/// Which bus a frame is on.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum BusKey {
    /// A wire of the recording.
    Wire(usize),
    /// Lines in packets: a hash of wire, addresses and ports.
    Carried(u64),
}

/// PGNs of the transport protocol: connection management and data.
const TP_CONNECTION: u32 = 60_416;
const TP_DATA: u32 = 60_160;

/// Control bytes of connection management that open a message, and the one that ends it.
const RTS: u8 = 16;
const BAM: u8 = 32;
const ABORT: u8 = 255;

/// Messages under way on a bus; the oldest makes room.
const MAX_SESSIONS: usize = 320;

/// As in `messages::n2k`: a fast packet's time-out, an echo's, the transport protocol's longest.
const FAST_TIMEOUT_US: u64 = 750_000;
const ECHO_US: u64 = 20_000;

/// Frames of one message that are kept, repeated ones included; more are blanked.
const MAX_FRAMES: usize = 600;

/// Where the data bytes of a frame lie on the tape: each as a byte, or as two hex digits.
#[derive(Debug, Clone, Copy)]
pub(super) struct Place {
    /// Offset of each byte, or of its first digit.
    pub(super) at: [u64; 8],
    /// Offset of each second digit.
    pub(super) low: [u64; 8],
    /// Whether the bytes are hex digits; small ones when `Some(true)`.
    pub(super) hex: Option<bool>,
}

impl Place {
    /// Bytes in a row.
    pub(super) fn binary(at: u64) -> Self {
        let mut place = Self { at: [0; 8], low: [0; 8], hex: None };
        for (n, to) in place.at.iter_mut().enumerate() {
            *to = at + n as u64;
        }
        place
    }

    fn begin(&self, len: usize) -> u64 {
        self.at.iter().take(len).copied().min().unwrap_or(u64::MAX)
    }

    fn put(&self, tape: &mut Tape, n: usize, byte: u8) {
        let (Some(&at), Some(&low)) = (self.at.get(n), self.low.get(n)) else { return };
        let mut set = |at, byte| {
            if let Some([to]) = tape.get_mut(at, 1) {
                *to = byte;
            }
        };
        let Some(small) = self.hex else { return set(at, byte) };
        for (at, value) in [(at, byte >> 4), (low, byte & 15)] {
            set(
                at,
                match value {
                    0..=9 => b'0' + value,
                    _ if small => b'a' + value - 10,
                    _ => b'A' + value - 10,
                },
            );
        }
    }

    fn write(&self, tape: &mut Tape, data: &[u8]) {
        for (n, byte) in data.iter().enumerate() {
            self.put(tape, n, *byte);
        }
    }
}

/// A frame of a message: which share of it, and where.
#[derive(Debug, Clone, Copy)]
struct Part {
    place: Place,
    len: usize,
    /// Where its share begins in the message, and which of its bytes carries the share's first.
    from: usize,
    head: usize,
}

#[derive(Debug)]
struct Session {
    fast: bool,
    key: u64,
    pgn: u32,
    source: u8,
    /// Frames that wait; empty once the message is written.
    parts: Vec<Part>,
    begin: u64,
    last: Option<Time>,
    counter: u8,
    /// Packets that are missing, for the transport protocol.
    missing: Vec<bool>,
    length: usize,
    old: Vec<u8>,
    /// The rewritten message, for echoes.
    new: Option<Vec<u8>>,
}

impl Session {
    /// Blanks the frames: what is left is their place in the order, and the length that the first one states.
    fn blank(&mut self, tape: &mut Tape) {
        for part in self.parts.drain(..) {
            let data = [0xFF; 8];
            for n in part.head..part.len {
                part.place.put(tape, n, *data.get(n).unwrap_or(&0xFF));
            }
        }
        self.begin = u64::MAX;
    }

    fn push(&mut self, part: Part) {
        self.begin = self.begin.min(part.place.begin(part.len));
        self.parts.push(part);
    }

    /// Writes the message, rewritten, over its frames.
    fn deliver(&mut self, tape: &mut Tape, content: &mut Content, time: Option<Time>) {
        let mut new = self.old.clone();
        new.truncate(self.length);
        content.n2k(self.pgn, self.source, time, &mut new);
        for part in std::mem::take(&mut self.parts) {
            write_share(tape, &part, &new);
        }
        self.begin = u64::MAX;
        self.new = Some(new);
    }

    fn is_over(&self, now: Option<Time>) -> bool {
        matches!((self.last, now), (Some(last), Some(now)) if last.0.abs_diff(now.0) > FAST_TIMEOUT_US)
    }
}

/// Writes a frame's share of a message; filling behind its end is blanked.
fn write_share(tape: &mut Tape, part: &Part, message: &[u8]) {
    for n in part.head..part.len {
        part.place.put(tape, n, message.get(part.from + n - part.head).copied().unwrap_or(0xFF));
    }
}

/// One bus.
#[derive(Debug, Default)]
pub(super) struct Bus {
    sessions: Vec<Session>,
}

impl Bus {
    /// Rewrites a frame, now or when its message is whole.
    pub(super) fn frame(
        &mut self,
        tape: &mut Tape,
        content: &mut Content,
        time: Option<Time>,
        frame: &CanFrame,
        place: &Place,
    ) {
        let mut data = frame.bytes;
        let Some(data) = data.get_mut(..usize::from(frame.len).min(8)) else { return };
        match frame.kind {
            // The controller speaks, not a device.
            CanKind::Error => return,
            CanKind::Standard | CanKind::Remote => {
                data.fill(0);
                place.write(tape, data);
                return;
            }
            CanKind::Extended => {}
        }
        let id = CanId::from_bits(frame.id);
        match id.pgn {
            TP_CONNECTION => {
                self.manage(tape, time, id, data);
                content.n2k(id.pgn, id.source, time, data);
                place.write(tape, data);
            }
            TP_DATA => {
                if !self.transported(tape, content, time, id, data, place) {
                    content.n2k(id.pgn, id.source, time, data);
                    place.write(tape, data);
                }
            }
            pgn if frames_of(pgn) == Frames::Fast => {
                if !self.fast(tape, content, time, id, data, place) {
                    let keep = if data.first().is_some_and(|head| head & 0x1F == 0) { 2 } else { 1 };
                    data.get_mut(keep..).unwrap_or_default().fill(0xFF);
                    place.write(tape, data);
                }
            }
            pgn => {
                content.n2k(pgn, id.source, time, data);
                place.write(tape, data);
            }
        }
    }

    /// Offset of the first byte that waits.
    pub(super) fn front(&self) -> u64 {
        self.sessions.iter().map(|session| session.begin).min().unwrap_or(u64::MAX)
    }

    /// Gives up what began before `oldest`.
    pub(super) fn give_up(&mut self, tape: &mut Tape, oldest: u64) {
        for at in (0..self.sessions.len()).rev() {
            if self.sessions.get(at).is_some_and(|session| session.begin < oldest) {
                self.drop_session(tape, at);
            }
        }
    }

    fn find(&self, fast: bool, key: u64) -> Option<usize> {
        self.sessions.iter().position(|session| session.fast == fast && session.key == key)
    }

    fn drop_session(&mut self, tape: &mut Tape, at: usize) {
        if at < self.sessions.len() {
            self.sessions.swap_remove(at).blank(tape);
        }
    }

    fn open(&mut self, tape: &mut Tape, session: Session) -> usize {
        if self.sessions.len() >= MAX_SESSIONS {
            let oldest = self.sessions.iter().enumerate().min_by_key(|(_, session)| session.last);
            if let Some(at) = oldest.map(|(at, _)| at) {
                self.drop_session(tape, at);
            }
        }
        self.sessions.push(session);
        self.sessions.len() - 1
    }

    /// Takes a frame of a fast packet; `false` when it belongs to none that can become whole.
    fn fast(
        &mut self,
        tape: &mut Tape,
        content: &mut Content,
        time: Option<Time>,
        id: CanId,
        data: &[u8],
        place: &Place,
    ) -> bool {
        let Some((&head, body)) = data.split_first() else { return true };
        let (sequence, counter) = (head >> 5, head & 0x1F);
        let destination = if is_addressed(id.pgn) { id.destination } else { GLOBAL };
        let key = |sequence: u8| {
            u64::from(id.pgn) << 24
                | u64::from(id.source) << 16
                | u64::from(destination) << 8
                | u64::from(sequence)
        };
        if counter == 0
            && let Some(before) = self.find(true, key(sequence.wrapping_sub(1) & 7))
            && self.sessions.get(before).is_some_and(|session| session.new.is_none())
        {
            self.drop_session(tape, before);
        }
        let found = self.find(true, key(sequence));
        let from = match counter {
            0 => 0,
            n => 6 + 7 * (usize::from(n) - 1),
        };
        let first = usize::from(counter == 0);
        let part = Part { place: *place, len: data.len(), from, head: 1 + first };
        let share = body.get(first..).unwrap_or_default();
        if let Some(session) = found.and_then(|at| self.sessions.get_mut(at))
            && session.is_echo(time, counter, body, from, share)
        {
            match &session.new {
                Some(new) => write_share(tape, &part, new),
                None if session.parts.len() < MAX_FRAMES => {
                    session.last = time;
                    session.push(part);
                }
                None => return false,
            }
            return true;
        }
        if counter == 0 {
            if let Some(at) = found {
                self.drop_session(tape, at);
            }
            let Some(length) =
                body.first().map(|length| usize::from(*length)).filter(|n| *n <= MAX_FAST_PACKET)
            else {
                return false;
            };
            let session = Session {
                fast: true,
                key: key(sequence),
                pgn: id.pgn,
                source: id.source,
                parts: Vec::new(),
                begin: u64::MAX,
                last: time,
                counter: 0,
                missing: Vec::new(),
                length,
                old: Vec::new(),
                new: None,
            };
            let at = self.open(tape, session);
            return self.append(tape, content, time, at, part, share);
        }
        let Some(at) = found else { return false };
        let expected = self.sessions.get(at).is_some_and(|session| {
            session.new.is_none() && !session.is_over(time) && counter == session.counter + 1
        });
        if !expected {
            self.drop_session(tape, at);
            return false;
        }
        self.append(tape, content, time, at, part, share)
    }

    fn append(
        &mut self,
        tape: &mut Tape,
        content: &mut Content,
        time: Option<Time>,
        at: usize,
        part: Part,
        share: &[u8],
    ) -> bool {
        let Some(session) = self.sessions.get_mut(at) else { return false };
        let most = if part.from == 0 { 6 } else { 7 };
        let wanted = session.length.saturating_sub(part.from).min(most);
        let Some(share) = share.get(..wanted).filter(|_| session.old.len() == part.from) else {
            self.drop_session(tape, at);
            return false;
        };
        session.old.extend_from_slice(share);
        session.counter = if part.from == 0 { 0 } else { session.counter + 1 };
        session.last = time;
        session.push(part);
        if session.old.len() >= session.length {
            session.deliver(tape, content, time);
        }
        true
    }

    /// Takes a connection management frame.
    fn manage(&mut self, tape: &mut Tape, time: Option<Time>, id: CanId, data: &[u8]) {
        let Some(&[control, low, high, packets, _, p0, p1, p2]) = data.first_chunk() else { return };
        let length = usize::from(u16::from_le_bytes([low, high]));
        let pgn = u32::from_le_bytes([p0, p1, p2, 0]) & 0x3_FFFF;
        let (own, other) = (pair(id.source, id.destination), pair(id.destination, id.source));
        let opens = match control {
            BAM => id.destination == GLOBAL,
            RTS => id.destination != GLOBAL,
            ABORT => {
                if let Some(at) = self.find(false, own).or_else(|| self.find(false, other)) {
                    self.drop_session(tape, at);
                }
                false
            }
            _ => false,
        };
        if !opens {
            return;
        }
        if let Some(at) = self.find(false, own) {
            self.drop_session(tape, at);
        }
        if !(1..=MAX_TRANSPORT).contains(&length) || length.div_ceil(7) != usize::from(packets) {
            return;
        }
        let session = Session {
            fast: false,
            key: own,
            pgn,
            source: id.source,
            parts: Vec::new(),
            begin: u64::MAX,
            last: time,
            counter: 0,
            missing: vec![true; packets.into()],
            length,
            old: vec![0xFF; length],
            new: None,
        };
        self.open(tape, session);
    }

    /// Takes a data frame of the transport protocol; `false` when it belongs to no message.
    fn transported(
        &mut self,
        tape: &mut Tape,
        content: &mut Content,
        time: Option<Time>,
        id: CanId,
        data: &[u8],
        place: &Place,
    ) -> bool {
        let Some(at) = self.find(false, pair(id.source, id.destination)) else { return false };
        let Some(session) = self.sessions.get_mut(at) else { return false };
        let Some((&number, body)) = data.split_first() else { return false };
        let Some(index) = usize::from(number).checked_sub(1) else { return false };
        let from = index * 7;
        let to = session.length.min(from + 7);
        let (Some(old), Some(share), Some(missing)) = (
            session.old.get_mut(from..to),
            body.get(..to.saturating_sub(from)),
            session.missing.get_mut(index),
        ) else {
            return false;
        };
        if session.parts.len() >= MAX_FRAMES {
            return false;
        }
        old.copy_from_slice(share);
        *missing = false;
        session.last = time;
        session.push(Part { place: *place, len: data.len(), from, head: 1 });
        if session.missing.iter().all(|missing| !missing) {
            session.deliver(tape, content, time);
            self.sessions.swap_remove(at);
        }
        true
    }
}

impl Session {
    /// Whether a frame says again what the session already has (the reader's rule).
    fn is_echo(&self, time: Option<Time>, counter: u8, body: &[u8], from: usize, share: &[u8]) -> bool {
        let near = match (self.last, time) {
            (Some(last), Some(now)) => last.0.abs_diff(now.0) <= ECHO_US,
            _ => true,
        };
        if !near || counter > self.counter || (counter == 0 && self.counter != 0) {
            return false;
        }
        if counter == 0 && body.first().map(|length| usize::from(*length)) != Some(self.length) {
            return false;
        }
        let most = if from == 0 { 6 } else { 7 };
        let to = self.length.min(from + most);
        let had = self.old.get(from..to);
        had.is_some() && had == share.get(..to.saturating_sub(from))
    }
}

fn pair(source: u8, destination: u8) -> u64 {
    u64::from(source) << 8 | u64::from(destination)
}
