//! Fast packets: messages of up to 223 bytes in up to 32 frames. Source: NMEA 2000 main text, fast packet clause.
//!
//! Byte 0 of each frame is a sequence counter (3 bits) and a frame counter (5 bits); byte 1 of the first frame is the
//! length. A message is damaged when a frame is missing, whichever it is. It is counted once: the session stays and
//! swallows what else arrives of it. Messages of one sender and PGN may be mixed with each other: a gateway of several engines
//! sends a frame of each in turn. Their sequence counters keep them apart.

use super::id::{CanId, GLOBAL, is_addressed};
use super::losses::Ledger;
use crate::time::Time;
use rustc_hash::FxHashMap;

/// Longest message: 6 bytes in the first frame and 7 in each of 31 more.
pub const MAX_FAST_PACKET: usize = 223;

/// So many messages of one sender and PGN may be under way at once, half of the eight that the sequence counter tells apart:
/// the one before them gets no more frames, and none of a later one with its counter is taken for its own.
pub const AT_ONCE: u8 = 4;

/// Messages under way at one moment; the one that was longest without a frame goes first.
const MAX_SESSIONS: usize = 256;

/// A message that gets no frame for so long gets none any more: ISO transport's T1 is 750 ms, and a recorder that stamps
/// whole seconds shows frames that follow each other at once a second apart.
const TIMEOUT_US: u64 = 1_100_000;

/// An equal frame that comes again within this time is an echo or a repetition after a bus error.
const ECHO_US: u64 = 20_000;

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum State {
    /// Whole so far.
    Receiving,
    /// Delivered.
    Done,
    /// A frame is missing; already counted.
    Damaged,
}

#[derive(Debug)]
struct Session {
    state: State,
    stream: Option<usize>,
    /// Frame counter of the latest frame.
    counter: u8,
    /// When the latest frame came.
    last: Option<Time>,
    /// The numbers, among all frames, of its first and its latest frame.
    frames: (u64, u64),
    /// Declared length; 0 for a message whose first frame is missing.
    length: usize,
    bytes: [u8; MAX_FAST_PACKET],
}

/// What a frame led to.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Step {
    Wait,
    Deliver,
}

/// Puts fast packets together.
#[derive(Debug, Default)]
pub(super) struct FastPackets {
    /// Sender, destination, PGN and sequence counter of each session, in their order, and where each stands.
    keys: Vec<u64>,
    places: FxHashMap<u64, usize>,
    sessions: Vec<Session>,
    swept: Option<Time>,
    /// Frames so far.
    count: u64,
}

impl FastPackets {
    /// Takes one frame; hands a message on when it is the last one of it.
    pub(super) fn push(
        &mut self,
        time: Option<Time>,
        id: CanId,
        data: &[u8],
        ledger: &mut Ledger,
        deliver: &mut dyn FnMut(&[u8]),
    ) {
        self.sweep(time, ledger);
        let Some((&head, body)) = data.split_first() else { return };
        let (sequence, counter) = (head >> 5, head & 0x1F);
        self.count += 1;
        if counter == 0 {
            let before = self.find(key(id, sequence.wrapping_sub(AT_ONCE) & 0b111));
            if let Some(session) = before.and_then(|at| self.sessions.get_mut(at)) {
                session.give_up(ledger);
            }
        }
        let at = match self.find(key(id, sequence)) {
            Some(at) => at,
            None => self.open(time, id, sequence, counter, ledger),
        };
        let Some(session) = self.sessions.get_mut(at) else { return };
        ledger.frame(session.stream, time);
        session.frames = (if counter == 0 { self.count } else { session.frames.0 }, self.count);
        if session.take(time, counter, body, ledger) == Step::Deliver
            && let Some(message) = session.bytes.get(..session.length)
        {
            deliver(message);
        }
    }

    /// Messages that are unfinished at `end` and got no frame for the time-out, or while a later one of their sender came whole,
    /// by stream: damaged, though no frame has told so yet.
    pub(super) fn overdue(&self, end: Option<Time>) -> impl Iterator<Item = usize> {
        let unfinished =
            self.keys.iter().zip(&self.sessions).filter(|(_, session)| session.state == State::Receiving);
        unfinished
            .filter(move |(key, session)| session.is_over(end) || self.is_overtaken(**key, session))
            .filter_map(|(_, session)| session.stream)
    }

    /// Whether a message began after the latest frame of this one, and came whole.
    fn is_overtaken(&self, key: u64, session: &Session) -> bool {
        let others = (0..8).filter_map(|sequence| self.sessions.get(self.find(key & !0b111 | sequence)?));
        let mut whole = others.filter(|other| other.state == State::Done);
        whole.any(|other| other.frames.0 > session.frames.1)
    }

    fn find(&self, key: u64) -> Option<usize> {
        self.places.get(&key).copied()
    }

    /// Makes a session for a frame of a message not seen before. A following frame without a first one is a damaged
    /// message, except as the first of its stream: that one may have begun before the recording.
    fn open(
        &mut self,
        time: Option<Time>,
        id: CanId,
        sequence: u8,
        counter: u8,
        ledger: &mut Ledger,
    ) -> usize {
        if self.keys.len() >= MAX_SESSIONS {
            let oldest = self.sessions.iter().enumerate().min_by_key(|(_, session)| session.last);
            if let Some(at) = oldest.map(|(at, _)| at) {
                self.close(at, ledger);
            }
        }
        let stream = ledger.stream(id.source, id.pgn);
        let number = stream.map(|(number, _)| number);
        if counter != 0 && matches!(stream, Some((_, false))) {
            ledger.incomplete(number);
        }
        self.places.insert(key(id, sequence), self.keys.len());
        self.keys.push(key(id, sequence));
        self.sessions.push(Session {
            state: State::Damaged,
            stream: number,
            counter: counter.saturating_sub(1),
            last: time,
            frames: (0, 0),
            length: 0,
            bytes: [0; MAX_FAST_PACKET],
        });
        self.keys.len() - 1
    }

    fn close(&mut self, at: usize, ledger: &mut Ledger) {
        if at < self.sessions.len() {
            self.places.remove(&self.keys.swap_remove(at));
            if let Some(moved) = self.keys.get(at) {
                self.places.insert(*moved, at);
            }
            self.sessions.swap_remove(at).give_up(ledger);
        }
    }

    /// Closes what has timed out; once a time-out long, so that the work per frame stays bounded.
    fn sweep(&mut self, time: Option<Time>, ledger: &mut Ledger) {
        let Some(now) = time else { return };
        if self.swept.is_some_and(|swept| swept.0.abs_diff(now.0) <= TIMEOUT_US) {
            return;
        }
        self.swept = time;
        for at in (0..self.sessions.len()).rev() {
            if self.sessions.get(at).is_some_and(|session| session.is_over(time)) {
                self.close(at, ledger);
            }
        }
    }
}

impl Session {
    fn take(&mut self, time: Option<Time>, counter: u8, body: &[u8], ledger: &mut Ledger) -> Step {
        if self.is_echo(time, counter, body) {
            return Step::Wait;
        }
        if self.is_over(time) {
            self.give_up(ledger);
            self.state = State::Done;
        }
        self.last = time;
        if counter == 0 {
            return self.begin(body, ledger);
        }
        let expected = counter == self.counter + 1;
        let ascending = counter > self.counter;
        self.counter = counter;
        match self.state {
            State::Receiving if expected => self.append(body, ledger),
            // Frames of a message ascend: a lower counter belongs to another message, whose first frame is missing.
            State::Receiving | State::Damaged if ascending => {
                self.give_up(ledger);
                Step::Wait
            }
            _ => {
                self.give_up(ledger);
                self.length = 0;
                self.state = State::Damaged;
                ledger.incomplete(self.stream);
                Step::Wait
            }
        }
    }

    fn begin(&mut self, body: &[u8], ledger: &mut Ledger) -> Step {
        self.give_up(ledger);
        self.counter = 0;
        self.state = State::Receiving;
        self.length = 0;
        match body.split_first() {
            Some((&length, data)) if usize::from(length) <= MAX_FAST_PACKET => {
                self.length = usize::from(length);
                self.append(data, ledger)
            }
            _ => {
                self.give_up(ledger);
                Step::Wait
            }
        }
    }

    /// Stores the frame's share of the message; a frame shorter than its share is as good as missing.
    fn append(&mut self, data: &[u8], ledger: &mut Ledger) -> Step {
        let (from, to) = share(self.counter, self.length);
        match (self.bytes.get_mut(from..to), data.get(..to.saturating_sub(from))) {
            (Some(place), Some(bytes)) => place.copy_from_slice(bytes),
            _ => {
                self.give_up(ledger);
                return Step::Wait;
            }
        }
        if to < self.length {
            return Step::Wait;
        }
        self.state = State::Done;
        ledger.complete(self.stream);
        Step::Deliver
    }

    /// Counts an unfinished message as damaged, once.
    fn give_up(&mut self, ledger: &mut Ledger) {
        if self.state == State::Receiving {
            self.state = State::Damaged;
            ledger.incomplete(self.stream);
        }
    }

    /// Whether the frame says again what was just received. A first frame counts as an echo only directly after
    /// itself: later it begins a message.
    fn is_echo(&self, time: Option<Time>, counter: u8, body: &[u8]) -> bool {
        let near = match (self.last, time) {
            (Some(last), Some(now)) => last.0.abs_diff(now.0) <= ECHO_US,
            _ => true,
        };
        if !near || counter > self.counter || (counter == 0 && self.counter != 0) {
            return false;
        }
        if self.state == State::Damaged || self.length == 0 {
            return counter != 0 && counter == self.counter && self.last.is_some();
        }
        let (from, to) = share(counter, self.length);
        let data = if counter == 0 {
            body.split_first()
                .filter(|(length, _)| usize::from(**length) == self.length)
                .map(|(_, data)| data)
        } else {
            Some(body)
        };
        let bytes = data.and_then(|data| data.get(..to.saturating_sub(from)));
        bytes.is_some() && bytes == self.bytes.get(from..to)
    }

    fn is_over(&self, now: Option<Time>) -> bool {
        matches!((self.last, now), (Some(last), Some(now)) if last.0.abs_diff(now.0) > TIMEOUT_US)
    }
}

/// Which bytes of a message of `length` bytes the frame with this counter carries.
fn share(counter: u8, length: usize) -> (usize, usize) {
    match usize::from(counter) {
        0 => (0, length.min(6)),
        n => (6 + 7 * (n - 1), length.min(6 + 7 * n)),
    }
}

fn key(id: CanId, sequence: u8) -> u64 {
    let destination = if is_addressed(id.pgn) { id.destination } else { GLOBAL };
    u64::from(id.pgn) << 24 | u64::from(id.source) << 16 | u64::from(destination) << 8 | u64::from(sequence)
}
