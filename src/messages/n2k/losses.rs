//! How many multi-frame messages arrived whole, per sender and PGN.

use rustc_hash::FxHashMap;

/// Streams (sender and PGN) that are accounted for; more than a full bus of real devices ever sends.
pub(super) const MAX_STREAMS: usize = 1024;

/// What became of the multi-frame messages of one sender and PGN.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct StreamLosses {
    /// Address of the sender.
    pub source: u8,
    /// The message.
    pub pgn: u32,
    /// Messages that arrived whole.
    pub complete: u64,
    /// Messages of which at least one frame is missing.
    pub incomplete: u64,
}

/// The account of all streams.
#[derive(Debug, Default)]
pub(super) struct Ledger {
    index: FxHashMap<(u8, u32), usize>,
    streams: Vec<StreamLosses>,
    unbooked: u64,
}

impl Ledger {
    /// The stream's number and whether it is new; `None` when the table is full.
    pub(super) fn stream(&mut self, source: u8, pgn: u32) -> Option<(usize, bool)> {
        if let Some(known) = self.index.get(&(source, pgn)) {
            return Some((*known, false));
        }
        let number = self.streams.len();
        if number >= MAX_STREAMS {
            self.unbooked += 1;
            return None;
        }
        self.index.insert((source, pgn), number);
        self.streams.push(StreamLosses { source, pgn, complete: 0, incomplete: 0 });
        Some((number, true))
    }

    /// One message more arrived whole.
    pub(super) fn complete(&mut self, stream: Option<usize>) {
        if let Some(stream) = stream.and_then(|number| self.streams.get_mut(number)) {
            stream.complete += 1;
        }
    }

    /// One message more has a frame missing.
    pub(super) fn incomplete(&mut self, stream: Option<usize>) {
        if let Some(stream) = stream.and_then(|number| self.streams.get_mut(number)) {
            stream.incomplete += 1;
        }
    }

    /// Multi-frame messages of streams that found no room.
    pub(super) fn unbooked(&self) -> u64 {
        self.unbooked
    }

    /// The account, by number.
    pub(super) fn streams(&self) -> &[StreamLosses] {
        &self.streams
    }
}
