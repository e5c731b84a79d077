//! TCP streams: lines across segments are rewritten when they end, everything else is blanked.

use super::fix::Carries;
use super::link::Way;
use super::spots::Spots;
use super::{Desk, blank};
use crate::frames::{MAX_LINE, StreamKey, Tcp, looks_like_lines};
use crate::recording::Tape;
use rustc_hash::FxHashMap;
use std::collections::VecDeque;

/// Directions that are followed; the one without a segment for longest makes room.
const MAX_STREAMS: usize = 1024;

/// Last bytes of a stream that are remembered, for those that are sent again.
const MAX_REMEMBERED: usize = 32 << 10;

/// Segments that wait behind a hole (as `frames::MAX_HELD_SEGMENTS`).
const MAX_AHEAD: usize = 32;

/// Bytes of a stream's beginning in which a line must be found for the stream to be text (as the survey has it).
const TEXT_WITHIN: usize = 2048;

/// Which stream: wire and ends.
type Key = (usize, StreamKey);

/// A segment behind a hole.
#[derive(Debug)]
struct Ahead {
    sequence: u32,
    places: Spots,
    way: Way,
}

#[derive(Debug)]
struct Stream {
    next: u32,
    is_text: Option<bool>,
    /// The line that has begun, where it lies.
    partial: Vec<u8>,
    places: Spots,
    /// Whether bytes are blanked up to the next line end.
    skipping: bool,
    /// Whether the next line may be the rest of one.
    may_be_rest: bool,
    ahead: VecDeque<Ahead>,
    /// The last bytes that were written, and the number of the byte behind them.
    written: VecDeque<u8>,
    written_end: u32,
    used: u64,
}

impl Stream {
    fn new(next: u32, from_start: bool) -> Self {
        Self {
            next,
            is_text: None,
            partial: Vec::new(),
            places: Spots::default(),
            skipping: false,
            may_be_rest: !from_start,
            ahead: VecDeque::new(),
            written: VecDeque::new(),
            written_end: next,
            used: 0,
        }
    }

    fn front(&self) -> u64 {
        let ahead = self.ahead.iter().map(|ahead| ahead.places.begin());
        ahead.chain([self.places.begin()]).min().unwrap_or(u64::MAX)
    }

    /// Blanks what waits.
    fn blank(&mut self, tape: &mut Tape) {
        for places in [&self.places].into_iter().chain(self.ahead.iter().map(|ahead| &ahead.places)) {
            let mut bytes = places.read(tape);
            blank::text(&mut bytes);
            places.write(tape, &bytes);
        }
        self.ahead.clear();
        self.partial.clear();
        self.places = Spots::default();
        self.may_be_rest = true;
        self.skipping = false;
    }
}

/// All streams.
#[derive(Debug, Default)]
pub(super) struct Streams {
    streams: FxHashMap<Key, Stream>,
    count: u64,
}

impl Streams {
    /// Offset of the first byte that waits.
    pub(super) fn front(&self) -> u64 {
        self.streams.values().map(Stream::front).min().unwrap_or(u64::MAX)
    }

    /// A segment's bytes are final but for those sent before: these are repeated as they were written, and the others
    /// remembered.
    pub(super) fn remember(&mut self, carries: &Carries, payload: &mut [u8]) {
        let Some(stream) = self.streams.get_mut(&carries.key) else { return };
        let (again, fresh) = payload.split_at_mut(carries.again.min(payload.len()));
        let begin = stream.written_end.wrapping_sub(stream.written.len() as u32);
        for (n, byte) in again.iter_mut().enumerate() {
            let at = carries.sequence.wrapping_add(n as u32).wrapping_sub(begin) as usize;
            if let Some(written) = stream.written.get(at) {
                *byte = *written;
            }
        }
        if fresh.is_empty() {
            return;
        }
        // The window of what is remembered moves with the farthest byte; a hole in it may still be filled.
        let from = carries.sequence.wrapping_add(again.len() as u32);
        let end = from.wrapping_add(fresh.len() as u32);
        let step = end.wrapping_sub(stream.written_end) as i32;
        if step.unsigned_abs() as usize > MAX_REMEMBERED {
            stream.written.clear();
            stream.written_end = from;
        }
        if from == stream.written_end {
            stream.written.extend(&*fresh);
            stream.written_end = end;
        } else {
            for _ in 0..(end.wrapping_sub(stream.written_end) as i32).max(0) {
                stream.written.push_back(0);
                stream.written_end = stream.written_end.wrapping_add(1);
            }
            let begin = stream.written_end.wrapping_sub(stream.written.len() as u32);
            for (n, byte) in fresh.iter().enumerate() {
                let at = from.wrapping_add(n as u32).wrapping_sub(begin) as usize;
                if let Some(to) = stream.written.get_mut(at) {
                    *to = *byte;
                }
            }
        }
        let over = stream.written.len().saturating_sub(MAX_REMEMBERED);
        stream.written.drain(..over);
    }
}

impl Desk {
    /// Takes a segment; how many of its first bytes were there before, or `None` when its stream is not text.
    pub(super) fn stream_segment(
        &mut self,
        tape: &mut Tape,
        key: Key,
        tcp: &Tcp<'_>,
        payload: &mut [u8],
        places: &Spots,
        way: Way,
    ) -> Option<usize> {
        let sequence = tcp.sequence.wrapping_add(u32::from(tcp.flags.syn()));
        let mut stream = self.stream(tape, key, sequence, tcp)?;
        let mut again = None;
        if !payload.is_empty() {
            let distance = sequence.wrapping_sub(stream.next) as i32;
            // So far ahead or behind is another connection, or a number that was made up.
            if distance.unsigned_abs() > 1 << 24 {
                stream.blank(tape);
                stream.next = sequence;
            }
            let distance = sequence.wrapping_sub(stream.next) as i32;
            if distance > 0 {
                stream.ahead.push_back(Ahead { sequence, places: places.clone(), way });
                again = Some(0);
                // The segment's bytes stay on the tape as they are until the hole is filled.
                if stream.ahead.len() > MAX_AHEAD {
                    self.jump(tape, &mut stream);
                }
            } else {
                let old = (distance.unsigned_abs() as usize).min(payload.len());
                let (before, fresh) = payload.split_at_mut(old);
                blank::text(before);
                let fresh_places = places.part(old, fresh.len());
                self.accept(tape, &mut stream, fresh, &fresh_places, way);
                if stream.is_text == Some(true) {
                    again = Some(old);
                } else {
                    before.fill(0);
                }
            }
            // Lines that end here may begin in segments before, and what waited may follow: all on the tape.
            self.drain_ahead(tape, &mut stream, (places, payload));
        }
        if tcp.flags.rst() {
            // What waits may lie in this very segment, which is not yet on the tape.
            places.write(tape, payload);
            stream.blank(tape);
            payload.copy_from_slice(&places.read(tape));
        }
        self.streams.streams.insert(key, stream);
        again
    }

    /// Takes the stream out of the table, or makes it.
    fn stream(&mut self, tape: &mut Tape, key: Key, sequence: u32, tcp: &Tcp<'_>) -> Option<Stream> {
        self.streams.count += 1;
        let used = self.streams.count;
        let known = self.streams.streams.remove(&key);
        let mut stream = match known {
            Some(mut stream) if tcp.flags.syn() && stream.next != sequence => {
                stream.blank(tape);
                Stream::new(sequence, true)
            }
            Some(stream) => stream,
            None => {
                if self.streams.streams.len() >= MAX_STREAMS {
                    let oldest = self.streams.streams.iter().min_by_key(|(_, stream)| stream.used);
                    if let Some(oldest) = oldest.map(|(key, _)| *key)
                        && let Some(mut stream) = self.streams.streams.remove(&oldest)
                    {
                        stream.blank(tape);
                    }
                }
                Stream::new(sequence, tcp.flags.syn())
            }
        };
        stream.used = used;
        Some(stream)
    }

    /// Takes the bytes that are next. `payload` is what will be written over `places`; lines that began before are
    /// written to the tape.
    fn accept(&mut self, tape: &mut Tape, stream: &mut Stream, payload: &mut [u8], places: &Spots, way: Way) {
        if payload.is_empty() {
            return;
        }
        stream.next = stream.next.wrapping_add(payload.len() as u32);
        let head = payload.get(..TEXT_WITHIN).unwrap_or(payload);
        let text = *stream.is_text.get_or_insert_with(|| {
            looks_like_lines(head) || head.split(|byte| *byte == b'\n').skip(1).any(looks_like_lines)
        });
        if !text {
            // No mark as elsewhere: bytes that are sent again in other portions must stay the same bytes.
            self.blanked.payload += payload.len() as u64;
            payload.fill(0);
            return;
        }
        let mut from = 0;
        while let Some(end) = memchr::memchr2(b'\r', b'\n', payload.get(from..).unwrap_or_default()) {
            let line = payload.get_mut(from..from + end).unwrap_or_default();
            let here = places.part(from, end);
            let skipping = std::mem::take(&mut stream.skipping);
            if skipping {
                self.blanked.payload += line.len() as u64;
                blank::text(line);
            } else if stream.partial.is_empty() {
                self.stream_line(stream, line, &here, way);
            } else {
                let mut whole = std::mem::take(&mut stream.partial);
                let mut spots = std::mem::take(&mut stream.places);
                let before = whole.len();
                whole.extend_from_slice(line);
                for (at, len) in here.stretches() {
                    spots.push(at, len);
                }
                self.stream_line(stream, &mut whole, &spots, way);
                let (earlier, last) = whole.split_at_mut(before);
                spots.part(0, before).write(tape, earlier);
                line.copy_from_slice(last);
            }
            from += end + 1;
        }
        let rest = payload.get_mut(from..).unwrap_or_default();
        if !stream.skipping && stream.partial.len() + rest.len() > MAX_LINE {
            let mut bytes = stream.places.read(tape);
            blank::text(&mut bytes);
            stream.places.write(tape, &bytes);
            stream.partial.clear();
            stream.places = Spots::default();
            stream.skipping = true;
            stream.may_be_rest = false;
        }
        if stream.skipping {
            self.blanked.payload += rest.len() as u64;
            blank::text(rest);
        } else {
            stream.partial.extend_from_slice(rest);
            for (at, len) in places.part(from, rest.len()).stretches() {
                stream.places.push(at, len);
            }
        }
    }

    fn stream_line(&mut self, stream: &mut Stream, line: &mut [u8], places: &Spots, way: Way) {
        if line.is_empty() {
            return;
        }
        let is_rest = std::mem::take(&mut stream.may_be_rest) && !looks_like_lines(line);
        if is_rest || line.len() > MAX_LINE {
            self.blanked.payload += line.len() as u64;
            blank::text(line);
        } else {
            self.carried_line(line, places, way);
        }
    }

    /// Takes what waited and is next now. `here` is the segment at hand, which is not yet on the tape.
    fn drain_ahead(&mut self, tape: &mut Tape, stream: &mut Stream, here: (&Spots, &mut [u8])) {
        let (places, payload) = here;
        if stream.ahead.is_empty() {
            return;
        }
        // From here on the tape is the place of all.
        places.write(tape, payload);
        while let Some(at) =
            stream.ahead.iter().position(|ahead| ahead.sequence.wrapping_sub(stream.next) as i32 <= 0)
        {
            let Some(ahead) = stream.ahead.remove(at) else { break };
            let old = stream.next.wrapping_sub(ahead.sequence) as usize;
            let mut bytes = ahead.places.read(tape);
            let len = bytes.len();
            let (before, fresh) = bytes.split_at_mut(old.min(len));
            blank::text(before);
            let fresh_places = ahead.places.part(old.min(len), len);
            self.accept(tape, stream, fresh, &fresh_places, ahead.way);
            ahead.places.write(tape, &bytes);
        }
        payload.copy_from_slice(&places.read(tape));
    }

    /// Gives up the hole: the line that it falls into is blanked.
    fn jump(&mut self, tape: &mut Tape, stream: &mut Stream) {
        let mut bytes = stream.places.read(tape);
        blank::text(&mut bytes);
        stream.places.write(tape, &bytes);
        stream.partial.clear();
        stream.places = Spots::default();
        stream.skipping = false;
        stream.may_be_rest = true;
        let next = stream.next;
        let nearest = stream.ahead.iter().map(|ahead| ahead.sequence.wrapping_sub(next)).min();
        stream.next = next.wrapping_add(nearest.unwrap_or(0));
    }

    /// Gives up what waits and began before `oldest`.
    pub(super) fn give_up_streams(&mut self, tape: &mut Tape, oldest: u64) {
        for key in self.late(oldest) {
            let Some(mut stream) = self.streams.streams.remove(&key) else { continue };
            while stream.front() < oldest && !stream.ahead.is_empty() {
                self.jump(tape, &mut stream);
                self.drain_ahead(tape, &mut stream, (&Spots::default(), &mut []));
            }
            if stream.front() < oldest {
                stream.blank(tape);
            }
            self.carried_frames(tape, super::bus::BusKey::Carried(0));
            self.streams.streams.insert(key, stream);
        }
    }

    /// The end: a last line needs no end.
    pub(super) fn finish_streams(&mut self, tape: &mut Tape) {
        self.give_up_streams(tape, u64::MAX);
    }

    /// Streams in which something waits that began before `oldest`, in the order of their keys.
    fn late(&self, oldest: u64) -> Vec<Key> {
        let late = self.streams.streams.iter().filter(|(_, stream)| stream.front() < oldest);
        let mut late: Vec<Key> = late.map(|(key, _)| *key).collect();
        late.sort_unstable();
        late
    }
}
