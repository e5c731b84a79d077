//! TCP streams: the bytes of every direction in order, and what was sent again, within fixed bounds.

use super::Tcp;
use super::recent::Recent;
use super::tcp_direction::{Direction, Outlet};
use super::tcp_stall::Stall;
use super::{SegmentKind, StreamCounts};
use crate::time::Time;
use std::hash::{Hash, Hasher};
use std::net::IpAddr;

/// Directions that are followed at one time; those not used for longest are forgotten.
pub const MAX_DIRECTIONS: usize = 4096;
/// Segments that one direction holds while a hole before them may fill.
pub const MAX_HELD_SEGMENTS: usize = 32;
/// Bytes that one direction holds.
pub const MAX_HELD_BYTES: usize = 128 * 1024;
/// Bytes that all directions of a network hold together, what it takes to keep them included. Holes fill within a round
/// trip or not at all; a boat's network holds a few hundred kilobytes in its worst moments.
pub const MAX_HELD_TOTAL: usize = 2 * 1024 * 1024;

/// One direction of a connection.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct StreamKey {
    /// Sender.
    pub source: (IpAddr, u16),
    /// Receiver.
    pub destination: (IpAddr, u16),
}

impl StreamKey {
    /// The other direction.
    #[must_use]
    pub const fn reversed(self) -> Self {
        Self { source: self.destination, destination: self.source }
    }
}

impl Hash for StreamKey {
    /// In whole words, which is sooner done than part by part.
    #[inline]
    fn hash<H: Hasher>(&self, state: &mut H) {
        for (ip, port) in [self.source, self.destination] {
            match ip {
                IpAddr::V4(ip) => state.write_u64(u64::from(ip.to_bits()) << 16 | u64::from(port)),
                IpAddr::V6(ip) => {
                    state.write_u128(ip.to_bits());
                    state.write_u16(port);
                }
            }
        }
    }
}

/// Takes the bytes of streams.
pub trait StreamSink {
    /// A stream begins, perhaps on a key that had one before. `from_start` is `false` when the recording begins in
    /// mid-stream, so that the first bytes may be the rest of something.
    fn begin(&mut self, key: &StreamKey, time: Time, from_start: bool);
    /// The next bytes, delivered at `time`.
    fn bytes(&mut self, key: &StreamKey, time: Time, bytes: &[u8]);
    /// Bytes are missing before what comes next; how many, when known.
    fn lost(&mut self, key: &StreamKey, time: Time, count: Option<u32>);
    /// The sender repeated what its peer did not acknowledge, and goes on now or has ended.
    fn stalled(&mut self, key: &StreamKey, stall: Stall);
    /// The stream is forgotten for want of room; drop what is kept of it.
    fn end(&mut self, key: &StreamKey);
}

/// All streams of a recording.
pub struct TcpStreams {
    directions: Recent<StreamKey, Direction>,
    held_total: usize,
    /// Directions that repeat what their peers do not acknowledge.
    stalled: usize,
    forgotten: StreamCounts,
    forgotten_directions: u64,
}

impl Default for TcpStreams {
    fn default() -> Self {
        Self {
            directions: Recent::new(MAX_DIRECTIONS / 2),
            held_total: 0,
            stalled: 0,
            forgotten: StreamCounts::default(),
            forgotten_directions: 0,
        }
    }
}

impl TcpStreams {
    /// Takes a segment seen at `time` and says what it is; `is_double` when it is a copy that the recorder or the
    /// network made of one frame, not its sender (see [`Copies::is_copy`](super::Copies::is_copy), best on
    /// [`likeness`](super::likeness)).
    ///
    /// Bytes that are next go to `sink` at once. Bytes behind a hole wait; when the hole does not fill within seconds
    /// or within [`MAX_HELD_SEGMENTS`], or the peer acknowledges it, `sink` is told of the loss and gets what follows.
    pub fn segment<S: StreamSink>(
        &mut self,
        time: Time,
        key: StreamKey,
        tcp: &Tcp<'_>,
        is_double: bool,
        sink: &mut S,
    ) -> SegmentKind {
        let Self { directions, held_total, stalled, forgotten, forgotten_directions } = self;
        if !is_double && (*held_total > 0 || *stalled > 0) {
            let key = key.reversed();
            if let Some(peer) = directions.peek_mut(&key) {
                let before = (peer.held_bytes(), peer.is_stalled());
                let mut out = Outlet { key, time, sink: &mut *sink };
                if tcp.flags.ack() {
                    peer.acknowledged(tcp.acknowledgment, &mut out);
                }
                if tcp.flags.rst() || tcp.flags.syn() {
                    peer.gets_on(&mut out);
                }
                *held_total = held_total.saturating_sub(before.0).saturating_add(peer.held_bytes());
                *stalled = stalled.saturating_sub((before.1 && !peer.is_stalled()).into());
            }
        }
        let direction = directions.get_or(key, Direction::default, |key, gone: Direction| {
            forgotten.add(gone.counts());
            *forgotten_directions += 1;
            *held_total = held_total.saturating_sub(gone.held_bytes());
            *stalled = stalled.saturating_sub(gone.is_stalled().into());
            sink.end(&key);
        });
        if is_double {
            direction.count_double();
            return SegmentKind::Double;
        }
        let before = (direction.held_bytes(), direction.is_stalled());
        let mut out = Outlet { key, time, sink };
        let kind = direction.segment(tcp, &mut out);
        *held_total = held_total.saturating_sub(before.0).saturating_add(direction.held_bytes());
        *stalled = stalled.saturating_sub((before.1 && !direction.is_stalled()).into());
        if *held_total > MAX_HELD_TOTAL {
            *held_total = held_total.saturating_sub(direction.held_bytes());
            direction.flush(&mut out);
        }
        if kind == SegmentKind::Retransmission && tcp.payload_len > 0 && !direction.is_stalled() {
            self.repeated(time, key, tcp.sequence.wrapping_add(tcp.payload_len));
        }
        kind
    }

    /// Notes that bytes came again which end before `end`, unless the peer is known to have them.
    #[cold]
    fn repeated(&mut self, time: Time, key: StreamKey, end: u32) {
        let arrived =
            self.directions.peek_mut(&key.reversed()).is_some_and(|peer| peer.has_acknowledged(end));
        if !arrived && let Some(direction) = self.directions.peek_mut(&key) {
            direction.repeats(end, time);
            self.stalled += 1;
        }
    }

    /// Delivers what is still held at the end of the recording.
    pub fn finish<S: StreamSink>(&mut self, time: Time, sink: &mut S) {
        let keys: Vec<_> = self.directions.sorted().into_iter().map(|(key, _)| key).collect();
        for key in keys {
            if let Some(direction) = self.directions.peek_mut(&key) {
                let mut out = Outlet { key, time, sink: &mut *sink };
                direction.flush(&mut out);
                direction.gets_on(&mut out);
            }
        }
        self.held_total = 0;
        self.stalled = 0;
    }

    /// The directions that are followed with their counts, in the order of their keys.
    #[must_use]
    pub fn directions(&self) -> Vec<(StreamKey, StreamCounts)> {
        self.directions.sorted().into_iter().map(|(key, direction)| (key, *direction.counts())).collect()
    }

    /// How many directions were forgotten, and their counts together.
    #[must_use]
    pub const fn forgotten(&self) -> (u64, StreamCounts) {
        (self.forgotten_directions, self.forgotten)
    }
}

#[cfg(test)]
#[path = "tcp_stream_tests.rs"]
mod tests;
