//! The frames of one NMEA 2000 bus: single ones are rewritten at once, those of a longer message when it is whole.
//!
//! The rules follow the reader's (`messages::n2k`): what the reader delivers is rewritten, what it drops is blanked.

use super::content::Content;
use super::place::Place;
use super::session::{Part, Session, write_share};
use crate::messages::n2k::{
    AT_ONCE, CanId, Frames, GLOBAL, MAX_FAST_PACKET, MAX_TRANSPORT, frames_of, is_addressed,
};
use crate::recording::{CanKind, Tape};
use crate::time::Time;
use rustc_hash::FxHashMap;

/// Which bus a frame is on.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
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

/// Buses that frames are put together for; frames of further ones are blanked.
const MAX_BUSES: usize = 1024;

/// Messages under way on a bus; the oldest makes room.
const MAX_SESSIONS: usize = 320;

/// Sessions whose memory is kept for the next one.
const MAX_SPARE: usize = 8;

/// Frames of one message that are kept, repeated ones included; more are blanked.
const MAX_FRAMES: usize = 600;

/// A frame as the desk needs it.
#[derive(Debug, Clone, Copy)]
pub(super) struct Frame {
    /// Identifier.
    pub(super) id: u32,
    /// What kind it is.
    pub(super) kind: CanKind,
    /// Bytes of data.
    pub(super) len: u8,
    /// The data, and anything behind it.
    pub(super) data: [u8; 8],
}

/// All buses.
#[derive(Debug, Default)]
pub(super) struct Buses {
    list: Vec<Bus>,
    places: FxHashMap<BusKey, usize>,
    /// The one that was asked for last.
    last: Option<(BusKey, usize)>,
}

impl Buses {
    /// The bus with that key; `None` when there are too many.
    pub(super) fn get(&mut self, key: BusKey) -> Option<&mut Bus> {
        let at = match self.last.filter(|(last, _)| *last == key).map(|(_, at)| at) {
            Some(at) => at,
            None => match self.places.get(&key) {
                Some(at) => *at,
                None if self.list.len() >= MAX_BUSES => return None,
                None => {
                    self.list.push(Bus::default());
                    self.places.insert(key, self.list.len() - 1);
                    self.list.len() - 1
                }
            },
        };
        self.last = Some((key, at));
        self.list.get_mut(at)
    }

    /// Offset of the first byte that waits.
    pub(super) fn front(&self) -> u64 {
        self.list.iter().map(Bus::front).min().unwrap_or(u64::MAX)
    }

    /// Gives up what began before `oldest`.
    pub(super) fn give_up(&mut self, tape: &mut Tape, oldest: u64) {
        for bus in &mut self.list {
            bus.give_up(tape, oldest);
        }
    }
}

/// One bus.
#[derive(Debug, Default)]
pub(super) struct Bus {
    sessions: Vec<Session>,
    /// Where each is, by [`slot`].
    places: FxHashMap<u64, usize>,
    /// Sessions that are over: their memory is used again.
    spare: Vec<Session>,
}

/// What names a session: a fast packet or one of the transport protocol, and its key.
const fn slot(fast: bool, key: u64) -> u64 {
    (fast as u64) << 63 | key
}

impl Bus {
    /// Rewrites a frame, now or when its message is whole.
    pub(super) fn frame(
        &mut self,
        tape: &mut Tape,
        content: &mut Content,
        time: Option<Time>,
        frame: &Frame,
        place: &Place,
    ) {
        let mut data = frame.data;
        let Some(data) = data.get_mut(..usize::from(frame.len).min(8)) else { return };
        match frame.kind {
            // The controller speaks, not a device; but damage can make any frame look like one of these.
            CanKind::Error => {
                error_message(frame.id, data);
                place.write(tape, data);
                return;
            }
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
    fn front(&self) -> u64 {
        self.sessions.iter().map(|session| session.begin).min().unwrap_or(u64::MAX)
    }

    /// Gives up what began before `oldest`.
    fn give_up(&mut self, tape: &mut Tape, oldest: u64) {
        for at in (0..self.sessions.len()).rev() {
            if self.sessions.get(at).is_some_and(|session| session.begin < oldest) {
                self.drop_session(tape, at);
            }
        }
    }

    fn find(&self, fast: bool, key: u64) -> Option<usize> {
        self.places.get(&slot(fast, key)).copied()
    }

    fn drop_session(&mut self, tape: &mut Tape, at: usize) {
        if let Some(mut session) = self.take(at) {
            session.blank(tape);
            self.keep(session);
        }
    }

    /// Takes a session out; the last one takes its place.
    fn take(&mut self, at: usize) -> Option<Session> {
        let gone = (at < self.sessions.len()).then(|| self.sessions.swap_remove(at))?;
        self.places.remove(&slot(gone.fast, gone.key));
        if let Some(moved) = self.sessions.get(at) {
            self.places.insert(slot(moved.fast, moved.key), at);
        }
        Some(gone)
    }

    /// Keeps the memory of a session that is over.
    fn keep(&mut self, session: Session) {
        if self.spare.len() < MAX_SPARE && session.length <= MAX_FAST_PACKET {
            self.spare.push(session);
        }
    }

    /// A session without frames.
    fn fresh(&mut self, fast: bool, key: u64, id: CanId, pgn: u32, length: usize) -> Session {
        let mut session = self.spare.pop().unwrap_or_default();
        session.parts.clear();
        session.missing.clear();
        session.old.clear();
        session.new.clear();
        Session {
            fast,
            key,
            pgn,
            source: id.source,
            begin: u64::MAX,
            last: None,
            counter: 0,
            length,
            written: false,
            ..session
        }
    }

    fn open(&mut self, tape: &mut Tape, session: Session) -> usize {
        if self.sessions.len() >= MAX_SESSIONS {
            let oldest = self.sessions.iter().enumerate().min_by_key(|(_, session)| session.last);
            if let Some(at) = oldest.map(|(at, _)| at) {
                self.drop_session(tape, at);
            }
        }
        let at = self.sessions.len();
        self.places.insert(slot(session.fast, session.key), at);
        self.sessions.push(session);
        at
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
            && let Some(before) = self.find(true, key(sequence.wrapping_sub(AT_ONCE) & 7))
            && self.sessions.get(before).is_some_and(|session| !session.written)
        {
            self.drop_session(tape, before);
        }
        let found = self.find(true, key(sequence));
        let from = match counter {
            0 => 0,
            n => 6 + 7 * (usize::from(n) - 1),
        };
        let first = usize::from(counter == 0);
        let part = Part { place: place.clone(), len: data.len(), from, head: 1 + first };
        let share = body.get(first..).unwrap_or_default();
        if let Some(session) = found.and_then(|at| self.sessions.get_mut(at))
            && session.is_echo(time, counter, body, from, share)
        {
            if session.written {
                write_share(tape, &part, &session.new);
            } else if session.parts.len() < MAX_FRAMES {
                session.last = time;
                session.push(part);
            } else {
                return false;
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
            let session = Session { last: time, ..self.fresh(true, key(sequence), id, id.pgn, length) };
            let at = self.open(tape, session);
            return self.append(tape, content, time, at, part, share);
        }
        let Some(at) = found else { return false };
        let expected = self.sessions.get(at).is_some_and(|session| {
            !session.written && !session.is_over(time) && counter == session.counter + 1
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
        let mut session = Session { last: time, ..self.fresh(false, own, id, pgn, length) };
        session.missing.resize(packets.into(), true);
        session.old.resize(length, 0xFF);
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
        session.push(Part { place: place.clone(), len: data.len(), from, head: 1 });
        if session.missing.iter().all(|missing| !missing) {
            session.deliver(tape, content, time);
            if let Some(session) = self.take(at) {
                self.keep(session);
            }
        }
        true
    }
}

/// Blanks what the classes of a controller's error message do not tell, and all of it when there are classes that none are.
///
/// Source of classes and bytes: linux/can/error.h.
fn error_message(classes: u32, data: &mut [u8]) {
    const DEFINED: u32 = 0x3FF;
    /// Which class a byte belongs to, and whether a value of it is defined.
    type Rule = (u32, fn(u8) -> bool);
    const BYTES: [Rule; 8] = [
        // Arbitration lost: in which bit.
        (0x002, |bit| bit < 32),
        // State of the controller.
        (0x004, |state| state & 0x80 == 0),
        // Protocol violation: of which kind, and where in the frame.
        (0x008, |_| true),
        (0x008, |place| place < 32),
        // The transceiver's two wires.
        (0x010, |wires| matches!(wires & 0x0F, 0 | 4..=7) && matches!(wires >> 4, 0 | 4..=8)),
        (0, |_| false),
        // Counters of errors in sending and receiving.
        (0x200, |_| true),
        (0x200, |_| true),
    ];
    let sound = classes & !DEFINED == 0;
    for (byte, (class, is_defined)) in data.iter_mut().zip(BYTES) {
        if !sound || classes & class == 0 || !is_defined(*byte) {
            *byte = 0;
        }
    }
}

fn pair(source: u8, destination: u8) -> u64 {
    u64::from(source) << 8 | u64::from(destination)
}
