//! How many multi-frame messages arrived whole, per sender and PGN.

use crate::time::{Span, Time};
use rustc_hash::FxHashMap;

/// Streams (sender and PGN) that are accounted for; more than a full bus of real devices ever sends.
pub(super) const MAX_STREAMS: usize = 1024;

/// Most stretches in which frames came and no whole message that are remembered, a bus.
const MAX_BROKEN: usize = 256;

/// A stretch without a whole message is one of broken ones when no pause between its frames takes more than this part of it.
const FRAMES_COME: u64 = 3;

/// Shorter stretches are no silence of a message, microseconds.
const SHORTEST_US: u64 = 1_500_000;

/// A stretch in which frames of a multi-frame message came and no whole message.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Broken {
    /// Address of the sender.
    pub source: u8,
    /// The message.
    pub pgn: u32,
    /// From the last whole message before to the first one after it, or to the last frame of all.
    pub span: Span,
    /// The longest pause between its frames, microseconds.
    pub longest_us: u64,
}

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
    /// How the frames of each stream came since its last whole message.
    frames: Vec<Arrivals>,
    broken: Vec<Broken>,
    unbooked: u64,
}

/// Frames of a stream since its last whole message.
#[derive(Debug, Clone, Copy, Default)]
struct Arrivals {
    whole: Option<Time>,
    last: Option<Time>,
    longest_us: u64,
}

impl Arrivals {
    fn frame(&mut self, time: Time) {
        if let Some(last) = self.last {
            self.longest_us = self.longest_us.max(last.0.abs_diff(time.0));
        }
        self.last = Some(time);
    }

    /// The stretch up to a moment, when it is one of broken messages.
    fn broken(&self, (source, pgn): (u8, u32), to: Option<Time>) -> Option<Broken> {
        let (from, to) = self.whole.zip(to).filter(|(from, to)| from < to)?;
        let us = from.0.abs_diff(to.0);
        let longest_us = self.longest_us;
        (us >= SHORTEST_US && longest_us.saturating_mul(FRAMES_COME) <= us).then_some(Broken {
            source,
            pgn,
            span: Span::new(from, to),
            longest_us,
        })
    }
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
        self.frames.push(Arrivals::default());
        Some((number, true))
    }

    /// A frame of a fast packet came.
    pub(super) fn frame(&mut self, stream: Option<usize>, time: Option<Time>) {
        let arrivals = stream.and_then(|number| self.frames.get_mut(number));
        if let Some((arrivals, time)) = arrivals.zip(time) {
            arrivals.frame(time);
        }
    }

    /// One message more arrived whole.
    pub(super) fn complete(&mut self, stream: Option<usize>) {
        let Some(number) = stream else { return };
        let (Some(stream), Some(arrivals)) = (self.streams.get_mut(number), self.frames.get_mut(number))
        else {
            return;
        };
        stream.complete += 1;
        let broken = arrivals.broken((stream.source, stream.pgn), arrivals.last);
        *arrivals = Arrivals { whole: arrivals.last, last: arrivals.last, longest_us: 0 };
        if let Some(broken) = broken.filter(|_| self.broken.len() < MAX_BROKEN) {
            self.broken.push(broken);
        }
    }

    /// The stretches in which frames came and no whole message, up to the last frames of all.
    pub(super) fn broken(&self) -> Vec<Broken> {
        let at_end = self.streams.iter().zip(&self.frames);
        let at_end = at_end.filter_map(|(s, frames)| frames.broken((s.source, s.pgn), frames.last));
        self.broken.iter().copied().chain(at_end.take(MAX_BROKEN)).collect()
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
