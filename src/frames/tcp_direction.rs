//! One direction of a TCP connection: what each segment is, and its bytes in order.

use super::Tcp;
use super::tcp_stall::Progress;
use super::tcp_stream::{MAX_HELD_BYTES, MAX_HELD_SEGMENTS, StreamKey, StreamSink};
use crate::time::Time;
use std::collections::VecDeque;

/// Microseconds within which a filled hole is mere reordering (the fact sheet's rule; common practice).
const REORDERING_US: i64 = 3_000;
/// Seconds to wait for a hole to fill: beyond the usual first retransmissions (RFC 6298: 1, 2 s).
const HOLE_WAIT_S: f64 = 5.0;
/// What it takes to hold a segment beside its bytes, at least: many small ones must not pass for little.
const HELD_OVERHEAD: usize = 96;
/// A distance in sequence numbers that no window explains here: the numbers start anew.
const MAX_JUMP: u32 = 1 << 24;

/// What a segment is, seen against those before it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum SegmentKind {
    /// No bytes in the sequence: a pure acknowledgment or reset.
    Empty,
    /// The next bytes.
    New,
    /// New bytes that begin after ones that were never seen.
    AfterGap,
    /// All of it was seen before, or comes too late to be mere reordering.
    Retransmission,
    /// Fills a hole within milliseconds: overtaken on the way.
    OutOfOrder,
    /// Asks an idle peer whether it lives, or probes a closed window: 0 or 1 byte before the next.
    KeepAlive,
    /// A copy that the recorder's mirror or the network made; not counted otherwise.
    Double,
}

/// Counts of one direction.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct StreamCounts {
    /// Segments, without doubles.
    pub segments: u64,
    /// Segments with payload, without keep-alives and doubles.
    pub data_segments: u64,
    /// Of these, the ones sent again.
    pub retransmitted: u64,
    /// Of these, the ones that were overtaken.
    pub out_of_order: u64,
    /// Keep-alives and window probes.
    pub keep_alives: u64,
    /// Copies made by the recorder's mirror or the network.
    pub doubles: u64,
    /// Payload bytes, those sent again included.
    pub payload_bytes: u64,
    /// Payload bytes sent again.
    pub retransmitted_bytes: u64,
    /// SYN segments, repeats included.
    pub syn: u64,
    /// Of these, repeats of the same one: nobody answered in time.
    pub syn_repeated: u64,
    /// FIN segments.
    pub fin: u64,
    /// RST segments.
    pub rst: u64,
    /// Segments that say "my receive buffer is full".
    pub zero_windows: u64,
    /// Holes that never filled and that the peer acknowledged: only the recorder missed the bytes.
    pub gaps_recorder: u64,
    /// Holes that never filled, not seen to be acknowledged.
    pub gaps: u64,
    /// Bytes in all such holes.
    pub gap_bytes: u64,
}

impl StreamCounts {
    /// Adds another direction's counts.
    pub fn add(&mut self, other: &Self) {
        self.segments += other.segments;
        self.data_segments += other.data_segments;
        self.retransmitted += other.retransmitted;
        self.out_of_order += other.out_of_order;
        self.keep_alives += other.keep_alives;
        self.doubles += other.doubles;
        self.payload_bytes += other.payload_bytes;
        self.retransmitted_bytes += other.retransmitted_bytes;
        self.syn += other.syn;
        self.syn_repeated += other.syn_repeated;
        self.fin += other.fin;
        self.rst += other.rst;
        self.zero_windows += other.zero_windows;
        self.gaps_recorder += other.gaps_recorder;
        self.gaps += other.gaps;
        self.gap_bytes += other.gap_bytes;
    }
}

/// Sequence numbers, once known.
#[derive(Clone, Copy)]
struct Numbers {
    /// Behind the highest byte seen.
    next: u32,
    /// Behind the last byte delivered.
    delivered: u32,
}

/// A segment that waits for the bytes before it.
struct Held {
    from: u32,
    len: u32,
    time: Time,
    /// What the recorder kept of it; perhaps fewer than `len`.
    bytes: Vec<u8>,
}

/// State of one direction.
#[derive(Default)]
pub(super) struct Direction {
    counts: StreamCounts,
    /// Sequence number of the SYN, when it was seen.
    opened: Option<u32>,
    numbers: Option<Numbers>,
    /// In the order of `from`; may overlap.
    held: VecDeque<Held>,
    held_bytes: usize,
    /// When the peer first acknowledged bytes in the present hole.
    hole_acknowledged: Option<Time>,
    progress: Progress,
    /// The number behind all bytes of the peer that it acknowledged last.
    acknowledges: Option<u32>,
}

/// How far `a` lies behind `b`; negative when before it (RFC 9293 3.4: modulo 2^32).
const fn distance(a: u32, b: u32) -> i32 {
    a.wrapping_sub(b).cast_signed()
}

/// Where the stream's bytes go: the sink, with the key and time that it is told.
pub(super) struct Outlet<'a, S> {
    pub(super) key: StreamKey,
    pub(super) time: Time,
    pub(super) sink: &'a mut S,
}

impl<S: StreamSink> Outlet<'_, S> {
    fn begin(&mut self, from_start: bool) {
        self.sink.begin(&self.key, self.time, from_start);
    }

    /// Delivers the bytes of a segment that had `len`; what the recorder cut off is lost.
    fn bytes(&mut self, bytes: &[u8], len: u32) {
        if !bytes.is_empty() {
            self.sink.bytes(&self.key, self.time, bytes);
        }
        let missing = u64::from(len).saturating_sub(bytes.len() as u64);
        if missing > 0 {
            self.sink.lost(&self.key, self.time, u32::try_from(missing).ok());
        }
    }

    fn lost(&mut self, count: Option<u32>) {
        self.sink.lost(&self.key, self.time, count);
    }
}

impl Direction {
    pub(super) const fn counts(&self) -> &StreamCounts {
        &self.counts
    }

    pub(super) const fn held_bytes(&self) -> usize {
        self.held_bytes
    }

    /// Whether it repeats what the peer does not acknowledge.
    pub(super) const fn is_stalled(&self) -> bool {
        self.progress.is_stalled()
    }

    /// Whether it has acknowledged all of the peer's bytes before `end`.
    pub(super) fn has_acknowledged(&self, end: u32) -> bool {
        self.acknowledges.is_some_and(|number| distance(number, end) >= 0)
    }

    /// Bytes came again that end before `end` and that the peer has not acknowledged.
    pub(super) fn repeats(&mut self, end: u32, time: Time) {
        self.progress.repeat(time, end);
    }

    /// Whatever it waited for, it waits no longer.
    pub(super) fn gets_on<S: StreamSink>(&mut self, out: &mut Outlet<'_, S>) {
        if let Some(stall) = self.progress.over(out.time) {
            out.sink.stalled(&out.key, stall);
        }
    }

    pub(super) fn count_double(&mut self) {
        self.counts.doubles += 1;
    }

    /// Takes a segment of this direction.
    pub(super) fn segment<S: StreamSink>(&mut self, tcp: &Tcp<'_>, out: &mut Outlet<'_, S>) -> SegmentKind {
        let flags = tcp.flags;
        self.counts.segments += 1;
        self.counts.rst += u64::from(flags.rst());
        self.counts.syn += u64::from(flags.syn());
        self.counts.fin += u64::from(flags.fin());
        self.counts.zero_windows += u64::from(tcp.window == 0 && !flags.rst() && !flags.syn());
        self.give_up_stale(out);
        if flags.rst() || flags.syn() || flags.fin() {
            self.gets_on(out);
        }
        if flags.ack() {
            self.acknowledges = Some(tcp.acknowledgment);
        }
        if flags.rst() {
            // Bytes in a reset are a message to people at most (RFC 9293 3.5.3).
            return SegmentKind::Empty;
        }
        let from = if flags.syn() { tcp.sequence.wrapping_add(1) } else { tcp.sequence };
        if flags.syn() {
            // Small stacks begin with the same number after every start: only before any data is it a repeat.
            let nothing_since = self.numbers.is_some_and(|numbers| numbers.next == from);
            if self.opened == Some(tcp.sequence) && nothing_since {
                self.counts.syn_repeated += 1;
                return SegmentKind::Retransmission;
            }
            self.flush(out);
            self.opened = Some(tcp.sequence);
            self.numbers = Some(Numbers { next: from, delivered: from });
            out.begin(true);
            if tcp.payload_len == 0 && !flags.fin() {
                return SegmentKind::New;
            }
        }
        let ahead = self.numbers.map(|numbers| distance(from, numbers.next));
        if tcp.payload_len == 0 && !flags.fin() {
            if ahead == Some(-1) {
                self.counts.keep_alives += 1;
                return SegmentKind::KeepAlive;
            }
            return SegmentKind::Empty;
        }
        if tcp.payload_len == 1 && !flags.fin() && ahead == Some(-1) {
            self.counts.keep_alives += 1;
            return SegmentKind::KeepAlive;
        }
        self.data(from, tcp, out)
    }

    /// A segment with payload, or a FIN.
    fn data<S: StreamSink>(&mut self, from: u32, tcp: &Tcp<'_>, out: &mut Outlet<'_, S>) -> SegmentKind {
        let len = tcp.payload_len;
        let numbers = match self.numbers {
            Some(numbers) if distance(from, numbers.next).unsigned_abs() <= MAX_JUMP => numbers,
            known => {
                // The recording begins in mid-stream, or a new connection's opening was missed.
                self.flush(out);
                if known.is_some() {
                    self.opened = None;
                }
                out.begin(false);
                Numbers { next: from, delivered: from }
            }
        };
        self.numbers = Some(numbers);
        let data_end = from.wrapping_add(len);
        let end = data_end.wrapping_add(tcp.flags.fin().into());
        let kind = if distance(from, numbers.next) > 0 {
            SegmentKind::AfterGap
        } else if distance(end, numbers.next) > 0 {
            SegmentKind::New
        } else {
            match self.hole(from, data_end) {
                Some(later) if out.time.micros_since(later) <= REORDERING_US => SegmentKind::OutOfOrder,
                _ => SegmentKind::Retransmission,
            }
        };
        if len > 0 {
            self.counts.data_segments += 1;
            self.counts.payload_bytes += u64::from(len);
            match kind {
                SegmentKind::Retransmission => {
                    self.counts.retransmitted += 1;
                    self.counts.retransmitted_bytes += u64::from(len);
                }
                SegmentKind::OutOfOrder => self.counts.out_of_order += 1,
                _ => {
                    if let Some(stall) = self.progress.new_data(out.time) {
                        out.sink.stalled(&out.key, stall);
                    }
                }
            }
            self.take(from, tcp, out);
        }
        if let Some(numbers) = &mut self.numbers {
            if distance(end, numbers.next) > 0 {
                numbers.next = end;
            }
            if tcp.flags.fin() && numbers.delivered == data_end {
                numbers.delivered = end;
            }
        }
        kind
    }

    /// Delivers a segment's bytes, or holds them until the hole before them fills.
    fn take<S: StreamSink>(&mut self, from: u32, tcp: &Tcp<'_>, out: &mut Outlet<'_, S>) {
        let Some(numbers) = &mut self.numbers else { return };
        let ahead = distance(from, numbers.delivered);
        if ahead <= 0 {
            deliver(numbers, from, tcp.payload, tcp.payload_len, out);
            self.drain(out);
            return;
        }
        let covered = distance(from.wrapping_add(tcp.payload_len), numbers.next) <= 0
            && self.hole(from, from.wrapping_add(tcp.payload_len)).is_none();
        if !covered {
            let delivered = self.numbers.map_or(from, |numbers| numbers.delivered);
            let at = self.held.partition_point(|held| distance(held.from, delivered) <= ahead);
            let held = Held { from, len: tcp.payload_len, time: out.time, bytes: tcp.payload.to_vec() };
            self.held_bytes += held.bytes.len() + HELD_OVERHEAD;
            self.held.insert(at, held);
        }
        while self.held.len() > MAX_HELD_SEGMENTS || self.held_bytes > MAX_HELD_BYTES {
            self.resume(out);
        }
    }

    /// Whether some of the bytes `from..to` (none behind `next`) were never seen; then when the first byte after that
    /// hole came.
    fn hole(&self, from: u32, to: u32) -> Option<Time> {
        let mut covered = self.numbers?.delivered;
        for held in &self.held {
            // Bytes covered..held.from are a hole: does from..to touch it?
            if distance(held.from, covered) > 0 && distance(held.from, from) > 0 && distance(to, covered) > 0
            {
                return Some(held.time);
            }
            let end = held.from.wrapping_add(held.len);
            if distance(end, covered) > 0 {
                covered = end;
            }
        }
        None
    }

    /// Delivers what was held and is next now.
    fn drain<S: StreamSink>(&mut self, out: &mut Outlet<'_, S>) {
        let Some(numbers) = &mut self.numbers else { return };
        while let Some(held) = self.held.pop_front_if(|held| distance(held.from, numbers.delivered) <= 0) {
            self.held_bytes = self.held_bytes.saturating_sub(held.bytes.len() + HELD_OVERHEAD);
            deliver(numbers, held.from, &held.bytes, held.len, out);
            self.hole_acknowledged = None;
        }
        if self.held.is_empty() {
            self.hole_acknowledged = None;
        }
    }

    /// Gives the present hole up and goes on behind it.
    pub(super) fn resume<S: StreamSink>(&mut self, out: &mut Outlet<'_, S>) {
        let (Some(numbers), Some(first)) = (&mut self.numbers, self.held.front()) else { return };
        let missing = first.from.wrapping_sub(numbers.delivered);
        if self.hole_acknowledged.is_some() {
            self.counts.gaps_recorder += 1;
        } else {
            self.counts.gaps += 1;
        }
        self.counts.gap_bytes += u64::from(missing);
        numbers.delivered = first.from;
        out.lost(Some(missing));
        self.drain(out);
    }

    /// Gives up holes that are older than [`HOLE_WAIT_S`], or acknowledged for longer than reordering takes.
    fn give_up_stale<S: StreamSink>(&mut self, out: &mut Outlet<'_, S>) {
        while let Some(first) = self.held.front() {
            let acknowledged =
                self.hole_acknowledged.is_some_and(|at| out.time.micros_since(at) > REORDERING_US);
            if !acknowledged && out.time.since(first.time) <= HOLE_WAIT_S {
                return;
            }
            self.resume(out);
        }
    }

    /// Delivers everything that is held, holes or not.
    pub(super) fn flush<S: StreamSink>(&mut self, out: &mut Outlet<'_, S>) {
        while !self.held.is_empty() {
            self.resume(out);
        }
    }

    /// The peer has acknowledged all bytes before `number`.
    pub(super) fn acknowledged<S: StreamSink>(&mut self, number: u32, out: &mut Outlet<'_, S>) {
        if let Some(stall) = self.progress.acknowledged(number, out.time) {
            out.sink.stalled(&out.key, stall);
        }
        let Some(first) = self.held.front() else { return };
        if distance(number, first.from) >= 0 && self.hole_acknowledged.is_none() {
            self.hole_acknowledged = Some(out.time);
        }
        self.give_up_stale(out);
    }
}

/// Delivers what is new in a segment that begins at or before the next byte.
fn deliver<S: StreamSink>(numbers: &mut Numbers, from: u32, bytes: &[u8], len: u32, out: &mut Outlet<'_, S>) {
    let known = numbers.delivered.wrapping_sub(from);
    let Some(new) = len.checked_sub(known).filter(|new| *new > 0) else { return };
    numbers.delivered = from.wrapping_add(len);
    let skip = usize::try_from(known).unwrap_or(usize::MAX);
    out.bytes(bytes.get(skip..).unwrap_or_default(), new);
}
