//! A message in several frames, from its first one on.

use super::content::Content;
use super::place::Place;
use crate::recording::Tape;
use crate::time::Time;

/// As in `messages::n2k`: a fast packet's time-out, an echo's.
const FAST_TIMEOUT_US: u64 = 750_000;
const ECHO_US: u64 = 20_000;

/// A frame of a message: which share of it, and where.
#[derive(Debug)]
pub(super) struct Part {
    pub(super) place: Place,
    /// Bytes of the frame.
    pub(super) len: usize,
    /// Where its share begins in the message, and which of its bytes carries the share's first.
    pub(super) from: usize,
    pub(super) head: usize,
}

/// A message that is being put together, or was a moment ago.
#[derive(Debug, Default)]
pub(super) struct Session {
    pub(super) fast: bool,
    pub(super) key: u64,
    pub(super) pgn: u32,
    pub(super) source: u8,
    /// Frames that wait; empty once the message is written.
    pub(super) parts: Vec<Part>,
    pub(super) begin: u64,
    pub(super) last: Option<Time>,
    pub(super) counter: u8,
    /// Packets that are missing, for the transport protocol.
    pub(super) missing: Vec<bool>,
    pub(super) length: usize,
    pub(super) old: Vec<u8>,
    /// The rewritten message, for echoes.
    pub(super) new: Vec<u8>,
    /// Whether it is.
    pub(super) written: bool,
}

impl Session {
    /// Blanks the frames: what is left is their place in the order, and the length that the first one states.
    pub(super) fn blank(&mut self, tape: &mut Tape) {
        for part in self.parts.drain(..) {
            part.place.put(tape, part.head, [0xFF; 8].get(part.head..part.len).unwrap_or_default());
        }
        self.begin = u64::MAX;
    }

    pub(super) fn push(&mut self, part: Part) {
        self.begin = self.begin.min(part.place.begin(part.len));
        self.parts.push(part);
    }

    /// Writes the message, rewritten, over its frames.
    pub(super) fn deliver(&mut self, tape: &mut Tape, content: &mut Content, time: Option<Time>) {
        self.new.clear();
        self.new.extend_from_slice(self.old.get(..self.length).unwrap_or(&self.old));
        content.n2k(self.pgn, self.source, time, &mut self.new);
        for part in self.parts.drain(..) {
            write_share(tape, &part, &self.new);
        }
        self.begin = u64::MAX;
        self.written = true;
    }

    pub(super) fn is_over(&self, now: Option<Time>) -> bool {
        matches!((self.last, now), (Some(last), Some(now)) if last.0.abs_diff(now.0) > FAST_TIMEOUT_US)
    }

    /// Whether a frame says again what the session already has (the reader's rule).
    pub(super) fn is_echo(
        &self,
        time: Option<Time>,
        counter: u8,
        body: &[u8],
        from: usize,
        share: &[u8],
    ) -> bool {
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

/// Writes a frame's share of a message; filling behind its end is blanked.
pub(super) fn write_share(tape: &mut Tape, part: &Part, message: &[u8]) {
    let mut share = [0xFF; 8];
    let len = part.len.saturating_sub(part.head).min(share.len());
    for (to, from) in share.iter_mut().zip(message.get(part.from..).unwrap_or_default()) {
        *to = *from;
    }
    part.place.put(tape, part.head, share.get(..len).unwrap_or_default());
}
