//! ISO transport protocol: messages of 9 to 1785 bytes. Source: ISO 11783-3 5.11, SAE J1939-21 5.10.
//!
//! A sender announces a message (to all: BAM; to one node: RTS) and then sends numbered packets of 7 bytes. Packets
//! may be repeated on demand of the receiver, so a message is whole when every number has been there.

use super::id::{CanId, GLOBAL};
use super::losses::Ledger;
use crate::time::Time;

/// Longest message: 255 packets of 7 bytes.
pub const MAX_TRANSPORT: usize = 1785;

/// Messages under way at one moment; the one that was longest without a frame goes first.
const MAX_SESSIONS: usize = 64;

/// T1: a receiver of a broadcast gives up after so long without a packet.
const BROADCAST_TIMEOUT_US: u64 = 750_000;

/// T2 and T3: an addressed message is given up after so long without a frame of either side.
const ADDRESSED_TIMEOUT_US: u64 = 1_250_000;

/// Control bytes of the connection management message.
const RTS: u8 = 16;
const CTS: u8 = 17;
const BAM: u8 = 32;
const ABORT: u8 = 255;

#[derive(Debug)]
struct Session {
    /// What the finished message is delivered under; its source and destination are the session's key.
    id: CanId,
    last: Option<Time>,
    stream: Option<usize>,
    length: usize,
    /// A bit for each packet number that has been there.
    received: [u64; 4],
    missing: u32,
    bytes: Vec<u8>,
}

/// Puts transported messages together.
#[derive(Debug, Default)]
pub(super) struct Transport {
    sessions: Vec<Session>,
    /// Buffers of finished sessions, kept for the next ones.
    spare: Vec<Vec<u8>>,
}

impl Transport {
    /// Takes a connection management frame (PGN 60416).
    pub(super) fn manage(&mut self, time: Option<Time>, id: CanId, data: &[u8], ledger: &mut Ledger) {
        let Some(&[control, low, high, packets, _, p0, p1, p2]) = data.first_chunk() else { return };
        let length = usize::from(u16::from_le_bytes([low, high]));
        let pgn = u32::from_le_bytes([p0, p1, p2, 0]) & 0x3_FFFF;
        match control {
            BAM if id.destination == GLOBAL => self.open(time, id, pgn, length, packets, ledger),
            RTS if id.destination != GLOBAL => self.open(time, id, pgn, length, packets, ledger),
            // The receiver speaks: the session is the one of the other direction.
            CTS => {
                let session = self.find(id.destination, id.source);
                if let Some(session) = session.and_then(|at| self.sessions.get_mut(at)) {
                    session.last = time;
                }
            }
            ABORT => {
                let own = self.find(id.source, id.destination);
                if let Some(at) = own.or_else(|| self.find(id.destination, id.source)) {
                    self.close(at, false, ledger);
                }
            }
            _ => {}
        }
    }

    /// Takes a data frame (PGN 60160); hands a message on when nothing of it is missing any more.
    pub(super) fn data(
        &mut self,
        time: Option<Time>,
        id: CanId,
        data: &[u8],
        ledger: &mut Ledger,
        deliver: &mut dyn FnMut(CanId, &[u8]),
    ) {
        let Some(at) = self.find(id.source, id.destination) else { return };
        let Some(session) = self.sessions.get_mut(at) else { return };
        if session.is_over(time) {
            self.close(at, false, ledger);
            return;
        }
        session.last = time;
        let Some((&number, body)) = data.split_first() else { return };
        session.store(number, body);
        if session.missing == 0 {
            deliver(session.id, &session.bytes);
            self.close(at, true, ledger);
        }
    }

    /// Messages that are unfinished at `end` and got no frame for their time-out, by stream.
    pub(super) fn overdue(&self, end: Option<Time>) -> impl Iterator<Item = usize> {
        let overdue = move |session: &&Session| session.is_begun() && session.is_over(end);
        self.sessions.iter().filter(overdue).filter_map(|session| session.stream)
    }

    fn find(&self, source: u8, destination: u8) -> Option<usize> {
        let same = |session: &Session| session.id.source == source && session.id.destination == destination;
        self.sessions.iter().position(same)
    }

    fn open(
        &mut self,
        time: Option<Time>,
        id: CanId,
        pgn: u32,
        length: usize,
        packets: u8,
        ledger: &mut Ledger,
    ) {
        if let Some(at) = self.find(id.source, id.destination) {
            self.close(at, false, ledger);
        }
        if !(1..=MAX_TRANSPORT).contains(&length) || length.div_ceil(7) != usize::from(packets) {
            return;
        }
        if self.sessions.len() >= MAX_SESSIONS {
            let oldest = self.sessions.iter().enumerate().min_by_key(|(_, session)| session.last);
            if let Some(at) = oldest.map(|(at, _)| at) {
                self.close(at, false, ledger);
            }
        }
        let mut bytes = self.spare.pop().unwrap_or_default();
        bytes.clear();
        bytes.resize(length, 0xFF);
        self.sessions.push(Session {
            id: CanId { pgn, ..id },
            last: time,
            stream: ledger.stream(id.source, pgn).map(|(number, _)| number),
            length,
            received: [0; 4],
            missing: packets.into(),
            bytes,
        });
    }

    fn close(&mut self, at: usize, whole: bool, ledger: &mut Ledger) {
        if at >= self.sessions.len() {
            return;
        }
        let session = self.sessions.swap_remove(at);
        if whole {
            ledger.complete(session.stream);
        } else if session.is_begun() {
            ledger.incomplete(session.stream);
        }
        self.spare.push(session.bytes);
    }
}

impl Session {
    fn store(&mut self, number: u8, body: &[u8]) {
        let Some(from) = usize::from(number).checked_sub(1).map(|index| index * 7) else { return };
        let to = self.length.min(from + 7);
        let word = self.received.get_mut(usize::from(number / 64));
        let (Some(place), Some(bytes), Some(word)) =
            (self.bytes.get_mut(from..to), body.get(..to.saturating_sub(from)), word)
        else {
            return;
        };
        let bit = 1_u64 << (number % 64);
        if !place.is_empty() && *word & bit == 0 {
            *word |= bit;
            self.missing = self.missing.saturating_sub(1);
        }
        place.copy_from_slice(bytes);
    }

    /// Whether its loss counts: an addressed message that its receiver never let begin has lost no frame.
    fn is_begun(&self) -> bool {
        self.id.destination == GLOBAL || self.received != [0; 4]
    }

    fn is_over(&self, now: Option<Time>) -> bool {
        let timeout = if self.id.destination == GLOBAL { BROADCAST_TIMEOUT_US } else { ADDRESSED_TIMEOUT_US };
        matches!((self.last, now), (Some(last), Some(now)) if last.0.abs_diff(now.0) > timeout)
    }
}
